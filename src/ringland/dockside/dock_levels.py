"""What is left in the docks' tanks now: litres, grade and age, and what is not known of them.

The newest list's ledger says what stood in a tank when it was made; what was written down since
is added and taken off.  A dip or an emptied tank is known better than any sum and begins anew.
The ledger tells of a dock as a whole, so that where a dock has several tanks only dips say what
is in each.  Grades blend by volume, as everywhere (`ringland.fuel.octane`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import Any

import polars as pl

from ringland.dockside.ground import Ground
from ringland.dockside.tank_words import LEAST_L, TankLevel
from ringland.fuel.dock_grades import delivered_into, drawn_from, tank_named, tanks_of
from ringland.settings.assumptions import Assumptions
from ringland.words.number_words import count_text, day_text, quantity_text

_DAY = timedelta(days=1)
_Events = dict[int, list[tuple[datetime, int, dict[str, Any]]]]
_DRAW, _OUT, _DELIVERY, _TEST, _DIP = range(5)
"""The order in which what happened at one instant is taken: a dip saw all of it."""
_SHOWN = ("volume_l", "level_l", "octane_aki", "octane_low_aki", "octane_best_aki",
          "octane_high_aki")  # fmt: skip
"""What of an event is gone by."""


@dataclass
class _Tank:
    """A tank while its events are gone through; `born` is when its fuel was fresh, on average."""

    dock_id: str
    tank_id: str | None
    tank_l: float | None
    level_l: float | None = None
    octane: tuple[float, float, float] | None = None
    unknown_share: float = 1.0
    born: datetime | None = None
    since: str = ""
    changes: int = 0
    doubts: list[str] = field(default_factory=list)

    def begin(self, level_l: float, since: str) -> None:
        self.level_l, self.since, self.changes = level_l, since, 0

    def pour(
        self, volume_l: float, octane: tuple[float, float, float] | None, born: datetime | None
    ) -> None:
        had = self.level_l or 0.0
        whole = had + volume_l
        known, known_new = had * (1 - self.unknown_share), volume_l if octane else 0.0
        if octane and self.octane and known > 0:
            total = known + known_new
            mixed = [
                (old * known + new * known_new) / total
                for old, new in zip(self.octane, octane, strict=True)
            ]
            self.octane = (mixed[0], mixed[1], mixed[2])
        elif octane:
            self.octane = octane
        self.unknown_share = 1 - (known + known_new) / whole if whole > 0 else 1.0
        if born and (self.born is None or had < LEAST_L):
            self.born = born
        elif born and self.born and whole > 0:
            self.born += (born - self.born) * (volume_l / whole)
        if self.level_l is not None:
            self.level_l = whole


def tank_levels(
    ground: Ground, dock_fuel: pl.DataFrame | None, as_of: datetime | None, now: datetime,
    settings: Assumptions,
) -> list[TankLevel]:  # fmt: skip
    """Every tank that had a delivery, by dock and name.

    Args:
        ground: the records, those that wait among them.
        dock_fuel: the newest list's: dock_id, level_l, octane_aki with its bounds, unknown_share,
            fuel_age_now_d; None: there is no list.
        as_of: up to when that list knew the records.
        now: what happens later is left out.
        settings: of fuel and octane.
    """
    records = ground.entered
    tanks = tanks_of(records, settings)
    found = {
        row["tank"]: _Tank(row["dock_id"], row["tank_id"], row["tank_l"])
        for row in tanks.iter_rows(named=True)
    }
    alone = tanks.filter(pl.len().over("dock_id") == 1)
    listed = {} if dock_fuel is None else {row["dock_id"]: row for row in dock_fuel.to_dicts()}
    begun: dict[int, datetime] = {}
    for number, dock in alone.select("tank", "dock_id").iter_rows():
        row = listed.get(dock)
        if row is not None and as_of is not None and row["level_l"] is not None:
            _as_listed(found[number], row, as_of)
            begun[number] = as_of
    events, open_l = _events(records, tanks, begun, now, settings)
    wet = _wet(records, tanks, now)
    fresh = timedelta(days=settings.number("fuel.delivery_age_d"))
    for number, tank in found.items():
        for at, kind, row in sorted(events.get(number, []), key=lambda one: one[:2]):
            _happens(tank, at, kind, row, fresh)
        if number in wet:
            tank.doubts.insert(
                0,
                f"water was found in it on {day_text(wet[number])}: do not fill "
                f"from it before it is emptied or tested again",
            )
        if litres := open_l.get(tank.dock_id):
            drawn = quantity_text(litres, "l")
            tank.doubts.append(f"{drawn} were drawn at this dock from a tank nobody named")
    return [_told(tank, now, settings) for tank in found.values()]


def _as_listed(tank: _Tank, row: Mapping[str, Any], as_of: datetime) -> None:
    tank.begin(row["level_l"], f"reckoned by the list as of {day_text(as_of)}")
    edges = row["octane_low_aki"], row["octane_aki"], row["octane_high_aki"]
    tank.octane = None if None in edges else edges
    tank.unknown_share = row["unknown_share"] if tank.octane else 1.0
    age = row["fuel_age_now_d"]
    tank.born = None if age is None else as_of - age * _DAY


def _events(
    records: Mapping[str, pl.DataFrame],
    tanks: pl.DataFrame,
    begun: Mapping[int, datetime],
    now: datetime,
    settings: Assumptions,
) -> tuple[_Events, dict[str, float]]:
    """What happened to each tank that its beginning does not count, and by dock litres drawn
    from none that was named.
    """
    begins = pl.DataFrame(
        {"tank": list(begun), "_begun": list(begun.values())},
        schema={"tank": pl.Int64, "_begun": pl.Datetime("us", "UTC")},
    )
    tests = records["fuel_tests"].filter(pl.col("dock_id").is_not_null())
    dips = records["dips"].filter(pl.col("dock_id").is_not_null())
    out, dips = tank_named(records["pump_outs"], tanks), tank_named(dips, tanks)
    seen = pl.concat(
        [
            dips.select("tank", _seen="dipped_at"),
            out.filter(pl.col("volume_l").is_null()).select("tank", _seen="pumped_at"),
        ]
    )
    begins = (
        seen.filter(pl.col("_seen") <= now)
        .group_by("tank", maintain_order=True)
        .agg(pl.col("_seen").max())
        .join(begins, on="tank", how="full", coalesce=True)
    )
    drawn = _drawn_since(begins, records, tanks, settings)
    told = (
        (_DRAW, drawn.filter(pl.col("tank").is_not_null()), "at"),
        (_OUT, out, "pumped_at"),
        (_DELIVERY, delivered_into(records, tanks, settings), "delivered_at"),
        (_TEST, tank_named(tests, tanks), "tested_at"),
        (_DIP, dips, "dipped_at"),
    )
    events: _Events = {}
    for kind, rows, at in told:
        known = pl.max_horizontal(at, "recorded_at")
        late = rows.join(begins, on="tank", how="left", maintain_order="left").filter(
            pl.col(at) <= now, pl.col("_begun").is_null() | (known > pl.col("_begun"))
        )
        if kind in (_DIP, _TEST):  # one of before says nothing of what came after it
            late = late.filter(pl.col("_begun").is_null() | (pl.col(at) > pl.col("_begun")))
        if kind == _DRAW:  # of a level that nothing says, none can be taken off
            late = late.filter(pl.col("_begun").is_not_null() | (pl.col("at") >= pl.col("_seen")))
        shown = [name for name in _SHOWN if name in late.columns]
        for row in late.select("tank", at, *shown).iter_rows(named=True):
            events.setdefault(row["tank"], []).append((row[at], kind, row))
    last = max(begun.values(), default=None)
    unnamed = drawn.filter(pl.col("is_open"), pl.col("at") <= now)
    if last is not None:
        unnamed = unnamed.filter(pl.col("at") > last)
    by_dock = unnamed.group_by("dock_id", maintain_order=True).agg(pl.col("volume_l").sum())
    return events, dict(by_dock.iter_rows())


def _drawn_since(
    begins: pl.DataFrame,
    records: Mapping[str, pl.DataFrame],
    tanks: pl.DataFrame,
    settings: Assumptions,
) -> pl.DataFrame:
    """`drawn_from` with when it was known; with a list, without the years before it."""
    fills = records["fills"]
    if begins["_begun"].is_not_null().any():
        first = begins.select(pl.min_horizontal("_begun", "_seen").min()).item()
        fills = fills.filter(pl.max_horizontal("filled_at", "recorded_at") >= first)
    return drawn_from({**records, "fills": fills}, tanks, settings).join(
        fills.with_row_index("fill_row").select("fill_row", "recorded_at"),
        on="fill_row", maintain_order="left",
    )  # fmt: skip


def _wet(
    records: Mapping[str, pl.DataFrame], tanks: pl.DataFrame, now: datetime
) -> dict[int, datetime]:
    """When water was found last in each tank that was neither emptied nor tested dry since."""
    emptied = tank_named(records["pump_outs"].filter(pl.col("volume_l").is_null()), tanks)
    tests = records["fuel_tests"].filter(pl.col("dock_id").is_not_null())
    told = pl.concat(
        [
            tank_named(tests, tanks).select("tank", "has_water", at="tested_at"),
            emptied.select("tank", pl.lit(value=False).alias("has_water"), at="pumped_at"),
        ]
    ).filter(pl.col("at") <= now, pl.col("has_water").is_not_null())
    last = told.sort("at", "has_water").unique("tank", keep="last")
    return dict(last.filter("has_water").select("tank", "at").iter_rows())


def _happens(
    tank: _Tank, at: datetime, kind: int, row: Mapping[str, Any], fresh: timedelta
) -> None:
    tank.changes += 1
    if kind == _DELIVERY:
        edges = tuple(row[f"octane_{edge}_aki"] for edge in ("low", "best", "high"))
        octane = None if None in edges else (edges[0], edges[1], edges[2])
        if tank.level_l is None:  # all that is known is what came last
            tank.octane, tank.unknown_share, tank.born = octane, float(octane is None), at - fresh
            litres = quantity_text(row["volume_l"], "l")
            tank.since = f"its last delivery, {litres} on {day_text(at)}"
        else:
            tank.pour(row["volume_l"], octane, at - fresh)
            _full(tank)
    elif kind == _DIP:
        _dipped(tank, row["level_l"], at)
    elif kind == _TEST:
        if row["octane_aki"] is not None:
            tank.octane, tank.unknown_share = (row["octane_aki"],) * 3, 0.0
    elif kind == _OUT and row["volume_l"] is None:
        tank.begin(0.0, f"emptied on {day_text(at)}")
        tank.octane, tank.unknown_share, tank.born = None, 1.0, None
        tank.doubts = []
    elif tank.level_l is not None:
        tank.level_l -= row["volume_l"]
        if tank.level_l < -LEAST_L:
            _doubt(tank, "more was drawn than it held, so that a delivery is not written down")
        tank.level_l = max(tank.level_l, 0.0)


def _dipped(tank: _Tank, level_l: float, at: datetime) -> None:
    more = level_l - (tank.level_l or 0.0)
    if tank.level_l is not None and more > LEAST_L:
        tank.pour(more, None, None)  # it came from somewhere, and nobody wrote down what it was
    tank.begin(level_l, f"dipped on {day_text(at)}")
    tank.doubts = []


def _full(tank: _Tank) -> None:
    if tank.tank_l is not None and tank.level_l is not None and tank.level_l > tank.tank_l:
        holds = quantity_text(tank.tank_l, "l")
        _doubt(tank, f"more went in than its {holds}, so that draws are not written down")
        tank.level_l = tank.tank_l


def _doubt(tank: _Tank, words: str) -> None:
    if words not in tank.doubts:
        tank.doubts.append(words)


def _told(tank: _Tank, now: datetime, settings: Assumptions) -> TankLevel:
    age_d = None if tank.born is None else max((now - tank.born) / _DAY, 0.0)
    level = TankLevel(
        tank.dock_id,
        tank.tank_id,
        tank.level_l,
        unknown_share=tank.unknown_share,
        age_d=age_d,
        since=tank.since,
        doubts=tuple(tank.doubts),
        turn=_turn(age_d, settings),
    )
    if tank.level_l is not None and tank.changes:
        came = count_text(tank.changes, "record")
        level = replace(level, since=f"{tank.since}, with {came} since")
    if tank.octane is None or tank.unknown_share > 1 - 1e-9:
        return level
    low, best, high = tank.octane
    return replace(level, aki=best, aki_low=low, aki_high=high)


def _turn(age_d: float | None, settings: Assumptions) -> str:
    if age_d is None:
        return ""
    if age_d > settings.number("fuel.old_after_d"):
        return "old fuel"
    return "it begins to turn" if age_d > settings.number("fuel.turns_after_d") else ""
