"""What entries are held against: the records as they stand, with what is not taken in yet."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

import polars as pl

from ringland.contracts.record_kinds import ALL_KINDS, CORRECTIONS, RECORD_KINDS, RecordKind
from ringland.history.corrections import with_corrections
from ringland.history.operators import with_operators
from ringland.intake.mapping.dock_clocks import DockClocks


@dataclass(frozen=True)
class Mark:
    """The tables that stand behind some kinds of records."""

    tables: tuple[pl.DataFrame | None, ...]

    def is_as(self, other: Mark) -> bool:
        """Whether these are the very same tables; alike ones read anew are not."""
        return len(self.tables) == len(other.tables) and all(
            one is two for one, two in zip(self.tables, other.tables, strict=True)
        )


@dataclass(frozen=True)
class Ground:
    """The records by kind, corrections among them, as they were loaded.

    `operator` runs what names no other; `waiting` holds, by kind, typed rows of entries that
    are kept and not taken in yet.
    """

    records: Mapping[str, pl.DataFrame]
    operator: str
    waiting: Mapping[str, pl.DataFrame] = field(default_factory=dict)

    @cached_property
    def corrected(self) -> dict[str, pl.DataFrame]:
        """The records with their corrections carried out, and an operator for all."""
        kinds = {name: self.records[name] for name in RECORD_KINDS}
        put_right = with_corrections(kinds, self.records[CORRECTIONS.name])
        return with_operators(put_right, self.operator)

    @cached_property
    def entered(self) -> dict[str, pl.DataFrame]:
        """The same with the entries that are kept and not taken in yet."""
        if not self.waiting:
            return self.corrected
        both = dict(self.records)
        for name, rows in self.waiting.items():
            kind, there = ALL_KINDS[name], self.records[name]
            fresh = rows.select(kind.schema.column_names()).unique(
                kind.key, keep="first", maintain_order=True
            )
            fresh = fresh.join(there, on=kind.key, how="anti", nulls_equal=True)
            both[name] = pl.concat([there, fresh], how="diagonal")
        return Ground(both, self.operator).corrected

    @cached_property
    def clocks(self) -> DockClocks:
        """The clocks of the docks on record."""
        docks, hulls = self.records["docks"], self.records["hulls"]
        return DockClocks(
            dict(docks.select("dock_id", "time_zone").iter_rows()),
            dict(hulls.select("hull_id", "dock_id").iter_rows()),
        )

    def known(self, kind: RecordKind) -> dict[str, set[str]]:
        """The ids on record of what rows of this kind name, by record kind."""
        return {name: self._ids[name] for name in set(kind.refers_to.values())}

    @cached_property
    def _ids(self) -> dict[str, set[str]]:
        named = {name for kind in RECORD_KINDS.values() for name in kind.refers_to.values()}
        return {name: set(self.records[name][RECORD_KINDS[name].key[0]]) for name in named}

    def met(self, kind: RecordKind, incoming: pl.DataFrame) -> pl.DataFrame:
        """The rows on record or waiting that may have the key of an incoming row."""
        first = kind.key[0]
        ids = incoming[first].unique().implode()
        there, waiting = self.records[kind.name], self.waiting.get(kind.name)
        there = there.filter(pl.col(first).is_in(ids, nulls_equal=True))
        if waiting is None:
            return there
        waiting = waiting.filter(pl.col(first).is_in(ids, nulls_equal=True))
        waiting = waiting.unique(kind.key, keep="first", maintain_order=True)
        waiting = waiting.join(there, on=kind.key, how="anti", nulls_equal=True)
        return pl.concat([there, waiting], how="diagonal")

    def mark(self, kinds: Collection[str]) -> Mark:
        """By which is known whether rows of some kinds, or corrections, came since."""
        return Mark(
            tuple(
                table
                for name in (*kinds, CORRECTIONS.name)
                for table in (self.records[name], self.waiting.get(name))
            )
        )

    def is_entered_as(self, before: Ground) -> bool:
        """Whether what waited before stands here just so, on record or still waiting."""
        return all(
            self._rows_like(name, rows).equals(before._rows_like(name, rows))
            for name, rows in before.waiting.items()
        )

    def _rows_like(self, name: str, rows: pl.DataFrame) -> pl.DataFrame:
        kind = ALL_KINDS[name]
        there = self.records[name] if name == CORRECTIONS.name else self.entered[name]
        mine = there.join(rows, on=kind.key, how="semi", nulls_equal=True)
        return mine.select(kind.schema.column_names()).sort(kind.key)

    def while_waiting(self, waiting: Mapping[str, pl.DataFrame]) -> Ground:
        """The same records with other rows that wait."""
        fresh = replace(self, waiting=waiting)
        fresh.__dict__.update(
            {name: self.__dict__[name] for name in _READ_OFF if name in self.__dict__}
        )
        return fresh


_READ_OFF = ("corrected", "clocks", "_ids")
"""What is worked out of the records alone, once."""


def in_place(kind: RecordKind, there: pl.DataFrame, rows: pl.DataFrame) -> pl.DataFrame:
    """Records in the order of their key, with rows new to them or in the place of their key's."""
    is_near = pl.col(kind.key[0]).is_in(rows[kind.key[0]].unique().implode(), nulls_equal=True)
    near = there.filter(is_near).join(rows, on=kind.key, how="anti", nulls_equal=True)
    return pl.concat([there.filter(~is_near), near, rows]).sort(kind.key, nulls_last=True)
