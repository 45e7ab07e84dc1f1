"""The static site: sentences and pictures to pages that open from disk without a network.

Pages share one script and one stylesheet beside them.  All text goes through escaping:
Jinja2 escapes the pages, `chart_look.inert` the figures' labels, and the figures' JSON is
made safe to stand in a script element.
"""

from __future__ import annotations

import hashlib
import re
from collections import Counter
from collections.abc import Collection, Iterable, Mapping
from typing import Any

from jinja2 import Environment, StrictUndefined
from markupsafe import Markup
from plotly.offline import get_plotlyjs

from ringland.contracts.data_dictionary import dictionary_html
from ringland.decision.call_lines import call_label
from ringland.exposure.week_fuel import WeekFuel
from ringland.pages.digest.week_digest import (
    digest_opening,
    digest_sections,
    digest_subject,
    digest_text,
)
from ringland.pages.evidence.evidence_page import evidence_context, settings_context
from ringland.pages.exports.week_exports import week_exports
from ringland.pages.fleet.fleet_page import fleet_context
from ringland.pages.frame.page_files import page_file, template_loader
from ringland.pages.frame.site_map import navigation
from ringland.pages.fuel.fuel_page import INDEX, fuel_contexts, tank_pages
from ringland.pages.hull.hull_page import hull_context
from ringland.pages.records.record_exports import record_exports
from ringland.pages.records.records_page import INDEX as RECORDS
from ringland.pages.records.records_page import record_contexts, record_pages, restated_line
from ringland.pages.score.score_page import score_context
from ringland.pages.site.page_pictures import embedded, shared_sketches
from ringland.pages.site.proof_pages import (
    PROOF_PAGES,
    FleetProof,
    proof_contexts,
    proof_files,
    proof_tables,
)
from ringland.pages.week.week_records import WeekRecords
from ringland.pages.week.week_report import HullSheet, WeekReport
from ringland.pages.week.what_if import fleet_script
from ringland.risk.fleet_hazard import clear_factors
from ringland.score.score_history import ScoreHistory
from ringland.words import fixed_words as words
from ringland.words import reference_words, site_words
from ringland.words.filled_sentence import filled
from ringland.words.manner import in_manner
from ringland.words.number_words import (
    chance_text,
    currency_text,
    instant_text,
    money_text,
    number_text,
    plain_text,
    price_text,
    quantity_text,
    range_text,
    share_text,
    unit_text,
)
from ringland.words.shown_units import volume_noun

SAFE_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,39}")
RESERVED = re.compile(r"(con|prn|aux|nul|com\d|lpt\d)", re.IGNORECASE)
"""File names Windows keeps for devices."""

BAR_W = 200.0
"""Width of a range bar in its own units; the page stretches it."""


def build_site(
    report: WeekReport,
    beside: Mapping[str, bytes] | None = None,
    fuel: WeekFuel | None = None,
    score: ScoreHistory | None = None,
    *,
    records: WeekRecords | None = None,
    proof: FleetProof | None = None,
) -> dict[str, bytes]:
    """Every file of the site by its path relative to the site's folder.

    Beside the pages stand the week's tables and its mail as text and HTML.  The same report
    gives the same bytes.

    Args:
        report: the week.
        beside: pages made elsewhere that join the site, by path; 'causes/index.html' gets
            a place in the navigation.
        fuel: the week's fuel; None: no fuel page is made.
        score: how earlier weeks' advice fared; None: no score page is made.
        records: the state of the records; None: no record page is made.
        proof: what the fuel-rule, dock, model and lineage pages are made from; None: none is.
    """
    with in_manner(report.manner):
        return _site(report, dict(beside or {}), fuel, score, records=records, proof=proof)


def _site(
    report: WeekReport,
    beside: dict[str, bytes],
    fuel: WeekFuel | None,
    score: ScoreHistory | None,
    *,
    records: WeekRecords | None,
    proof: FleetProof | None,
) -> dict[str, bytes]:
    pages = hull_pages(sheet.hull_id for sheet in report.hulls)
    templates = _templates(report)
    proved = {} if proof is None else proof_contexts(report, proof, score, pages)
    paths = {
        *beside,
        "index.html",
        "how-we-know.html",
        "data-dictionary.html",
        "settings.html",
        *((INDEX,) if fuel is not None else ()),
        *(("score.html",) if score is not None else ()),
        *((RECORDS,) if records is not None else ()),
        *(PROOF_PAGES[name] for name in proved),
    }
    templates.globals["navigation"] = lambda here: navigation(here, paths)
    templates.globals["has_score"] = score is not None
    restated = None if records is None else records.restated
    said = "" if restated is None else restated_line(restated)
    templates.globals["restated_line"] = said
    templates.globals["has_proof"] = proof is not None
    templates.globals["tanks"] = {} if fuel is None else tank_pages(pages)
    templates.globals["record_pages"] = {} if records is None else record_pages(pages)
    site = {
        "plotly.min.js": get_plotlyjs().encode(),
        "charts.js": page_file("charts.js"),
        "sketches.js": shared_sketches(report.assumptions),
        "ringland.css": page_file("ringland.css"),
    }
    if not report.is_customer_copy:
        site |= {
            "fleet.js": page_file("fleet.js"),
            "slots.js": page_file("slots.js"),
            "index.html": _fleet_page(templates, report, pages),
            "how-we-know.html": _plain_page(
                templates, "how_we_know.html.j2", "evidence", evidence_context(report)
            ),
            "settings.html": _plain_page(
                templates, "settings.html.j2", "settings", settings_context(report)
            ),
            "data-dictionary.html": _plain_page(
                templates, "dictionary.html.j2", "dictionary", _dictionary()
            ),
            "mail/digest.txt": digest_text(report, said).encode(),
            "mail/digest.html": _digest_html(report, said),
            **week_exports(report, proof_tables(report, proof) if proof is not None else {}),
            **(proof_files(report, proof) if proof is not None else {}),
        }
    if score is not None:
        context = score_context(score, report.assumptions)
        site["score.html"] = _plain_page(templates, "score.html.j2", "score", context)
    for here, (name, context) in proved.items():
        site[PROOF_PAGES[here]] = _plain_page(templates, name, here, context)
    if report.catalogue is not None and report.fits.at_stake:
        site["what-if.js"] = page_file("what-if.js")
        site["what-if-fleet.js"] = fleet_script(
            report.fits, report.catalogue, report.prices, report.grades_aki, report.assumptions
        )
    clear = clear_factors(report.fits, report.assumptions)
    for sheet in report.hulls:
        site[pages[sheet.hull_id]] = _hull_page(templates, report, sheet, clear)
    if fuel is not None:
        for path, (name, context) in fuel_contexts(report, fuel, pages).items():
            charts = embedded(context.pop("figures"))
            here = "fuel" if path == INDEX else "tank"
            site[path] = _render(templates, name, root="../", here=here, charts=charts, **context)
    if records is not None:
        for path, (name, context) in record_contexts(report, records, pages).items():
            charts = embedded(context.pop("figures"))
            here = "records" if path == RECORDS else "hull record"
            site[path] = _render(templates, name, root="../", here=here, charts=charts, **context)
        site |= record_exports(report, records)
    return site | beside


