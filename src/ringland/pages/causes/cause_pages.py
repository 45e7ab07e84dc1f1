"""Cause reports as pages and PDFs, with everything they need inside them.

Text only ever passes as data: through Jinja2's escaping into a page, through JSON into the
PDF's layout, which sets it as text and never reads it as markup.
"""

from __future__ import annotations

import dataclasses
import hashlib
import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from datetime import datetime
from typing import Any

import polars as pl
import typst
from jinja2 import Environment, StrictUndefined
from markupsafe import Markup

from ringland.causes import cause_words
from ringland.pages.causes.cause_bench_form import bench_form_page, bench_form_workbook
from ringland.pages.causes.merged_cells import merged_cells
from ringland.pages.causes.report_in_short import report_in_short
from ringland.pages.frame.page_files import compiled, page_file, template_loader
from ringland.pages.frame.pdf_letters import FONTS, with_shown_letters
from ringland.rebuilds import rebuild_lines, rebuild_words
from ringland.rebuilds.rebuild_comparison import RebuildComparison
from ringland.rebuilds.rebuild_form import acceptance_workbook
from ringland.reports.cause_case import ShopRecord
from ringland.reports.cause_photos import shown_photo
from ringland.reports.cause_report import CauseReport, shop_memory
from ringland.words import fixed_words, site_words
from ringland.words.filled_sentence import filled
from ringland.words.manner import manner
from ringland.words.number_words import day_text, known_text

PDF_WORDS = (
    "NO_TEST",
    "NOTHING_FOUND",
    "FOR",
    "AGAINST",
    "NEITHER",
    "RECORD_BESIDE",
    "SETTLE",
    "PICTURE_IN_SHORT",
    "GAPS",
    "OPTIONS",
    "EVIDENCE_KEPT",
)
"""The words of `cause_words` that the PDF's layout sets by itself."""

AMBIGUOUS_END = b"\r\nendstream"
"""A stream whose last byte is a carriage return: a validator takes it for part of the line end
and finds the length wrong (ISO 19005-2, 6.1.7.1).  One stream in 256 ends so by chance."""
MOST_NUDGES = 8
"""Times the margin is moved by a hundredth of a millimetre to be rid of such an end."""


def build_cause_site(
    shop: ShopRecord,
    reports: Sequence[CauseReport],
    comparison: RebuildComparison,
    paper: str = "a4",
    came_back: pl.DataFrame | None = None,
) -> dict[str, bytes]:
    """Every file by its path relative to the site's folder, all under 'causes/'.

    Index; a page per report; a PDF and an acceptance form of the newest `report.cause_files`,
    older ones print from their page; the rebuild comparison; the bench form as a page and as a
    spreadsheet for each number of cylinders on record.

    Args:
        shop: what the reports were made from.
        reports: from `cause_report.cause_reports`.
        comparison: from `rebuild_comparison.compare_rebuilds`.
        paper: 'a4' or 'us-letter'.
        came_back: from `comebacks.comebacks`; None: not compared.
    """
    templates = _templates()
    engines = dict(shop.records["engines"].select("engine_id", "cylinders").iter_rows())
    site = {
        "bench-form.html": bench_form_page(
            shop.table,
            engines,
            is_demo=shop.is_demo,
            cases=shop_memory(shop).cases(shop.table),
        ),
        "rebuilds.html": rebuild_page(comparison, shop, came_back),
    }
    forms = []
    for cylinders in sorted(set(engines.values())):
        forms.append((cylinders, f"bench-form-{cylinders}-cylinders.xlsx"))
        site[forms[-1][1]] = bench_form_workbook(shop.table, cylinders)
    rows = []
    newest = int(shop.assumptions.number("report.cause_files"))
    for place, report in enumerate(sorted(reports, key=lambda one: one.found_at, reverse=True)):
        name, has_files = report_name(report), place < newest
        site[f"{name}.html"] = cause_page(report, templates, has_files=has_files)
        if has_files:
            site[f"{name}.pdf"] = cause_pdf(report, paper)
            site[f"{name}-acceptance.xlsx"] = acceptance_workbook(report)
        rows.append(
            {
                "engine_id": report.engine_id,
                "day": day_text(report.found_at),
                "short": " ".join(report.summary[:2]),
                "page": f"{name}.html",
                "pdf": f"{name}.pdf" if has_files else "",
            }
        )
    index = templates.get_template("cause_index.html.j2").render(
        said=cause_words,
        rebuilds=rebuild_words,
        root="../",
        rows=rows,
        forms=forms,
        as_of=shop.as_of,
        is_demo=shop.is_demo,
        newest=newest if len(rows) > newest else 0,
    )
    site["index.html"] = index.encode()
    site["evidence.css"] = page_file("evidence.css")
    return {f"causes/{name}": content for name, content in site.items()}


def rebuild_page(
    comparison: RebuildComparison, shop: ShopRecord, came_back: pl.DataFrame | None = None
) -> bytes:
    """The rebuild comparison as one page, to stand beside the cause reports."""
    page = _templates().get_template("rebuilds.html.j2")
    return page.render(
        root="../",
        as_of=shop.as_of,
        is_demo=shop.is_demo,
        answers=rebuild_lines.answer_lines(comparison),
        said=rebuild_words,
        reports=cause_words,
        groups=rebuild_lines.group_rows(comparison, shop.prices.currency),
        ratios=rebuild_lines.ratio_rows(comparison),
        modes=rebuild_lines.mode_rows(comparison),
        comebacks=() if came_back is None else rebuild_lines.comeback_rows(came_back),
        comeback_h=f"{shop.assumptions.number('rebuild.comeback_h'):.0f}",
        at_h=f"{shop.assumptions.number('rebuild.incidence_at_h'):.0f}",
    ).encode()


