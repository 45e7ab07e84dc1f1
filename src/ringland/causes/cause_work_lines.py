"""The rebuild sheet's part of a cause report: work, options, acceptance, closing, in words."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from ringland.causes import rebuild_sheet_words as said
from ringland.causes.cause_lines import Rows
from ringland.causes.rebuild_scope import RebuildSheet
from ringland.decision.action_prices import Prices
from ringland.words.fixed_words import MARK_WORDS, MEASURE_LABELS
from ringland.words.number_words import number_text, price_text


def work_rows(sheet: RebuildSheet) -> Rows:
    """What must be done and why, parts and hours."""
    return tuple(
        (
            item.what,
            item.why,
            "; ".join(item.because) or said.EVERY_REBUILD,
            ", ".join(item.parts) or "\N{EN DASH}",
            number_text(item.hours),
            MARK_WORDS[item.mark],
        )
        for item in sheet.items
    )


def work_lines(sheet: RebuildSheet) -> tuple[str, ...]:
    """Scope and hours in one sentence."""
    scope = said.SCOPE_NAMES[sheet.scope]
    return (said.PROPOSED_WORK.format(scope=scope, hours=number_text(sheet.hours)),)


def option_rows(sheet: RebuildSheet, prices: Prices) -> Rows:
    """The ways to go on, with price and what each leaves open."""

    def price(item: str) -> str:
        amount = price_text(getattr(prices, item), prices.currency)
        return said.WEAK_PRICE.format(price=amount) if item in prices.from_settings else amount

    full = (
        said.FULL_REBUILD,
        price("full_rebuild_unplanned"),
        said.FULL_LEAVES,
    )
    top = (
        said.TOP_END,
        price("top_end_planned"),
        said.UNMEASURED if sheet.scope == "full" else said.NOT_ASKED_FOR,
    )
    first, second = (full, top) if sheet.scope == "full" else (top, full)
    return (
        (said.PROPOSED_OPTION.format(option=first[0]), *first[1:]),
        second,
        (said.LEAVE_IT, said.NO_PRICE, said.LEFT_AS_IT_IS),
    )


def acceptance_rows(sheet: RebuildSheet) -> Rows:
    """Target, limit, before, after, verdict, signature."""
    return tuple(
        (
            MEASURE_LABELS[line.measure],
            line.place,
            line.target,
            said.LIMIT.format(limit=line.limit, mark=line.mark),
            line.before,
            line.after,
            line.verdict
            if not line.accepted_because
            else said.LET_GO.format(verdict=line.verdict, why=line.accepted_because),
            line.signed_by or "",
        )
        for line in sheet.acceptance
    )


def closing_lines(
    closed: bool, obstacles: tuple[str, ...], rebuild: Mapping[str, Any] | None
) -> tuple[str, ...]:
    """Whether the sheet may be closed, and what stands in the way."""
    if closed:
        return (said.MAY_CLOSE,)
    which = said.THIS_REBUILD if rebuild else said.A_REBUILD
    shown = obstacles[:6]
    more = len(obstacles) - len(shown)
    return (
        said.CANNOT_CLOSE.format(which=which, count=len(obstacles)),
        *shown,
        *((said.MORE_READINGS.format(more=more),) if more else ()),
    )
