"""Lives and rentals of a fleet, laid out once for looks back from many failures."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

import numpy as np
import polars as pl

from ringland.exposure.exposure_at_hour import RunningSets
from ringland.fuel.tank_kernel import Ints
from ringland.settings.assumptions import Assumptions


@dataclass(frozen=True)
class FleetRecord:
    """`PistonLives`, `SessionExposure`, and which rows of it are of which set and hull."""

    lives: pl.DataFrame
    exposure: pl.DataFrame
    running: RunningSets
    rows_of_set: Mapping[str, Ints]
    rows_of_hull: Mapping[str, Ints]

    @classmethod
    def of(
        cls, lives: pl.DataFrame, exposure: pl.DataFrame, assumptions: Assumptions
    ) -> FleetRecord:
        """From all lives and rentals.

        Args:
            lives: `PistonLives`.
            exposure: `SessionExposure`.
            assumptions: exposure.trailing_h and what stands in for no record.
        """
        return cls(
            lives,
            exposure,
            RunningSets.of(exposure, assumptions),
            _rows_by(exposure, "piston_set_id"),
            _rows_by(exposure, "hull_id"),
        )

    def of_set(self, set_id: str | None) -> pl.DataFrame:
        """The rentals of one set; none of None."""
        rows = () if set_id is None else self.rows_of_set.get(set_id, ())
        return self.exposure[np.asarray(rows, np.int64)]

    def of_their_hulls(self, sets: Iterable[str], until: datetime) -> pl.DataFrame:
        """The rentals, ended by an instant, of some sets and of the hulls they ran in by then.

        A hull's stand in for the past that a set lacks.
        """
        theirs = [self.rows_of_set[name] for name in sets if name in self.rows_of_set]
        own = self.exposure[np.concatenate([np.empty(0, np.int64), *theirs])]
        own = own.filter(pl.col("ended_at") <= until)
        hulls = own["hull_id"].unique().drop_nulls()
        rows = np.concatenate([*theirs, *(self.rows_of_hull[hull] for hull in hulls)])
        return self.exposure[np.unique(rows)].filter(pl.col("ended_at") <= until)


def _rows_by(exposure: pl.DataFrame, name: str) -> dict[str, Ints]:
    rows = exposure.select(name, row=pl.int_range(pl.len(), dtype=pl.Int64)).drop_nulls()
    parts = rows.partition_by(name, as_dict=True, include_key=False)
    return {str(key): part["row"].to_numpy() for (key,), part in parts.items()}
