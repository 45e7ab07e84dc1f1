"""The action catalogue read from its TOML file, or a clear message what to put right."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources import files
from math import isfinite
from typing import Any

from ringland.contracts.fuel_tables import ExposureCovariates
from ringland.contracts.record_columns import MEASURES
from ringland.decision.actions.action_catalogue import (
    HOWS,
    NOTHING,
    REPAIR,
    Action,
    Catalogue,
    CatalogueError,
    Effect,
    Finding,
    MarkedNumber,
    Test,
    shops_own,
)
from ringland.settings.assumptions import MARKS, Assumptions

DEFAULT_FILE = "action_catalogue.toml"

_NUMBERS = ("cost", "cost_per_l", "cost_per_d", "mechanic_h", "lift_slots", "days_off", "lasts_h")
_OTHERS = (
    "label", "short", "offered", "cost_item", "days_off_item", "parts", "renews_age", "only_where",
    "effect", "test", "finding", "after_failed",
)  # fmt: skip
_COVARIATES = frozenset(ExposureCovariates.column_names())


def default_catalogue(assumptions: Assumptions) -> Catalogue:
    """The catalogue that comes with the project."""
    return read_catalogue(_default_text(), DEFAULT_FILE, assumptions)


def own_catalogue(text: str, file: str, assumptions: Assumptions) -> Catalogue:
    """The project's catalogue with a shop's own file laid over it, field by field.

    A field the shop's file gives takes the place of the project's, a list as a whole; an
    action or a bundle the project does not have is added.  A number may be given alone: it
    then counts as the shop's assumption.

    Args:
        text: the shop's file.
        file: its name, for messages.
        assumptions: settings.

    Raises:
        CatalogueError: as `read_catalogue`.
    """
    own = _parsed(text, file)
    base = _parsed(_default_text(), DEFAULT_FILE)
    for name in ("action", "together"):
        if not isinstance(own.get(name, {}), dict):
            raise CatalogueError(f"{file}: {name} must be a section with fields.")
    actions = dict(base["action"])
    for name, entry in own.get("action", {}).items():
        if not isinstance(entry, dict):
            raise CatalogueError(f"{file}: action.{name}: must be a section with fields.")
        given = {
            key: shops_own(value, file) if key in _NUMBERS else value
            for key, value in entry.items()
        }
        kept = dict(actions.get(name, {}))
        for number in ("cost", "days_off"):  # a price of one's own replaces the list's
            if number in given:
                kept.pop(f"{number}_item", None)
            if f"{number}_item" in given:
                kept.pop(number, None)
        actions[name] = kept | given
    together = base["together"] | own.get("together", {})
    return _catalogue(own | {"action": actions, "together": together}, file, assumptions)


def _default_text() -> str:
    return files("ringland.decision.actions").joinpath(DEFAULT_FILE).read_text(encoding="utf-8")


def read_catalogue(text: str, file: str, assumptions: Assumptions) -> Catalogue:
    """The catalogue in a TOML text; numbers given as a setting come from `assumptions`.

    Args:
        text: the file's content.
        file: its name, for messages.
        assumptions: settings.

    Raises:
        CatalogueError: the text is not TOML, or an entry is unknown, lacks a field, has an
            unknown mark, a value out of range, or names an action that is not there.
    """
    return _catalogue(_parsed(text, file), file, assumptions)


def _parsed(text: str, file: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise CatalogueError(f"{file}: not valid TOML: {error}") from error


def _catalogue(content: Mapping[str, Any], file: str, assumptions: Assumptions) -> Catalogue:
    top = _Entry(file, content, assumptions)
    top.must_not_have_other_than(("action", "together"))
    entries = top.table("action")
    if not entries:
        raise CatalogueError(f"{file}: no action in it; add at least one [action.<name>].")
    actions = {
        name: _action(name, _Entry(f"{file}: action.{name}", entry, assumptions))
        for name, entry in entries.items()
    }
    for name, action in actions.items():
        _check_follow_up(f"{file}: action.{name}.test", action, actions)
        _check_answer(f"{file}: action.{name}.finding", action, actions)
    together = {
        name: _members(f"{file}: together.{name}", name, members, actions)
        for name, members in top.table("together").items()
    }
    return Catalogue(actions, together)


@dataclass(frozen=True)
class _Entry:
    """A part of the file, with the words that say where it is."""

    where: str
    content: Any
    assumptions: Assumptions

    def __post_init__(self) -> None:
        if not isinstance(self.content, dict):
            raise CatalogueError(f"{self.where}: must be a section with fields.")

    def at(self, key: str) -> _Entry:
        return _Entry(f"{self.where}.{key}", self.content[key], self.assumptions)

    def must_not_have_other_than(self, known: tuple[str, ...]) -> None:
        if unknown := sorted(set(self.content) - set(known)):
            raise CatalogueError(
                f"{self.where}: unknown field {', '.join(unknown)}; known: {', '.join(known)}."
            )

    def must_have_exactly(self, *wanted: str) -> None:
        if set(self.content) != set(wanted):
            raise CatalogueError(f"{self.where}: must have exactly {', '.join(wanted)}.")

    def table(self, key: str) -> Mapping[str, Any]:
        value = self.content.get(key, {})
        if not isinstance(value, dict):
            raise CatalogueError(f"{self.where}.{key}: must be a table, e.g. {{ name = 1 }}.")
        return value

    def marked(self, key: str, *, may_be_negative: bool = False) -> MarkedNumber:
        entry = self.at(key)
        if "setting" in entry.content:
            entry.must_have_exactly("setting")
            name = entry.content["setting"]
            if name not in self.assumptions:
                raise CatalogueError(f"{entry.where}: no such setting in assumptions.toml: {name}.")
            setting = self.assumptions[name]
            return MarkedNumber(setting.value, setting.mark, setting.source)
        entry.must_have_exactly("value", "mark", "source")
        if entry.content["mark"] not in MARKS:
            raise CatalogueError(
                f"{entry.where}: mark is {entry.content['mark']!r}; use one of {', '.join(MARKS)}."
            )
        value = _number(f"{entry.where}.value", entry.content["value"], may_be_negative)
        return MarkedNumber(value, entry.content["mark"], str(entry.content["source"]))


def _action(name: str, entry: _Entry) -> Action:
    entry.must_not_have_other_than(_NUMBERS + _OTHERS)
    content = entry.content
    if name in (NOTHING, REPAIR):
        raise CatalogueError(f"{entry.where}: '{name}' is always offered; take another name.")
    if not isinstance(content.get("label"), str):
        raise CatalogueError(f"{entry.where}: needs a label, the words for the page.")
    if not isinstance(content.get("short", ""), str):
        raise CatalogueError(f"{entry.where}.short: is {content['short']!r}; give words.")
    for number in ("cost", "days_off"):
        if number in content and f"{number}_item" in content:
            raise CatalogueError(f"{entry.where}: give {number} or {number}_item, not both.")
    renews_age, offered = (
        _flag(f"{entry.where}.{key}", content.get(key, default))
        for key, default in (("renews_age", False), ("offered", True))
    )
    effects = content.get("effect", [])
    if not isinstance(effects, list):
        raise CatalogueError(f"{entry.where}.effect: write each as [[action.{name}.effect]].")
    numbers = {key: entry.marked(key) for key in _NUMBERS if key in content}
    values = {key: number.value for key, number in numbers.items()}
    slots = _whole(f"{entry.where}.lift_slots", values.pop("lift_slots", 0.0))
    return Action(
        name=name,
        label=content["label"],
        short=content.get("short", ""),
        offered=offered,
        cost_item=content.get("cost_item"),
        days_off_item=content.get("days_off_item"),
        lift_slots=slots,
        parts={
            part: _whole(f"{entry.where}.parts.{part}", count)
            for part, count in entry.table("parts").items()
        },
        renews_age=renews_age,
        only_where={
            _covariate(f"{entry.where}.only_where", covariate): _number(
                f"{entry.where}.only_where.{covariate}", value
            )
            for covariate, value in entry.table("only_where").items()
        },
        effects=tuple(
            _effect(_Entry(f"{entry.where}.effect", effect, entry.assumptions))
            for effect in effects
        ),
        test=_test(entry.at("test")) if "test" in content else None,
        finding=_finding(entry.at("finding")) if "finding" in content else None,
        after_failed=_measures(f"{entry.where}.after_failed", content.get("after_failed", [])),
        numbers=numbers,
        **values,
    )


def _effect(entry: _Entry) -> Effect:
    entry.must_have_exactly("covariate", "how", "by")
    how = entry.content["how"]
    if how not in HOWS:
        raise CatalogueError(f"{entry.where}: how is {how!r}; use one of {', '.join(HOWS)}.")
    return Effect(
        covariate=_covariate(entry.where, entry.content["covariate"]),
        how=how,
        by=entry.marked("by", may_be_negative=how == "add"),
    )


def _test(entry: _Entry) -> Test:
    told = {"measures"} & set(entry.content)
    entry.must_have_exactly("sensitivity", "specificity", "reach_d", "follow_up", *told)
    rates = {key: entry.marked(key) for key in ("sensitivity", "specificity")}
    for key, rate in rates.items():
        if rate.value > 1:
            raise CatalogueError(f"{entry.where}.{key}: {rate.value:g} is no share; give 0 to 1.")
    return Test(
        rates["sensitivity"],
        rates["specificity"],
        entry.marked("reach_d"),
        str(entry.content["follow_up"]),
        _measures(f"{entry.where}.measures", entry.content.get("measures", [])),
    )


def _measures(where: str, names: Any) -> tuple[str, ...]:
    if not isinstance(names, list) or not set(names) <= set(MEASURES):
        raise CatalogueError(f"{where}: is {names!r}; list some of {', '.join(MEASURES)}.")
    return tuple(names)


def _finding(entry: _Entry) -> Finding:
    entry.must_have_exactly("chance", "stands_d", "effect", "answer")
    chance = entry.marked("chance")
    if chance.value > 1:
        raise CatalogueError(f"{entry.where}.chance: {chance.value:g} is no share; give 0 to 1.")
    return Finding(
        chance,
        entry.marked("stands_d"),
        tuple(
            _effect(_Entry(f"{entry.where}.effect", effect, entry.assumptions))
            for effect in entry.content["effect"]
        ),
        str(entry.content["answer"]),
    )


def _check_answer(where: str, action: Action, actions: Mapping[str, Action]) -> None:
    if action.finding is None:
        return
    answer = actions.get(action.finding.answer)
    if answer is None or not answer.effects:
        able = ", ".join(name for name, other in actions.items() if other.effects)
        raise CatalogueError(
            f"{where}: answer {action.finding.answer!r} must name an action that changes what the "
            f"engine is exposed to; there is: {able or 'none, add one'}."
        )


def _check_follow_up(where: str, action: Action, actions: Mapping[str, Action]) -> None:
    if action.test is None:
        return
    follow_up = actions.get(action.test.follow_up)
    if follow_up is None or not follow_up.renews_age:
        renewing = ", ".join(name for name, other in actions.items() if other.renews_age)
        raise CatalogueError(
            f"{where}: follow_up {action.test.follow_up!r} must name an action that renews the "
            f"piston set; there is: {renewing or 'none, add one'}."
        )


def _members(where: str, name: str, members: Any, actions: Mapping[str, Action]) -> tuple[str, ...]:
    if name in actions or name in (NOTHING, REPAIR):
        raise CatalogueError(f"{where}: an action has this name; take another.")
    if not isinstance(members, list) or len(members) < 2 or len(set(members)) < len(members):
        raise CatalogueError(f"{where}: list two or more different actions.")
    if unknown := [str(member) for member in members if member not in actions]:
        raise CatalogueError(f"{where}: no such action: {', '.join(unknown)}.")
    tests = [member for member in members if actions[member].test is not None]
    renewals = [member for member in members if actions[member].renews_age]
    if len(tests) + len(renewals) > 1:
        raise CatalogueError(
            f"{where}: {' and '.join([*tests, *renewals])} do not go together; tests on one engine "
            f"are not independent, and a new piston set needs none. Keep one of them."
        )
    return tuple(members)


def _covariate(where: str, name: Any) -> str:
    if name not in _COVARIATES:
        raise CatalogueError(
            f"{where}: no such covariate: {name!r}; known: {', '.join(sorted(_COVARIATES))}."
        )
    return str(name)


def _flag(where: str, value: Any) -> bool:
    if not isinstance(value, bool):
        raise CatalogueError(f"{where}: is {value!r}; give true or false.")
    return value


def _number(where: str, value: Any, may_be_negative: bool = False) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not isfinite(value):
        raise CatalogueError(f"{where}: is {value!r}; give a number.")
    if value < 0 and not may_be_negative:
        raise CatalogueError(f"{where}: is {value!r}; give zero or more.")
    return float(value)


def _whole(where: str, value: Any) -> int:
    number = _number(where, value)
    if number != int(number):
        raise CatalogueError(f"{where}: is {value!r}; give a whole number.")
    return int(number)
