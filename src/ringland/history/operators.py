"""Who runs each dock and hull: what its record says, else its dock's, else the home's."""

from __future__ import annotations

from collections.abc import Mapping

import polars as pl


def with_operators(records: Mapping[str, pl.DataFrame], home: str) -> dict[str, pl.DataFrame]:
    """The records with an operator for every dock and hull.

    Args:
        records: by kind, docks and hulls among them.
        home: the operator of what names none.
    """
    docks = records["docks"].with_columns(pl.col("operator").fill_null(home))
    of_dock = docks.select("dock_id", _of_dock="operator")
    hulls = (
        records["hulls"]
        .join(of_dock, on="dock_id", how="left", maintain_order="left")
        .with_columns(operator=pl.coalesce("operator", "_of_dock", pl.lit(home)))
        .drop("_of_dock")
    )
    return {**records, "docks": docks, "hulls": hulls}
