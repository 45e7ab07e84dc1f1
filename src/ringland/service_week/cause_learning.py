"""The shop's settled cases as counts that move the cause table.

Only a cause the shop wrote down as settled counts; the ranking's own first place never
feeds back into it.
"""

from __future__ import annotations

from datetime import datetime

import numpy as np
import polars as pl

from ringland.service_week.cause_differential import SettledCases
from ringland.service_week.cause_findings import NOT_SEEN, SEEN, engine_findings, opening_after
from ringland.service_week.cause_table import CauseTable


def settled_cases(
    failures: pl.DataFrame,
    teardowns: pl.DataFrame,
    engines: pl.DataFrame,
    table: CauseTable,
    leave_out: tuple[str, datetime] | None = None,
) -> tuple[SettledCases, tuple[str, ...]]:
    """Counts over the failures with a settled cause, and what could not be used.

    Args:
        failures: rows of the Failures contract as known at the time of the report; a cause
            counts once `cause_confirmed_at` is known.
        teardowns: rows of the Teardowns contract.
        engines: rows of the Engines contract, for the number of cylinders.
        table: the cause table.
        leave_out: engine and found_at of the failure in question, so that it does not
            testify for itself.
    """
    cases = SettledCases.none(table)
    outcomes, keys = list(table.outcomes), list(table.findings)
    cylinders = dict(engines.select("engine_id", "cylinders").iter_rows())
    unused = []
    settled = failures.filter(
        pl.col("confirmed_cause").is_not_null() & pl.col("cause_confirmed_at").is_not_null()
    ).sort("found_at", "engine_id")
    for row in settled.iter_rows(named=True):
        engine = row["engine_id"]
        if leave_out == (engine, row["found_at"]):
            continue
        if row["confirmed_cause"] not in outcomes:
            unused.append(
                f"Engine {engine}: settled cause {row['confirmed_cause']!r} is not in the cause "
                f"table; use one of its keys."
            )
            continue
        index = outcomes.index(row["confirmed_cause"])
        cases.by_cause[index] += 1
        opened = opening_after(teardowns, failures, row).filter(
            pl.col("opened_at") <= row["cause_confirmed_at"]
        )
        states = engine_findings(opened, table, engine, cylinders.get(engine)).states
        cases.seen[index] += np.array([states[key] == SEEN for key in keys])
        cases.not_seen[index] += np.array([states[key] == NOT_SEEN for key in keys])
    return cases, tuple(unused)
