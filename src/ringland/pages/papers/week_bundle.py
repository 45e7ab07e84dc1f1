"""What leaves the shop: the week's bundle, and one customer's copy of a hull's page."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace

import polars as pl

from ringland.decision.actions.horizons import Horizon
from ringland.pages.papers.zip_file import zipped
from ringland.pages.site.report_page import build_site
from ringland.pages.week.week_report import WeekReport


def week_bundle(site: Mapping[str, bytes]) -> bytes:
    """A zip of the week: pages, mail and tables, as `build_site` returns them."""
    return zipped(site)


def customer_copy(report: WeekReport, hull_id: str) -> bytes:
    """One hull's page as one HTML file that opens from disk, with no other hull's data in it.

    Counts over the whole fleet (failures and piston sets behind a chance) stay; they tell of
    no hull.  Left out are the fleet's middle, which in a small fleet gives another hull away,
    the what-if with the shop's prices, and every way to another page.

    Raises:
        ValueError: the hull has no page this week.
    """
    own = tuple(sheet for sheet in report.hulls if sheet.hull_id == hull_id)
    if not own:
        raise ValueError(f"{hull_id} has no page this week; give a hull in service.")
    drivers = tuple(row | {"fleet_middle": None} for row in map(dict, own[0].drivers))
    alone = replace(
        report,
        hulls=(replace(own[0], drivers=drivers),),
        dock_fuel=report.dock_fuel.filter(pl.col("dock_id") == own[0].dock_id),
        one_grade_docks=tuple(dock for dock in report.one_grade_docks if dock == own[0].dock_id),
        past=None if report.past is None else report.past.filter(pl.col("hull_id") == hull_id),
        horizons=tuple(
            Horizon(
                one.label,
                {hull: chance for hull, chance in one.chances.items() if hull == hull_id},
                None,
            )
            for one in report.horizons
        ),
        is_customer_copy=True,
    )
    site = build_site(alone)
    (page,) = (path for path in site if path.endswith(".html"))
    return in_one_file(site[page].decode(), {path: site[path].decode() for path in site}).encode()


STYLESHEET = re.compile(r'<link rel="stylesheet" href="(?:\.\./)*([^"]+)">')
SCRIPT = re.compile(r'<script defer src="(?:\.\./)*([^"]+)"(?: data-later="([^"]+)")?></script>\n?')
"""A script, and what it would read later: that goes before it."""
SCRIPT_END = "<\\/script"
"""How a script's text holds '</script' without ending the element (HTML standard, 4.12.1.3)."""
ELSEWHERE = re.compile(r'<[^<>]+\s(?:src|href)="(?!#)[^"]*"')


def in_one_file(page: str, files: Mapping[str, str]) -> str:
    """The page with its stylesheet and scripts inside it; scripts run at its end, in order.

    Args:
        page: HTML as our own templates write it.
        files: what it may ask for, by path in the site.

    Raises:
        ValueError: the page would still ask for another file or lead to another page.
    """
    names = [
        name.rpartition("../")[2]
        for script, later in SCRIPT.findall(page)
        for name in (*later.split(), script)
    ]
    if "</style" in "".join(files[name] for name in STYLESHEET.findall(page)).lower():
        raise ValueError("the stylesheet would end its own element.")
    page = STYLESHEET.sub(lambda found: f"<style>\n{files[found[1]]}</style>", SCRIPT.sub("", page))
    if left := ELSEWHERE.search(page):
        raise ValueError(f"this page does not stand alone: {left[0]}")
    inside = "".join(
        f"<script>\n{files[name].replace('</script', SCRIPT_END)}\n</script>\n" for name in names
    )
    head, end, tail = page.rpartition("</body>")
    return f"{head}{inside}{end}{tail}"
