"""What every page of one week's site shares: its templates, the pages there are, their names.

All text goes through escaping: Jinja2 escapes the pages, `chart_look.inert` the figures' labels,
and the figures' JSON is made safe to stand in a script element.
"""

from __future__ import annotations

import hashlib
import re
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

from jinja2 import Environment, StrictUndefined

from ringland.pages.frame.page_files import compiled, template_loader
from ringland.pages.frame.site_map import navigation
from ringland.pages.fuel.fuel_page import INDEX as FUEL
from ringland.pages.records.records_page import INDEX as RECORDS
from ringland.pages.records.records_page import restated_line
from ringland.pages.site.page_pictures import embedded
from ringland.pages.site.proof_pages import PROOF_PAGES
from ringland.pages.week.week_report import WeekReport
from ringland.words import fixed_words as words
from ringland.words import site_words, state_words
from ringland.words.filled_sentence import filled
from ringland.words.manner import manner
from ringland.words.number_words import (
    chance_text,
    currency_text,
    instant_text,
    known_text,
    money_text,
    number_text,
    plain_text,
    price_text,
    quantity_text,
    range_text,
    share_text,
    unit_text,
)
from ringland.words.shown_units import volume_noun

SAFE_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,39}")
RESERVED = re.compile(r"(con|prn|aux|nul|com\d|lpt\d)", re.IGNORECASE)
"""File names Windows keeps for devices."""

BAR_W = 200.0
"""Width of a range bar in its own units; the page stretches it."""

WEEK_PAGES = ("index.html", "how-we-know.html", "data-dictionary.html", "settings.html")
SCORE = "score.html"
DRAWING_LIBRARY = "plotly.min.js"


@dataclass(frozen=True)
class SiteFrame:
    """One week's report, and which groups of pages its site has."""

    report: WeekReport
    has_fuel: bool = False
    has_score: bool = False
    has_records: bool = False
    has_proof: bool = False
    library: str = DRAWING_LIBRARY
    """Where the drawing library lies, from the site's folder."""
    beside: frozenset[str] = field(default_factory=frozenset)
    """Paths of pages made elsewhere."""

    @property
    def said_restated(self) -> str:
        """That the week is restated, in words; empty: it is not."""
        restated = self.report.restated
        return "" if restated is None else restated_line(restated)

    @property
    def pages(self) -> dict[str, str]:
        """The page of each hull."""
        return hull_pages(sheet.hull_id for sheet in self.report.hulls)

    @property
    def paths(self) -> set[str]:
        """The pages the navigation may lead to."""
        return {
            *WEEK_PAGES,
            *self.beside,
            *([FUEL] if self.has_fuel else []),
            *([SCORE] if self.has_score else []),
            *([RECORDS] if self.has_records else []),
            *(PROOF_PAGES.values() if self.has_proof else []),
        }

    @cached_property
    def templates(self) -> Environment:
        """The templates with what all of them may use."""
        templates = _templates(self.report)
        paths = self.paths
        templates.globals |= {
            "library": self.library,
            "navigation": lambda here: navigation(here, paths),
            "has_score": self.has_score,
            "has_proof": self.has_proof,
            "restated_line": self.said_restated,
        }
        return templates

    def page(self, name: str, here: str, context: dict[str, Any], root: str = "") -> bytes:
        """A page from its template and its context, whose 'figures' are its pictures."""
        charts = embedded(context.pop("figures"))
        rendered = self.templates.get_template(name).render(
            root=root,
            here=here,
            charts=charts,
            has_charts=bool(charts),
            has_sketches=any(chart.sketch for chart in charts.values()),
            **context,
        )
        return rendered.encode()


def hull_pages(hull_ids: Iterable[str]) -> dict[str, str]:
    """The page of each hull, safe as a file name on every system and as a link.

    An id that is plain and not taken in another case names its own file; any other gets
    its plain letters and the start of its SHA-256.
    """
    ids = sorted(set(hull_ids))
    seen = Counter(hull_id.casefold() for hull_id in ids)
    pages = {}
    for hull_id in ids:
        is_plain = SAFE_NAME.fullmatch(hull_id) and not RESERVED.fullmatch(hull_id)
        name = hull_id
        if not is_plain or seen[hull_id.casefold()] > 1:
            letters = re.sub(r"[^A-Za-z0-9]+", "-", hull_id).strip("-")[:30]
            name = f"{letters or 'hull'}-{hashlib.sha256(hull_id.encode()).hexdigest()[:10]}"
        pages[hull_id] = f"hulls/{name}.html"
    return pages


def plain_templates(*added: object) -> Environment:
    """The templates with what a page without a week's report may use.

    `added` is what filters depend on that are added to it.
    """
    templates = Environment(
        loader=template_loader(),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
        finalize=_keep_percent_with_its_number,
        bytecode_cache=compiled("site", manner(), *added),
    )
    templates.filters |= {
        "chance": chance_text,
        "chance_range": range_text,
        "share": share_text,
        "number": number_text,
        "instant": instant_text,
        "known": known_text,
        "quantity": quantity_text,
        "plain": plain_text,
        "filled": filled,
        "at": lambda value, top, shift=0.0: round(BAR_W * min(1.0, value / top) + shift, 2),
    }
    templates.globals |= {
        "words": words,
        "around": site_words,
        "states": state_words,
        "unit": unit_text,
        "volume_noun": volume_noun(),
    }
    return templates


def _templates(report: WeekReport) -> Environment:
    currency = report.prices.currency
    templates = plain_templates(currency)
    templates.filters |= {
        "money": lambda amount: money_text(amount, currency),
        "price": lambda amount: price_text(amount, currency),
    }
    templates.globals |= {
        "report": report,
        "currency": currency_text(currency),
        "range_top": range_top(sheet.chance["chance_30d_high"] for sheet in report.hulls),
    }
    return templates


def _keep_percent_with_its_number(value: object) -> object:
    """Plain text with a no-break space before each percent sign; anything else as it is."""
    if type(value) is str:  # Markup is done already
        return value.replace(" %", "\N{NO-BREAK SPACE}%")
    return value


def range_top(highs: Iterable[float | None]) -> float:
    """The end of the scale of range bars: the first round share at or above all their ends."""
    highest = max((high for high in highs if high is not None), default=0.0)
    return next(top for top in (0.05, 0.1, 0.2, 0.3, 0.5, 0.75, 1.0) if highest <= top)
