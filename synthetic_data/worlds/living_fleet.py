"""One operator lived forward day by day, with its book: what studies and policies act on."""

from __future__ import annotations

import numpy as np

from synthetic_data.worlds.faulty_paper import FIRST_SLOT, SLOT_MINUTES, FaultyPaper
from synthetic_data.worlds.fleet_state import State, first_state
from synthetic_data.worlds.fuelling import Seen
from synthetic_data.worlds.record_book import RecordBook
from synthetic_data.worlds.riding import Damage, ride_one_day, season_day
from synthetic_data.worlds.shop_floor import ShopFloor
from synthetic_data.worlds.world import MINUTES_PER_DAY, World

_WEATHER, _PAPER, _SHOP, _START = 1, 2, 3, 4
SPRING_CHECK_SHARE = 0.85


class LivingFleet:
    """A fleet at the morning of `day`; the same world and the same acts give the same fleet."""

    def __init__(self, world: World) -> None:
        self.world = world
        self.day = world.opening(world.years[0]) - 15
        self.state: State = first_state(world, np.random.default_rng([world.seed, _START]))
        self.hull_ids = [
            f"{world.docks[int(dock)].prefix}-{at + 1:03d}"
            for at, dock in enumerate(self.state.dock)
        ]
        self.book = RecordBook(world)
        self.shop = ShopFloor(world, self.state, self.book, self.hull_ids, self._luck(_SHOP))
        self.shop.open_books(self.day)
        self._paper = FaultyPaper(world, self.book, self.hull_ids)
        self.failures: list[tuple[int, int, int]] = []
        """day, place, mode"""
        self.drained: list[tuple[int, int]] = []
        """day, place: tanks emptied under a standing rule"""

    def _luck(self, stream: int) -> np.random.Generator:
        return np.random.default_rng([self.world.seed, stream, self.day])

    def live_to(self, day: int, damage: Damage | None = None) -> None:
        """Let days pass up to the morning of a day."""
        while self.day < day:
            self._one_day(damage)
            self.day += 1

    def _one_day(self, damage: Damage | None) -> None:
        world = self.world
        self.shop.luck = self._luck(_SHOP)
        for year in world.years:
            before = world.opening(year) - self.day
            if before == 10:
                self._spring_checks()
            if before == 8 and year != world.years[0]:
                self.shop.spring(self.day, year)
        if season_day(world, self.day) is None:
            return
        seen = Seen()
        ride_one_day(world, self.state, self.day, self._luck(_WEATHER), damage=damage, seen=seen)
        self._paper.write_day(self.day, self.state, seen, self._luck(_PAPER))
        self.drained += [(self.day, at) for at, _, _ in seen.drains]
        for at, slot, mode in seen.failures:
            self.failures.append((self.day, at, mode))
            minute = self.day * MINUTES_PER_DAY + FIRST_SLOT + slot * SLOT_MINUTES + 100
            self.shop.broke(at, minute, mode)

    def _spring_checks(self) -> None:
        for at in np.flatnonzero(self.state.from_day <= self.day):
            if self.shop.luck.random() < SPRING_CHECK_SHARE:
                self.shop.look(int(at), self.day, 0.0)

    def hand_in(self) -> dict[str, str]:
        """The record files of what was written down since the last time, as CSV by kind."""
        return self.book.hand_in(self.day * MINUTES_PER_DAY)
