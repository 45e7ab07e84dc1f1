"""The picture in a cause report: margin before the failure, and the tests of the engine.

One SVG for page and PDF.  Its only text is our own words, figures and dates.
"""

from __future__ import annotations

from datetime import UTC, datetime

import polars as pl

from ringland.causes import cause_words as said
from ringland.causes.cause_record import CauseRecord
from ringland.reports.plot_panel import INK, QUIET, Panel, Style, picture, round_ticks

LOOK_BACK_H = 100.0
"""Engine hours drawn before the failure."""

WIDTH, HEIGHT = 730.0, 250.0
AXIS = Style("ink", INK, "dot")
MET = Style("met", "#0a5a78", "dot")
SHORT = Style("short", "#b23a0e", "down")
OPEN = Style("open", QUIET, "cross")
CYLINDERS = (
    MET,
    Style("c1", "#b35c00", "square"),
    Style("c2", "#4b7f2f", "up"),
    Style("c3", "#7a4d9b", "diamond"),
)


def evidence_picture(
    rentals: pl.DataFrame, record: CauseRecord, before: pl.DataFrame
) -> bytes | None:
    """SVG of octane margin over the last engine hours beside the compression tests.

    None where neither is on record.

    Args:
        rentals: `SessionExposure` of the failed set.
        record: the failed set and its hours.
        before: `BenchVerdicts` of the engine before the work.
    """
    own = rentals.clear()
    if record.failed_h is not None:
        own = rentals.filter(pl.col("set_h_stop") > record.failed_h - LOOK_BACK_H)
        own = own.sort("set_h_start")
    tests = before.filter(
        (pl.col("measure") == "compression") & pl.col("standard_value").is_not_null()
    )
    if own.is_empty() and tests.is_empty():
        return None
    return picture(WIDTH, HEIGHT, (_margin_panel(own, record), _compression_panel(tests)))


def _margin_panel(own: pl.DataFrame, record: CauseRecord) -> Panel:
    if own.is_empty():
        return _saying(54.0, 430.0, said.NO_RENTAL_DRAWN)
    failed_h = float(record.failed_h or 0.0)
    margins = [0.0, *own["octane_margin_on"].drop_nulls().to_list()]
    hours = [*own["set_h_stop"].to_list(), failed_h]
    panel = Panel(
        54.0, 430.0, 30.0, 205.0,
        (min(hours) - 2.0, max(hours) + 2.0), (min(margins) - 0.7, max(margins) + 0.7),
    )  # fmt: skip
    panel.frame(*said.MARGIN_PANEL)
    panel.x_ticks(round_ticks(*panel.x_range, most=8))
    panel.y_ticks()
    panel.rule(AXIS, (panel.x_range[0], 0.0), (panel.x_range[1], 0.0))
    panel.rule(SHORT, (failed_h, panel.y_range[0]), (failed_h, panel.y_range[1]), dash="4 3")
    margin = pl.col("octane_margin_on")
    shown = []
    for style, name, rule in (
        (MET, said.MET_NEED, margin >= 0),
        (SHORT, said.BELOW_NEED, margin < 0),
        (OPEN, said.NOT_ON_RECORD, margin.is_null()),
    ):
        part = own.filter(rule).select("set_h_stop", margin.fill_null(0.0))
        if part.height:
            panel.points(style, part.iter_rows())
            shown.append((style, name))
    panel.legend(shown, panel.right, 18.0)
    return panel


def _compression_panel(tests: pl.DataFrame) -> Panel:
    if tests.is_empty():
        return _saying(506.0, 722.0, said.NO_TEST_DRAWN)
    shares = tests.select(
        "cylinder",
        at=pl.col("inspected_at").dt.epoch("d"),
        share=pl.col("standard_value") / pl.col("standard_value").max().over("inspected_at"),
    ).sort("cylinder", "at")
    first, last = (shares["at"].sort()[end] for end in (0, -1))
    around = max(10.0, 0.06 * (last - first))
    panel = Panel(
        506.0, 722.0, 30.0, 205.0,
        (first - around, last + around), (min([0.75, *(shares["share"] - 0.05)]), 1.03),
    )  # fmt: skip
    title, of_highest = said.COMPRESSION_PANEL
    panel.frame(title, y_title=of_highest)
    panel.x_ticks(date_ticks(*panel.x_range))
    panel.y_ticks()
    shown = []
    for (cylinder,), part in shares.partition_by("cylinder", as_dict=True).items():
        number = int(str(cylinder or 0))
        style = CYLINDERS[(number - 1) % len(CYLINDERS)]
        values = part.select("at", "share").rows()
        panel.line(style, values)
        panel.points(style, values)
        shown.append((style, said.CYLINDER.format(number=number)))
    panel.legend(shown, panel.right, 196.0)
    return panel


def _saying(left: float, right: float, words: str) -> Panel:
    panel = Panel(left, right, 30.0, 205.0, (0.0, 1.0), (0.0, 1.0))
    panel.text(words, (left + right) / 2, 118.0, "middle")
    return panel


def date_ticks(first_d: float, last_d: float, most: int = 4) -> list[tuple[float, str]]:
    """Firsts of months between two days since 1970, at most `most`; a day where none lies there."""
    begin, end = (datetime.fromtimestamp(day * 86_400, UTC) for day in (first_d, last_d))
    months = range(12 * begin.year + begin.month, 12 * end.year + end.month)
    for step in (1, 2, 3, 6, 12, 24, 60, 120):
        kept = [month for month in months if month % step == 0]
        if len(kept) <= most:
            break
    if not kept:
        middle = datetime.fromtimestamp((first_d + last_d) / 2 * 86_400, UTC)
        return [((first_d + last_d) / 2, f"{middle.day} {middle:%b %Y}")]
    days = [datetime(month // 12, month % 12 + 1, 1, tzinfo=UTC) for month in kept]
    return [(day.timestamp() / 86_400, f"{day:%b %Y}") for day in days]
