"""A small invented fleet as the frames this room is given, and its week's report."""

from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from functools import cache
from itertools import pairwise
from typing import Any

import numpy as np
import polars as pl

from ringland.contracts.fuel_tables import CurrentExposure, SessionExposure, Spells, TanksNow
from ringland.contracts.record_tables import BenchVerdicts, PistonLives, RecordQuality
from ringland.decision.actions.catalogue_file import default_catalogue
from ringland.decision.value.fuel_beliefs import shop_hazard
from ringland.decision.value.what_if import choices, what_ifs
from ringland.decision.week_decisions import (
    WeekDecisions,
    default_limits,
    make_week_decisions,
)
from ringland.decision.week_tables import WeekTables, make_week_tables
from ringland.pages.week.past_calls import past_calls
from ringland.pages.week.week_report import WeekReport, make_week_report
from ringland.risk.fleet_evidence import fleet_evidence
from ringland.risk.fleet_hazard import FleetFits, fit_fleet
from ringland.settings.assumptions import load_assumptions
from tests.history.record_rows import records

AS_OF = datetime(2026, 8, 3, 6, tzinfo=UTC)
START = AS_OF - timedelta(days=120)
SETTINGS = load_assumptions().changed(survival__draws=200)
CATALOGUE = default_catalogue(SETTINGS)
SEASON_ENDS = AS_OF + timedelta(days=60)
NEED_AKI = 91.0
DOCK_AKI = {"north": 91.5, "south": 88.0}


TABLE_ROW: dict[str, Any] = {
    "hull_id": "H1",
    "need_aki": NEED_AKI,
    "own_level_l": 40.0,
    "own_way": None,
    "dock_way": None,
    **{f"is_{whose}_{what}": False for whose in ("dock", "own") for what in ("short", "old")},
}
"""Of a row of `FuelAtHand` what a hull's state asks, where all is well."""


def frame(schema: Any, rows: list[dict[str, Any]]) -> pl.DataFrame:
    """Rows in a dataframely schema's types; columns not given are null."""
    types = {column: spec.dtype for column, spec in schema.columns().items()}
    return pl.DataFrame(rows, schema=types)


@dataclass(frozen=True)
class SmallFleet:
    """The frames, as the rooms before this one hand them on."""

    records: dict[str, pl.DataFrame]
    exposure: pl.DataFrame
    exposure_now: pl.DataFrame
    tanks: pl.DataFrame
    spells: pl.DataFrame
    lives: pl.DataFrame
    bench: pl.DataFrame
    quality: pl.DataFrame

    def fits(self) -> FleetFits:
        return fit_fleet(self.spells, SETTINGS, np.random.default_rng(5))

    def tables(self, fits: FleetFits) -> WeekTables:
        return make_week_tables(
            records=self.records,
            exposure=self.exposure,
            exposure_now=self.exposure_now,
            tanks=self.tanks,
            bench=self.bench,
            fits=fits,
            as_of=AS_OF,
            assumptions=SETTINGS,
        )

    def decisions(self, fits: FleetFits, **changed: Any) -> WeekDecisions:
        """What is decided for the week, with some arguments changed if asked."""
        arguments = {
            "tables": self.tables(fits),
            "fits": fits,
            "lives": self.lives,
            "catalogue": CATALOGUE,
            "limits": default_limits(CATALOGUE, SETTINGS),
            "as_of": AS_OF,
            "season_ends_at": SEASON_ENDS,
            "assumptions": SETTINGS,
            "rng": np.random.default_rng(11),
        }
        return make_week_decisions(**(arguments | changed))

    def what_ifs(self, report: WeekReport) -> pl.DataFrame:
        """The answers for a report's pages."""
        tables = self.tables(report.fits)
        hazard = shop_hazard(report.fits, tables.running, report.decisions.horizon_d, SETTINGS)
        assert hazard is not None
        return what_ifs(
            tables.running,
            tables.chances,
            tables.at_hand,
            hazard,
            choices=choices(report.catalogue),
            grades_aki=report.grades_aki,
            prices=tables.prices,
            assumptions=SETTINGS,
        )

    def report(
        self,
        *,
        is_demo: bool = True,
        earlier: bool = True,
        waivers: pl.DataFrame | None = None,
        **changed: Any,
    ) -> WeekReport:
        """The week's report; with two earlier weeks' calls if asked.

        `changed` are arguments of `make_week_decisions`, `fits` among them.
        """
        fits = changed.pop("fits", None) or self.fits()
        tables = changed.get("tables") or self.tables(fits)
        decisions = self.decisions(fits, **changed)
        return make_week_report(
            as_of=AS_OF,
            is_demo=is_demo,
            records=self.records,
            exposure=self.exposure,
            bench=self.bench,
            record_quality=self.quality,
            tables=tables,
            fits=fits,
            evidence=fleet_evidence(self.lives, self.spells, fits, SETTINGS),
            row_accounting=pl.DataFrame(
                {"kind": ["fills"], "rows_in": [120], "loaded": [118], "set_aside": [2]}
            ),
            versions={"ringland": "test", "records": "none"},
            assumptions=SETTINGS,
            decisions=decisions,
            past=earlier_weeks(decisions.calls, tables.chances) if earlier else None,
            season_ends_at=SEASON_ENDS,
            waivers=waivers,
        )


