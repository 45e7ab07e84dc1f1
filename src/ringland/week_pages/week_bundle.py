"""What leaves the shop: the week's bundle, and one customer's copy of a hull's page.

Bytes repeat: entries are sorted and carry a fixed time, the earliest a zip can state.
"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Mapping
from dataclasses import replace

import polars as pl

from ringland.week_pages.report_page import build_site
from ringland.week_pages.week_report import WeekReport

ZIP_EPOCH = (1980, 1, 1, 0, 0, 0)


def week_bundle(site: Mapping[str, bytes]) -> bytes:
    """A zip of the week: pages, mail and tables, as `build_site` returns them."""
    return zipped(site)


def customer_copy(report: WeekReport, hull_id: str) -> bytes:
    """A zip with one hull's page and what it needs to open: no other hull is in it.

    Figures over the whole fleet (its middle, its count of failures, the model's draws) stay;
    they name no hull.  The page leads nowhere else.

    Raises:
        ValueError: the hull has no page this week.
    """
    own = tuple(sheet for sheet in report.hulls if sheet.hull_id == hull_id)
    if not own:
        raise ValueError(f"{hull_id} has no page this week; give a hull in service.")
    alone = replace(
        report,
        hulls=own,
        dock_fuel=report.dock_fuel.filter(pl.col("dock_id") == own[0].dock_id),
        one_grade_docks=tuple(dock for dock in report.one_grade_docks if dock == own[0].dock_id),
        past=None if report.past is None else report.past.filter(pl.col("hull_id") == hull_id),
        is_customer_copy=True,
    )
    return zipped(build_site(alone))


def zipped(files: Mapping[str, bytes]) -> bytes:
    """The files as a zip, in order of path."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for path, content in sorted(files.items()):
            entry = zipfile.ZipInfo(path, ZIP_EPOCH)
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.create_system = 3  # the same on every machine
            entry.external_attr = 0o644 << 16
            archive.writestr(entry, content)
    return out.getvalue()
