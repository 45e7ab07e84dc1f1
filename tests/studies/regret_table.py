"""What policies cost over the worlds: tables from a regret study's file.

The figure compared is the season's cost plus what it leaves to the next season over what doing
nothing leaves; the next season either has nothing done in it or is kept up (`KEPT_UP`: the sets
worth it are renewed in the winter before).  Limits draw whole fleets with replacement.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tests.studies.season_policies import POLICIES, SIMPLE, TOOL

BASE, PARAMETER, ORACLE = "nothing", "parameter oracle", "oracle"
LEFT, KEPT_UP = "left_over", "left_kept_up"
DRAWS = 1000
PLAYED_ALIKE = ("past_failures", "slack")


def costs_of(lines: Sequence[dict[str, Any]], policy: str, left: str = LEFT) -> NDArray[np.float64]:
    """Cost of a policy, fleet by fleet."""
    return np.array(
        [
            line["bills"][policy]["season"]
            + line["bills"][policy][left]
            - line["bills"][BASE][left]
            for line in lines
        ]
    )


def over_best_simple(lines: Sequence[dict[str, Any]], left: str = LEFT) -> float:
    """The tool's mean cost over that of the simple policy cheapest on the mean, less one."""
    simple = [name for name in SIMPLE if name in lines[0]["bills"]]
    least = min(costs_of(lines, name, left).mean() for name in simple)
    return float(costs_of(lines, TOOL, left).mean() / least - 1)


def share_of_saving(lines: Sequence[dict[str, Any]], left: str = LEFT) -> float:
    """What the tool saves of what the parameter oracle saves; NaN where that is under 10 %."""
    base, tool, best = (costs_of(lines, name, left).mean() for name in (BASE, TOOL, PARAMETER))
    return float((base - tool) / (base - best)) if base - best > 0.1 * base else float("nan")


def flicker(lines: Sequence[dict[str, Any]]) -> float:
    """Of fuel rules begun, the share dropped and begun again within eight weeks."""
    begun = sum(line["bills"][TOOL]["begun"] for line in lines)
    again = sum(line["bills"][TOOL]["dropped_and_begun_again"] for line in lines)
    return again / begun if begun else 0.0


def _limits(lines: Sequence[dict[str, Any]], measure: Any) -> tuple[float, float]:
    rng = np.random.default_rng(1)
    found = [
        measure([lines[int(k)] for k in rng.integers(0, len(lines), len(lines))])
        for _ in range(DRAWS)
    ]
    if np.isnan(found).all():
        return float("nan"), float("nan")
    low, high = np.nanquantile(found, [0.025, 0.975])
    return float(low), float(high)


