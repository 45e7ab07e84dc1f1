"""By which clock a row's local times were read: that of its dock, or of its hull's home dock."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import dataframely as dy
import polars as pl

from ringland.intake.mapping.mapped_cells import instants
from ringland.intake.mapping.mapping_rules import DOCK_ZONE, ColumnRule, Writing
from ringland.intake.written.raw_file import SOURCE_ROW
from ringland.intake.written.text_cast import FAULT_SCHEMA, cast_instants

_DOCKS = ("source_dock_id", "dock_id")
_HULLS = ("hull_id", "from_hull_id")


@dataclass(frozen=True)
class DockClocks:
    """The zone of each dock's clock, and each hull's home dock."""

    zone_of_dock: Mapping[str, str]
    dock_of_hull: Mapping[str, str]

    @property
    def only_zone(self) -> str | None:
        """The zone of all docks, if they have one."""
        zones = set(self.zone_of_dock.values())
        return zones.pop() if len(zones) == 1 else None

    def zones(self, columns: Mapping[str, pl.Series], height: int) -> pl.Series:
        """Each row's zone; null where neither the dock nor the hull tells it."""
        docks = pl.Series([None] * height, dtype=pl.String)
        for name in _DOCKS:
            if name in columns:
                docks = docks.fill_null(columns[name])
        for name in _HULLS:
            if name in columns:
                docks = docks.fill_null(_looked_up(columns[name], self.dock_of_hull))
        zones = _looked_up(docks, self.zone_of_dock)
        return zones.fill_null(self.only_zone) if self.only_zone else zones


NO_CLOCKS = DockClocks({}, {})


def _looked_up(cells: pl.Series, known: Mapping[str, str]) -> pl.Series:
    return cells.replace_strict(dict(known), default=None, return_dtype=pl.String)


# As the contract writes instants, but without an offset; a spreadsheet puts a blank for the T.
_LOCAL = Writing(
    date_formats=(
        "%Y-%m-%dT%H:%M:%S", "%Y-%m-%dT%H:%M:%S%.f", "%Y-%m-%dT%H:%M",
        "%Y-%m-%d %H:%M:%S", "%Y-%m-%d %H:%M:%S%.f", "%Y-%m-%d %H:%M",
    ),
    time_zone=DOCK_ZONE,
)  # fmt: skip


def with_local_instants(
    schema: type[dy.Schema], text: pl.DataFrame, clocks: DockClocks
) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Instants without an offset read by the dock's clock, and those that came twice or never.

    Returns:
        The frame as text, and `text_cast.FAULT_SCHEMA`.
    """
    found = [pl.DataFrame(schema=FAULT_SCHEMA)]
    if not clocks.zone_of_dock:
        return text, found[0]
    zones = None
    for name, column in schema.columns().items():
        if not isinstance(column, dy.Datetime) or name not in text.columns:
            continue
        cells = text[name]
        is_local = cells.is_not_null() & cast_instants(cells).is_null()
        is_local &= cells.str.contains(r"^\d{4}-\d{2}-\d{2}[T ]\d{2}:\d{2}").fill_null(value=False)
        if not is_local.any():
            continue
        if zones is None:
            zones = clocks.zones({c: text[c] for c in text.columns}, text.height)
        is_local &= zones.is_not_null()
        rule = ColumnRule(name, (name,), _LOCAL)
        read, said = instants(cells.set(~is_local, None), rule, zones)
        text = text.with_columns(cells.zip_with(~is_local, read).alias(name))
        found.append(
            said.with_columns(text[SOURCE_ROW], pl.lit(name).alias("field"), cells.alias("value"))
            .filter(pl.col("fault").is_not_null())
            .select(*FAULT_SCHEMA)
        )
    return text, pl.concat(found)