def earlier_weeks(calls: pl.DataFrame, chances: pl.DataFrame) -> pl.DataFrame:
    """Calls of two and of one week before: all rented as normal, half the chance of now."""
    calls = calls.with_columns(call=pl.lit("rent_as_normal"), action=pl.lit("nothing"))
    chances = chances.with_columns(pl.col("chance_30d") / 2)
    return past_calls({AS_OF - timedelta(weeks=k): (calls, chances) for k in (2, 1)})


@cache
def small_fleet(n_hulls: int = 12, seed: int = 7, names: tuple[str, ...] = ()) -> SmallFleet:
    """A fleet on two docks; half its hulls burn fuel below need, and fail more often.

    The first hull's engine broke and was not rebuilt; the second hull has no engine; the
    third has most of its fuel off the record.
    """
    rng = np.random.default_rng(seed)
    hull_ids = [*names, *(f"H{number:02d}" for number in range(len(names), n_hulls))]
    docks = [("north", "south")[number % 2] for number in range(n_hulls)]
    rows: dict[str, list[dict[str, Any]]] = {name: [] for name in ("spells", "lives", "now")}
    sessions, quality, bench = [], [], []
    for number, (hull_id, dock_id) in enumerate(zip(hull_ids, docks, strict=True)):
        engine_id, is_forged = f"E{number}", number % 3 == 0
        short = max(0.0, NEED_AKI - DOCK_AKI[dock_id])
        for build in range(1, 4):
            spells, mode = _life(rng, short, is_forged, running=build == 3)
            ids = {
                "piston_set_id": f"P{number}-{build}",
                "engine_id": engine_id,
                "hull_id": hull_id,
                "dock_id": dock_id,
            }
            fixed = {"is_raised_calibration": number % 4 == 1, "build_number": build}
            rows["spells"] += [ids | fixed | spell for spell in spells]
            rows["lives"].append(
                ids
                | {
                    "piston_type": "forged" if is_forged else "cast",
                    "supplier_grade": "original",
                    "build_number": build,
                    "fitted_at": START,
                    "entry_h": 0.0,
                    "exit_h": spells[-1]["stop_h"],
                    "state": "failed" if mode else "running" if build == 3 else "withdrawn",
                    "mode": mode,
                }
            )
            if build == 3:
                known = 0.2 if number == 2 else 0.95
                rows["now"].append(
                    ids
                    | fixed
                    | {key: value for key, value in spells[-1].items() if key in _COVARIATES}
                    | {
                        "age_h": spells[-1]["stop_h"],
                        "last_session_at": AS_OF - timedelta(days=1),
                        "known_share_25h": known,
                    }
                )
        sessions += _sessions(rng, ids, number)
        quality.append(
            {
                "hull_id": hull_id,
                "engine_id": engine_id,
                "days_since_session": 1.0,
                "on_meter_share": 0.9,
                "has_bench_test": number % 2 == 0,
                "has_calibration": True,
            }
        )
        bench += [_compression(engine_id, cylinder, number) for cylinder in (1, 2, 3)]
    types = {column: spec.dtype for column, spec in Spells.columns().items()}
    return SmallFleet(
        records=_records(hull_ids, docks),
        exposure=SessionExposure.validate(frame(SessionExposure, sessions)),
        exposure_now=CurrentExposure.validate(frame(CurrentExposure, rows["now"])),
        tanks=TanksNow.validate(frame(TanksNow, _tanks(hull_ids, docks))),
        spells=Spells.validate(pl.DataFrame(rows["spells"], schema=types)),
        lives=PistonLives.validate(frame(PistonLives, rows["lives"])),
        bench=BenchVerdicts.validate(frame(BenchVerdicts, bench)),
        quality=RecordQuality.validate(frame(RecordQuality, quality)),
    )


