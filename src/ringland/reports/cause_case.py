"""All that belongs to one failure: its engine, openings, readings, record and rebuild sheet."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import datetime
from functools import cached_property
from typing import Any, NamedTuple

import polars as pl

from ringland.bench.bench_trends import reading_trends
from ringland.bench.build_lines import BuildTime
from ringland.bench.build_sheet import BuildSheet, readings_of_tests
from ringland.causes.cause_differential import CauseRanking, rank_causes
from ringland.causes.cause_findings import EngineFindings, engine_findings, opening_after
from ringland.causes.cause_learning import ShopMemory
from ringland.causes.cause_readings import with_readings
from ringland.causes.cause_record import CauseRecord, record_before_failure
from ringland.causes.cause_table import CauseTable
from ringland.causes.cause_trends import with_trends
from ringland.causes.fleet_record import FleetRecord
from ringland.contracts.build_records import BuildReadings
from ringland.decision.actions.action_prices import Prices
from ringland.rebuilds.rebuild_scope import RebuildBasis, RebuildSheet, propose_rebuild
from ringland.reports.evidence_lines import evidence_of_failure
from ringland.settings.assumptions import Assumptions
from ringland.survival.hazard.hazard_effects import FactorEffect


@dataclass(frozen=True)
class ShopRecord:
    """All the reports of one shop are made from, as known at `as_of`."""

    as_of: datetime
    is_demo: bool
    records: Mapping[str, pl.DataFrame]
    """Frames by record kind: docks, engines, installations, piston_sets, inspections, failures,
    teardowns, rebuilds, build_limits, build_readings."""
    lives: pl.DataFrame
    exposure: pl.DataFrame
    bench: pl.DataFrame
    """`BenchVerdicts` of all engines."""
    effects: Sequence[FactorEffect]
    """Of ring-land fracture; empty where no fit exists."""
    prices: Prices
    table: CauseTable
    limits: Assumptions
    assumptions: Assumptions
    photos: Mapping[str, bytes]
    """Photo files by name; those named in a teardown and not here are listed as missing."""
    versions: Mapping[str, str]

    @cached_property
    def openings(self) -> tuple[tuple[Mapping[str, Any], Opening], ...]:
        """Every failure on record, by time of finding, and its opening; made once for all."""
        failures = self.records["failures"].sort("found_at", "engine_id").to_dicts()
        return tuple((failure, opening_of(self, failure)) for failure in failures)

    @cached_property
    def _built(self) -> Mapping[object, pl.DataFrame]:
        entered = self.records["build_readings"].select(BuildReadings.column_names())
        rows = pl.concat([entered, readings_of_tests(self.records["inspections"])])
        parts = rows.partition_by("engine_id", as_dict=True)
        return {engine: part for (engine,), part in parts.items()} | {None: rows.clear()}

    def built(self, engine_id: str) -> pl.DataFrame:
        """An engine's `BuildReadings`: what was entered, then tests that accepted a build."""
        return self._built.get(engine_id, self._built[None])

    @cached_property
    def fleet(self) -> FleetRecord:
        """Lives and rentals as the failures look back on them; laid out once for all."""
        return FleetRecord.of(self.lives, self.exposure, self.assumptions)


@dataclass(frozen=True)
class Opening:
    """One failure as its engine was found and is to be rebuilt."""

    engine: Mapping[str, Any]
    life: Mapping[str, Any] | None
    rebuild: Mapping[str, Any] | None
    opened: pl.DataFrame
    entered: EngineFindings
    """What was entered and the trends from before, without what single readings show."""
    findings: EngineFindings
    before: pl.DataFrame
    trends: pl.DataFrame
    until_failure: pl.DataFrame
    """The readings of `before` that can speak of the time before the failure."""
    trends_until: pl.DataFrame
    from_readings: tuple[str, ...]
    sheet: RebuildSheet
    evidence: pl.DataFrame
    """Rows of the Evidence contract of this failure."""


@dataclass(frozen=True)
class FailureCase(Opening):
    """The same with what it speaks for, and what the record says."""

    ranking: CauseRanking
    record: CauseRecord


class FailureSheet(NamedTuple):
    """The rebuild sheet of a failure, and when the rebuild was finished; None: none on record."""

    engine_id: str
    found_at: datetime
    rebuilt_at: datetime | None
    build: BuildSheet


def failure_sheets(shop: ShopRecord) -> tuple[FailureSheet, ...]:
    """The sheet of every failure on record as its report tells it, by time of finding."""
    return tuple(
        FailureSheet(
            failure["engine_id"],
            failure["found_at"],
            None if opening.rebuild is None else opening.rebuild["rebuilt_at"],
            opening.sheet.build,
        )
        for failure, opening in shop.openings
    )