def joined(lines: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    """One line a fleet, with the bills of all its lines; a fleet that lacks a bill is left out.

    Raises:
        ValueError: lines of one fleet were not played alike.
    """
    fleets: dict[tuple[Any, ...], dict[str, Any]] = {}
    for line in lines:
        key = line["shape"], line["hulls"], line["seed"]
        mine = fleets.setdefault(key, line | {"bills": {}, "commit": ""})
        if any(mine.get(name) != line.get(name) for name in PLAYED_ALIKE):
            raise ValueError(f"{key}: {', '.join(PLAYED_ALIKE)} differ between its lines.")
        mine["bills"] = mine["bills"] | line["bills"]
        stamps = {*mine["commit"].split(", "), line["commit"]} - {""}
        mine["commit"] = ", ".join(sorted(stamps))
    wanted = {
        hulls: {name for key, line in fleets.items() if key[1] == hulls for name in line["bills"]}
        for hulls in {key[1] for key in fleets}
    }
    return [line for key, line in fleets.items() if set(line["bills"]) == wanted[key[1]]]


def as_markdown(lines: Sequence[dict[str, Any]]) -> str:
    """Tables of every size on file."""
    parts = []
    for hulls in sorted({line["hulls"] for line in lines}):
        mine = [line for line in lines if line["hulls"] == hulls]
        stamps = ", ".join(sorted({line["commit"] for line in mine}))
        parts += [f"### {hulls} hulls (commit {stamps})", "", _costs(mine), "", _verdicts(mine), ""]
        parts += [_against(mine), ""]
    return "\n".join(parts)


def _by_shape(lines: Sequence[dict[str, Any]]) -> dict[str, list[dict[str, Any]]]:
    shapes = dict.fromkeys(line["shape"] for line in lines)
    by = {shape: [line for line in lines if line["shape"] == shape] for shape in shapes}
    return by | {"all, each world as much": list(lines)}


def _costs(lines: Sequence[dict[str, Any]]) -> str:
    names = [name for name in POLICIES if name in lines[0]["bills"]]
    out = [
        "| world (thousands of money) | fleets | " + " | ".join(names) + " |",
        "|---|--:|" + "--:|" * len(names),
    ]
    for shape, mine in _by_shape(lines).items():
        means = [f"{costs_of(mine, name).mean() / 1000:.1f}" for name in names]
        out.append(f"| {shape} | {len(mine)} | {' | '.join(means)} |")
    return "\n".join(out)


def _verdicts(lines: Sequence[dict[str, Any]]) -> str:
    if TOOL not in lines[0]["bills"]:
        return ""
    out = [
        "| world | past failures | tool over best simple policy | of the parameter oracle's saving "
        "| over best simple, kept up | of the oracle's, kept up "
        "| tool's fuel spending, share of cost | calibrations | top ends | checks "
        "| of the cost, looks asked by care | begun | flicker |",
        "|---|--:|--:|--:|--:|--:|--:|--:|--:|--:|--:|--:|--:|",
    ]
    for shape, mine in _by_shape(lines).items():
        tool = [line["bills"][TOOL] for line in mine]
        fuel = sum(bill["fuel_cost"] for bill in tool) / costs_of(mine, TOOL).sum()
        over, share = over_best_simple(mine), share_of_saving(mine)
        many = len(mine) > 1  # one fleet has no limits
        over_text = f"{over:+.1%}"
        if many:
            over_text += " ({:+.1%} to {:+.1%})".format(*_limits(mine, over_best_simple))
        share_text = _share_text(share)
        if many and not np.isnan(share):
            share_text += " ({:.0%} to {:.0%})".format(*_limits(mine, share_of_saving))
        renewed, looked, begun = (sum(bill[name] for bill in tool) / len(tool) for name in
                                  ("top_ends", "checks", "begun"))  # fmt: skip
        out.append(
            f"| {shape} | {np.mean([line['past_failures'] for line in mine]):.1f} | "
            f"{over_text} | {share_text} | {over_best_simple(mine, KEPT_UP):+.1%} | "
            f"{_share_text(share_of_saving(mine, KEPT_UP))} | {fuel:.1%} | "
            f"{np.mean([bill['calibration_cost'] for bill in tool]) / 1000:.1f} | "
            f"{renewed:.1f} | {looked:.1f} | {_care_text(tool)} | {begun:.1f} | "
            f"{flicker(mine):.0%} |"
        )
    return "\n".join(out)


def _care_text(bills: Sequence[dict[str, Any]]) -> str:
    """Mean cost of the looks that safety rules asked for; a dash where a run did not tell it."""
    if any("care_cost" not in bill for bill in bills):
        return "-"
    return f"{np.mean([bill['care_cost'] for bill in bills]) / 1000:.1f}"


def _share_text(share: float) -> str:
    return "little to save" if np.isnan(share) else f"{share:.0%}"


def difference(lines: Sequence[dict[str, Any]], policy: str) -> float:
    """The tool's mean cost less that of a policy on the same fleets."""
    return float((costs_of(lines, TOOL) - costs_of(lines, policy)).mean())


def _against(lines: Sequence[dict[str, Any]]) -> str:
    if TOOL not in lines[0]["bills"]:
        return ""
    out = ["| the tool less | thousands of money, 95 % limits over fleets |", "|---|--:|"]
    for name in (name for name in POLICIES if name in lines[0]["bills"] and name != TOOL):
        low, high = _limits(lines, partial(difference, policy=name))
        out.append(
            f"| {name} | {difference(lines, name) / 1000:+.1f} "
            f"({low / 1000:+.1f} to {high / 1000:+.1f}) |"
        )
    return "\n".join(out)
