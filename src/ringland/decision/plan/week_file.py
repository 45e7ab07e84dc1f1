"""The shop's own week: its room and what is decided by hand, read from `week.toml`.

What stands at the top holds every week; a section `[week.YYYY-MM-DD]`, named by its Monday,
holds that week alone, so that a week worked out again later gives the same list.
"""

from __future__ import annotations

import tomllib
from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from datetime import date
from difflib import get_close_matches
from typing import Any

from ringland.decision.actions.action_catalogue import Catalogue
from ringland.decision.actions.week_limits import LimitError, WeekLimits
from ringland.decision.plan.hand_changes import HandChanges

_TOP = ("limits", "pin", "forbid", "week")
_SECTION = ("limits", "pin", "forbid")
_AMOUNTS = ("lift_slots", "mechanic_h", "spare_hulls", "rental_days_needed")
_BY_KIT = {"kits_on_hand": "parts_on_hand", "kit_lead_d": "parts_lead_d"}
_WHOLE = ("lift_slots", "spare_hulls", "kits_on_hand")


class WeekFileError(LimitError):
    """The week's file does not say what it must; the message names file, entry and remedy."""


@dataclass(frozen=True)
class OwnWeek:
    """The room of one week and the changes by hand that hold in it."""

    limits: WeekLimits
    changes: HandChanges


def read_week(
    text: str,
    file: str,
    *,
    monday: date,
    usual: WeekLimits,
    catalogue: Catalogue,
    hulls: Collection[str],
) -> OwnWeek:
    """The limits and hand changes of the week that begins on `monday`.

    Args:
        text: the file's content.
        file: its name, for messages.
        monday: the week.
        usual: the limits where the file is silent.
        catalogue: the options a hull can be pinned to or forbidden.
        hulls: every hull on record, in service or not.

    Raises:
        WeekFileError: the text is not TOML; an entry is unknown or out of range; a hull, an
            option or a kit is not one there is; a week is no Monday.
    """
    try:
        content = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise WeekFileError(f"{file}: not valid TOML: {error}") from error
    _known(file, content, _TOP)
    reader = _Reader(file, catalogue, frozenset(hulls))
    weeks = reader.table(content, "week", file)
    found = reader.section(content, file, OwnWeek(usual, HandChanges()))
    for name, section in weeks.items():  # every one is read, so that a fault shows at once
        where = f"{file}: week.{name}"
        _check_monday(where, name)
        if not isinstance(section, dict):
            raise WeekFileError(f"{where}: must be a section, e.g. [week.{name}.limits].")
        _known(where, section, _SECTION)
        own = reader.section(section, where, found)
        if name == monday.isoformat():
            found = own
    return found


@dataclass(frozen=True)
class _Reader:
    file: str
    catalogue: Catalogue
    hulls: frozenset[str]

    def section(self, content: Mapping[str, Any], where: str, base: OwnWeek) -> OwnWeek:
        """The base with what a section says laid over it, entry by entry."""
        pins = {
            hull: self.option(f"{where}: pin.{hull}", option)
            for hull, option in self.table(content, "pin", where).items()
            if self.is_hull(f"{where}: pin.{hull}", hull)
        }
        forbids = {
            hull: self.options(f"{where}: forbid.{hull}", options)
            for hull, options in self.table(content, "forbid", where).items()
            if self.is_hull(f"{where}: forbid.{hull}", hull)
        }
        changes = HandChanges({**base.changes.pins, **pins}, {**base.changes.forbids, **forbids})
        for hull, option in changes.pins.items():
            if option in changes.forbids.get(hull, ()):
                raise WeekFileError(
                    f"{where}: {hull} is pinned to {option} and forbidden it; take one back."
                )
        return OwnWeek(
            self.limits(self.table(content, "limits", where), where, base.limits), changes
        )

    def limits(self, content: Mapping[str, Any], where: str, base: WeekLimits) -> WeekLimits:
        _known(f"{where}: limits", content, (*_AMOUNTS, *_BY_KIT))
        changed: dict[str, Any] = {}
        for name in _AMOUNTS:
            if name in content:
                changed[name] = _amount(f"{where}: limits.{name}", name, content[name])
        for name, attribute in _BY_KIT.items():
            kits = self.table(content, name, f"{where}: limits")
            usual = getattr(base, attribute)
            for kit, value in kits.items():
                at = f"{where}: limits.{name}.{kit}"
                if kit not in base.parts_on_hand:
                    raise WeekFileError(
                        f"{at}: no action uses such a kit; {_there_is(kit, base.parts_on_hand)}."
                    )
                usual = {**usual, kit: _amount(at, name, value)}
            changed[attribute] = usual
        return replace(base, **changed)

    def table(self, content: Mapping[str, Any], name: str, where: str) -> Mapping[str, Any]:
        value = content.get(name, {})
        if not isinstance(value, dict):
            raise WeekFileError(f"{where}: {name} must be a table, e.g. [{name}] and lines below.")
        return value

    def is_hull(self, where: str, hull: str) -> bool:
        if hull not in self.hulls:
            raise WeekFileError(
                f"{where}: no hull of this name is on record; {_there_is(hull, self.hulls)}."
            )
        return True

    def option(self, where: str, option: Any) -> str:
        there = self.catalogue.bundles()
        if option not in there:
            raise WeekFileError(f"{where}: no such action: {option!r}; {_there_is(option, there)}.")
        return str(option)

    def options(self, where: str, options: Any) -> tuple[str, ...]:
        listed = options if isinstance(options, list) else [options]
        named = [self.option(where, option) for option in listed]
        # Forbidding an action forbids what holds it too.
        bundles = self.catalogue.bundles()
        return tuple(
            option
            for option, actions in bundles.items()
            if option in named or any(action.name in named for action in actions)
        )


def _known(where: str, content: Mapping[str, Any], known: Collection[str]) -> None:
    if unknown := sorted(set(content) - set(known)):
        raise WeekFileError(
            f"{where}: unknown entry {', '.join(unknown)}; known: {', '.join(known)}."
        )


def _check_monday(where: str, name: str) -> None:
    try:
        is_monday = date.fromisoformat(name).weekday() == 0
    except ValueError as error:
        raise WeekFileError(f"{where}: no date; name a week by its Monday, YYYY-MM-DD.") from error
    if not is_monday:
        raise WeekFileError(f"{where}: {name} is no Monday; name a week by its Monday.")


def _amount(where: str, name: str, value: Any) -> float | int:
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    if not is_number or not 0 <= value < float("inf"):
        raise WeekFileError(f"{where}: is {value!r}; give a number of zero or more.")
    if name in _WHOLE and value != int(value):
        raise WeekFileError(f"{where}: is {value!r}; give a whole number.")
    return int(value) if name in _WHOLE else float(value)


def _there_is(wanted: object, known: Collection[str]) -> str:
    """The nearest names there are, else the first few."""
    near = get_close_matches(str(wanted), list(known), n=3)
    if near:
        return f"did you mean {' or '.join(near)}?".removesuffix("?")
    some = sorted(known)[:12]
    return f"there is {', '.join(some)}{' and others' if len(known) > len(some) else ''}"
