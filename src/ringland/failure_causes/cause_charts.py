"""The picture in a cause report: margin before the failure, and the tests of the engine.

One SVG for page and PDF, with its text drawn as outlines, so that no font and no script is
needed to show it and nothing written in the records can act in it.
"""

from __future__ import annotations

import io

import matplotlib as mpl
import polars as pl
from matplotlib.axes import Axes
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.dates import AutoDateLocator, ConciseDateFormatter
from matplotlib.figure import Figure

from ringland.failure_causes.cause_record import CauseRecord

LOOK_BACK_H = 100.0
"""Engine hours drawn before the failure."""

_INK, _BELOW, _QUIET = "#1c2a31", "#9f2f0b", "#8a969c"
_SERIES = ("#0a5a78", "#b35c00", "#4b7f2f", "#7a4d9b")
_MARKERS = ("o", "s", "^", "D")


def evidence_picture(
    exposure: pl.DataFrame, record: CauseRecord, before: pl.DataFrame
) -> bytes | None:
    """SVG of octane margin over the last engine hours beside the compression tests.

    None where neither is on record.

    Args:
        exposure: `SessionExposure` of the fleet.
        record: the failed set and its hours.
        before: `BenchVerdicts` of the engine before the work.
    """
    own = pl.DataFrame()
    if record.piston_set_id is not None and record.failed_h is not None:
        own = exposure.filter(
            (pl.col("piston_set_id") == record.piston_set_id)
            & (pl.col("set_h_stop") > record.failed_h - LOOK_BACK_H)
        ).sort("set_h_start")
    tests = before.filter(
        (pl.col("measure") == "compression") & pl.col("standard_value").is_not_null()
    )
    if own.is_empty() and tests.is_empty():
        return None
    # hashsalt and no date: the same report gives the same bytes
    with mpl.rc_context({"svg.hashsalt": "ringland", "svg.fonttype": "path", "font.size": 9}):
        figure = Figure(figsize=(7.6, 2.6))
        FigureCanvasSVG(figure)
        margin, compression = figure.subplots(1, 2, width_ratios=(3, 2))
        # fixed margins: measuring every label first would double the time
        figure.subplots_adjust(left=0.07, right=0.99, top=0.9, bottom=0.2, wspace=0.22)
        _draw_margin(margin, own, record)
        _draw_compression(compression, tests)
        out = io.BytesIO()
        figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None})
    return out.getvalue()


def _draw_margin(axes: Axes, own: pl.DataFrame, record: CauseRecord) -> None:
    axes.set_title("Octane margin of each rental", loc="left", fontsize=9)
    axes.set_xlabel("engine hours of the piston set")
    axes.set_ylabel("octane numbers")
    _plain(axes)
    if own.is_empty():
        _say(axes, "no rental on record")
        return
    known = own.drop_nulls("octane_margin_on")
    below = known.filter(pl.col("octane_margin_on") < 0)
    enough = known.filter(pl.col("octane_margin_on") >= 0)
    open_ = own.filter(pl.col("octane_margin_on").is_null())
    axes.axhline(0, color=_INK, linewidth=0.8)
    for part, colour, marker, label in (
        (enough, _SERIES[0], "o", "met the need"),
        (below, _BELOW, "v", "below need"),
        (open_.with_columns(octane_margin_on=0.0), _QUIET, "x", "not on record"),
    ):
        if not part.is_empty():
            axes.scatter(part["set_h_stop"].to_numpy(), part["octane_margin_on"].to_numpy(),
                         s=12, c=colour, marker=marker, label=label)  # fmt: skip
    axes.axvline(float(record.failed_h or 0.0), color=_BELOW, linestyle="--", linewidth=1)
    drawn = [shown for shown in (enough, below, open_) if not shown.is_empty()]
    margins = own["octane_margin_on"].drop_nulls().to_list()
    axes.set_ylim(min([0.0, *margins]) - 0.7, max([0.0, *margins]) + 0.7)
    axes.legend(fontsize=7, frameon=False, loc="lower right", bbox_to_anchor=(1.0, 1.0),
                ncols=len(drawn), borderpad=0, handletextpad=0.1)  # fmt: skip


def _draw_compression(axes: Axes, tests: pl.DataFrame) -> None:
    axes.set_title("Compression by cylinder", loc="left", fontsize=9)
    axes.set_ylabel("share of the highest")
    _plain(axes)
    if tests.is_empty():
        _say(axes, "no test on record")
        return
    shares = tests.with_columns(
        share=pl.col("standard_value") / pl.col("standard_value").max().over("inspected_at")
    ).sort("cylinder", "inspected_at")
    for (cylinder,), part in shares.partition_by("cylinder", as_dict=True).items():
        number = int(str(cylinder or 0))
        axes.plot(part["inspected_at"].to_list(), part["share"].to_list(), linewidth=1,
                  marker=_MARKERS[number % 4], markersize=4, color=_SERIES[number % 4],
                  label=f"cyl {number}")  # fmt: skip
    axes.set_ylim(min(0.75, float(shares["share"].to_numpy().min()) - 0.1), 1.03)
    dates = AutoDateLocator(minticks=2, maxticks=5)  # type: ignore[no-untyped-call]
    axes.xaxis.set_major_locator(dates)
    axes.xaxis.set_major_formatter(ConciseDateFormatter(dates))  # type: ignore[no-untyped-call]
    axes.legend(fontsize=7, frameon=False, loc="lower left", ncols=4, handlelength=1.2)


def _say(axes: Axes, words: str) -> None:
    axes.set_axis_off()
    axes.set_title("")
    axes.text(0.5, 0.5, words, ha="center", transform=axes.transAxes)


def _plain(axes: Axes) -> None:
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    axes.tick_params(labelsize=8)
