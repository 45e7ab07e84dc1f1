"""The lines of a build sheet, in working order, read from `build_checks.toml`."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

SIDES = ("intake", "exhaust")
SCOPES = ("top_end", "full")
"""From least to most work."""


@dataclass(frozen=True)
class OurFigure:
    """A figure of the project's own: shown beside a reading, never enough to pass one."""

    least: float | None
    most: float | None
    mark: str
    source: str


@dataclass(frozen=True)
class BuildCheck:
    """One line of the sheet, for every place it is asked at."""

    key: str
    words: str
    stage: str
    asks: str
    """'reading', 'done', 'choice', 'vacuum', 'compression' or 'leak'."""
    by: str
    """'engine', 'cylinder', 'port' or 'main'."""
    scope: str
    unit: str | None
    possible: tuple[float, float] | None
    """Least and most that can be, in `unit`."""
    allowed: tuple[str, ...]
    """Answers of a choice that pass."""
    needs_method: bool
    boosted_only: bool
    ours: OurFigure | None

    def places(self, cylinders: int) -> tuple[str | None, ...]:
        """Where it is asked on an engine of so many cylinders; the engine itself is None."""
        numbers = range(1, cylinders + 1)
        return {
            "engine": (None,),
            "cylinder": tuple(str(number) for number in numbers),
            "port": tuple(f"{number} {side}" for number in numbers for side in SIDES),
            "main": tuple(f"main {number}" for number in range(1, cylinders + 2) if cylinders),
        }[self.by]

    @property
    def is_measured(self) -> bool:
        """Whether it asks for a number."""
        return self.asks not in ("done", "choice")


@cache
def build_checks() -> dict[str, BuildCheck]:
    """Every check by its key, in working order."""
    text = files("ringland.bench").joinpath("build_checks.toml").read_text(encoding="utf-8")
    raw = tomllib.loads(text)
    order = raw["stages"]
    checks = [_check(key, fields) for key, fields in raw["check"].items()]
    return {check.key: check for check in sorted(checks, key=lambda one: order.index(one.stage))}


def checks_for(scope: str, *, is_boosted: bool) -> tuple[BuildCheck, ...]:
    """The checks a rebuild of this scope asks for, in working order.

    Args:
        scope: 'top_end' or 'full'.
        is_boosted: whether the engine has a blower; where it is not known, it may.
    """
    return tuple(
        check
        for check in build_checks().values()
        if SCOPES.index(check.scope) <= SCOPES.index(scope)
        and (is_boosted or not check.boosted_only)
    )


def _check(key: str, fields: dict[str, Any]) -> BuildCheck:
    ours = fields.get("ours")
    possible = fields.get("possible")
    return BuildCheck(
        key=key,
        words=fields["words"],
        stage=fields["stage"],
        asks=fields["asks"],
        by=fields["by"],
        scope=fields["scope"],
        unit=fields.get("unit"),
        possible=(possible[0], possible[1]) if possible else None,
        allowed=tuple(fields.get("allowed", ())),
        needs_method=fields.get("needs_method", False),
        boosted_only=fields.get("boosted_only", False),
        ours=OurFigure(ours.get("least"), ours.get("most"), ours["mark"], ours["source"])
        if ours
        else None,
    )
