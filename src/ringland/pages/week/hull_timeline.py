"""What happened to a hull on one time axis, and how good its record is."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta

import polars as pl

from ringland.settings.assumptions import Assumptions
from ringland.words.fixed_words import MEASURE_LABELS, MODE_LABELS
from ringland.words.number_words import unit_text
from ringland.words.plain_words import sentence
from ringland.words.shown_units import shown_factor

LANES = ("Fill", "Drain", "Test", "Calibration", "Piston set", "Failure", "Rebuild")
"""The kinds of event, in the order in which they are drawn."""


def hull_events(records: Mapping[str, pl.DataFrame]) -> pl.DataFrame:
    """Everything dated that happened to each hull and to the engine then in it.

    An engine's events count for the hull it was last fitted to at the time; those before
    its first fitting count for the hull it was fitted to next.

    Args:
        records: the record frames by kind, as known at the report's instant.

    Returns:
        One row per event: hull_id, at, lane (one of `LANES`), text; in order of time.
    """
    fills = records["fills"].select(
        "hull_id",
        at="filled_at",
        lane=pl.lit("Fill"),
        text=pl.format(
            f"{{}} {unit_text('l')}, {{}}, {{}}",
            (pl.col("volume_l") * shown_factor("l")).round(0).cast(pl.Int64),
            pl.coalesce(
                pl.format("{} AKI", "octane_aki"),
                pl.format("{} RON", "octane_ron"),
                pl.when(pl.col("source") == "dock").then(pl.lit("dock fuel")),
                pl.lit("grade not written down"),
            ),
            pl.coalesce(pl.format("from {}", "source_dock_id"), pl.lit("outside pump or can")),
        ),
    )
    drains = records["drains"].select(
        "hull_id",
        at="drained_at",
        lane=pl.lit("Drain"),
        text=pl.concat_str(
            pl.coalesce(
                sentence(
                    f"{{}} {unit_text('l')}",
                    (pl.col("volume_l") * shown_factor("l")).round(0).cast(pl.Int64),
                ),
                pl.lit("emptied"),
            ),
            pl.coalesce(sentence(", {}", "why"), pl.lit("")),
        ),
    )
    engine = pl.concat(
        [
            _engine_events(
                records["inspections"].unique(["engine_id", "inspected_at", "measure"]),
                "inspected_at",
                "Test",
                pl.col("measure").replace_strict(MEASURE_LABELS, default=pl.col("measure")),
            ),
            _engine_events(
                records["calibrations"],
                "in_force_at",
                "Calibration",
                pl.format("{}, needs {} AKI", "calibration", "octane_need_aki"),
            ),
            _engine_events(
                records["piston_sets"],
                "fitted_at",
                "Piston set",
                pl.format("{}: {}, {}", "piston_set_id", "piston_type", "reason"),
            ),
            _engine_events(
                records["failures"],
                "found_at",
                "Failure",
                pl.col("mode").replace_strict(MODE_LABELS, default=pl.col("mode")),
            ),
            _engine_events(
                records["rebuilds"],
                "rebuilt_at",
                "Rebuild",
                pl.col("scope").replace({"top_end": "top end"}),
            ),
        ]
    )
    stays = (
        records["installations"]
        .select("engine_id", "hull_id", at="installed_at")
        .sort("engine_id", "at")
    )
    engine = engine.sort("engine_id", "at")
    sat_in = engine.join_asof(stays, on="at", by="engine_id", check_sortedness=False)
    sits_in_next = engine.join_asof(
        stays, on="at", by="engine_id", strategy="forward", check_sortedness=False
    )  # both sides were sorted just above: by groups, which Polars cannot check
    placed = (
        sat_in.with_columns(hull_id=pl.coalesce("hull_id", sits_in_next["hull_id"]))
        .filter(pl.col("hull_id").is_not_null())
        .select("hull_id", "at", "lane", "text")
    )
    return pl.concat([fills.select("hull_id", "at", "lane", "text"), drains, placed]).sort(
        "hull_id", "at", "lane", "text"
    )


def _engine_events(frame: pl.DataFrame, at: str, lane: str, text: pl.Expr) -> pl.DataFrame:
    return frame.select("engine_id", at=at, lane=pl.lit(lane), text=text.cast(pl.String))


def known_shares(exposure: pl.DataFrame, as_of: datetime, assumptions: Assumptions) -> pl.DataFrame:
    """How much of each hull's recent fuel and throttle was written down rather than assumed.

    Looks back `record.recent_sessions_d` days, as the expected use does.

    Returns:
        One row per hull that ran: hull_id, n_sessions, fuel_known_share (of litres),
        throttle_known_share (of sessions).
    """
    since = as_of - timedelta(days=assumptions.number("record.recent_sessions_d"))
    litres = pl.col("burn_l").sum()
    return (
        exposure.filter(pl.col("started_at") > since)
        .group_by("hull_id", maintain_order=True)
        .agg(
            n_sessions=pl.len().cast(pl.Int64),
            fuel_known_share=pl.when(litres > 0).then(
                1 - (pl.col("unknown_share") * pl.col("burn_l")).sum() / litres
            ),
            throttle_known_share=1 - pl.col("is_throttle_assumed").mean(),
        )
        .sort("hull_id")
    )
