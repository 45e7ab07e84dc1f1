"""The records as they were known at an instant: everything after the intake sees only this.

A row is known from the later of its event time and the instant it was written down; a
row without `recorded_at` is known from its event time.  What a row tells of a still later
instant, such as when the engine came out again, is unknown until that instant.  A
correction is known from when it was written down; until then the record stands as it was.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

import polars as pl

from ringland.contracts.record_kinds import ALL_KINDS, CORRECTIONS, RecordKind
from ringland.history.corrections import with_corrections


def known_by(records: Mapping[str, pl.DataFrame], as_of: datetime) -> dict[str, pl.DataFrame]:
    """The rows known at `as_of`, by record kind; later ends are blanked.

    Args:
        records: loaded rows by record kind, e.g. {"sessions": ...}; corrections among them
            are carried out if they were known by then.
        as_of: an instant with time zone; a row known exactly then is in.

    Raises:
        KeyError: a name is not a record kind.
        ValueError: `as_of` has no time zone.
    """
    _refuse_without_zone(as_of)
    corrected = dict(records)
    if CORRECTIONS.name in records:
        told = records[CORRECTIONS.name].filter(pl.col("recorded_at") <= as_of)
        corrected = with_corrections(records, told)
    return {name: _known(ALL_KINDS[name], rows, as_of) for name, rows in corrected.items()}


def restated(records: Mapping[str, pl.DataFrame], told_by: datetime) -> dict[str, pl.DataFrame]:
    """The records for looking back with what was known at a later instant.

    Corrections known by `told_by` are carried out, rows written down later are left out, and
    the rest count as known from their event time.  `known_by` of this at an earlier instant
    is that instant restated.

    Raises:
        ValueError: `told_by` has no time zone.
    """
    _refuse_without_zone(told_by)
    told = pl.col("recorded_at").is_null() | (pl.col("recorded_at") <= told_by)
    heard = {name: rows.filter(told) for name, rows in records.items()}
    corrections = heard.pop(CORRECTIONS.name, None)
    if corrections is None:
        corrections = CORRECTIONS.schema.create_empty()
    kept = with_corrections(heard, corrections)
    nobody_knows = pl.lit(None, dtype=pl.Datetime("us", "UTC")).alias("recorded_at")
    return {name: rows.with_columns(nobody_knows) for name, rows in kept.items()} | {
        CORRECTIONS.name: corrections.clear()
    }


def same_known(
    records: Mapping[str, pl.DataFrame], as_of: datetime
) -> tuple[datetime | None, datetime | None]:
    """From when and until when `known_by` of these records is what it is at `as_of`.

    The last instant up to `as_of` at which anything became known, and the first after it at
    which more will; None: never.  Arguments and errors as of `known_by`.
    """
    _refuse_without_zone(as_of)
    corrected = dict(records)
    instants = []
    if CORRECTIONS.name in records:
        written = records[CORRECTIONS.name]["recorded_at"]
        instants.append(written)
        corrected = with_corrections(records, records[CORRECTIONS.name].filter(written <= as_of))
    for name, rows in corrected.items():
        kind = ALL_KINDS[name]
        instants += [rows.select(known_at(kind)).to_series(), *(rows[end] for end in kind.ends)]
    all_at = pl.concat([one.rename("at").cast(pl.Datetime("us", "UTC")) for one in instants])
    since, until = all_at.filter(all_at <= as_of).max(), all_at.filter(all_at > as_of).min()
    return (
        since if isinstance(since, datetime) else None,
        until if isinstance(until, datetime) else None,
    )


def _refuse_without_zone(instant: datetime) -> None:
    if instant.tzinfo is None:
        raise ValueError("as_of has no time zone; give an instant such as 2025-07-07T00:00Z.")


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
