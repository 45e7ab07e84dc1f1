"""What the record says of the craft's tanks, as one row per event in the ledger's order.

A ride burns at the moment it ends; one with a fill inside is cut there, its litres spread
evenly over the time it was out.  At one instant the rides come first, then what was drained,
then the fills: a drain is taken to have come after a fill of its own instant only where
another fill follows before any ride, for then it took the first one out again.  A fill to the
brim is a fill and a dip of a full tank.
"""

# ruff: noqa: PLR0917 - what an event is made of
from __future__ import annotations

from collections.abc import Mapping, Sequence

import polars as pl

from ringland.contracts.record_kinds import RECORD_KINDS
from ringland.fuel.tank_events import STEPS, ordered_events
from ringland.fuel.tank_kernel import DIP, FILL, OUT, TEST
from ringland.history.fuel_measures import burned_what_can_be
from ringland.settings.assumptions import Assumptions

Records = Mapping[str, pl.DataFrame]
_US_PER_MIN = 60_000_000


def rows_of(records: Records, kind: str) -> pl.DataFrame:
    """The rows of a record kind; none where the kind is not among the records."""
    empty = RECORD_KINDS[kind].schema.create_empty()
    return records[kind] if kind in records else pl.DataFrame(schema=empty.schema)


def craft_record(
    rides: pl.DataFrame, records: Records, names: Sequence[str], assumptions: Assumptions
) -> pl.DataFrame:
    """The events of all craft's tanks, see `tank_events`; estimated burns have no litres yet.

    Args:
        rides: from `burn_estimate.rated_litres`; `session_row` is the row's place in it.
        records: hulls and fills are read; drains, dips, fuel_tests and transfers if there.
        names: the hulls in the order of their numbers.
        assumptions: how far a burn between two fills may be stretched.

    Returns:
        Beside the columns of `tank_events`: session_row, fill_row, test_row, transfer_row (of
        the row each event comes from), cruise_l and full_l (of rides not measured), off_us (how
        far a fill's time may be off), is_level_known.
    """
    fills = rows_of(records, "fills").with_row_index("fill_row")
    parts = [
        _rides(rides, fills, names, assumptions),
        _at(fills, names, "hull_id", "filled_at", FILL, "fill").with_columns(
            off_us=(pl.col("time_off_min").fill_null(0.0) * _US_PER_MIN).cast(pl.Int64)
        ),
        _brimmed(fills, records, names),
        _drains(fills, rides, records, names),
        _at(_own(records, "dips"), names, "hull_id", "dipped_at", DIP, "dip").with_columns(
            volume_l="level_l"
        ),
        _at(_own(records, "fuel_tests", "test_row"), names, "hull_id", "tested_at", TEST, "test")
        .with_columns(volume_l=pl.lit(0.0)),
        *_transfers(records, names),
    ]  # fmt: skip
    frame = pl.concat(
        [part.select(c for c in _COLUMNS if c in part.columns) for part in parts if part.height],
        how="diagonal",
    ) if any(part.height for part in parts) else pl.DataFrame(schema=_COLUMNS)  # fmt: skip
    missing = [name for name in _COLUMNS if name not in frame.columns]
    return ordered_events(
        frame.with_columns(pl.lit(None, _COLUMNS[name]).alias(name) for name in missing)
        .with_columns(
            pl.col("stretch", "cruise_l", "full_l").fill_null(0.0),
            pl.col("off_us").fill_null(0),
            pl.col("is_drain").fill_null(value=False),
            pl.col("session_row", "fill_row", "test_row", "transfer_row").fill_null(-1),
        )
        .select(list(_COLUMNS))
    )


_COLUMNS: dict[str, type[pl.DataType]] = {
    "tank": pl.Int64,
    "at_us": pl.Int64,
    "earliest_us": pl.Int64,
    "step": pl.Int8,
    "kind": pl.UInt8,
    "is_drain": pl.Boolean,
    "volume_l": pl.Float64,
    "stretch": pl.Float64,
    "cruise_l": pl.Float64,
    "full_l": pl.Float64,
    "off_us": pl.Int64,
    "session_row": pl.Int64,
    "fill_row": pl.Int64,
    "test_row": pl.Int64,
    "transfer_row": pl.Int64,
}


def _own(records: Records, kind: str, row: str | None = None) -> pl.DataFrame:
    """The rows of a kind that are of a craft."""
    rows = rows_of(records, kind)
    if row is not None:
        rows = rows.with_row_index(row)
    return rows.filter(pl.col("hull_id").is_not_null())


def number_of(column: str, names: Sequence[str]) -> pl.Expr:
    """The place of a name among the names; null for none of them."""
    places = pl.col(column).cast(pl.Enum(list(names)), strict=False).to_physical()
    return places.cast(pl.Int64)


def _at(
    frame: pl.DataFrame, names: Sequence[str], whose: str, at: str, kind: int, step: str
) -> pl.DataFrame:
    instant = pl.col(at).dt.timestamp("us")
    return (
        frame.with_columns(
            tank=number_of(whose, names),
            at_us=instant,
            earliest_us=instant,
            kind=pl.lit(kind, pl.UInt8),
            step=pl.lit(STEPS[step], pl.Int8),
        )
        .filter(pl.col("tank").is_not_null())
        .with_columns(pl.col(c).cast(t) for c, t in _COLUMNS.items() if c in frame.columns)
    )


