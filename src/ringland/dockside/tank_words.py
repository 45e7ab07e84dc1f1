"""One tank of a dock in words: litres, grade, age, and what is not known of it."""

from __future__ import annotations

from dataclasses import dataclass

from ringland.words.number_words import (
    UNKNOWN,
    count_text,
    number_text,
    quantity_text,
    share_text,
)

LEAST_L = 0.5
"""Fewer litres print as none."""


@dataclass(frozen=True)
class TankLevel:
    """One tank of a dock, as far as it is known.

    `level_l` is None where nothing says; `aki` with its bounds is of the litres whose grade is on
    record, `unknown_share` the share of those without; `age_d` is the litres-weighted mean age.
    `since` says by what and from when the litres are known.
    """

    dock_id: str
    tank_id: str | None
    level_l: float | None = None
    aki: float | None = None
    aki_low: float | None = None
    aki_high: float | None = None
    unknown_share: float = 1.0
    age_d: float | None = None
    since: str = ""
    doubts: tuple[str, ...] = ()
    turn: str = ""
    """what its age makes of it; empty: nothing"""

    @property
    def is_careful(self) -> bool:
        """Whether somebody should look before filling from it."""
        return bool(self.doubts or self.turn or self.level_l is None or self.aki is None)


def level_words(level: TankLevel) -> str:
    """A tank in a sentence: litres, grade, age, and what is not known."""
    name = level.dock_id + ("" if level.tank_id is None else f" tank {level.tank_id}")
    is_known = level.level_l is not None
    if level.level_l is None:
        parts = [f"what is left {UNKNOWN}, for no dip is on record"]
    elif level.level_l < LEAST_L:
        parts = ["empty"]
    else:
        parts = [f"{quantity_text(level.level_l, 'l')} left"]
    if parts != ["empty"]:
        parts += [_grade_words(level), _age_words(level)]
    since = level.since if is_known else f"of {level.since}"
    known = f" ({since})" if level.since else ""
    doubts = "".join(f"; {one}" for one in level.doubts)
    return f"{name}: {', '.join(parts)}{known}{doubts}."


def _grade_words(level: TankLevel) -> str:
    if level.aki is None:
        return f"AKI {UNKNOWN}"
    words = f"{number_text(level.aki)} AKI"
    low, high = number_text(level.aki_low), number_text(level.aki_high)
    if low != high:
        words += f" ({low} to {high})"
    if level.unknown_share >= 0.005:
        words += f", {share_text(level.unknown_share)} of it of a grade {UNKNOWN}"
    return words


def _age_words(level: TankLevel) -> str:
    if level.age_d is None:
        return f"age {UNKNOWN}"
    days = f"{count_text(round(level.age_d), 'day')} old"
    return f"{days}: {level.turn}" if level.turn else days
