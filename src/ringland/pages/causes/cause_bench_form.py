"""The bench form: a page for a phone without network, and its findings as a spreadsheet.

Both give rows of the Teardowns contract that the intake loads; the page gives rows of readings
beside them (`bench_form_readings`).  Every finding of the cause table is on them by part and,
where it has one, by cylinder; all start as 'not looked at'.
"""

from __future__ import annotations

import io
import json
from collections.abc import Mapping
from datetime import UTC, datetime

import xlsxwriter
from jinja2 import Environment, StrictUndefined
from markupsafe import Markup

from ringland.causes import bench_form_words as said
from ringland.causes.cause_chances import SettledCases, cause_shares, finding_chances
from ringland.causes.cause_findings import NOT_LOOKED_AT, WORKED_OUT
from ringland.causes.cause_table import CauseTable, Finding
from ringland.contracts.record_columns import LOOKED_AT
from ringland.contracts.records import Teardowns
from ringland.pages.causes.bench_form_readings import readings_asked
from ringland.pages.frame.page_files import template_loader
from ringland.words import fixed_words, site_words

BY_CYLINDER = ("piston", "rings", "bore", "plug", "rod", "bearing", "valve")
"""Parts of which each cylinder has its own."""

EXTENTS = tuple(Teardowns.columns()["extent"].metadata["allowed"])  # type: ignore[index]


def bench_form_page(
    table: CauseTable,
    engines: Mapping[str, int],
    *,
    is_demo: bool = False,
    cases: SettledCases | None = None,
) -> bytes:
    """The form as one HTML file that needs nothing beside it.

    Args:
        table: the cause table whose findings are asked for.
        engines: engine serial -> number of cylinders, offered while typing; may be empty.
        is_demo: the engines offered are invented; the form then says so.
        cases: the shop's settled cases, which move what the form asks for next.
    """
    parts: dict[str, list[dict[str, object]]] = {}
    for finding in _asked(table):
        parts.setdefault(finding.part, []).append(
            {
                "key": finding.key,
                "words": finding.words,
                "by_cylinder": finding.part in BY_CYLINDER,
            }
        )
    data = {
        "columns": Teardowns.column_names(),
        "states": [(state, said.STATES[state]) for state in LOOKED_AT],
        "extents": EXTENTS,
        "engines": dict(sorted(engines.items())),
        "words": said.SCRIPT,
        "readings": readings_asked(),
        "next": _what_tells_most(table, cases or SettledCases.none(table)),
        "parts": [{"name": name, "findings": findings} for name, findings in parts.items()],
    }
    templates = Environment(loader=template_loader(), autoescape=True, undefined=StrictUndefined)
    page = templates.get_template("bench_form.html.j2")
    return page.render(
        said=said,
        around=site_words,
        words=fixed_words,
        data=_safe_json(data),
        demo=fixed_words.DEMO_LABEL if is_demo else None,
    ).encode()


def _what_tells_most(table: CauseTable, cases: SettledCases) -> dict[str, object]:
    """All the form needs to say what would tell most next, as `rank_causes` would."""
    chances = finding_chances(table, cases).moved
    return {
        "shares": [float(f"{share:.6g}") for share in cause_shares(table, cases)],
        "findings": [
            {
                "key": finding.key,
                "words": finding.words,
                "part": finding.part,
                "needsAll": finding.kind == "sound" and not finding.is_local,
                "excludes": finding.excludes,
                "chances": [float(f"{chance:.6g}") for chance in chances[:, column]],
            }
            for column, finding in enumerate(table.findings.values())
        ],
        "chains": [[chain.links[0], chain.followers] for chain in table.chains.values()],
        "workedOut": WORKED_OUT,
    }


def _asked(table: CauseTable) -> list[Finding]:
    return [finding for finding in table.findings.values() if finding.key not in WORKED_OUT]


def _safe_json(data: object) -> Markup:
    text = json.dumps(data)
    for sign in "<>&\u2028\u2029":  # none may end the script element or a line of it
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return Markup(text)  # noqa: S704  # made safe just above


def bench_form_workbook(
    table: CauseTable, cylinders: int, engine_id: str = "", opened_at: str = ""
) -> bytes:
    """The form as an XLSX file: one row per finding and cylinder, states to pick from a list.

    Serial and time are typed once, in the first row; the rows below take them over.

    Args:
        table: the cause table whose findings are asked for.
        cylinders: number of cylinders of the engine.
        engine_id: serial, if known beforehand.
        opened_at: instant with its zone, e.g. '2025-07-01T09:00Z', if known beforehand.
    """
    out = io.BytesIO()
    with xlsxwriter.Workbook(out, {"in_memory": True, "strings_to_formulas": False}) as book:
        # a fixed date: the same form gives the same bytes
        book.set_properties({"created": datetime(2000, 1, 1, tzinfo=UTC)})
        sheet = book.add_worksheet("teardowns")
        head = book.add_format({"bold": True, "bottom": 1, "bg_color": "#EEF2F3"})
        entry = book.add_format({"bg_color": "#FDF2D6", "num_format": "@"})
        columns = Teardowns.column_names()
        at = {name: number for number, name in enumerate(columns)}
        for name, number in at.items():
            sheet.write_string(0, number, name, head)
        rows = [
            (finding, cylinder)
            for finding in _asked(table)
            for cylinder in (range(1, cylinders + 1) if finding.part in BY_CYLINDER else (None,))
        ]
        for number, (finding, cylinder) in enumerate(rows, start=1):
            for name, value in (("engine_id", engine_id), ("opened_at", opened_at)):
                letter = chr(ord("A") + at[name])
                if number == 1:
                    sheet.write(number, at[name], value, entry)
                else:
                    formula = f'=IF(${letter}$2="","",${letter}$2)'
                    sheet.write_formula(number, at[name], formula, None, value)
            if cylinder is not None:
                sheet.write_number(number, at["cylinder"], cylinder)
            sheet.write_string(number, at["part"], finding.part)
            sheet.write_string(number, at["finding"], finding.words)
            sheet.write_string(number, at["state"], NOT_LOOKED_AT, entry)
            for name in ("extent", "photo_files"):
                sheet.write_blank(number, at[name], None, entry)
        last = len(rows)
        for name, allowed in (("state", list(LOOKED_AT)), ("extent", list(EXTENTS))):
            sheet.data_validation(
                1, at[name], last, at[name], {"validate": "list", "source": allowed}
            )
        sheet.write_comment(1, at["opened_at"], said.OPENED_COMMENT)
        sheet.set_column(0, 1, 20)
        sheet.set_column(at["part"], at["part"], 14)
        sheet.set_column(at["finding"], at["finding"], 44)
        sheet.set_column(at["state"], len(columns) - 1, 18)
        sheet.freeze_panes(1, 0)
    return out.getvalue()