def failure_case(
    shop: ShopRecord, failure: Mapping[str, Any], opening: Opening, memory: ShopMemory
) -> FailureCase:
    """What the records hold of one failure, a row of the Failures contract, and its opening."""
    is_ring_land = failure["mode"] == "ring_land_fracture"
    cases = memory.cases(shop.table, (failure["engine_id"], failure["found_at"]))
    return FailureCase(
        **{field.name: getattr(opening, field.name) for field in fields(opening)},
        ranking=rank_causes(opening.findings, shop.table, cases),
        record=record_before_failure(
            opening.life,
            shop.fleet,
            shop.effects if is_ring_land else (),
            shop.assumptions,
        ),
    )


def opening_of(shop: ShopRecord, failure: Mapping[str, Any]) -> Opening:
    """What was found when the engine of a failure was opened, and the sheet that follows."""
    records, engine_id, found_at = shop.records, failure["engine_id"], failure["found_at"]
    not_on_record = dict.fromkeys(records["engines"].columns) | {"engine_id": engine_id}
    engine = _first(records["engines"].filter(pl.col("engine_id") == engine_id)) or not_on_record
    opened = opening_after(records["teardowns"], records["failures"], records["rebuilds"], failure)
    findings = engine_findings(opened, shop.table, engine_id, engine["cylinders"])
    life = _first(
        shop.lives.filter((pl.col("engine_id") == engine_id) & (pl.col("ended_at") == found_at))
    )
    next_failed = min(
        records["failures"].filter(
            (pl.col("engine_id") == engine_id) & (pl.col("found_at") > found_at)
        )["found_at"],
        default=None,
    )
    rebuild = _first(
        _until(records["rebuilds"], "rebuilt_at", next_failed)
        .filter((pl.col("engine_id") == engine_id) & (pl.col("rebuilt_at") >= found_at))
        .sort("rebuilt_at")
    )
    before = _before(shop, engine_id, life, next_failed, rebuild)
    sets = records["piston_sets"].filter(pl.col("fitted_at") <= found_at)
    trends = reading_trends(before, sets, shop.limits)
    until_failure = before.filter(pl.col("inspected_at") < found_at)
    trends_until = reading_trends(until_failure, sets, shop.limits)
    entered = with_trends(findings, trends, trends_until)
    findings, from_readings = with_readings(entered, before, found_at, shop.table)
    basis = RebuildBasis(
        engine,
        before,
        BuildTime(found_at, shop.as_of, altitude_of(records, life)),
        _until(shop.built(engine_id), "read_at", next_failed),
        records["build_limits"],
    )
    sheet = propose_rebuild(basis, failure["mode"], findings, shop.table)
    return Opening(
        engine=engine,
        life=life,
        rebuild=rebuild,
        opened=opened,
        entered=entered,
        findings=findings,
        before=before,
        trends=trends,
        until_failure=until_failure,
        trends_until=trends_until,
        from_readings=from_readings,
        sheet=sheet,
        evidence=evidence_of_failure(records["evidence"], failure, next_failed),
    )


def _before(
    shop: ShopRecord,
    engine_id: str,
    life: Mapping[str, Any] | None,
    next_failed: datetime | None,
    rebuild: Mapping[str, Any] | None,
) -> pl.DataFrame:
    """The engine's bench verdicts on this piston set, up to the work."""
    own = shop.bench.filter(pl.col("engine_id") == engine_id)
    # while no rebuild is on record, all that was measured since the failure is of the old set
    before = _until(own, "inspected_at", rebuild["rebuilt_at"] if rebuild else next_failed)
    if life is not None:
        # readings that accepted the build itself are of this set and stay
        before = before.filter(pl.col("inspected_at") >= life["fitted_at"])
    return before


def _until(rows: pl.DataFrame, column: str, end: datetime | None) -> pl.DataFrame:
    return rows if end is None else rows.filter(pl.col(column) < end)


def altitude_of(
    records: Mapping[str, pl.DataFrame], life: Mapping[str, Any] | None
) -> float | None:
    """Height of the dock the engine broke at, the nearest to a bench the record holds."""
    if life is None or "docks" not in records:
        return None
    dock = _first(records["docks"].filter(pl.col("dock_id") == life["dock_id"]))
    return None if dock is None else dock["altitude_m"]


def _first(rows: pl.DataFrame) -> dict[str, Any] | None:
    return rows.row(0, named=True) if rows.height else None
