"""The static site of one week: pages that open from disk without a network."""

from __future__ import annotations

from collections.abc import Mapping

import polars as pl

from ringland.exposure.week_fuel import WeekFuel
from ringland.pages.site import page_groups as groups
from ringland.pages.site.proof_pages import FleetProof
from ringland.pages.site.site_frame import DRAWING_LIBRARY, SiteFrame
from ringland.pages.week.week_records import WeekRecords
from ringland.pages.week.week_report import WeekReport
from ringland.score.score_history import ScoreHistory
from ringland.words.manner import in_manner


def build_site(
    report: WeekReport,
    beside: Mapping[str, bytes] | None = None,
    fuel: WeekFuel | None = None,
    score: ScoreHistory | None = None,
    *,
    records: WeekRecords | None = None,
    proof: FleetProof | None = None,
    what_ifs: pl.DataFrame | None = None,
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
        what_ifs: `WhatIfs`; None: no hull's page has a what-if.
    """
    with in_manner(report.manner):
        frame = SiteFrame(
            report,
            has_fuel=fuel is not None,
            has_score=score is not None,
            has_records=records is not None,
            has_proof=proof is not None,
            beside=frozenset(beside or ()),
        )
        site = groups.base_group(frame) | groups.hull_group(frame, what_ifs, fuel, records)
        site[DRAWING_LIBRARY] = groups.drawing_library()
        if not report.is_customer_copy:
            site |= groups.fleet_group(frame)
            site |= groups.reference_group(frame)
            site |= groups.table_group(frame, proof)
        if fuel is not None:
            site |= groups.fuel_group(frame, fuel)
        if score is not None:
            site |= groups.score_group(frame, score)
        if records is not None:
            site |= groups.record_group(frame, records)
        if proof is not None:
            site |= groups.proof_group(frame, proof, score)
        return site | dict(beside or {})
