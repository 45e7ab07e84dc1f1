"""What can be done to a hull this week: cost, effort, parts and effect of each action.

An action works in one of three ways: on exposure (it changes covariates), on knowledge (a
test updates the chance, a look at the record puts right what was written down wrongly) or on
age (a new piston set).  One on exposure that is paid for as it runs is a rule: once begun it
stands until it is ended.  `catalogue_file` reads them from an
editable file; what one is worth on a given hull is worked out in `option_outcome`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from ringland.words.fixed_words import NOTHING_LABEL, NOTHING_SHORT, REPAIR_LABEL, REPAIR_SHORT

NOTHING = "nothing"
"""The option to leave a hull as it is: always offered, never in the file."""

REPAIR = "repair"
"""The option of a hull that stands broken: never in the file; it takes what `REBUILD` takes."""

REBUILD = "full_rebuild"
"""The action whose hours, slots and kits the repair of a failure takes."""

FUEL_RULE = "fuel_rule"
"""The action that gives a hull fuel that meets its need: its litres cost what they cost there."""

HOWS = ("set", "cap", "scale", "add")


class CatalogueError(ValueError):
    """A catalogue does not say what it must; the message names file, entry and remedy."""


SHOPS_OWN = "the shop's own"
"""What the source of a number begins with that stands in a shop's own file."""


@dataclass(frozen=True)
class MarkedNumber:
    """A number, how sure it is (a key of `assumptions.MARKS`) and where it comes from."""

    value: float
    mark: str
    source: str

    @property
    def is_shops_own(self) -> bool:
        """Whether the shop wrote it into its own file, which no record overrules."""
        return self.source.startswith(SHOPS_OWN)


def shops_own(value: Any, file: str) -> Any:
    """A number as a shop's own file gives it, with a mark and its file as its source."""
    if isinstance(value, int | float) and not isinstance(value, bool):
        return {"value": value, "mark": "A", "source": f"{SHOPS_OWN}, {file}"}
    if isinstance(value, dict) and isinstance(value.get("source"), str):
        return value | {"source": f"{SHOPS_OWN}, {file}: {value['source']}"}
    return value


@dataclass(frozen=True)
class Effect:
    """What an action does to one covariate while it holds.

    `set` puts it at the number, `cap` lowers it to the number, `scale` multiplies it, `add`
    adds to it.  No covariate goes below zero.
    """

    covariate: str
    how: str
    by: MarkedNumber


@dataclass(frozen=True)
class Test:
    """How well a test tells a set that will fail from one that will not, and what follows.

    `sensitivity` is the chance of a bad reading on a set that would fail within `reach_d`
    days, `specificity` that of a good reading on one that would not.  `measures` are what
    is written down of it: a complete test of one of them answers a job that asks for it.
    """

    __test__ = False  # pytest is not to collect it

    sensitivity: MarkedNumber
    specificity: MarkedNumber
    reach_d: MarkedNumber
    follow_up: str
    measures: tuple[str, ...] = ()


@dataclass(frozen=True)
class Finding:
    """What a look at the record may find, how often, and the action that puts it right.

    `effects` are what the covariates then really are; a look is not asked for again within
    `stands_d` days.
    """

    chance: MarkedNumber
    stands_d: MarkedNumber
    effects: tuple[Effect, ...]
    answer: str


@dataclass(frozen=True)
class Action:
    """One entry of the catalogue; a number the file leaves out is zero.

    `short` is the label for lists.  One that is not `offered` is in no option, but what others
    name it for (a follow-up, the hours of a repair) still holds.  `cost_item` and
    `days_off_item` name items of the price list that stand for `cost` and `days_off`.
    `lasts_h` None: its effect holds as long as we look ahead.  One with `after_failed` tells
    more where a test of those measures failed, and is meant for no other hull.
    """

    name: str
    label: str
    short: str = ""
    offered: bool = True
    cost_item: str | None = None
    cost: float = 0.0
    cost_per_l: float = 0.0
    cost_per_d: float = 0.0
    mechanic_h: float = 0.0
    lift_slots: int = 0
    days_off_item: str | None = None
    days_off: float = 0.0
    parts: Mapping[str, int] = field(default_factory=dict)
    renews_age: bool = False
    lasts_h: float | None = None
    only_where: Mapping[str, float] = field(default_factory=dict)
    effects: tuple[Effect, ...] = ()
    test: Test | None = None
    finding: Finding | None = None
    after_failed: tuple[str, ...] = ()
    numbers: Mapping[str, MarkedNumber] = field(default_factory=dict)
    """The numbers as the file gives them, for the page."""

    @property
    def is_rule(self) -> bool:
        """Whether it is kept up for a price by the litre or the day, until it is ended."""
        is_running = self.cost_per_l > 0 or self.cost_per_d > 0
        return bool(self.effects) and self.lasts_h is None and is_running


@dataclass(frozen=True)
class Catalogue:
    """All actions by name, and which of them are offered together."""

    actions: Mapping[str, Action]
    together: Mapping[str, tuple[str, ...]] = field(default_factory=dict)

    def bundles(self) -> dict[str, tuple[Action, ...]]:
        """Every option a hull can be given, by name; that of `nothing` is empty."""
        alone = {name: (action,) for name, action in self.actions.items()}
        joint = {
            name: tuple(self.actions[member] for member in members)
            for name, members in self.together.items()
        }
        offered = {
            name: actions
            for name, actions in (alone | joint).items()
            if all(action.offered for action in actions)
        }
        return {NOTHING: ()} | offered

    def rules(self) -> tuple[str, ...]:
        """The actions that stand until they are ended."""
        return tuple(name for name, action in self.actions.items() if action.is_rule)

    def jobs(self, option: str) -> tuple[Action, ...]:
        """The actions an option holds, for the hours, slots and kits it takes."""
        return self._members(REBUILD if option == REPAIR else option)

    def label(self, option: str) -> str:
        """The words for an option: its actions' labels, joined."""
        if option in _OWN_WORDS:
            return _OWN_WORDS[option][0]
        return "; ".join(action.label for action in self._members(option)) or _plain(option)

    def short(self, option: str) -> str:
        """The words for an option in a list; one of an earlier catalogue goes by its name."""
        if option in _OWN_WORDS:
            return _OWN_WORDS[option][1]
        shorts = [action.short or action.label for action in self._members(option)]
        return " + ".join(shorts) or _plain(option)

    def _members(self, option: str) -> tuple[Action, ...]:
        names = self.together.get(option, (option,))
        return tuple(self.actions[name] for name in names if name in self.actions)


_OWN_WORDS = {NOTHING: (NOTHING_LABEL, NOTHING_SHORT), REPAIR: (REPAIR_LABEL, REPAIR_SHORT)}


def _plain(option: str) -> str:
    return option.replace("_", " ")
