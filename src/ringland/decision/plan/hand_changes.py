"""What the user decides by hand: pins, an option for a hull, and forbids, options not to get."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import polars as pl

from ringland.decision.actions.action_catalogue import Catalogue
from ringland.decision.actions.safety_rules import Bound
from ringland.decision.actions.week_limits import LimitError


@dataclass(frozen=True)
class HandChanges:
    """Pins, an option by hull; forbids, the options a hull is not to get."""

    pins: Mapping[str, str] = field(default_factory=dict)
    forbids: Mapping[str, Sequence[str]] = field(default_factory=dict)

    @property
    def hulls(self) -> list[str]:
        """Every hull they speak of, once."""
        return [*self.pins, *(hull for hull in self.forbids if hull not in self.pins)]

    def without(self, hull_id: str) -> HandChanges:
        """The same, without what speaks of one hull."""
        return HandChanges(
            {hull: option for hull, option in self.pins.items() if hull != hull_id},
            {hull: names for hull, names in self.forbids.items() if hull != hull_id},
        )

    def with_pin(self, hull_id: str, option: str) -> HandChanges:
        """The same, with one more pin."""
        return replace(self, pins={**self.pins, hull_id: option})


NO_CHANGES = HandChanges()


def check_changes(options: pl.DataFrame, changes: HandChanges) -> None:
    """Refuse changes that name a hull or an option the week does not have.

    Raises:
        LimitError: the message names the hull, the option and what there is.
    """
    known = _options_by_hull(options)
    forbidden = [(hull, name) for hull, names in changes.forbids.items() for name in names]
    for hull, option in [*changes.pins.items(), *forbidden]:
        if hull not in known:
            raise LimitError(f"hand changes: {hull} has no options this week; take it back.")
        if option not in known[hull]:
            raise LimitError(
                f"hand changes: {hull} has no option {option!r}; it has {', '.join(known[hull])}."
            )
    for hull, option in changes.pins.items():
        if option in changes.forbids.get(hull, ()):
            raise LimitError(f"hand changes: {option!r} is pinned and forbidden on {hull}.")


def usable_changes(
    options: pl.DataFrame, changes: HandChanges, bound: Bound, catalogue: Catalogue
) -> tuple[HandChanges, tuple[str, ...]]:
    """The changes this week can keep, and a sentence for each that is set aside.

    A change outlives the week it was written for: its hull may have broken since, or be
    bound by a safety rule, which no pin and no forbid overrules.
    """
    known = _options_by_hull(options)
    pins, forbids, aside = {}, {}, []
    for hull, option in changes.pins.items():
        wish = f"{hull} pinned to '{catalogue.short(option)}' is set aside"
        if hull not in known:
            aside.append(f"{wish}: nothing is planned on it this week.")
        elif hull in bound and option not in bound[hull]:
            aside.append(f"{wish}: a safety rule comes first.")
        elif option not in known[hull]:
            aside.append(f"{wish}: that is not offered on it this week.")
        else:
            pins[hull] = option
    for hull, names in changes.forbids.items():
        left = [name for name in names if name in known.get(hull, ())]
        allowed = set(bound.get(hull, known.get(hull, ()))) & set(known.get(hull, ()))
        if hull in bound and allowed <= set(left):
            aside.append(
                f"{hull}: what is forbidden on it is set aside: a safety rule comes first."
            )
        elif left and hull not in pins:
            forbids[hull] = left
    return HandChanges(pins, forbids), tuple(aside)


def _options_by_hull(options: pl.DataFrame) -> dict[str, list[str]]:
    known: dict[str, list[str]] = {}
    for hull, option in options.select("hull_id", "option").iter_rows():
        known.setdefault(hull, []).append(option)
    return known
