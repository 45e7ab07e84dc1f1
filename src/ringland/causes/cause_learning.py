"""The shop's settled cases as counts that move the cause table.

Only a cause the shop wrote down as settled counts; the ranking's own first place never
feeds back into it.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import numpy as np
import numpy.typing as npt
import polars as pl

from ringland.causes.cause_chances import SettledCases
from ringland.causes.cause_findings import NOT_SEEN, SEEN, engine_findings, opening_after
from ringland.causes.cause_table import CauseTable

Flags = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class SettledFailure:
    """One failure whose cause the shop settled, with what was seen, in the order of the table."""

    engine_id: str
    found_at: datetime
    outcome: int
    seen: Flags
    not_seen: Flags


@dataclass(frozen=True)
class ShopMemory:
    """All settled failures of a shop, and sentences on those that could not be used."""

    settled: tuple[SettledFailure, ...]
    unused: tuple[str, ...]

    def cases(
        self, table: CauseTable, leave_out: tuple[str, datetime] | None = None
    ) -> SettledCases:
        """Counts over the settled failures.

        Args:
            table: the table they were read with.
            leave_out: engine and found_at of the failure in question, so that it does not
                testify for itself.
        """
        cases = SettledCases.none(table)
        for one in self.settled:
            if (one.engine_id, one.found_at) == leave_out:
                continue
            cases.by_cause[one.outcome] += 1
            cases.seen[one.outcome] += one.seen
            cases.not_seen[one.outcome] += one.not_seen
        return cases


def settled_failures(
    failures: pl.DataFrame,
    teardowns: pl.DataFrame,
    rebuilds: pl.DataFrame,
    engines: pl.DataFrame,
    table: CauseTable,
) -> ShopMemory:
    """The failures with a settled cause, read once for all reports.

    Args:
        failures: rows of the Failures contract as known at the time of the report; a cause
            counts once `cause_confirmed_at` is known.
        teardowns: rows of the Teardowns contract.
        rebuilds: rows of the Rebuilds contract, at which an opening ends.
        engines: rows of the Engines contract, for the number of cylinders.
        table: the cause table.
    """
    outcomes, keys = list(table.outcomes), list(table.findings)
    cylinders = dict(engines.select("engine_id", "cylinders").iter_rows())
    found, unused = [], []
    settled = failures.filter(
        pl.col("confirmed_cause").is_not_null() & pl.col("cause_confirmed_at").is_not_null()
    ).sort("found_at", "engine_id")
    for row in settled.iter_rows(named=True):
        engine = row["engine_id"]
        if row["confirmed_cause"] not in outcomes:
            unused.append(
                f"Engine {engine}: settled cause {row['confirmed_cause']!r} is not in the cause "
                f"table; use one of its keys."
            )
            continue
        opened = opening_after(teardowns, failures, rebuilds, row).filter(
            pl.col("opened_at") <= row["cause_confirmed_at"]
        )
        states = engine_findings(opened, table, engine, cylinders.get(engine)).states
        found.append(
            SettledFailure(
                engine,
                row["found_at"],
                outcomes.index(row["confirmed_cause"]),
                np.array([states[key] == SEEN for key in keys]),
                np.array([states[key] == NOT_SEEN for key in keys]),
            )
        )
    return ShopMemory(tuple(found), tuple(unused))
