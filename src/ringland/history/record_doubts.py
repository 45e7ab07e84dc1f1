"""Records that are valid one by one but do not fit each other: flagged, never put right.

Each rule looks at what is known and gives `RecordFlags`.  Readings of the hour meter are
judged in `meter_readings`, the fuel balance in the tank ledger.
"""

from __future__ import annotations

from collections.abc import Mapping

import polars as pl

from ringland.contracts.record_kinds import RECORD_KINDS
from ringland.history.fill_doubts import fills_written_twice
from ringland.history.fuel_measures import counters_that_fell, rides_on_no_fuel
from ringland.history.record_flags import record_flags
from ringland.settings.assumptions import Assumptions
from ringland.words.fixed_words import MEASURE_LABELS
from ringland.words.plain_words import sentence

Records = Mapping[str, pl.DataFrame]
_DAY = "%Y-%m-%d"


def record_doubts(
    records: Records, bench_verdicts: pl.DataFrame, assumptions: Assumptions
) -> pl.DataFrame:
    """A `RecordFlags` of all that does not fit, by time.

    Args:
        records: what is known, by record kind.
        bench_verdicts: `BenchVerdicts` of the same records.
        assumptions: the group doubt.
    """
    found = [
        overlapping_sessions(records),
        rides_and_fills_apart(records, assumptions),
        written_in_batches(records, assumptions),
        fills_above_tank(records, assumptions),
        fills_written_twice(records, assumptions),
        rides_on_no_fuel(records, assumptions),
        counters_that_fell(records),
        calibration_gaps(records),
        needs_below_their_spark(records, assumptions),
        readings_that_cannot_be(records, bench_verdicts),
        readings_that_ask(records, bench_verdicts),
        engines_in_two_places(records),
    ]
    return pl.concat(found).sort("noted_at", "flag", "hull_id", "engine_id", "sentence")


def overlapping_sessions(records: Records) -> pl.DataFrame:
    """Rentals of a hull that begin before an earlier one has ended."""
    latest = pl.col("ended_at").cum_max().shift(1).over("hull_id")
    rows = (
        records["sessions"]
        .sort("hull_id", "started_at", "ended_at")
        .with_columns(_busy_until=latest)
        .filter(pl.col("started_at") < pl.col("_busy_until"))
    )
    words = sentence(
        "Hull {} went out at {} UTC while an earlier rental lasted until {}. Both are counted; "
        "look whether the hull or a time is wrong.",
        "hull_id",
        pl.col("started_at").dt.strftime(f"{_DAY} %H:%M"),
        pl.col("_busy_until").dt.strftime("%H:%M"),
    )
    return record_flags(rows, "sessions_overlap", "started_at", words, "sessions")


def rides_and_fills_apart(records: Records, assumptions: Assumptions) -> pl.DataFrame:
    """Months in which a hull ran long without a fill, or took much fuel without a ride."""
    rides = (
        records["sessions"]
        .with_columns(_month=pl.col("started_at").dt.truncate("1mo"))
        .group_by("hull_id", "_month", maintain_order=True)
        .agg(_ran_h=pl.col("running_h").sum(), _last_ride=pl.col("started_at").max())
    )
    fills = (
        records["fills"]
        .with_columns(_month=pl.col("filled_at").dt.truncate("1mo"))
        .group_by("hull_id", "_month", maintain_order=True)
        .agg(_took_l=pl.col("volume_l").sum(), _last_fill=pl.col("filled_at").max())
    )
    both = rides.join(fills, on=["hull_id", "_month"], how="full", coalesce=True)
    dry = both.filter(
        pl.col("_took_l").is_null() & (pl.col("_ran_h") > assumptions.number("doubt.ran_dry_h"))
    )
    idle = both.filter(
        pl.col("_ran_h").is_null() & (pl.col("_took_l") > assumptions.number("doubt.idle_fuel_l"))
    )
    of_month = pl.col("_month").dt.strftime("%Y-%m")
    return pl.concat(
        [
            record_flags(
                dry,
                "sessions_without_fills",
                "_last_ride",
                sentence(
                    "Hull {} ran {} h in {} and took no fuel on record. "
                    "Its fills that month are missing.",
                    "hull_id",
                    pl.col("_ran_h").round(1),
                    of_month,
                ),
            ),
            record_flags(
                idle,
                "fills_without_sessions",
                "_last_fill",
                sentence(
                    "Hull {} took {} l in {} and has no rental on record. "
                    "Its rentals that month are missing, or the fills are another hull's.",
                    "hull_id",
                    pl.col("_took_l").round(1),
                    of_month,
                ),
            ),
        ]
    )


