"""The calls of earlier weeks: what became of them, and what changed since the last."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import dataframely as dy
import polars as pl

from ringland.decision.actions.action_catalogue import Catalogue
from ringland.pages.week.report_words import AFTERWARDS
from ringland.risk.failure_risk import HORIZONS_D
from ringland.settings.assumptions import Assumptions
from ringland.words.number_words import chance_text, day_text
from ringland.words.state_words import STATE_SHORT

Row = Mapping[str, Any]


class PastCalls(dy.Schema):
    """One row per earlier week and hull: the call it got.

    A week that was not given out as its list was worked out afterwards from what was known.
    """

    as_of = dy.Datetime(time_zone="UTC", primary_key=True)
    hull_id = dy.String(primary_key=True)
    call = dy.String()
    action = dy.String(nullable=True)
    chance_30d = dy.Float64(nullable=True)
    is_given_out = dy.Bool()


def past_calls(weeks: Mapping[datetime, tuple[pl.DataFrame, pl.DataFrame]]) -> pl.DataFrame:
    """`PastCalls` from the (`HullCalls`, `HullChances`) of earlier weeks by their instant."""
    parts = [
        calls.select("hull_id", "call", "action")
        .join(chances.select("hull_id", "chance_30d"), on="hull_id", how="left")
        .with_columns(
            as_of=pl.lit(as_of).cast(pl.Datetime("us", "UTC")), is_given_out=pl.lit(value=True)
        )
        for as_of, (calls, chances) in weeks.items()
    ]
    if not parts:
        return PastCalls.create_empty()
    return PastCalls.validate(
        pl.concat(parts).select(PastCalls.column_names()).sort("as_of", "hull_id"), cast=True
    )


@dataclass(frozen=True)
class WeekChange:
    """What changed since the last report.

    `since` is that report's instant, None where no earlier one is kept; `lines` holds
    (hull, what changed), in this week's order of rank, hulls gone last; `was_given_out` is
    False where that report was worked out afterwards.
    """

    since: datetime | None
    lines: tuple[tuple[str, str], ...]
    was_given_out: bool = True


def change_since(
    past: pl.DataFrame | None,
    now: Sequence[Row],
    as_of: datetime,
    catalogue: Catalogue,
    assumptions: Assumptions,
) -> WeekChange:
    """What changed since the last report before `as_of`.

    Args:
        past: `PastCalls`; None where none is kept.
        now: this week's hulls: hull_id, call, action, chance_30d.
        as_of: this report's instant.
        catalogue: the words of the actions.
        assumptions: settings: how far a chance must move to be told of.
    """
    moved = assumptions.number("report.moved_ratio")
    earlier = None if past is None else past.filter(pl.col("as_of") < as_of)
    if earlier is None or earlier.is_empty():
        return WeekChange(None, ())
    last = earlier["as_of"].max()
    assert isinstance(last, datetime)
    before = {
        str(row["hull_id"]): row
        for row in earlier.filter(pl.col("as_of") == last).iter_rows(named=True)
    }
    lines: list[tuple[str, str]] = []
    for row in now:
        old = before.pop(str(row["hull_id"]), None)
        text = "new on the list" if old is None else _change(old, row, catalogue, moved)
        if text:
            lines.append((str(row["hull_id"]), text))
    lines += [(hull_id, "no longer in service") for hull_id in before]
    was_given_out = bool(earlier.filter(pl.col("as_of") == last)["is_given_out"].all())
    return WeekChange(last, tuple(lines), was_given_out)


def call_history(
    past: pl.DataFrame | None,
    hull: str,
    failures: pl.DataFrame,
    as_of: datetime,
    *,
    catalogue: Catalogue,
    n_weeks: int,
) -> list[Row]:
    """The last calls on one hull and what came of each, newest first.

    Args:
        past: `PastCalls`; None where none is kept.
        hull: the hull.
        failures: at, text of the failures found on it, as known at `as_of`.
        as_of: this report's instant.
        catalogue: the words of the actions; one it does not have goes by its name.
        n_weeks: how many weeks to tell of.

    Returns:
        Texts by name: week, call, action, chance, outcome.
    """
    if past is None:
        return []
    found = failures.sort("at").select("at", "text").rows()
    rows = (
        past.filter((pl.col("hull_id") == hull) & (pl.col("as_of") < as_of))
        .sort("as_of", descending=True)
        .head(n_weeks)
    )
    return [
        {
            "week": day_text(row["as_of"]) + ("" if row["is_given_out"] else AFTERWARDS),
            "call": STATE_SHORT[row["call"]],
            "action": catalogue.short(row["action"]) if row["action"] else "none named",
            "chance": chance_text(row["chance_30d"]),
            "outcome": _outcome(row["as_of"], found, as_of),
        }
        for row in rows.iter_rows(named=True)
    ]


def _outcome(called_at: datetime, found: Sequence[tuple[Any, ...]], as_of: datetime) -> str:
    until = called_at + timedelta(days=HORIZONS_D["30d"])
    for at, text in found:
        if called_at < at <= until:
            return f"{text} found on {day_text(at)}"
    return "no failure found in its 30 days" if until <= as_of else "no failure found so far"


def _change(old: Row, new: Row, catalogue: Catalogue, ratio: float) -> str:
    """The change in words; empty where nothing worth telling changed."""
    parts = []
    if old["call"] != new["call"]:
        parts.append(f"from '{STATE_SHORT[old['call']]}' to '{STATE_SHORT[str(new['call'])]}'")
    elif old["action"] != new["action"]:
        was, now = (
            catalogue.short(row["action"]) if row["action"] else "no action" for row in (old, new)
        )
        parts.append(f"{now} instead of {was}")
    before, after = old["chance_30d"], new["chance_30d"]
    if before is None or after is None:
        return "; ".join(parts)
    if parts or max(before, after) >= ratio * min(before, after):
        parts.append(f"chance in 30 days {chance_text(before)} before, {chance_text(after)} now")
    return "; ".join(parts)