def _rides(
    rides: pl.DataFrame, fills: pl.DataFrame, names: Sequence[str], assumptions: Assumptions
) -> pl.DataFrame:
    is_measured = burned_what_can_be(assumptions).fill_null(value=False)
    stretch = (
        pl.when(is_measured)
        .then(0.0)
        .when("is_throttle_assumed")
        .then(assumptions.number("fuel.burn_stretch_assumed"))
        .otherwise(assumptions.number("fuel.burn_stretch"))
    )
    whole = rides.select(
        session_row=pl.int_range(pl.len()),
        tank=number_of("hull_id", names),
        at_us=pl.col("ended_at").dt.timestamp("us"),
        earliest_us=pl.col("started_at").dt.timestamp("us"),
        volume_l=pl.when(is_measured).then("burned_l"),
        stretch=stretch,
        cruise_l=pl.when(~is_measured).then("cruise_l").otherwise(0.0),
        full_l=pl.when(~is_measured).then("full_l").otherwise(0.0),
    ).with_columns(
        kind=pl.lit(OUT, pl.UInt8),
        step=pl.lit(STEPS["burn"], pl.Int8),
        is_drain=pl.lit(value=False),
    )
    cuts = _cuts(whole, fills, names)
    if cuts.is_empty():
        return whole
    is_cut = pl.col("session_row").is_in(cuts.get_column("session_row").unique().implode())
    begun = pl.coalesce(pl.col("at_us").shift(1).over("session_row"), "earliest_us")
    parts = (
        pl.concat([whole.filter(is_cut), cuts])
        .sort("session_row", "at_us")
        .with_columns(_from=begun, _out=pl.col("at_us").max().over("session_row"))
        .with_columns(
            _share=(pl.col("at_us") - pl.col("_from")) / (pl.col("_out") - pl.col("earliest_us"))
        )
        .with_columns(
            pl.col("volume_l", "cruise_l", "full_l") * pl.col("_share"), earliest_us="_from"
        )
        .select(whole.columns)
    )
    return pl.concat([whole.filter(~is_cut), parts])


def _cuts(whole: pl.DataFrame, fills: pl.DataFrame, names: Sequence[str]) -> pl.DataFrame:
    """For each fill inside a ride, the ride's row as it would end there."""
    inside = (
        fills.select(tank=number_of("hull_id", names), _cut=pl.col("filled_at").dt.timestamp("us"))
        .drop_nulls()
        .sort("_cut")
        .join_asof(
            whole.sort("earliest_us"),
            left_on="_cut",
            right_on="earliest_us",
            by="tank",
            strategy="backward",
            allow_exact_matches=False,
            coalesce=False,
            check_sortedness=False,  # sorted above; Polars cannot check it within groups
        )
        .filter(pl.col("_cut") < pl.col("at_us"))
    )
    return inside.with_columns(at_us="_cut").select(whole.columns).unique(maintain_order=True)


def _brimmed(fills: pl.DataFrame, records: Records, names: Sequence[str]) -> pl.DataFrame:
    full = fills.filter(pl.col("is_full")).join(
        records["hulls"].select("hull_id", "tank_l"),
        on="hull_id",
        how="inner",
        maintain_order="left",
    )
    return _at(full, names, "hull_id", "filled_at", DIP, "dip").with_columns(
        volume_l="tank_l", fill_row=pl.lit(-1, pl.Int64)
    )


def _drains(
    fills: pl.DataFrame, rides: pl.DataFrame, records: Records, names: Sequence[str]
) -> pl.DataFrame:
    """The drains, each before or after the fills of its own instant."""
    drains = rows_of(records, "drains")
    if drains.is_empty():
        return pl.DataFrame(schema=_COLUMNS)
    filled = fills.select("hull_id", at="filled_at").sort("at")
    ridden = rides.select("hull_id", at="started_at").sort("at")
    rows = drains.sort("drained_at").join(
        fills.select("hull_id", "filled_at", _with_fill=pl.lit(value=True)).unique(),
        left_on=["hull_id", "drained_at"],
        right_on=["hull_id", "filled_at"],
        how="left",
        maintain_order="left",
    )
    for later, name in ((filled, "_next_fill"), (ridden, "_next_ride")):
        rows = rows.join_asof(
            later.with_columns(pl.col("at").alias(name)),
            left_on="drained_at",
            right_on="at",
            by="hull_id",
            strategy="forward",
            allow_exact_matches=name == "_next_ride",
            coalesce=False,
            check_sortedness=False,  # sorted above; Polars cannot check it within groups
        ).drop("at")
    is_wrong_fuel = (
        pl.col("_with_fill").fill_null(value=False)
        & pl.col("_next_fill").is_not_null()
        & (pl.col("_next_ride").is_null() | (pl.col("_next_fill") <= pl.col("_next_ride")))
    )
    step = pl.when(is_wrong_fuel).then(STEPS["pumped out"]).otherwise(STEPS["drain"]).cast(pl.Int8)
    return _at(rows, names, "hull_id", "drained_at", OUT, "drain").with_columns(
        is_drain=pl.lit(value=True), step=step
    )


def _transfers(records: Records, names: Sequence[str]) -> list[pl.DataFrame]:
    """Each transfer as an outflow of the one tank and a fill of the other."""
    rows = rows_of(records, "transfers").with_row_index("transfer_row")
    if rows.is_empty():
        return []
    return [
        _at(rows, names, "from_hull_id", "moved_at", OUT, "drain").with_columns(
            is_drain=pl.lit(value=True)
        ),
        _at(rows, names, "to_hull_id", "moved_at", FILL, "fill"),
    ]
