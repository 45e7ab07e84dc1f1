"""What the page behind the effects says: each failure that counts, and where it is written."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import polars as pl

from ringland.pages.lineage import lineage_words as said
from ringland.pages.week.week_report import WeekReport
from ringland.words.fixed_words import MODE_LABELS
from ringland.words.number_words import UNKNOWN, count_text, day_text, factor_value, number_text

SHOWN_SETS = 300
"""Failed sets listed on the page, so that it stays small; the rest are in the table to download."""


def lineage_context(
    report: WeekReport, sets: pl.DataFrame, pages: Mapping[str, str]
) -> dict[str, Any]:
    """Everything the template of the page behind the effects names.

    Args:
        report: the week.
        sets: as `sets_behind` returns them.
        pages: the page of each hull, as `hull_pages` returns them.
    """
    failed = sets.filter(pl.col("state") == "failed")
    return {
        "figures": {},
        "said": said,
        "counts": _counts(sets),
        "failed": [_failed(row, pages) for row in failed.head(SHOWN_SETS).iter_rows(named=True)],
        "n_more": max(0, failed.height - SHOWN_SETS),
        "by_factor": _by_factor(report, sets),
    }


def _counts(sets: pl.DataFrame) -> list[tuple[str, str]]:
    used = sets.filter(pl.col("n_spells") > 0)
    hours = float((used["exit_h"] - used["entry_h"]).sum())
    return [
        (said.SETS, number_text(sets.height, 0)),
        (said.IN_FIT, number_text(used.height, 0)),
        (said.HOURS, said.IN_HOURS.format(hours=number_text(hours, 0))),
        (said.INTERVALS, number_text(int(used["n_spells"].sum()), 0)),
        (
            said.RING_FAILURES,
            number_text(int(sets["counts"].sum()), 0),
        ),
        (
            said.OTHER_FAILURES,
            number_text(used.filter((pl.col("state") == "failed") & ~pl.col("counts")).height, 0),
        ),
        (said.LEFT_OUT, number_text(sets.height - used.height, 0)),
    ]


def _failed(row: Mapping[str, Any], pages: Mapping[str, str]) -> dict[str, Any]:
    return {
        "set": row["piston_set_id"],
        "engine": row["engine_id"],
        "hull": row["hull_id"] or UNKNOWN,
        "page": pages.get(row["hull_id"]),
        "dock": row["dock_id"] or UNKNOWN,
        "mode": MODE_LABELS[row["mode"]],
        "day": UNKNOWN if row["ended_at"] is None else day_text(row["ended_at"]),
        "hours": number_text(row["exit_h"], 0),
        "shortfall": factor_value("shortfall_25h_on", row["shortfall_25h_on"]),
        "age": factor_value("fuel_age_25h_d", row["fuel_age_25h_d"]),
        "raised": factor_value("is_raised_calibration", row["is_raised_calibration"]),
        "counts": said.YES if row["counts"] else said.NO,
        "set_at": _place(row["set_file"], row["set_row"]),
        "failure_at": _place(row["failure_file"], row["failure_row"]),
    }


def _place(file: str | None, row: int | None) -> str:
    return UNKNOWN if file is None else said.FILE_AND_ROW.format(file=file, row=row)


def _by_factor(report: WeekReport, sets: pl.DataFrame) -> list[dict[str, str]]:
    """How the failures that count lie on the sides of each factor the operator can change."""
    old = report.assumptions.number("fuel.old_after_d")
    sides = {
        said.BELOW_NEED: pl.col("shortfall_25h_on") > 0,
        said.OLD_FUEL.format(days=f"{old:.0f}"): pl.col("fuel_age_25h_d") >= old,
        said.RAISED: pl.col("is_raised_calibration"),
        said.FORGED: pl.col("is_forged"),
    }
    used = sets.filter(pl.col("n_spells") > 0)

    def told(part: pl.DataFrame) -> str:
        return said.OF_SETS.format(
            failures=part["counts"].sum(), sets=count_text(part.height, "set")
        )

    return [
        {"factor": name, "yes": told(used.filter(side)), "no": told(used.filter(~side))}
        for name, side in sides.items()
    ]
