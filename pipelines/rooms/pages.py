"""Steps of the room `pages`: the week's pages in groups, each made without the others."""

import polars as pl

from pipelines.asset_figures import Figures
from pipelines.rooms.decision import CALLS, CHANCES, JOBS
from pipelines.rooms.fuel import LedgerTables
from pipelines.rooms.history import EngineHours, Snapshot, row_counts
from pipelines.shared_files import LIBRARY
from pipelines.weekly.givens import Clock
from pipelines.weekly.step import Pages, step, view
from ringland.decision.actions.action_catalogue import Catalogue
from ringland.decision.actions.horizons import planned_days
from ringland.decision.jobs.job_doubts import job_doubts
from ringland.decision.value.fuel_beliefs import shop_hazard
from ringland.decision.value.season_rules import SeasonRules
from ringland.decision.value.what_if import choices, what_ifs
from ringland.decision.week_decisions import WeekDecisions
from ringland.decision.week_tables import WeekTables
from ringland.exposure.week_fuel import WeekFuel
from ringland.pages.lineage.effect_lineage import sets_behind
from ringland.pages.site import page_groups as groups
from ringland.pages.site.proof_pages import FleetProof
from ringland.pages.site.site_frame import SiteFrame
from ringland.pages.week.past_calls import PastCalls
from ringland.pages.week.week_records import Restated, WeekRecords, left_out_readings
from ringland.pages.week.week_report import WeekReport, make_week_report
from ringland.risk.closed_season import season_end
from ringland.risk.fleet_evidence import FleetEvidence
from ringland.risk.fleet_hazard import FleetFits
from ringland.score.model_card import ModelCard
from ringland.score.score_history import ScoreHistory
from ringland.settings.assumptions import Assumptions
from ringland.words.manner import Manner, in_manner

ROOM = "pages"
CAUSE_INDEX = "causes/index.html"


@view(earlier={"past_calls": CALLS, "past_chances": CHANCES})
def earlier_calls(past_calls: pl.DataFrame, past_chances: pl.DataFrame) -> pl.DataFrame:
    """`PastCalls` of earlier weeks: of those given out, if any were."""
    said = past_calls.select("as_of", "hull_id", "call", "action", "is_given_out").join(
        past_chances.select("as_of", "hull_id", "chance_30d"), on=["as_of", "hull_id"]
    )
    if said["is_given_out"].any():
        said = said.filter("is_given_out")
    return PastCalls.validate(said.sort("as_of", "hull_id"), cast=True)


@view()
def report(
    snapshot: Snapshot,
    session_exposure: pl.DataFrame,
    bench_verdicts: pl.DataFrame,
    record_quality: pl.DataFrame,
    week_tables: WeekTables,
    week_decisions: WeekDecisions,
    fleet_fits: FleetFits,
    evidence: FleetEvidence,
    sheet_waivers: pl.DataFrame,
    earlier_calls: pl.DataFrame,
    weeks_ahead: pl.DataFrame,
    versions: dict[str, str],
    is_demo: bool,
    clock: Clock,
    assumptions: Assumptions,
    manner: Manner,
) -> WeekReport:
    """The one thing that list, pages and papers are made from."""
    changes = snapshot.changes
    return make_week_report(
        as_of=clock.as_of,
        is_demo=is_demo,
        records=snapshot.records,
        exposure=session_exposure,
        bench=bench_verdicts,
        record_quality=record_quality,
        tables=week_tables,
        fits=fleet_fits,
        evidence=evidence,
        row_accounting=row_counts(snapshot),
        versions=versions,
        assumptions=assumptions,
        decisions=week_decisions,
        past=earlier_calls,
        season_ends_at=season_end(clock.here, assumptions),
        manner=manner,
        restated=None if changes is None else Restated(clock.told_by, changes),
        waivers=sheet_waivers,
        ahead=weeks_ahead,
    )


@view()
def frame(report: WeekReport) -> SiteFrame:
    """What all pages of the week's site share."""
    return SiteFrame(
        report,
        has_fuel=True,
        has_score=True,
        has_records=True,
        has_proof=True,
        library=f"../{LIBRARY}",
        beside=frozenset({CAUSE_INDEX}),
    )


