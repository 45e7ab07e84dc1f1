"""The one thing the pages and the terminal list are made from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

import polars as pl

from ringland.contracts.decision_tables import OPEN
from ringland.decision.actions.action_catalogue import Catalogue
from ringland.decision.actions.action_prices import Prices
from ringland.decision.actions.horizons import Horizon, page_horizons
from ringland.decision.jobs.bench_lines import latest_tests, release_lines
from ringland.decision.value.fuel_burned import fuel_burned, one_grade_docks
from ringland.decision.value.what_if import grades_sold
from ringland.decision.week_decisions import WeekDecisions
from ringland.decision.week_tables import WeekTables
from ringland.pages.week.hull_lineage import recent_fills
from ringland.pages.week.hull_timeline import hull_events, known_shares
from ringland.pages.week.past_calls import WeekChange, change_since
from ringland.pages.week.week_records import Restated
from ringland.risk.fleet_evidence import FleetEvidence
from ringland.risk.fleet_hazard import FleetFits
from ringland.score.weeks_ahead import WeeksAhead
from ringland.settings.assumptions import Assumptions
from ringland.words.fixed_words import FACTOR_LABELS, SECOND_CURVE, SECOND_FIT_DIFFERS
from ringland.words.manner import DEFAULT_MANNER, Manner, in_manner
from ringland.words.record_check_words import against_record_line, weeks_ahead_lines

Row = Mapping[str, Any]


@dataclass(frozen=True)
class HullSheet:
    """All that a hull's page says.

    `call`, `chance` are its rows of `HullCalls` and `HullChances`; `drivers` its rows of
    `HullDrivers`; `state` its row of `running_sets`; `quality` its row of `RecordQuality`
    with `known_shares` (null if it did not run of late); `fuel` its row of `fuel_burned`,
    empty if it did not run of late; `at_hand` its row of `FuelAtHand`.  `lineage` holds the
    record rows of the fills behind its last hours, as `recent_fills` returns them.
    `released` tells, by name, what stands against its engine and was let go.  `jobs` are its
    open rows of `HullJobs`, the musts first; `changed` its rows of `ChanceParts`.
    """

    hull_id: str
    dock_id: str
    call: Row
    chance: Row
    state: Row
    drivers: tuple[Row, ...]
    quality: Row
    fuel: Row
    at_hand: Row
    tests: pl.DataFrame
    exposure: pl.DataFrame
    events: pl.DataFrame
    lineage: pl.DataFrame
    released: tuple[str, ...] = ()
    jobs: tuple[Row, ...] = ()
    changed: tuple[Row, ...] = ()


@dataclass(frozen=True)
class WeekReport:
    """One week's report: every hull in service, the docks, the evidence, the row accounting.

    `hulls` stand in order of rank, hulls that cannot be assessed last.  `row_accounting`
    has one row per record kind: kind, rows_in, loaded, set_aside.  `versions` names what
    made the report, e.g. {'ringland': '0.1.0', 'records': 'sha256 ...'}.  `past`
    (`PastCalls`) is None where none was handed on; `ahead` holds what earlier lists said
    against what was then seen (`WeeksAhead`).  `grades_aki` are the pump numbers on
    record.  A customer's copy holds one hull and leads to no other page.  `manner` is how
    its figures are written.  `restated` is None for a week as it was known.
    """

    as_of: datetime
    is_demo: bool
    hulls: tuple[HullSheet, ...]
    dock_fuel: pl.DataFrame
    one_grade_docks: tuple[str, ...]
    fleet_middle: Row
    prices: Prices
    fits: FleetFits
    evidence: FleetEvidence
    row_accounting: pl.DataFrame
    versions: Mapping[str, str]
    assumptions: Assumptions
    decisions: WeekDecisions
    past: pl.DataFrame | None = None
    horizons: tuple[Horizon, ...] = ()
    grades_aki: tuple[float, ...] = ()
    is_customer_copy: bool = False
    manner: Manner = DEFAULT_MANNER
    restated: Restated | None = None
    ahead: pl.DataFrame = field(default_factory=WeeksAhead.create_empty)

    @property
    def catalogue(self) -> Catalogue:
        """What could be done, as the decisions were made with."""
        return self.decisions.catalogue

    @property
    def change(self) -> WeekChange:
        """What changed since the last report kept."""
        rows = [{**sheet.call, "chance_30d": sheet.chance["chance_30d"]} for sheet in self.hulls]
        return change_since(self.past, rows, self.as_of, self.catalogue, self.assumptions)

    @property
    def model_doubts(self) -> tuple[str, ...]:
        """What every page must say against the figures it shows; empty when all is well."""
        misses = self.fits.against_record.filter("misses")
        doubts = (
            *(against_record_line(row) for row in misses.iter_rows(named=True)),
            *weeks_ahead_lines(self.ahead.iter_rows(named=True)),
        )
        differs = self.evidence.second.differs
        if not differs:
            return doubts
        names = ", ".join(FACTOR_LABELS.get(name, SECOND_CURVE).lower() for name in differs)
        return (SECOND_FIT_DIFFERS.format(quantities=names), *doubts)

    @property
    def assessed(self) -> tuple[HullSheet, ...]:
        """The hulls with a rank."""
        return tuple(sheet for sheet in self.hulls if sheet.call["rank"] is not None)

    @property
    def not_assessed(self) -> tuple[HullSheet, ...]:
        """The hulls the record does not carry an answer for."""
        return tuple(sheet for sheet in self.hulls if sheet.call["rank"] is None)


def make_week_report(
    *,
    as_of: datetime,
    is_demo: bool,
    records: Mapping[str, pl.DataFrame],
    exposure: pl.DataFrame,
    bench: pl.DataFrame,
    record_quality: pl.DataFrame,
    tables: WeekTables,
    fits: FleetFits,
    evidence: FleetEvidence,
    row_accounting: pl.DataFrame,
    versions: Mapping[str, str],
    assumptions: Assumptions,
    decisions: WeekDecisions,
    past: pl.DataFrame | None = None,
    season_ends_at: datetime | None = None,
    manner: Manner = DEFAULT_MANNER,
    restated: Restated | None = None,
    waivers: pl.DataFrame | None = None,
    ahead: pl.DataFrame | None = None,
) -> WeekReport:
    """The report of one week, from what was known at `as_of`.

    Args:
        as_of: the instant the report speaks of, UTC.
        is_demo: the records are invented; every page then says so.
        records: the record frames by kind (`RECORD_KINDS`).
        exposure: `SessionExposure`.
        bench: `BenchVerdicts`.
        record_quality: `RecordQuality`.
        tables: as `make_week_tables` returns them.
        fits: as `fit_fleet` returns them.
        evidence: as `fleet_evidence` returns it.
        row_accounting: kind, rows_in, loaded, set_aside; a row per record kind.
        versions: what made the report, by name.
        assumptions: settings.
        decisions: as `make_week_decisions` returns them.
        past: `PastCalls` of earlier weeks; None: none is kept.
        season_ends_at: the season's last day; None: no chance to its end is given.
        manner: how the pages write their figures.
        restated: that the week is told with what was known later; None: as it was known.
        waivers: `SheetWaivers`; None: no line of a rebuild's sheet was let go.
        ahead: `WeeksAhead`; None: no earlier list is old enough.
    """
    calls = _by_hull(decisions.calls)
    chances = _by_hull(tables.chances)
    states = _by_hull(tables.running)
    recent = known_shares(exposure, as_of, assumptions)
    quality = _by_hull(record_quality.join(recent, on="hull_id", how="left"))
    fuel = _by_hull(fuel_burned(exposure, "hull_id", as_of, assumptions))
    at_hand = _by_hull(tables.at_hand)
    tests = latest_tests(bench).partition_by("engine_id", as_dict=True)
    with in_manner(manner):
        all_events = hull_events(records)
        released = release_lines(tables.standing, tables.sheets, waivers)
    events = all_events.partition_by("hull_id", as_dict=True)
    ran = exposure.sort("started_at").partition_by("hull_id", as_dict=True)
    lineage = recent_fills(records["fills"], exposure, assumptions).partition_by(
        "hull_id", as_dict=True
    )
    drivers = tables.drivers.partition_by("hull_id", as_dict=True)
    is_open = pl.col("state") == OPEN
    open_jobs = decisions.jobs.filter(is_open).partition_by("hull_id", as_dict=True)
    changed = tables.changed.sort("hull_id", "place").partition_by("hull_id", as_dict=True)
    no_tests = bench.clear()
    no_events = all_events.clear()
    no_fills = recent_fills(records["fills"].clear(), exposure.clear(), assumptions)
    sheets = []
    for hull_id, call in calls.items():
        state = states[hull_id]
        sheets.append(
            HullSheet(
                hull_id=hull_id,
                dock_id=str(state["dock_id"]),
                call=call,
                chance=chances[hull_id],
                state=state,
                drivers=tuple(drivers.get((hull_id,), tables.drivers.clear()).to_dicts()),
                quality=quality.get(hull_id, {}),
                fuel=fuel.get(hull_id, {}),
                at_hand=at_hand.get(hull_id, {}),
                tests=tests.get((state["engine_id"],), no_tests),
                exposure=ran.get((hull_id,), exposure.clear()),
                events=events.get((hull_id,), no_events),
                lineage=lineage.get((hull_id,), no_fills),
                released=tuple(released.get(state["engine_id"], ())),
                jobs=tuple(open_jobs.get((hull_id,), decisions.jobs.clear()).to_dicts()),
                changed=tuple(changed.get((hull_id,), tables.changed.clear()).to_dicts()),
            )
        )
    middle = tables.chances.select("chance_7d", "chance_30d").median().row(0, named=True)
    return WeekReport(
        as_of=as_of,
        is_demo=is_demo,
        hulls=tuple(sheets),
        dock_fuel=tables.dock_fuel,
        one_grade_docks=one_grade_docks(exposure, assumptions),
        fleet_middle=middle,
        prices=tables.prices,
        fits=fits,
        evidence=evidence,
        row_accounting=row_accounting,
        versions=dict(sorted(versions.items())),
        assumptions=assumptions,
        decisions=decisions,
        past=past,
        horizons=page_horizons(
            fits=fits,
            running=tables.running,
            chances=tables.chances,
            as_of=as_of,
            season_ends_at=season_ends_at,
            assumptions=assumptions,
        ),
        grades_aki=grades_sold(records["deliveries"], records["fills"], assumptions),
        manner=manner,
        restated=restated,
        ahead=WeeksAhead.create_empty() if ahead is None else ahead,
    )


def hulls_at(report: WeekReport, dock_id: str) -> list[Row]:
    """The rows of `FuelAtHand` of a dock's hulls."""
    return [sheet.at_hand for sheet in report.hulls if sheet.at_hand.get("dock_id") == dock_id]


def _by_hull(frame: pl.DataFrame) -> dict[str, Row]:
    return {str(row["hull_id"]): row for row in frame.iter_rows(named=True)}
