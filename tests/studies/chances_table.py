"""What the shown chances of the worlds' fleets are worth: tables from a study's file.

Limits draw whole fleets with replacement, so that hulls of one fleet count together.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import pairwise
from typing import Any

import numpy as np
import polars as pl

from ringland.score.rival_forecasts import BASE_RATE, FUEL_AGE_RULE, HOURS_ONLY
from synthetic_data.worlds.world_shapes import HARMLESS

AGES = (0.0, 25.0, 100.0, 200.0, 350.0, np.inf)
LEVEL = 0.95
DRAWS = 200
RULES = (HOURS_ONLY, BASE_RATE, FUEL_AGE_RULE)
JUMPS = ("threshold", "event-driven knock")
Fleets = Sequence[pl.DataFrame]
Measure = Callable[[pl.DataFrame], float]


def fleets_of(lines: Sequence[dict[str, Any]]) -> list[pl.DataFrame]:
    """One frame per fleet: hull-weeks with a shown 30-day chance, the truth beside it."""
    frames = []
    for number, line in enumerate(lines):
        frame = pl.DataFrame(line["columns"], infer_schema_length=None, strict=False)
        if "30d" not in frame.columns:
            continue
        numbers = [name for name in frame.columns if name not in ("hull_id", "dock_id", "why_not")]
        frame = frame.select(pl.col(name).cast(pl.Float64) for name in numbers)
        told = frame.filter(pl.col("30d").is_not_null())
        seen = float(line["failures_seen"])
        frames.append(told.with_columns(fleet=pl.lit(number), failures_seen=pl.lit(seen)))
    return [frame for frame in frames if frame.height]


def held(rows: pl.DataFrame, horizon: str = "30d", truth: str | None = None) -> float:
    """Share of hull-weeks whose shown range holds the true chance."""
    true = pl.col(truth or f"true_{horizon}")
    inside = (pl.col(f"{horizon}_low") <= true) & (true <= pl.col(f"{horizon}_high"))
    return float(rows.filter(pl.col(horizon).is_not_null()).select(inside.mean()).item())


def width(rows: pl.DataFrame) -> float:
    """Mean width of the 30-day range."""
    return float(rows.select((pl.col("30d_high") - pl.col("30d_low")).mean()).item())


def interval_score(rows: pl.DataFrame) -> float:
    """Mean interval score of the 30-day range (Gneiting and Raftery 2007, eq. 43)."""
    low, high, true = pl.col("30d_low"), pl.col("30d_high"), pl.col("true_30d")
    missed = (low - true).clip(0) + (true - high).clip(0)
    return float(rows.select((high - low + 2 / (1 - LEVEL) * missed).mean()).item())


def distance(rows: pl.DataFrame, column: str = "30d") -> float:
    """Root mean square distance to the true chance."""
    return float(rows.select(((pl.col(column) - pl.col("true_30d")) ** 2).mean().sqrt()).item())


def riskiest(rows: pl.DataFrame, by: str = "true_30d") -> pl.DataFrame:
    """The tenth of hull-weeks with the highest true chance, or another, look by look.

    By the truth it holds engines whose own weakness no record tells, so that even a forecast
    that knows the law stands below it; by what was said (`30d`) it asks whether the hulls called
    worst are as bad as that.
    """
    rank = pl.col(by).rank("ordinal", descending=True).over("look")
    return rows.filter(rank <= (pl.len().over("look") / 10).ceil())


def said_over_true(rows: pl.DataFrame) -> float:
    """Expected failures by what was said over those by the truth."""
    said, true = rows.select(pl.col("30d").sum(), pl.col("true_30d").sum()).row(0)
    return float(said / true) if true > 0 else float("nan")


def slope(rows: pl.DataFrame, column: str = "30d", *, within: bool = False) -> float:
    """Calibration slope: log odds of the true chance on those said, by binomial likelihood.

    The slope failures would show on the mean, without their luck (Cox 1958).  `within` gives
    every fleet an intercept of its own (column `fleet`), so that how far fleets are apart in
    level does not count.
    """
    said = np.clip(rows[column].to_numpy(), 1e-6, 1 - 1e-6)
    true, odds = rows["true_30d"].to_numpy(), np.log(said / (1 - said))
    group = rows["fleet"].to_numpy().astype(int) if within else np.zeros(said.size, dtype=int)
    level, beta = np.zeros(group.max() + 1), 1.0
    for _ in range(50):
        p = 1 / (1 + np.exp(-level[group] - beta * odds))
        weight = p * (1 - p)
        bend = np.bincount(group, weight) + 1e-9
        both, pull = np.bincount(group, weight * odds), np.bincount(group, true - p)
        step = odds @ (true - p) - both @ (pull / bend)
        step /= weight @ odds**2 - both @ (both / bend)
        shift = np.clip((pull - both * step) / bend, -1, 1)
        level, beta = level + shift, beta + float(np.clip(step, -1, 1))
        if max(abs(step), np.abs(shift).max()) < 1e-9:
            break
    return beta


def but_for_level(fleets: Fleets, failures: Sequence[float], seed: int = 2) -> float:
    """Slope of one who knows the law and each engine's past, and learns only the fleet's level.

    The level from as many failures as were on record, none known before: what is true averaged
    over own factors, times a Poisson count of that mean over the mean.  A mean of twenty draws.
    """
    rng, found = np.random.default_rng(seed), []
    for _ in range(20):
        said = []
        for fleet, many in zip(fleets, failures, strict=True):
            mean = max(many, 1.0)
            times = max(float(rng.poisson(mean)), 0.2) / mean
            chance = 1 - (1 - pl.col("averaged_30d").clip(0, 1 - 1e-6)) ** times
            said.append(fleet.with_columns(level_learned=chance))
        found.append(slope(pl.concat(said, how="diagonal"), "level_learned"))
    return float(np.mean(found))


def with_limits(fleets: Fleets, measure: Measure, seed: int = 1) -> tuple[float, float, float]:
    """A measure over all fleets, with 95 % limits from fleets drawn with replacement."""
    rows = pl.concat(fleets, how="diagonal")
    ends = np.cumsum([fleet.height for fleet in fleets])
    places = np.split(np.arange(rows.height), ends[:-1])
    value, rng, found = measure(rows), np.random.default_rng(seed), []
    for _ in range(DRAWS):
        drawn = rng.integers(0, len(fleets), len(fleets))
        found.append(measure(rows[np.concatenate([places[int(k)] for k in drawn])]))
    low, high = np.nanquantile(found, [(1 - LEVEL) / 2, (1 + LEVEL) / 2])
    return value, float(low), float(high)


def nearer_than(rule: str) -> Measure:
    """Distance of a rule to the truth less that of the tool, on hulls both speak of."""

    def gain(rows: pl.DataFrame) -> float:
        both = rows.filter(pl.col(rule).is_not_null())
        return distance(both, rule) - distance(both)

    return gain


def as_markdown(lines: Sequence[dict[str, Any]]) -> str:
    """Tables of every size on file."""
    parts = []
    for hulls in sorted({line["hulls"] for line in lines}):
        mine = [line for line in lines if line["hulls"] == hulls]
        stamps = ", ".join(sorted({line["commit"] for line in mine}))
        parts += [f"### {hulls} hulls (commit {stamps})", "", _ranges(mine), "", _levels(mine), ""]
        parts += [_slopes(mine), "", _claims(mine), ""]
    return "\n".join(parts)


def _by_shape(lines: Sequence[dict[str, Any]]) -> dict[str, list[pl.DataFrame]]:
    shapes = dict.fromkeys(line["shape"] for line in lines)
    by = {s: fleets_of([line for line in lines if line["shape"] == s]) for s in shapes}
    by = {shape: fleets for shape, fleets in by.items() if fleets}
    return by | {"all": [fleet for fleets in by.values() for fleet in fleets]}


def _of(triple: tuple[float, float, float], form: str) -> str:
    value, low, high = (format(x, form) for x in triple)
    return f"{value} ({low} to {high})"


def _ranges(lines: Sequence[dict[str, Any]]) -> str:
    out = [
        "| world | fleets | range of 30 d holds the truth | riskiest tenth | own factor averaged | "
        "7 d | 25 h | season | width | interval score |",
        "|---|--:|--:|--:|--:|--:|--:|--:|--:|--:|",
    ]
    for shape, fleets in _by_shape(lines).items():
        rows = pl.concat(fleets, how="diagonal")
        tenth = [riskiest(fleet) for fleet in fleets]
        out.append(
            f"| {shape} | {len(fleets)} | {_of(with_limits(fleets, held), '.1%')} | "
            f"{_of(with_limits(tenth, held), '.1%')} | {held(rows, truth='averaged_30d'):.1%} | "
            f"{held(rows, '7d'):.1%} | {held(rows, '25h'):.1%} | {held(rows, 'season'):.1%} | "
            f"{width(rows):.3f} | {interval_score(rows):.3f} |"
        )
    return "\n".join(out)


def _levels(lines: Sequence[dict[str, Any]]) -> str:
    bands = list(pairwise(AGES))
    out = [
        "| world | said over true failures | "
        + " | ".join(f"{low:g} to {high:g} h" for low, high in bands)
        + " | riskiest tenth | tenth called worst | slope | distance | nearer than hours-only by | "
        "base rate | fuel-age rule |",
        "|---|--:|" + "--:|" * (len(bands) + 7),
    ]
    for shape, fleets in _by_shape(lines).items():
        rows = pl.concat(fleets, how="diagonal")
        tenth = pl.concat([riskiest(fleet) for fleet in fleets], how="diagonal")
        worst = [riskiest(fleet, "30d") for fleet in fleets]
        by_age = [
            f"{said_over_true(rows.filter(pl.col('age_h').is_between(*band, closed='left'))):.2f}"
            for band in bands
        ]
        gains = [_of(with_limits(fleets, nearer_than(rule)), "+.3f") for rule in RULES]
        out.append(
            f"| {shape} | {_of(with_limits(fleets, said_over_true), '.2f')} | "
            f"{' | '.join(by_age)} | {said_over_true(tenth):.2f} | "
            f"{_of(with_limits(worst, said_over_true), '.2f')} | "
            f"{_of(with_limits(fleets, slope), '.2f')} | {distance(rows):.3f} | "
            f"{' | '.join(gains)} |"
        )
    return "\n".join(out)


def _slopes(lines: Sequence[dict[str, Any]]) -> str:
    out = [
        "| world | slope | within fleets | of one who knows all but the fleet's level |",
        "|---|--:|--:|--:|",
    ]
    for shape, fleets in _by_shape(lines).items():
        rows = pl.concat(fleets, how="diagonal")
        level = but_for_level(fleets, [fleet["failures_seen"][0] for fleet in fleets])
        out.append(
            f"| {shape} | {slope(rows):.2f} | {slope(rows, within=True):.2f} | {level:.2f} |"
        )
    return "\n".join(out)


def _claims(lines: Sequence[dict[str, Any]]) -> str:
    out = [
        "| world | fleets | failures on record | shortfall called clear | fuel age called clear | "
        "fuel does |",
        "|---|--:|--:|--:|--:|---|",
    ]
    for shape in dict.fromkeys(line["shape"] for line in lines):
        mine = [line for line in lines if line["shape"] == shape]
        short = sum("shortfall_25h_on" in line["clear"] for line in mine)
        age = sum("fuel_age_25h_d" in line["clear"] for line in mine)
        seen = float(np.mean([line["failures_seen"] for line in mine]))
        does = "nothing" if shape in HARMLESS else "matter"
        out.append(f"| {shape} | {len(mine)} | {seen:.1f} | {short} | {age} | {does} |")
    return "\n".join(out)