def report_name(report: CauseReport) -> str:
    """A name safe as a file on every system: plain letters, the day, and a digest."""
    letters = re.sub(r"[^A-Za-z0-9]+", "-", report.engine_id).strip("-")[:30] or "engine"
    whole = f"{report.engine_id}|{report.found_at.isoformat()}|{report.mode}"
    digest = hashlib.sha256(whole.encode()).hexdigest()[:6]
    return f"{letters}-{report.found_at:%Y-%m-%d}-{digest}"


def cause_page(
    report: CauseReport, templates: Environment | None = None, *, has_files: bool = True
) -> bytes:
    """The report as one HTML page; its photos and picture are inside it.

    Args:
        report: the report.
        templates: made once for many pages.
        has_files: whether its PDF and its acceptance form stand beside it.
    """
    templates = templates or _templates()
    return (
        templates.get_template("cause_report.html.j2")
        .render(
            report=report,
            short=report_in_short(report),
            said=cause_words,
            titles=[f"{number}. {part}" for number, part in enumerate(cause_words.PARTS, start=1)],
            headings=cause_words.HEADINGS,
            root="../",
            pdf=f"{report_name(report)}.pdf" if has_files else "",
            form=f"{report_name(report)}-acceptance.xlsx" if has_files else "",
            photos=[
                {"name": name, "src": photo.data_url}
                for name, content in report.photos
                if (photo := shown_photo(content))
            ],
            picture=report.picture and Markup(report.picture.decode()),  # noqa: S704  # ours
        )
        .encode()
    )


def cause_pdf(report: CauseReport, paper: str = "a4", standards: Sequence[str] = ()) -> bytes:
    """The report as a PDF; the same report gives the same bytes.

    Args:
        report: the report.
        paper: 'a4' or 'us-letter'.
        standards: PDF standards it must keep, e.g. 'a-2b' for the archive (ISO 19005-2).
    """
    inputs: dict[str, bytes] = {"main.typ": page_file("cause_report.typ")}
    photos = []
    for number, (name, content) in enumerate(report.photos):
        if photo := shown_photo(content):
            file = f"photo-{number}.svg"
            inputs[file] = photo.svg
            photos.append({"file": file, "name": name})
    if report.picture:
        inputs["picture.svg"] = report.picture
    data = {
        "report": _as_json(report),
        "titles": cause_words.PARTS,
        "headings": cause_words.HEADINGS,
        "said": {name: getattr(cause_words, name) for name in PDF_WORDS},
        "photos_missing": cause_words.PHOTOS_MISSING.format(names=", ".join(report.photos_missing)),
        "language": site_words.LANGUAGE,
        "cautions_heading": fixed_words.CAUTIONS_HEADING,
        "paper": paper,
        "photos": photos,
        "picture": "picture.svg" if report.picture else "",
        "as_of": site_words.AS_KNOWN.format(instant=known_text(report.as_of)),
        "demo": site_words.INVENTED.format(label=fixed_words.DEMO_LABEL) if report.is_demo else "",
        "fonts": FONTS,
        "lacking": "",
        "never": fixed_words.NEVER_CLEARANCE,
        "association": fixed_words.ASSOCIATION,
        "versions": ", ".join(f"{name} {value}" for name, value in report.versions.items()),
    }
    shown = with_shown_letters(data)
    if json.dumps(shown) != json.dumps(data):
        shown["lacking"] = cause_words.LETTERS_LACKING
    made = b""
    for nudge in range(1 + (MOST_NUDGES if standards else 0)):
        made = _typeset(inputs, shown | {"nudge": nudge}, report.as_of, standards)
        if AMBIGUOUS_END not in made:
            break
    return made


def _typeset(
    inputs: dict[str, bytes], data: Mapping[str, Any], as_of: datetime, standards: Sequence[str]
) -> bytes:
    made: object = typst.compile(  # type: ignore[call-overload]  # its types lag: a dict is taken
        inputs,
        format="pdf",
        sys_inputs={"report": json.dumps(data)},
        timestamp=as_of,
        ignore_system_fonts=True,  # the same letters on every machine
        pdf_standards=list(standards),
    )
    if not isinstance(made, bytes):
        raise TypeError("the PDF did not come back as bytes")
    return made


def _as_json(report: CauseReport) -> dict[str, Any]:
    apart_from_these = {"photos", "picture", "versions", "found_at", "as_of", "rebuilt_at", "build"}
    fields = {
        one.name: getattr(report, one.name)
        for one in dataclasses.fields(report)
        if one.name not in apart_from_these
    }
    fields["causes"] = [asdict(cause) for cause in report.causes]
    for part, apart in (("measured", (3, 4)), ("acceptance", (5, 6))):
        fields[part] = [
            [{"text": cell.text, "span": cell.span} for cell in row]
            for row in merged_cells(fields[part], 2, apart)
        ]
    for cause in fields["causes"]:
        cause["standing"] = cause_words.STANDING.format(
            chance=cause["chance"], share=cause["share"], mechanism=cause["mechanism"]
        )
    return fields


def _templates() -> Environment:
    templates = Environment(
        loader=template_loader(),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
        bytecode_cache=compiled("causes", manner()),
    )
    templates.filters["known_to"] = known_text
    templates.filters["filled"] = filled
    templates.filters["merged_cells"] = merged_cells
    templates.globals |= {"words": fixed_words, "around": site_words}
    return templates
