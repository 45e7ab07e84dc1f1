"""A small plot as SVG text: axes, ticks, points; a few bytes a point, drawn in no time.

A drawing library takes half a second and 60 kB for a picture of two panels, and a big fleet
has hundreds.  Every mark carries its colour as an attribute, for the PDF, and a class, so that a
page's stylesheet may change it for a dark screen.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from html import escape

INK, QUIET = "#1c2a31", "#6b7780"

MARKS = {
    "dot": "m-2.2,0h.01",  # a round cap makes a dot of it
    "down": "m-2.4-2h4.8l-2.4,4.4z",
    "cross": "m-2-2l4,4m0-4l-4,4",
    "square": "m-2-2h4v4h-4z",
    "up": "m-2.4,2h4.8l-2.4-4.4z",
    "diamond": "m-2.6,0l2.6-2.6l2.6,2.6l-2.6,2.6z",
}
"""The way round each mark, from its middle."""


@dataclass(frozen=True)
class Style:
    """How a series is drawn: colour and shape always together."""

    name: str
    colour: str
    mark: str


@dataclass
class Panel:
    """One pair of axes in a picture; `parts` gathers what is drawn.

    `x_range` and `y_range` are the values at the ends of the axes, a smaller first.
    """

    left: float
    right: float
    top: float
    bottom: float
    x_range: tuple[float, float]
    y_range: tuple[float, float]
    parts: list[str] = field(default_factory=list)

    def at(self, x: float, y: float) -> str:
        """The place of a value, to a tenth of a unit: less than the eye can see."""
        across = (x - self.x_range[0]) / (self.x_range[1] - self.x_range[0])
        up = (y - self.y_range[0]) / (self.y_range[1] - self.y_range[0])
        return (
            f"{_short(self.left + across * (self.right - self.left))},"
            f"{_short(self.bottom - up * (self.bottom - self.top))}"
        )

    def frame(self, title: str, x_title: str = "", y_title: str = "") -> None:
        """The two axes, the title above and the axes' own titles."""
        self.parts.append(
            f'<path class="ink" fill="none" stroke="{INK}" stroke-width=".8" '
            f'd="M{_short(self.left)},{_short(self.top)}V{_short(self.bottom)}H{_short(self.right)}"/>'
        )
        self.text(title, self.left, self.top - 10)
        if x_title:
            self.text(x_title, (self.left + self.right) / 2, self.bottom + 34, "middle")
        if y_title:
            x, y = self.left - 42, (self.top + self.bottom) / 2
            self.text(y_title, x, y, "middle", f' transform="rotate(-90 {_short(x)} {_short(y)})"')

    def x_ticks(self, ticks: Iterable[tuple[float, str]]) -> None:
        """Ticks below, each a value and its text; those outside the axis are left out."""
        low, high = self.x_range
        for value, text in ticks:
            if low <= value <= high:
                x = float(self.at(value, self.y_range[0]).split(",")[0])
                self._tick(x, self.bottom, "v4")
                self.text(text, x, self.bottom + 17, "middle")

    def y_ticks(self) -> None:
        """Ticks at round numbers to the left."""
        for value, text in round_ticks(*self.y_range):
            y = float(self.at(self.x_range[0], value).split(",")[1])
            self._tick(self.left, y, "h-4")
            self.text(text, self.left - 7, y + 4, "end")

    def points(self, style: Style, values: Iterable[tuple[float, float]]) -> None:
        """One mark a value."""
        path = "".join(f"M{self.at(*value)}{MARKS[style.mark]}" for value in values)
        self.parts.append(f'<path {_look(style)} d="{path}"/>')

    def line(self, style: Style, values: Sequence[tuple[float, float]]) -> None:
        """The values joined in their order."""
        path = "L".join(self.at(*value) for value in values)
        self.parts.append(
            f'<path class="{style.name}" fill="none" stroke="{style.colour}" d="M{path}"/>'
        )

    def rule(self, style: Style, *ends: tuple[float, float], dash: str = "") -> None:
        """A straight line between two values."""
        dashed = f' stroke-dasharray="{dash}"' if dash else ""
        path = "L".join(self.at(*end) for end in ends)
        self.parts.append(
            f'<path class="{style.name}" fill="none" stroke="{style.colour}"{dashed} d="M{path}"/>'
        )

    def legend(self, entries: Sequence[tuple[Style, str]], right: float, y: float) -> None:
        """Marks with their names in one row that ends at `right`."""
        x = right
        for style, name in reversed(entries):
            x -= LETTER_W * len(name)
            self.text(name, x, y + 3.5)
            x -= 9
            self.parts.append(
                f'<path {_look(style)} d="M{_short(x)},{_short(y)}{MARKS[style.mark]}"/>'
            )
            x -= 10

    def text(self, said: str, x: float, y: float, anchor: str = "start", more: str = "") -> None:
        """Words at a place; nothing in them can act."""
        where = "" if anchor == "start" else f' text-anchor="{anchor}"'
        self.parts.append(
            f'<text x="{_short(x)}" y="{_short(y)}"{where}{more}>{escape(said)}</text>'
        )

    def _tick(self, x: float, y: float, way: str) -> None:
        line = f'd="M{_short(x)},{_short(y)}{way}"'
        self.parts.append(f'<path class="ink" stroke="{INK}" stroke-width=".8" {line}/>')


LETTER_W = 5.6
"""Mean width of a letter at the picture's size, for the room that a legend takes."""


def picture(width: float, height: float, panels: Iterable[Panel]) -> bytes:
    """The panels as one SVG."""
    drawn = "".join("".join(panel.parts) for panel in panels)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {height:g}" '
        f'font-family="Libertinus Serif, system-ui, sans-serif" font-size="12" fill="{INK}">'
        f"{drawn}</svg>"
    ).encode()


def round_ticks(low: float, high: float, most: int = 6) -> list[tuple[float, str]]:
    """At most `most` + 1 round numbers from `low` to `high`, evenly apart, with their texts."""
    finest = (high - low) / most
    if finest <= 0:
        return [(low, f"{round(low, 6):g}")]
    power = 10.0 ** math.floor(math.log10(finest))
    step = next(power * s for s in (1, 2, 2.5, 5, 10) if power * s >= finest * (1 - 1e-9))
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return [(k * step, f"{round(k * step, 6):g}") for k in range(first, last + 1)]


def _look(style: Style) -> str:
    stroke = "4.4" if style.mark == "dot" else "1.2"
    fill = "none" if style.mark in {"dot", "cross"} else style.colour
    return (
        f'class="{style.name}" stroke="{style.colour}" stroke-width="{stroke}" '
        f'stroke-linecap="round" fill="{fill}"'
    )


def _short(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")
