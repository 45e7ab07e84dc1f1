"""Every number we chose, with its unit, its source and how sure we are of it.

The numbers stand in `assumptions.toml` beside this module; a shop may lay its own file
over them.  Nothing else in the project holds a threshold, a coefficient or a prior.
"""

from __future__ import annotations

import json
import math
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from importlib.resources import files
from pathlib import Path

from ringland.settings.unit_bounds import UNIT_BOUNDS

MARKS = {
    "P": "published text, read",
    "S": "secondary or trade page, read",
    "M": "from memory",
    "CP": "common practice, no source",
    "A": "assumption, to be set by the user",
    "C": "computed",
}


class AssumptionError(ValueError):
    """A settings file does not say what it must; the message names file, entry and remedy."""


@dataclass(frozen=True)
class Assumption:
    """One number we chose: value, unit, mark (a key of `MARKS`) and where it comes from."""

    name: str
    value: float
    unit: str
    mark: str
    source: str


class Assumptions(Mapping[str, Assumption]):
    """All assumptions by dotted name, e.g. 'fuel.old_after_d'."""

    def __init__(self, entries: Mapping[str, Assumption]) -> None:
        self._entries = dict(entries)

    def __getitem__(self, name: str) -> Assumption:
        return self._entries[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._entries)

    def __len__(self) -> int:
        return len(self._entries)

    def number(self, name: str) -> float:
        """The value of one assumption, in its stated unit."""
        return self._entries[name].value

    def changed(self, **values: float) -> Assumptions:
        """The same with some values changed; a dot in a name is written as two underscores."""
        entries = dict(self._entries)
        for key, value in values.items():
            name = key.replace("__", ".")
            old = entries[name]
            entries[name] = Assumption(name, float(value), old.unit, old.mark, old.source)
        return Assumptions(entries)


def load_assumptions(own_file: Path | None = None) -> Assumptions:
    """The project's assumptions, with a shop's own file laid over them.

    Raises:
        AssumptionError: an entry lacks a field, has an unknown mark or a value its unit cannot
            have, or the shop's own file names an entry the project does not have.
    """
    text = files("ringland.settings").joinpath("assumptions.toml").read_text(encoding="utf-8")
    default = read_assumptions("assumptions.toml", text)
    if own_file is None:
        return default
    return laid_over(default, str(own_file), own_file.read_text(encoding="utf-8"))


def laid_over(default: Assumptions, file: str, text: str) -> Assumptions:
    """The project's settings with a shop's own laid over them.

    Args:
        default: the project's.
        file: name of the shop's file, for messages.
        text: what it holds.

    Raises:
        AssumptionError: an entry lacks a field, has an unknown mark, an unknown name, a unit
            that is not the project's or a value its unit cannot have.
    """
    own = _read(file, text)
    for name, entry in own.items():
        if name not in default:
            near = get_close_matches(name, list(default), n=1)
            nearest = f" Did you mean {near[0]!r}?" if near else ""
            raise AssumptionError(
                f"{file}: no such setting: {name}.{nearest} Known settings are listed in "
                f"{Path(file).name} of the project."
            )
        if entry.unit != default[name].unit:
            raise AssumptionError(
                f"{file}: {name} is in {entry.unit!r}; write it in {default[name].unit!r}."
            )
    return Assumptions({**default, **_possible(file, own)})


def read_assumptions(file: str, text: str) -> Assumptions:
    """The settings in `text`, which has the form of assumptions.toml; `file` is only named.

    Raises:
        AssumptionError: an entry lacks a field, has an unknown mark or a value its unit cannot
            have.
    """
    return Assumptions(_possible(file, _read(file, text)))


def _possible(file: str, entries: dict[str, Assumption]) -> dict[str, Assumption]:
    """The entries, each a value that its unit can have."""
    for name, entry in entries.items():
        if entry.unit not in UNIT_BOUNDS:
            raise AssumptionError(f"{file}: {name} is in {entry.unit!r}, which no setting is.")
        if fault := UNIT_BOUNDS[entry.unit].fault(entry.value):
            raise AssumptionError(f"{file}: {name} is {entry.value:,.12g} {entry.unit}; {fault}.")
    return entries


def assumptions_text(settings: Assumptions) -> str:
    """The settings as a file of the form of assumptions.toml, as they are in force."""
    lines: dict[str, list[str]] = {}
    for name, entry in settings.items():
        group, _, key = name.partition(".")
        words = ", ".join(
            f"{field} = {json.dumps(getattr(entry, field), ensure_ascii=False)}"
            for field in ("value", "unit", "mark", "source")
        )
        lines.setdefault(group, []).append(f"{key} = {{ {words} }}")
    return "\n\n".join("\n".join([f"[{group}]", *own]) for group, own in lines.items()) + "\n"


def _read(file: str, text: str) -> dict[str, Assumption]:
    try:
        groups = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise AssumptionError(f"{file}: not valid TOML: {error}") from error
    entries = {}
    for group, members in groups.items():
        if not isinstance(members, dict):
            raise AssumptionError(f"{file}: {group} stands alone; put it under its [group].")
        for key, fields in members.items():
            name = f"{group}.{key}"
            entries[name] = _entry(file, name, fields)
    return entries


def _entry(file: str, name: str, fields: object) -> Assumption:
    wanted = {"value", "unit", "mark", "source"}
    if not isinstance(fields, dict) or set(fields) != wanted:
        raise AssumptionError(f"{file}: {name} must have exactly {', '.join(sorted(wanted))}.")
    if fields["mark"] not in MARKS:
        raise AssumptionError(
            f"{file}: {name} has mark {fields['mark']!r}; use one of {', '.join(MARKS)}."
        )
    value = fields["value"]
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise AssumptionError(f"{file}: {name} has value {fields['value']!r}; give a number.")
    return Assumption(
        name, float(fields["value"]), fields["unit"], fields["mark"], fields["source"]
    )
