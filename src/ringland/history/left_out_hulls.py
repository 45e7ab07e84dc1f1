"""Hulls whose records a week could not be worked out with: left out of it, never of sight."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from datetime import datetime

import polars as pl

from ringland.history.record_flags import record_flags
from ringland.words.plain_words import sentence


def without_records_of(
    records: Mapping[str, pl.DataFrame], hulls: Collection[str]
) -> dict[str, pl.DataFrame]:
    """The records without those of some hulls and of the engines that sat in no other.

    The hulls themselves stay, so that every list still names them; what they drew from a dock's
    tank is out of its balance meanwhile.

    Args:
        records: what is known, by record kind.
        hulls: ids of the hulls.
    """
    if not hulls:
        return dict(records)
    sat = records["installations"]
    is_theirs = pl.col("hull_id").is_in(list(hulls))
    elsewhere = sat.filter(~is_theirs)["engine_id"]
    engines = sat.filter(is_theirs, ~pl.col("engine_id").is_in(elsewhere.implode()))["engine_id"]
    gone = {
        "hull_id": set(hulls), "from_hull_id": set(hulls), "to_hull_id": set(hulls),
        "engine_id": set(engines),
    }  # fmt: skip
    return {
        kind: frame
        if kind == "hulls"
        else frame.filter(
            ~pl.col(name).is_in(list(ids)).fill_null(value=False)
            for name, ids in gone.items()
            if name in frame.columns
        )
        for kind, frame in records.items()
    }


def left_out_flags(left_out: Mapping[str, str], as_of: datetime) -> pl.DataFrame:
    """A `RecordFlags` that names each hull left out, and what its records ended.

    Args:
        left_out: by hull, what went wrong.
        as_of: the instant of the week.
    """
    rows = pl.DataFrame(
        {"hull_id": list(left_out), "_why": list(left_out.values())},
        schema={"hull_id": pl.String, "_why": pl.String},
    ).with_columns(_at=pl.lit(as_of))
    words = sentence(
        "The week could not be worked out with the records of hull {}, so it was worked out "
        "without them. What went wrong: {}.",
        "hull_id",
        "_why",
    )
    return record_flags(rows, "hull_left_out", "_at", words)
