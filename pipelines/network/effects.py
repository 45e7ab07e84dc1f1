"""What an operator reads of the effects its network shares, and what of them is for its home."""

from __future__ import annotations

import polars as pl

from pipelines.network.store import NetworkStore, Written, newest_by
from pipelines.weekly.store import StoreError
from ringland.risk.shared_effects import SharedEffect, SharedEffects


def effects_of(address: str, operator: str, monday: str) -> tuple[str, pl.DataFrame]:
    """The newest pool no later than a Monday, and the table `lay_beside` wrote an operator.

    Raises:
        StoreError: there is no pool, or it knows no such operator.
    """
    store = NetworkStore(address)
    newest = newest_by(store.pools(), monday)
    if newest is None:
        raise StoreError(
            f"No effects are shared in the network at {address} by {monday}. Run 'ringland "
            f"network pool {address}' first."
        )
    operators = store.pool(newest)["operators"]
    if operator not in operators:
        raise StoreError(f"No operator '{operator}'; there are: {', '.join(sorted(operators))}.")
    return newest, store.read(Written(*operators[operator]["effects"]))


def shared_with(address: str, operator: str, monday: str) -> SharedEffects:
    """What the others of a network share with one operator, its own record taken off.

    Raises:
        StoreError: as `effects_of`, or no other operator's record gives any effect.
    """
    newest, table = effects_of(address, operator, monday)
    if "others" not in table.columns:
        raise StoreError(
            f"The effects of {newest} were shared by an older version. Run 'ringland network pool "
            f"{address}' again."
        )
    rows = table.drop_nulls("others")
    if rows.is_empty():
        raise StoreError(
            f"Nobody but {operator} takes part in the effects of {newest}: there is nothing to "
            f"borrow."
        )
    first = rows.row(0, named=True)
    effects = tuple(
        SharedEffect(
            row["factor"], row["step"], row["others"], row["others_sd"], row["others_apart"]
        )
        for row in rows.iter_rows(named=True)
    )
    return SharedEffects(
        operator=operator,
        monday=newest,
        operators=first["others_operators"],
        failures=first["others_failures"],
        piston_sets=first["others_piston_sets"],
        effects=effects,
    )
