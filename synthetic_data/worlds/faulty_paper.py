"""What of a day gets written down, and how wrongly: every row may be lost, late or garbled."""

from __future__ import annotations

from math import ceil

import numpy as np

from synthetic_data.worlds.fleet_state import FAMILIES, State
from synthetic_data.worlds.fuelling import Fill, Seen
from synthetic_data.worlds.record_book import Cell, RecordBook
from synthetic_data.worlds.world import (
    DELIVERED_PER_L,
    MINUTES_PER_DAY,
    OUTSIDE_PER_L,
    World,
    price_of,
)

FIRST_SLOT = 14 * 60
SLOT_MINUTES = 105
US_GALLON_L = 3.785
_SENSITIVITY = 10.0
_FRIDAY = 4


class FaultyPaper:
    """Writes a day's loads, fills, rides and readings into the book, faults and all."""

    def __init__(self, world: World, book: RecordBook, hull_ids: list[str]) -> None:
        self._world = world
        self._book = book
        self._hull_ids = hull_ids
        self._meters = [4001 + i for i in range(len(hull_ids))]

    def write_day(self, day: int, state: State, seen: Seen, rng: np.random.Generator) -> None:
        """All that happened on a day."""
        base = day * MINUTES_PER_DAY
        for dock, litres, label in seen.loads:
            self._load(base + 12 * 60 + dock, dock, litres, label, rng)
        for at, slot, litres in seen.drains:
            minute = self._slot(base, slot) - 30
            self._book.write("drains", minute, self._hull_ids[at], self._book.instant(minute),
                             round(max(0.1, litres), 1) if rng.random() < 0.5 else None,
                             "old fuel")  # fmt: skip
        for fill in seen.fills:
            self._fill(base, state, fill, rng)
        for ride in seen.rides:
            self._ride(base, ride, rng)
        if (self._world.epoch.weekday() + day) % 7 == 0 and (seen.rides or seen.fills):
            read = (state.from_day <= day) & (rng.random(state.places) < 0.85)
            for place in np.flatnonzero(read).tolist():
                self._reading(base + 12 * 60 + place % 60, place, state, rng)

    def _slot(self, base: int, slot: int) -> int:
        return base + FIRST_SLOT + slot * SLOT_MINUTES

    def _late(self, minute: int, chance: float, rng: np.random.Generator) -> int | None:
        """The Friday evening on which a late row is written down; None: at once."""
        if rng.random() >= chance:
            return None
        day = minute // MINUTES_PER_DAY
        weekday = (self._world.epoch.weekday() + day) % 7
        friday = day + (_FRIDAY - weekday) % 7 + 7 * int(rng.random() < 0.2)
        return friday * MINUTES_PER_DAY + 1380

    def _octane(
        self, label: float, rng: np.random.Generator
    ) -> tuple[float | None, float | None, float | None, float | None]:
        """AKI, RON, MON and a number without scale, as somebody wrote them down."""
        rates, draw = self._world.faults, rng.random()
        for share, cells in (
            (rates.grade_missing, (None, None, None, None)),
            (rates.scale_wrong, (label + _SENSITIVITY / 2, None, None, None)),
            (rates.scale_missing, (None, None, None, label)),
            (0.05, (None, label + _SENSITIVITY / 2, label - _SENSITIVITY / 2, None)),
        ):
            if draw < share:
                return cells
            draw -= share
        return (label, None, None, None)

    def _load(
        self, minute: int, dock: int, litres: float, label: float, rng: np.random.Generator
    ) -> None:
        plan, book = self._world.docks[dock], self._book
        book.write("deliveries", minute, plan.dock_id, book.instant(minute), litres,
                   *self._octane(label, rng),
                   round(price_of(DELIVERED_PER_L, label), 3))  # fmt: skip

    def _fill(self, base: int, state: State, fill: Fill, rng: np.random.Generator) -> None:
        rates, book = self._world.faults, self._book
        if rng.random() < rates.fill_missing:
            return
        minute = self._slot(base, fill.slot) - 5
        late = self._late(minute, rates.late_fill, rng)
        hull = self._hull_ids[fill.at]
        if rng.random() < rates.wrong_hull:
            hull = str(rng.choice([*self._hull_ids, "XX-99"]))
        in_gallons = rng.random() < rates.gallons
        volume: Cell = round(fill.litres / (US_GALLON_L if in_gallons else 1.0), 1)
        if rng.random() < rates.not_a_number:
            volume = "n/a"
        rest: tuple[Cell, ...]
        if fill.label is None:
            dock = self._world.docks[int(state.dock[fill.at])]
            rest = ("dock", dock.dock_id, None, None, None, None, dock.price_per_l)
        else:
            octane = self._octane(fill.label, rng)
            rest = (
                "outside",
                None,
                *octane,
                round(price_of(OUTSIDE_PER_L, fill.label), 3),
            )
        for _ in range(1 + (rng.random() < rates.repeated)):
            book.write("fills", late or minute, hull, book.instant(minute), volume, *rest,
                       fill.booster or None, book.instant(late))  # fmt: skip

    def _ride(
        self, base: int, ride: tuple[int, int, float, float, float], rng: np.random.Generator
    ) -> None:
        rates, book = self._world.faults, self._book
        at, slot, hours, throttle, litres = ride
        if rng.random() < rates.session_missing:
            return
        start = self._slot(base, slot)
        ended = start + max(4, ceil(hours * 66) + 1)
        if rng.random() < rates.ends_before:
            ended = start - 20
        late = self._late(ended, rates.late_session, rng)
        share = None if rng.random() < rates.throttle_missing else round(throttle, 2)
        burned = round(litres, 1) if rng.random() < 0.03 else None
        for _ in range(1 + (rng.random() < rates.repeated)):
            book.write("sessions", late or max(start, ended), self._hull_ids[at],
                       book.instant(start), book.instant(ended), max(0.1, round(hours, 1)), share,
                       burned, book.instant(late))  # fmt: skip

    def _reading(self, minute: int, at: int, state: State, rng: np.random.Generator) -> None:
        """The hour meter in the hull, as read."""
        rates = self._world.faults
        shown = f"{state.engine_h[at] + state.meter_off_h[at]:.1f}"
        if rng.random() < rates.meter_digits and len(shown) > 4:
            shown = shown[1] + shown[0] + shown[2:]
        elif rng.random() < rates.meter_tenfold:
            shown = str(round(float(shown) * 10, 1))
        self._book.write("hour_readings", minute, self._hull_ids[at], f"M-{self._meters[at]}",
                         self._book.instant(minute), shown)  # fmt: skip


def rated_burn(family: int) -> tuple[str, int, float, float]:
    """Name, cylinders, litres an hour at cruise and flat out of an engine family."""
    return FAMILIES[family]
