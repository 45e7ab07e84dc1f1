"""A shop's page settings, read from the text of its own file and checked entry by entry.

The project's own values stand in `page_settings.toml` beside this module, which is also the
commented file a shop starts from.
"""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Collection
from dataclasses import asdict, replace
from importlib.resources import files
from zoneinfo import ZoneInfo

from ringland.words.manner import (
    CLOCKS,
    DATE_FORMS,
    DEFAULT_MANNER,
    MONEY_PLACES,
    NUMBER_FORMS,
    PAPERS,
    PRESSURES,
    UNIT_SYSTEMS,
    Manner,
)

CHOICES: dict[str, Collection[str]] = {
    "units": UNIT_SYSTEMS,
    "pressure": PRESSURES,
    "date": DATE_FORMS,
    "clock": CLOCKS,
    "number": NUMBER_FORMS,
    "money": MONEY_PLACES,
    "paper": PAPERS,
}
"""What each entry may be, where it is one of a few."""

LONGEST_SIGN = 4
"""Characters of a currency sign; longer ones would not fit the tables."""


class PageSettingError(ValueError):
    """A page setting is not one of those known; the message names file, entry and remedy."""


def page_settings_text() -> str:
    """The commented settings file with the project's own values."""
    return files("ringland.settings").joinpath("page_settings.toml").read_text(encoding="utf-8")


def read_manner(file: str, text: str, usual: Manner = DEFAULT_MANNER) -> Manner:
    """The manner a settings file asks for.

    Args:
        file: what messages call the file, e.g. 'pages.toml'.
        text: its content.
        usual: what holds for an entry it leaves out.

    Raises:
        PageSettingError: the text is no TOML, or an entry is unknown or has an unknown value.
    """
    try:
        entries = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise PageSettingError(
            f"{file}: not valid TOML: {error}. Put every value between double quotes."
        ) from error
    for name, value in entries.items():
        _check(file, name, value)
    return replace(usual, **entries)


def _check(file: str, name: str, value: object) -> None:
    known = asdict(DEFAULT_MANNER)
    if name not in known:
        near = difflib.get_close_matches(name, known, n=1)
        meant = f" Did you mean '{near[0]}'?" if near else ""
        raise PageSettingError(
            f"{file}: there is no page setting '{name}'.{meant} Known are: {', '.join(known)}."
        )
    if not isinstance(value, str):
        raise PageSettingError(f"{file}: {name} is {value!r}; write it between double quotes.")
    if name in CHOICES and value not in CHOICES[name]:
        listed = ", ".join(f'"{choice}"' for choice in CHOICES[name])
        raise PageSettingError(f'{file}: {name} is "{value}"; use one of {listed}.')
    if name == "currency_sign" and len(value) > LONGEST_SIGN:
        raise PageSettingError(
            f'{file}: currency_sign is "{value}"; use at most {LONGEST_SIGN} characters, '
            f'e.g. "$", or "" for the code of the cost records.'
        )
    if name == "time_zone":
        try:
            ZoneInfo(value)
        except (KeyError, ValueError, OSError) as error:
            raise PageSettingError(
                f'{file}: time_zone "{value}" is not in the time-zone database; '
                f'write it as "America/New_York", or use "UTC".'
            ) from error