def written_in_batches(records: Records, assumptions: Assumptions) -> pl.DataFrame:
    """Many rentals or fills of a hull written down in one go, days after they were."""
    least = assumptions.number("doubt.batch_rows")
    late_d = assumptions.number("doubt.batch_late_d")
    found = []
    for kind, at in (("sessions", "ended_at"), ("fills", "filled_at")):
        late = (pl.col("recorded_at") - pl.col(at)).dt.total_seconds() / 86_400
        rows = (
            records[kind]
            .with_columns(_late=late)
            .group_by("hull_id", "recorded_at", maintain_order=True)
            .agg(_rows=pl.len(), _late=pl.col("_late").max(), _first=pl.col(at).min())
            .filter(pl.col("recorded_at").is_not_null())
            .filter(pl.col("_rows") >= least, pl.col("_late") >= late_d)
        )
        words = sentence(
            f"{{}} {kind} of hull {{}} were written down in one go on {{}}, the oldest {{}} days "
            "late: their times and figures may be from memory.",
            "_rows",
            "hull_id",
            pl.col("recorded_at").dt.strftime(_DAY),
            pl.col("_late").round(0).cast(pl.Int64),
        )
        found.append(record_flags(rows, "written_in_batches", "recorded_at", words))
    return pl.concat(found)


def fills_above_tank(records: Records, assumptions: Assumptions) -> pl.DataFrame:
    """Fills of more litres than the craft's tank holds."""
    over = 1 + assumptions.number("doubt.overfill_share")
    tanks = records["hulls"].select("hull_id", "tank_l")
    rows = (
        records["fills"]
        .join(tanks, on="hull_id", how="inner", maintain_order="left")
        .filter(pl.col("volume_l") > pl.col("tank_l") * over)
    )
    words = sentence(
        "A fill of {} l on {} is more than the {} l tank of hull {} holds. Look at the figure "
        "and its unit, and whether a can was filled too; the ledger takes a full tank.",
        pl.col("volume_l").round(1),
        pl.col("filled_at").dt.strftime(_DAY),
        pl.col("tank_l").round(1),
        "hull_id",
    )
    return record_flags(rows, "fill_above_tank", "filled_at", words, "fills")


def calibration_gaps(records: Records) -> pl.DataFrame:
    """Engines that stood in a hull before their first calibration on record, or have none."""
    first = (
        records["calibrations"]
        .group_by("engine_id", maintain_order=True)
        .agg(_first=pl.col("in_force_at").min())
    )
    rows = (
        records["installations"]
        .sort("engine_id", "installed_at")
        .group_by("engine_id", maintain_order=True)
        .first()
        .join(first, on="engine_id", how="left", maintain_order="left")
        .filter(pl.col("_first").is_null() | (pl.col("_first") > pl.col("installed_at")))
    )
    until = (
        pl.when(pl.col("_first").is_null())
        .then(pl.lit("to this day"))
        .otherwise(sentence("until {}", pl.col("_first").dt.strftime(_DAY)))
    )
    words = sentence(
        "Engine {} has no calibration on record from {} {}: its octane need then is not known.",
        "engine_id",
        pl.col("installed_at").dt.strftime(_DAY),
        until,
    )
    return record_flags(rows, "calibration_gap", "installed_at", words)


