"""Teardown words that the cause table does not know, with what to ask about each."""

from __future__ import annotations

import polars as pl

from ringland.causes.cause_lines import ask_for
from ringland.causes.cause_table import CauseTable


def questions_on_words(teardowns: pl.DataFrame, table: CauseTable) -> tuple[str, ...]:
    """One question per unknown finding, with the file and row where it stands first.

    Args:
        teardowns: rows of the Teardowns contract with `source_file` and `source_row`.
        table: the cause table.
    """
    first = (
        teardowns.sort("source_file", "source_row")
        .unique(["part", "finding"], keep="first", maintain_order=True)
        .select("source_file", "source_row", "part", "finding")
    )
    return tuple(
        f"{file}, row {row}: {part!r}: {finding!r} is no finding of the cause table, so it counts "
        f"for no cause. {ask_for(finding, table)}"
        for file, row, part, finding in first.iter_rows()
        if table.finding_for(finding) is None and table.finding_for(f"{part} {finding}") is None
    )