_COVARIATES = set(CurrentExposure.column_names())


def _life(
    rng: np.random.Generator, short: float, is_forged: bool, *, running: bool
) -> tuple[list[dict[str, Any]], str | None]:
    """Spells of 10 h up to a Weibull failure (shape 1.5, 600 h, times 1.6 per octane number)."""
    scale = 600.0 / 1.6 ** (short / 1.5)
    fails_at = float(scale * rng.weibull(1.5))
    ends_at = float(rng.uniform(60, 250)) if running else min(fails_at, 300.0)
    edges = [*np.arange(0.0, ends_at, 10.0).tolist(), ends_at]
    spells = []
    for start, stop in pairwise(edges):
        fell_short = max(0.0, short + float(rng.normal(0, 0.4))) if short else 0.0
        spells.append(
            {
                "start_h": start,
                "stop_h": stop,
                "start_at": START,
                "stop_at": AS_OF,
                "mode": None,
                "shortfall_25h_on": fell_short,
                "shortfall_25h_low_on": max(0.0, fell_short - 0.5),
                "shortfall_25h_high_on": fell_short + 0.5,
                "shortfall_life_onh": fell_short * start / 4,
                "fuel_age_25h_d": float(rng.uniform(2, 30)),
                "share_over_28d_25h": 0.1,
                "full_throttle_25h": float(rng.uniform(0.15, 0.4)),
                "is_forged": is_forged,
                "known_share_25h": 0.95,
            }
        )
    mode = None
    if not running and fails_at <= 300.0:
        mode = "ring_wear" if rng.random() < 0.2 else "ring_land_fracture"
        spells[-1]["mode"] = mode
    return spells, mode


def _sessions(rng: np.random.Generator, ids: dict[str, str], number: int) -> list[dict[str, Any]]:
    rows, hours = [], 0.0
    for day in range(110):
        started = AS_OF - timedelta(days=112 - day, hours=-4)
        if started >= AS_OF - timedelta(days=1) or rng.random() < 0.3:
            continue
        run_h = float(rng.uniform(0.4, 1.5))
        octane = DOCK_AKI[ids["dock_id"]] + float(rng.normal(0, 0.3))
        is_unknown = number == 2 and day > 60
        margin = octane - NEED_AKI
        rows.append(
            ids
            | {
                "started_at": started,
                "ended_at": started + timedelta(hours=2),
                "engine_h_start": hours,
                "engine_h_stop": hours + run_h,
                "set_h_start": hours,
                "set_h_stop": hours + run_h,
                "burn_l": run_h * 35,
                "octane_aki": None if is_unknown else octane,
                "octane_need_aki": NEED_AKI,
                "octane_margin_on": None if is_unknown else margin,
                "shortfall_on": None if is_unknown else max(0.0, -margin),
                "hard_running_h": run_h * 0.25,
                "full_throttle_share": 0.25,
                "is_throttle_assumed": day % 5 == 0,
                "fuel_age_d": float(rng.uniform(1, 35)),
                "share_over_14d": 0.3,
                "share_over_28d": 0.1,
                "unknown_share": 0.8 if is_unknown else 0.05,
                "calibration": "stock",
            }
        )
        hours += run_h
    return rows