@view()
def proof(
    snapshot: Snapshot,
    fuel_rules: SeasonRules,
    dock_comparison: pl.DataFrame,
    model_card: ModelCard,
    piston_lives: pl.DataFrame,
    spells: pl.DataFrame,
) -> FleetProof:
    """What the pages of proof are made from."""
    return FleetProof(
        rules=fuel_rules,
        docks=dock_comparison,
        card=model_card,
        sets=sets_behind(piston_lives, spells, snapshot.records),
    )


@view(earlier={"past_jobs": JOBS})
def record_state(
    past_jobs: pl.DataFrame,
    snapshot: Snapshot,
    record_doubts: pl.DataFrame,
    engine_sessions: EngineHours,
    session_fuel: LedgerTables,
    hour_line: pl.DataFrame,
    octane_scales: pl.DataFrame,
    record_quality: pl.DataFrame,
    catalogue: Catalogue,
) -> WeekRecords:
    """The state of the records known at the week."""
    of_jobs = job_doubts(snapshot.records, past_jobs, catalogue)
    doubts = pl.concat([record_doubts, engine_sessions.flags, session_fuel.doubts, of_jobs])
    return WeekRecords(
        set_aside=snapshot.set_aside,
        doubts=doubts.unique(maintain_order=True),
        hour_line=hour_line,
        left_out=left_out_readings(snapshot.records["hour_readings"], hour_line),
        octane_scales=octane_scales,
        quality=record_quality,
    )


def _page_figures(pages: Pages) -> Figures:
    return {"files": len(pages), "kB": round(sum(map(len, pages.values())) / 1000)}


@step(ROOM, figures=_page_figures)
def fleet_pages(frame: SiteFrame, manner: Manner) -> Pages:
    """The week's list, its mail, and what all pages share."""
    with in_manner(manner):
        return groups.base_group(frame) | groups.fleet_group(frame)


@step(ROOM, figures=_page_figures)
def reference_pages(frame: SiteFrame, manner: Manner) -> Pages:
    """How we know, the settings, the dictionary of the records."""
    with in_manner(manner):
        return groups.reference_group(frame)


@view()
def answers(
    report: WeekReport,
    week_tables: WeekTables,
    fleet_fits: FleetFits,
    clock: Clock,
    assumptions: Assumptions,
) -> pl.DataFrame | None:
    """`WhatIfs` for the hulls' pages; None where no hazard could be estimated."""
    horizon_d = planned_days(clock.as_of, season_end(clock.here, assumptions))
    hazard = shop_hazard(fleet_fits, week_tables.running, horizon_d, assumptions)
    if hazard is None:
        return None
    return what_ifs(
        week_tables.running,
        week_tables.chances,
        week_tables.at_hand,
        hazard,
        choices=choices(report.catalogue),
        grades_aki=report.grades_aki,
        prices=week_tables.prices,
        assumptions=assumptions,
    )


@step(ROOM, figures=_page_figures)
def hull_pages(
    frame: SiteFrame,
    answers: pl.DataFrame | None,
    week_fuel: WeekFuel,
    record_state: WeekRecords,
    manner: Manner,
) -> Pages:
    """A page for each hull in service, with its tank and its records."""
    with in_manner(manner):
        return groups.hull_group(frame, answers, week_fuel, record_state)


@step(ROOM, figures=_page_figures)
def fuel_pages(frame: SiteFrame, week_fuel: WeekFuel, manner: Manner) -> Pages:
    """The docks' fuel, hull by hull."""
    with in_manner(manner):
        return groups.fuel_group(frame, week_fuel)


@step(ROOM, figures=_page_figures)
def record_pages(frame: SiteFrame, record_state: WeekRecords, manner: Manner) -> Pages:
    """What to write down next, rows to mend, doubts and hours, hull by hull."""
    with in_manner(manner):
        return groups.record_group(frame, record_state)


@step(ROOM, figures=_page_figures)
def proof_pages(frame: SiteFrame, proof: FleetProof, score: ScoreHistory, manner: Manner) -> Pages:
    """Fuel rules, docks side by side, the model card, what is behind the effects, the score."""
    with in_manner(manner):
        made = groups.proof_group(frame, proof, score)
        return made | groups.score_group(frame, score)


@step(ROOM, figures=_page_figures)
def week_exports(frame: SiteFrame, proof: FleetProof, manner: Manner) -> Pages:
    """The week's tables as workbook, CSV and Parquet."""
    with in_manner(manner):
        return groups.table_group(frame, proof)
