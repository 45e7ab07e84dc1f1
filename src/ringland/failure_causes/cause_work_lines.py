"""The rebuild sheet's part of a cause report: work, options, acceptance, closing, in words."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from ringland.failure_causes.cause_lines import Rows
from ringland.failure_causes.rebuild_scope import RebuildSheet
from ringland.service_week.action_prices import Prices
from ringland.wording.fixed_words import MARK_WORDS, MEASURE_LABELS
from ringland.wording.number_words import number_text, price_text

SCOPE_NAMES = {"full": "full rebuild, bottom end opened", "top_end": "top end and head"}


def work_rows(sheet: RebuildSheet) -> Rows:
    """What must be done and why, parts and hours."""
    return tuple(
        (
            item.what,
            item.why,
            "; ".join(item.because) or "part of every rebuild",
            ", ".join(item.parts) or "\N{EN DASH}",
            number_text(item.hours),
            MARK_WORDS[item.mark],
        )
        for item in sheet.items
    )


def work_lines(sheet: RebuildSheet) -> tuple[str, ...]:
    """Scope and hours in one sentence."""
    return (f"Proposed: {SCOPE_NAMES[sheet.scope]}; {number_text(sheet.hours)} mechanic's hours.",)


def option_rows(sheet: RebuildSheet, prices: Prices) -> Rows:
    """The ways to go on, with price and what each leaves open."""

    def price(item: str) -> str:
        amount = price_text(getattr(prices, item), prices.currency)
        return f"{amount} (weak, from the settings)" if item in prices.from_settings else amount

    full = (
        "Full rebuild, bottom end opened",
        price("full_rebuild_unplanned"),
        "Every reading below taken before it goes back.",
    )
    top = (
        "Top end and head",
        price("top_end_planned"),
        "Bearings, rods and oil pump stay unmeasured."
        if sheet.scope == "full"
        else "Nothing found asks for the bottom end to be opened.",
    )
    first, second = (full, top) if sheet.scope == "full" else (top, full)
    return (
        (f"{first[0]} (proposed)", *first[1:]),
        second,
        ("Leave it as it is", "none", "The engine does not run; the parts are kept as evidence."),
    )


def acceptance_rows(sheet: RebuildSheet) -> Rows:
    """Target, limit, before, after, verdict, signature."""
    return tuple(
        (
            MEASURE_LABELS[line.measure],
            line.place,
            line.target,
            f"{line.limit} [{line.mark}]",
            line.before,
            line.after,
            line.verdict
            if not line.accepted_because
            else f"{line.verdict}: {line.accepted_because}",
            line.signed_by or "",
        )
        for line in sheet.acceptance
    )


def closing_lines(
    closed: bool, obstacles: tuple[str, ...], rebuild: Mapping[str, Any] | None
) -> tuple[str, ...]:
    """Whether the sheet may be closed, and what stands in the way."""
    if closed:
        return ("Every acceptance reading passed or was let go for a recorded reason, and signed.",)
    when = "This rebuild" if rebuild else "A rebuild"
    shown = obstacles[:6]
    more = len(obstacles) - len(shown)
    return (
        f"{when} cannot be closed: {len(obstacles)} reading(s) stand in the way.",
        *shown,
        *((f"and {more} more.",) if more else ()),
    )