def _compression(engine_id: str, cylinder: int, number: int) -> dict[str, Any]:
    is_low = number == 4 and cylinder == 3
    return {
        "engine_id": engine_id,
        "inspected_at": AS_OF - timedelta(days=40),
        "measure": "compression",
        "cylinder": cylinder,
        "state": "measured",
        "value": 700.0 if is_low else 900.0,
        "unit": "kPa",
        "standard_value": 700.0 if is_low else 900.0,
        "standard_unit": "kPa",
        "verdict": "fail" if is_low else "pass",
        "reason": "78% of the highest cylinder" if is_low else "100% of the highest cylinder",
        "judged_value": 0.78 if is_low else 1.0,
        "judged_unit": "share",
        "limit": 0.9,
        "is_limit_least": True,
        "mark": "S",
    }


def _tanks(hull_ids: list[str], docks: list[str]) -> list[dict[str, Any]]:
    """Fresh fuel as labelled, give or take half a number, in every tank."""
    places = [(dock, "dock", dock, 1500.0) for dock in DOCK_AKI]
    places += [(hull, "hull", dock, 40.0) for hull, dock in zip(hull_ids, docks, strict=True)]
    return [
        {
            "tank": tank,
            "kind": kind,
            "level_l": level,
            "octane_aki": DOCK_AKI[dock],
            "octane_low_aki": DOCK_AKI[dock] - 0.5,
            "octane_high_aki": DOCK_AKI[dock] + 0.5,
            "fuel_age_d": 9.0,
            "unknown_share": 0.0,
        }
        for tank, kind, dock, level in places
    ]


def _records(hull_ids: list[str], docks: list[str]) -> dict[str, pl.DataFrame]:
    engines = [f"E{number}" for number in range(len(hull_ids))]
    return records(
        docks=[{"dock_id": dock, "time_zone": "UTC"} for dock in DOCK_AKI],
        hulls=[
            {"hull_id": hull, "dock_id": dock, "tank_l": 70.0, "in_service_at": START}
            for hull, dock in zip(hull_ids, docks, strict=True)
        ],
        installations=[
            {"engine_id": engine, "hull_id": hull, "installed_at": START}
            for number, (engine, hull) in enumerate(zip(engines, hull_ids, strict=True))
            if number != 1
        ],
        piston_sets=[
            {
                "piston_set_id": f"P{number}-3",
                "engine_id": engine,
                "fitted_at": START,
                "piston_type": "cast",
                "reason": "planned",
            }
            for number, engine in enumerate(engines)
        ],
        calibrations=[
            {
                "engine_id": engine,
                "in_force_at": START,
                "calibration": "stock",
                "octane_need_aki": NEED_AKI,
            }
            for engine in engines
        ],
        failures=[
            {
                "engine_id": "E0",
                "found_at": AS_OF - timedelta(days=3),
                "mode": "ring_land_fracture",
                "how_found": "ran_to_failure",
            }
        ],
        fills=[
            {
                "hull_id": hull,
                "filled_at": AS_OF - timedelta(days=day),
                "volume_l": 45.0,
                "source": "dock",
                "source_dock_id": dock,
            }
            for hull, dock in zip(hull_ids, docks, strict=True)
            for day in range(2, 60, 3)
        ],
        deliveries=[
            {
                "dock_id": dock,
                "delivered_at": AS_OF - timedelta(days=9),
                "volume_l": 2000.0,
                "octane_aki": octane,
            }
            for dock, octane in DOCK_AKI.items()
        ],
    )


def with_settings(fleet: SmallFleet, **frames: Any) -> SmallFleet:
    """The fleet with some of its frames replaced."""
    return replace(fleet, **frames)
