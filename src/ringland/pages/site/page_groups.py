"""The site's pages in groups that are made one without the other.

Each returns files by their path in the site's folder.  They are to be called with the report's
manner in force.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import polars as pl
from markupsafe import Markup
from plotly.offline import get_plotlyjs

from ringland.contracts.data_dictionary import dictionary_html
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
from ringland.pages.frame.page_files import page_file
from ringland.pages.fuel.fuel_page import fuel_contexts, tank_contexts
from ringland.pages.hull.hull_page import hull_context
from ringland.pages.hull.what_if_form import what_if_script
from ringland.pages.records.record_exports import record_exports
from ringland.pages.records.records_page import hull_record_contexts, record_contexts
from ringland.pages.score.score_page import score_context
from ringland.pages.site.page_pictures import shared_sketches
from ringland.pages.site.proof_pages import (
    PROOF_PAGES,
    FleetProof,
    proof_contexts,
    proof_files,
    proof_tables,
)
from ringland.pages.site.site_frame import SCORE, SiteFrame, range_top
from ringland.pages.week.week_records import WeekRecords
from ringland.risk.fleet_hazard import clear_factors
from ringland.score.score_history import ScoreHistory
from ringland.words import reference_words

Pages = dict[str, bytes]


def drawing_library() -> bytes:
    """The script that draws all pictures, as large as all pages together."""
    script: str = get_plotlyjs()
    return script.encode()


def base_group(frame: SiteFrame) -> Pages:
    """What pages share beside the drawing library: looks and scripts."""
    return {
        "charts.js": page_file("charts.js"),
        "folds.js": page_file("folds.js"),
        "sketches.js": shared_sketches(frame.report.assumptions),
        "ringland.css": page_file("ringland.css"),
    }


def fleet_group(frame: SiteFrame) -> Pages:
    """The week's list with its scripts and its mail."""
    report, said = frame.report, frame.said_restated
    context = {**fleet_context(report), "pages": frame.pages}
    mail = frame.templates.get_template("digest.html.j2").render(
        subject=digest_subject(report),
        opening=digest_opening(report, said),
        sections=digest_sections(report),
    )
    return {
        "fleet.js": page_file("fleet.js"),
        "slots.js": page_file("slots.js"),
        "index.html": frame.page("index.html.j2", "fleet", context),
        "mail/digest.txt": digest_text(report, said).encode(),
        "mail/digest.html": mail.encode(),
    }


def hull_group(
    frame: SiteFrame,
    what_ifs: pl.DataFrame | None = None,
    fuel: WeekFuel | None = None,
    records: WeekRecords | None = None,
) -> Pages:
    """A page for each hull with its tank and its records; without `WhatIfs` none has a what-if."""
    report, pages = frame.report, frame.pages
    clear = clear_factors(report.fits, report.assumptions)
    site, answers = {}, {}
    if what_ifs is not None and what_ifs.height:
        site["what-if.js"] = what_if_script(report.prices.currency)
        answers = what_ifs.partition_by("hull_id", as_dict=True)
    tanks = {} if fuel is None else tank_contexts(report, fuel)
    own_records = {} if records is None else hull_record_contexts(report, records)
    for sheet in report.hulls:
        hull_id = sheet.hull_id
        context = hull_context(
            report,
            sheet,
            clear,
            answers.get((hull_id,)),
            tank=tanks.get(hull_id),
            record=own_records.get(hull_id),
        )
        context["bar_top"] = range_top(row["high"] for row in context["horizons"])
        site[pages[sheet.hull_id]] = frame.page("hull.html.j2", "hull", context, root="../")
    return site


def fuel_group(frame: SiteFrame, fuel: WeekFuel) -> Pages:
    """The docks' page."""
    return _below(frame, fuel_contexts(frame.report, fuel, frame.pages), "fuel")


def record_group(frame: SiteFrame, records: WeekRecords) -> Pages:
    """The page on the state of the records, and its tables."""
    contexts = record_contexts(frame.report, records, frame.pages)
    return _below(frame, contexts, "records") | record_exports(frame.report, records)


def score_group(frame: SiteFrame, score: ScoreHistory) -> Pages:
    """How earlier weeks' advice fared."""
    context = score_context(score, frame.report.assumptions, frame.report.ahead)
    return {SCORE: frame.page("score.html.j2", "score", context)}


def proof_group(frame: SiteFrame, proof: FleetProof, score: ScoreHistory | None) -> Pages:
    """The pages on what the figures rest: fuel rules, docks, model card, lineage."""
    made = proof_contexts(frame.report, proof, score, frame.pages)
    site = {
        PROOF_PAGES[here]: frame.page(name, here, context) for here, (name, context) in made.items()
    }
    return site | proof_files(frame.report, proof)


def reference_group(frame: SiteFrame) -> Pages:
    """How we know, the settings, and the dictionary of the records."""
    report = frame.report
    return {
        "how-we-know.html": frame.page("how_we_know.html.j2", "evidence", evidence_context(report)),
        "settings.html": frame.page("settings.html.j2", "settings", settings_context(report)),
        "data-dictionary.html": frame.page("dictionary.html.j2", "dictionary", _dictionary()),
    }


def table_group(frame: SiteFrame, proof: FleetProof | None) -> Pages:
    """The week's tables for spreadsheets and programs."""
    report = frame.report
    return week_exports(report, {} if proof is None else proof_tables(report, proof))


def _below(
    frame: SiteFrame, contexts: Mapping[str, tuple[str, dict[str, Any]]], here: str
) -> Pages:
    """Pages in a folder of their own; `here` is their name in the navigation."""
    return {
        path: frame.page(name, here, context, root="../")
        for path, (name, context) in contexts.items()
    }


def _dictionary() -> dict[str, Any]:
    fragment = Markup(dictionary_html())  # noqa: S704  # made from our own contracts, escaped there
    return {"figures": {}, "said": reference_words, "dictionary": fragment}