def needs_below_their_spark(records: Records, assumptions: Assumptions) -> pl.DataFrame:
    """Calibrations written with less octane than the stock need and their spark advance ask."""
    asks = assumptions.number("octane.need_stock_aki") + pl.col(
        "spark_advance_change_deg"
    ) * assumptions.number("need_per.spark_advance_deg")
    rows = (
        records["calibrations"]
        .with_columns(_asks=asks)
        .filter(pl.col("octane_need_aki") < pl.col("_asks"))
    )
    words = sentence(
        "Engine {}: its calibration of {} is written with an octane need of {} AKI and {} degrees "
        "of spark advance over stock, which asks for about {} AKI (SAE 960497: one number a "
        "degree).",
        "engine_id",
        pl.col("in_force_at").dt.strftime(_DAY),
        pl.col("octane_need_aki").round(1),
        pl.col("spark_advance_change_deg").round(1),
        pl.col("_asks").round(1),
    )
    return record_flags(rows, "need_below_spark", "in_force_at", words, "calibrations")


def readings_that_cannot_be(records: Records, bench_verdicts: pl.DataFrame) -> pl.DataFrame:
    """Bench readings that no engine gives and no instrument shows, each with its file and row."""
    rows = bench_verdicts.filter(pl.col("verdict") == "cannot be")
    said = "{}. The reading counts neither as passed nor as failed."
    return _of_readings(records, rows, "reading_cannot_be", said, "reason")


def readings_that_ask(records: Records, bench_verdicts: pl.DataFrame) -> pl.DataFrame:
    """Bench readings whose supply or air has to be asked about, each with its file and row."""
    rows = bench_verdicts.filter(pl.col("asks").is_not_null() & (pl.col("verdict") != "cannot be"))
    return _of_readings(records, rows, "reading_asks", "{}.", "asks")


def _of_readings(
    records: Records, rows: pl.DataFrame, flag: str, said: str, why: str
) -> pl.DataFrame:
    """Flags of bench readings: where they were taken, why, and the row behind each."""
    inspections, key = records["inspections"], list(RECORD_KINDS["inspections"].key)
    row = pl.lit("")
    if "source_file" in inspections.columns:  # frames made by hand have no file behind them
        rows = rows.join(
            inspections.select(*key, "source_file", "source_row"),
            on=key,
            how="left",
            nulls_equal=True,
            maintain_order="left",
        )
        row = sentence(" ({}, row {})", "source_file", "source_row").fill_null("")
    words = sentence(
        f"Engine {{}}, {{}}{{}}{{}}: {said}{{}}",
        "engine_id",
        pl.col("measure").replace_strict(MEASURE_LABELS, return_dtype=pl.String).str.to_lowercase(),
        sentence(", cylinder {}", "cylinder").fill_null(""),
        sentence(", {}", "port").fill_null(""),
        pl.col(why).str.strip_chars_end("."),
        row,
    )
    return record_flags(rows, flag, "inspected_at", words, "inspections")


def engines_in_two_places(records: Records) -> pl.DataFrame:
    """Stays that overlap: two engines in one hull, or one engine in two hulls."""
    found = []
    for whose, flag, words in (
        (
            "hull_id",
            "two_engines_in_hull",
            "Engine {} went into hull {} on {} before the one in it was on record as taken out. "
            "Rentals from then on are counted for the later engine.",
        ),
        (
            "engine_id",
            "engine_in_two_hulls",
            "Engine {} went into hull {} on {} before it was on record as taken out of another. "
            "Write down when it came out.",
        ),
    ):
        stays = (
            records["installations"]
            .sort(whose, "installed_at")
            .with_columns(
                _before=pl.col("installed_at").shift(1).over(whose),
                _out=pl.col("removed_at").shift(1).over(whose),
            )
        )
        rows = stays.filter(
            pl.col("_before").is_not_null(),
            pl.col("_out").is_null() | (pl.col("_out") > pl.col("installed_at")),
        )
        said = sentence(words, "engine_id", "hull_id", pl.col("installed_at").dt.strftime(_DAY))
        found.append(record_flags(rows, flag, "installed_at", said, "installations"))
    return pl.concat(found)
