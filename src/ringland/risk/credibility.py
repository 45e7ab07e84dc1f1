"""How far a hull's own mean is to be believed against its dock's: credibility weights.

A hull's mean over some blocks of time is part habit, part chance.  Bühlmann and Straub
(1970), Mitteilungen der Vereinigung schweizerischer Versicherungsmathematiker 70:111-133:
with s2 the variance of a block of weight 1 about its hull's mean and a the variance of
hulls' true means about their dock's, the best linear estimate of a hull's true mean is
Z x its own + (1 - Z) x its dock's, Z = w / (w + s2 / a), w the hull's weight in all.  s2
and a are the unbiased estimators of that paper, pooled over docks (Bühlmann and Gisler
2005, A Course in Credibility Theory, chapter 4).
"""

from __future__ import annotations

import polars as pl

BLOCK_COLUMNS = ("dock_id", "hull_id", "mean", "weight")


def credible_means(blocks: pl.DataFrame) -> pl.DataFrame:
    """Each hull's mean, drawn towards its dock's as far as its own blocks leave it open.

    Args:
        blocks: a row per hull and block of time: dock_id, hull_id, mean, weight.  Rows
            without a mean or with no weight say nothing.

    Returns:
        One row per hull and dock: dock_id, hull_id, own_mean, credibility (0 to 1),
        dock_mean, credible_mean, ahead_sd (how far its mean over one block more may lie from
        that: habit left open, and chance; null where chance cannot be told).  Where no hull has
        two blocks chance cannot be told from habit: credibility is 1.  Where hulls differ no
        more than chance lets them: 0.
    """
    # Sums are taken in one order, so that the same blocks give the same last digit.
    told = (
        blocks.filter(pl.col("mean").is_not_null() & (pl.col("weight") > 0))
        .select(BLOCK_COLUMNS)
        .sort(BLOCK_COLUMNS)
    )
    weight = pl.col("weight")
    hulls = told.group_by("dock_id", "hull_id", maintain_order=True).agg(
        own_mean=(weight * pl.col("mean")).sum() / weight.sum(),
        weight=weight.sum(),
        n_blocks=pl.len(),
        block_weight=weight.mean(),
    )
    chance = _chance_variance(told, hulls)
    habit = 0.0 if chance is None else _habit_variance(hulls, chance)
    if chance is None or chance == 0.0:
        credibility = pl.lit(1.0)
    elif habit == 0.0:
        credibility = pl.lit(0.0)
    else:
        credibility = weight / (weight + chance / habit)
    credible = pl.col("credibility")
    ahead = (
        None
        if chance is None
        else (habit * (1 - credible) + chance / pl.col("block_weight")).sqrt()
    )
    # With no credibility anywhere every hull counts by its own weight.
    counts = pl.when(pl.col("credibility").sum().over("dock_id") > 0)
    counts_as = counts.then("credibility").otherwise("weight")
    return (
        hulls.with_columns(credibility=credibility)
        .with_columns(ahead_sd=pl.lit(None) if ahead is None else ahead)
        .with_columns(
            dock_mean=(counts_as * pl.col("own_mean")).sum().over("dock_id")
            / counts_as.sum().over("dock_id")
        )
        .select(
            "dock_id",
            "hull_id",
            "own_mean",
            "credibility",
            "dock_mean",
            credible_mean=pl.col("dock_mean")
            + pl.col("credibility") * (pl.col("own_mean") - pl.col("dock_mean")),
            ahead_sd=pl.col("ahead_sd").cast(pl.Float64),
        )
    )


def _chance_variance(told: pl.DataFrame, hulls: pl.DataFrame) -> float | None:
    """s2: what a block of weight 1 scatters about its hull's mean; None where none has two."""
    spare = float((hulls["n_blocks"] - 1).sum())
    if spare <= 0:
        return None
    about = told.join(
        hulls.select("dock_id", "hull_id", "own_mean"),
        on=["dock_id", "hull_id"],
        maintain_order="left",
    )
    off = about["mean"] - about["own_mean"]
    return float((about["weight"] * off * off).sum()) / spare


def _habit_variance(hulls: pl.DataFrame, chance: float) -> float:
    """a: what hulls' true means scatter about their dock's; 0 where chance explains it all."""
    weight = pl.col("weight")
    docks = hulls.with_columns(
        middle=(weight * pl.col("own_mean")).sum().over("dock_id") / weight.sum().over("dock_id")
    ).group_by("dock_id", maintain_order=True).agg(
        spread=(weight * (pl.col("own_mean") - pl.col("middle")) ** 2).sum(),
        spare=pl.len() - 1,
        worth=weight.sum() - (weight * weight).sum() / weight.sum(),
    )  # fmt: skip
    worth = float(docks["worth"].sum())
    if worth <= 0:  # one hull at each dock: nothing to hold it against
        return 0.0
    return max(0.0, (float(docks["spread"].sum()) - chance * float(docks["spare"].sum())) / worth)
