"""Alerts: what a record of late means for a hull before anybody rents it again.

Each is told by the same rules as the week's list: a failed test as long as it stands, a failure
until a rebuild, fuel below what the calibration needs until the tank is drained.  What a
correction took back, or a later record answered, is no alert any more; fuel that the newest list
knew of is none either, for that list weighed it with all else in the tank and says what to do.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import polars as pl

from ringland.bench.bench_station import station_pressures
from ringland.bench.bench_tests import judge_bench_tests
from ringland.bench.standing_tests import standing_failures
from ringland.contracts.record_kinds import CORRECTIONS
from ringland.dockside.ground import Ground
from ringland.dockside.kept_parts import KeptParts
from ringland.fuel.octane import with_aki
from ringland.history.known_then import known_by
from ringland.settings.assumptions import Assumptions
from ringland.words.fixed_words import MEASURE_LABELS, MODE_LABELS
from ringland.words.number_words import day_text, number_text

Records = Mapping[str, pl.DataFrame]
_OF_TESTS = ("inspections", "installations", "hulls", "docks", "engines", "piston_sets",
             "rebuilds", "releases")  # fmt: skip
_OF_FUEL = ("fills", "deliveries", "installations", "calibrations", "drains")


@dataclass(frozen=True)
class Alert:
    """One alert about a hull.

    `id` is the same for the same cause, however often it is worked out; `at` is when it came
    about; `words` say what and what to do first.
    """

    id: str
    at: datetime
    hull_id: str
    words: str


def alerts(
    ground: Ground,
    since: datetime,
    now: datetime,
    settings: Assumptions,
    limits: Assumptions,
    *,
    listed: datetime | None = None,
    kept: KeptParts | None = None,
) -> list[Alert]:
    """The alerts that came about since an instant and still hold, oldest first.

    Args:
        ground: the records.
        since: events before it are left out.
        now: the instant spoken of; what is dated later is left out.
        settings: by which RON and MON are read as AKI.
        limits: of the bench tests.
        listed: by when the newest list knew the records; None: there is no list.
        kept: parts worked out before of records that may be the same; None: there are none.
    """
    records, kept = ground.entered, kept or KeptParts()
    failed_tests = kept.of(
        "failed tests", ground, _OF_TESTS, now, lambda: _failed_tests(records, since, now, limits)
    )
    found = [
        *failed_tests,
        *_failures(records, since),
        *_weak_fuel(ground, since, now, settings, listed),
        *_wet_fuel(records, since),
    ]
    held = {one.id: one for one in found if since <= one.at <= now}
    return sorted(held.values(), key=lambda one: (one.at, one.id))


def _failed_tests(
    records: Records, since: datetime, now: datetime, limits: Assumptions
) -> list[Alert]:
    tested = records["inspections"].filter(pl.col("inspected_at").is_between(since, now))
    engines = tested["engine_id"].unique().implode()
    known = records["inspections"].filter(
        pl.col("engine_id").is_in(engines) & (pl.col("inspected_at") <= now)
    )
    if known.is_empty():
        return []
    air = station_pressures(known, records["installations"], records["hulls"], records["docks"])
    bench = judge_bench_tests(known, records["engines"], air, limits)
    standing = standing_failures(bench, records, now).filter(pl.col("released_by").is_null())
    with_hull = _hull_of(standing.rename({"failed_at": "at"}), records)
    return [
        Alert(
            f"test; {row['engine_id']}; {row['measure']}; {row['at'].isoformat()}",
            row["at"],
            row["hull_id"],
            f"{MEASURE_LABELS[row['measure']]} failed on engine {row['engine_id']}"
            f"{_cylinder(row['cylinder'])}: {row['reason']}. Do not rent it until a complete test "
            f"passes or somebody releases it by name.",
        )
        for row in with_hull.iter_rows(named=True)
    ]


def _cylinder(number: int | None) -> str:
    return "" if number is None else f", cylinder {number}"


def _failures(records: Records, since: datetime) -> list[Alert]:
    found = records["failures"].filter(pl.col("found_at") >= since)
    rebuilt = records["rebuilds"].select("engine_id", "rebuilt_at")
    answered = found.join(rebuilt, on="engine_id").filter(pl.col("rebuilt_at") > pl.col("found_at"))
    key = ["engine_id", "found_at", "mode"]
    still = found.join(answered, on=key, how="anti", maintain_order="left")
    return [
        Alert(
            f"failure; {row['engine_id']}; {row['mode']}; {row['at'].isoformat()}",
            row["at"],
            row["hull_id"],
            f"{MODE_LABELS[row['mode']]} found on engine {row['engine_id']}. Do not start or rent "
            f"it before it is opened, repaired and measured.",
        )
        for row in _hull_of(still.rename({"found_at": "at"}), records).iter_rows(named=True)
    ]


def _weak_fuel(
    ground: Ground, since: datetime, now: datetime, settings: Assumptions, listed: datetime | None
) -> list[Alert]:
    """Fills whose grade is below the need of the calibration in force then, one alert a tank.

    Further fills of that grade are the same alert until the tank is drained.  A tank with no
    fill but such as the newest list knew to be weak is left to that list.
    """
    weak = _weak_fills(ground.entered, since, now, settings)
    if weak.is_empty():
        return []
    known = weak.clear() if listed is None else _known_weak(ground, weak, since, listed, settings)
    as_known = ["hull_id", "filled_at", "aki", "octane_need_aki"]
    is_new = weak.join(known, on=as_known, how="anti", nulls_equal=True)
    one_tank = ["hull_id", "engine_id", "calibration", "octane_need_aki", "_emptied_at"]
    weak, is_new = (rows.with_columns(pl.col("aki").round(1)) for rows in (weak, is_new))
    at = pl.col("filled_at")
    tanks = (
        weak.join(is_new, on=[*one_tank, "aki"], how="semi", nulls_equal=True)
        .group_by(*one_tank, "aki", maintain_order=True)
        .agg(first_at=at.min(), at=at.max(), fills=pl.len())
    )
    return [
        Alert(
            f"fuel; {row['hull_id']}; {row['calibration']}; {row['aki']}; {row['_emptied_at']}",
            row["at"],
            row["hull_id"],
            f"{number_text(row['aki'])} AKI was filled{_times(row)}; the {row['calibration']} "
            f"calibration of engine {row['engine_id']} needs "
            f"{number_text(row['octane_need_aki'])}. No full throttle; drain it, or ask the shop, "
            f"before it is rented.",
        )
        for row in tanks.iter_rows(named=True)
    ]


def _known_weak(
    ground: Ground, weak: pl.DataFrame, since: datetime, listed: datetime, settings: Assumptions
) -> pl.DataFrame:
    """The fills of these hulls that were weak by what was known when the list was made."""
    of_these = pl.col("hull_id").is_in(weak["hull_id"].unique().implode())
    told = {name: ground.records[name] for name in (*_OF_FUEL, CORRECTIONS.name)}
    told["fills"] = told["fills"].filter(of_these & (pl.col("filled_at") >= since))
    return _weak_fills(known_by(told, listed), since, listed, settings)


def _weak_fills(
    records: Records, since: datetime, now: datetime, settings: Assumptions
) -> pl.DataFrame:
    """Fills below the need of the calibration in force then, their tank not drained since.

    A fill from a dock's tank without a grade of its own counts as that dock's last delivery.
    """
    fills = records["fills"].filter(pl.col("filled_at").is_between(since, now)).sort("filled_at")
    grades = with_aki(records["deliveries"], settings).select(
        "delivered_at", source_dock_id="dock_id", _dock_aki="octane_best_aki"
    )
    sits = records["installations"].select("hull_id", "engine_id", "installed_at", "removed_at")
    tuned = records["calibrations"].select(
        "engine_id", "in_force_at", "calibration", "octane_need_aki"
    )
    emptied = (
        _emptied(records)
        .group_by("hull_id", maintain_order=True)
        .agg(_emptied_at=pl.col("drained_at").max())
    )
    rows = (
        with_aki(fills, settings)
        .join_asof(grades.sort("delivered_at"), left_on="filled_at", right_on="delivered_at",
                   by="source_dock_id", check_sortedness=False)
        .with_columns(aki=pl.coalesce("octane_best_aki", "_dock_aki"))
        .join_asof(sits.sort("installed_at"), left_on="filled_at", right_on="installed_at",
                   by="hull_id", check_sortedness=False)
        .join_asof(tuned.sort("in_force_at"), left_on="filled_at", right_on="in_force_at",
                   by="engine_id", check_sortedness=False)
        .join(emptied, on="hull_id", how="left", maintain_order="left")
    )  # fmt: skip
    is_drained = (pl.col("_emptied_at") > pl.col("filled_at")).fill_null(value=False)
    return rows.filter((pl.col("aki") < pl.col("octane_need_aki")) & ~is_drained)


def _times(row: Mapping[str, Any]) -> str:
    if row["fills"] == 1:
        return ""
    return f" ({row['fills']} times since {day_text(row['first_at'])})"


def _wet_fuel(records: Records, since: datetime) -> list[Alert]:
    wet = records["fuel_tests"].filter(
        pl.col("has_water") & (pl.col("tested_at") >= since) & pl.col("hull_id").is_not_null()
    )
    gone = wet.join(_emptied(records), on="hull_id").filter(
        pl.col("drained_at") > pl.col("tested_at")
    )
    still = wet.join(gone, on=["hull_id", "tested_at"], how="anti", maintain_order="left")
    return [
        Alert(
            f"water; {row['hull_id']}; {row['tested_at'].isoformat()}",
            row["tested_at"],
            row["hull_id"],
            "Water was found in its fuel. Do not start it before the tank is drained.",
        )
        for row in still.iter_rows(named=True)
    ]


def _emptied(records: Records) -> pl.DataFrame:
    """When whole tanks were drained: what leaves a part of bad fuel in answers nothing."""
    return records["drains"].filter(pl.col("volume_l").is_null()).select("hull_id", "drained_at")


def _hull_of(rows: pl.DataFrame, records: Records) -> pl.DataFrame:
    """Rows of engines at an instant with the hull each sat in then, or sat in last."""
    sits = records["installations"].select("engine_id", "hull_id", "installed_at")
    return (
        rows.sort("at")
        .join_asof(sits.sort("installed_at"), left_on="at", right_on="installed_at",
                   by="engine_id", check_sortedness=False)
        .filter(pl.col("hull_id").is_not_null())
    )  # fmt: skip
