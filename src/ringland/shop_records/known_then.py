"""The records as they were known at an instant: everything after the intake sees only this.

A row is known from the later of its event time and the instant it was written down; a
row without `recorded_at` is known from its event time.  What a row tells of a still later
instant, such as when the engine came out again, is unknown until that instant.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

import polars as pl

from ringland.shop_records.contracts import RECORD_KINDS, RecordKind


def known_by(records: Mapping[str, pl.DataFrame], as_of: datetime) -> dict[str, pl.DataFrame]:
    """The rows known at `as_of`, by record kind; later ends are blanked.

    Args:
        records: loaded rows by record kind, e.g. {"sessions": ...}.
        as_of: an instant with time zone; a row known exactly then is in.

    Raises:
        KeyError: a name is not a record kind.
        ValueError: `as_of` has no time zone.
    """
    if as_of.tzinfo is None:
        raise ValueError("as_of has no time zone; give an instant such as 2025-07-07T00:00Z.")
    return {name: _known(RECORD_KINDS[name], rows, as_of) for name, rows in records.items()}


def known_at(kind: RecordKind) -> pl.Expr:
    """The instant from which a row of this kind is known; null: always."""
    instants = [pl.col("recorded_at")]
    if kind.event_time is not None:
        instants.append(pl.col(kind.event_time))
    return pl.max_horizontal(instants)


def _known(kind: RecordKind, rows: pl.DataFrame, as_of: datetime) -> pl.DataFrame:
    known = known_at(kind)
    known_from = dict(zip(kind.ends, kind.ends, strict=True)) | kind.told_with
    return rows.filter(known.is_null() | (known <= as_of)).with_columns(
        pl.when(pl.col(end) <= as_of).then(pl.col(name)).alias(name)
        for name, end in known_from.items()
    )