def hull_pages(hull_ids: Iterable[str]) -> dict[str, str]:
    """The page of each hull, safe as a file name on every system and as a link.

    An id that is plain and not taken in another case names its own file; any other gets
    its plain letters and the start of its SHA-256.
    """
    ids = sorted(set(hull_ids))
    seen = Counter(hull_id.casefold() for hull_id in ids)
    pages = {}
    for hull_id in ids:
        is_plain = SAFE_NAME.fullmatch(hull_id) and not RESERVED.fullmatch(hull_id)
        name = hull_id
        if not is_plain or seen[hull_id.casefold()] > 1:
            letters = re.sub(r"[^A-Za-z0-9]+", "-", hull_id).strip("-")[:30]
            name = f"{letters or 'hull'}-{hashlib.sha256(hull_id.encode()).hexdigest()[:10]}"
        pages[hull_id] = f"hulls/{name}.html"
    return pages


def _fleet_page(templates: Environment, report: WeekReport, pages: Mapping[str, str]) -> bytes:
    context = fleet_context(report)
    charts = embedded(context.pop("figures"))
    return _render(
        templates, "index.html.j2", root="", here="fleet", pages=pages, charts=charts, **context
    )


def _hull_page(
    templates: Environment,
    report: WeekReport,
    sheet: HullSheet,
    clear: Collection[str],
) -> bytes:
    context = hull_context(report, sheet, clear)
    charts = embedded(context.pop("figures"))
    return _render(
        templates,
        "hull.html.j2",
        root="../",
        here="hull",
        charts=charts,
        bar_top=range_top(row["high"] for row in context["horizons"]),
        **context,
    )


def _digest_html(report: WeekReport, restated: str) -> bytes:
    return (
        _templates(report)
        .get_template("digest.html.j2")
        .render(
            subject=digest_subject(report),
            opening=digest_opening(report, restated),
            sections=digest_sections(report),
        )
        .encode()
    )


def _plain_page(templates: Environment, name: str, here: str, context: dict[str, Any]) -> bytes:
    """A page at the site's root from its context with figures."""
    charts = embedded(context.pop("figures"))
    return _render(templates, name, root="", here=here, charts=charts, **context)


def _dictionary() -> dict[str, Any]:
    fragment = Markup(dictionary_html())  # noqa: S704  # made from our own contracts, escaped there
    return {"figures": {}, "said": reference_words, "dictionary": fragment}


def _templates(report: WeekReport) -> Environment:
    currency, settings = report.prices.currency, report.assumptions
    templates = Environment(
        loader=template_loader(),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
        finalize=_keep_percent_with_its_number,
    )
    templates.filters |= {
        "chance": chance_text,
        "chance_range": range_text,
        "share": share_text,
        "number": number_text,
        "instant": instant_text,
        "money": lambda amount: money_text(amount, currency),
        "price": lambda amount: price_text(amount, currency),
        "quantity": quantity_text,
        "plain": plain_text,
        "filled": filled,
        "call_label": lambda call: call_label(call, report.as_of, settings),
        "at": lambda value, top, shift=0.0: round(BAR_W * min(1.0, value / top) + shift, 2),
    }
    templates.globals |= {
        "words": words,
        "around": site_words,
        "report": report,
        "currency": currency_text(currency),
        "unit": unit_text,
        "volume_noun": volume_noun(),
        "range_top": range_top(sheet.chance["chance_30d_high"] for sheet in report.hulls),
    }
    return templates


def _keep_percent_with_its_number(value: object) -> object:
    """Plain text with a no-break space before each percent sign; anything else as it is."""
    if type(value) is str:  # Markup is done already
        return value.replace(" %", "\N{NO-BREAK SPACE}%")
    return value


def range_top(highs: Iterable[float | None]) -> float:
    """The end of the scale of range bars: the first round share at or above all their ends."""
    highest = max((high for high in highs if high is not None), default=0.0)
    return next(top for top in (0.05, 0.1, 0.2, 0.3, 0.5, 0.75, 1.0) if highest <= top)


def _render(templates: Environment, name: str, **context: Any) -> bytes:
    charts = context["charts"]
    return (
        templates.get_template(name)
        .render(
            has_charts=bool(charts),
            has_sketches=any(chart.sketch for chart in charts.values()),
            **context,
        )
        .encode()
    )
