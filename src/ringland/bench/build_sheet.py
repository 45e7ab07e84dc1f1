"""A build sheet as it stands: every line in working order, and whether it may be closed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import polars as pl

from ringland.bench.build_checks import checks_for
from ringland.bench.build_lines import BuildLine, BuildTime, Limit, build_line
from ringland.contracts.build_records import BuildReadings


@dataclass(frozen=True)
class BuildSheet:
    """The lines of one build."""

    engine_id: str
    scope: str
    lines: tuple[BuildLine, ...]
    unknown: tuple[str, ...]
    """Rows on record whose check or place this sheet does not ask for."""

    @property
    def obstacles(self) -> tuple[str, ...]:
        """Each thing that keeps the sheet open; none: it may be closed."""
        if not self.lines or not any(line.place for line in self.lines):
            return (
                "The number of cylinders is not known, so no cylinder and no port was asked for.",
            )
        return tuple(line.obstacle for line in self.lines if line.obstacle)

    @property
    def open_lines(self) -> tuple[str, ...]:
        """The same in a few words each, e.g. 'Compression, 2: missing'."""
        lines = tuple(f"{line.name}: {line.verdict}" for line in self.lines if line.obstacle)
        return lines if lines or self.is_closed else ("number of cylinders not known",)

    @property
    def waivers(self) -> tuple[str, ...]:
        """What was let go, by whom and why."""
        return tuple(f"{line.name}: {line.waiver}" for line in self.lines if line.waiver)

    @property
    def is_closed(self) -> bool:
        """Whether nothing stands in the way."""
        return not self.obstacles


def build_sheet(
    engine: Mapping[str, Any],
    scope: str,
    at: BuildTime,
    readings: pl.DataFrame,
    limits: pl.DataFrame,
) -> BuildSheet:
    """The sheet of one engine.

    Args:
        engine: row of the Engines contract.
        scope: 'top_end' or 'full'.
        at: when and where it is judged.
        readings: rows of the BuildReadings contract up to the engine's next failure.
        limits: rows of the BuildLimits contract; those for a new build of the engine's family
            count, those of wear never.
    """
    cylinders = int(engine["cylinders"] or 0)
    own = readings.filter(pl.col("engine_id") == engine["engine_id"])
    latest: dict[tuple[str, str | None], dict[str, Any]] = {}
    for row in own.sort("read_at", maintain_order=True).iter_rows(named=True):
        latest[row["line"], _plain(row["place"])] = row
    makers = {
        row["line"]: Limit(row["least"], row["most"], row["unit"], row["source"])
        for row in limits.filter(
            (pl.col("family") == pl.lit(engine["family"], pl.String)) & (pl.col("kind") == "new")
        ).iter_rows(named=True)
    }
    checks = checks_for(scope, is_boosted=engine["induction"] != "naturally_aspirated")
    asked = [(check, place) for check in checks for place in check.places(cylinders)]
    lines = tuple(
        build_line(
            check,
            place,
            latest.get((check.key, _plain(place))),
            makers.get(check.key),
            at,
        )
        for check, place in asked
    )
    wanted = {(check.key, _plain(place)) for check, place in asked}
    return BuildSheet(
        str(engine["engine_id"]),
        scope,
        lines,
        tuple(
            f"{check}{f', {place}' if place else ''}: not asked for on this sheet"
            for (check, place), row in latest.items()
            if (check, place) not in wanted and row["read_at"] > at.since
        ),
    )


def _plain(place: str | None) -> str | None:
    """A place without case and spare spaces: ' 2  Intake' is '2 intake'."""
    return " ".join(place.lower().split()) if place else None


OF_TESTS = {
    "compression": "compression",
    "leak_down": "leak_down",
    "valve_seal_vacuum": "valve_vacuum",
    "bore_taper": "bore_taper",
    "bore_out_of_round": "bore_out_of_round",
    "deck_flatness": "deck_flatness",
}
"""Bench tests that are a line of the sheet, by measure; a ring gap names no ring, so it is none."""


def place_of(cylinder: int | None, port: str | None) -> str | None:
    """A place as the sheet writes it, e.g. '2 intake'; the engine itself is None."""
    return " ".join(part for part in (str(cylinder or ""), port or "") if part) or None


def readings_of_tests(inspections: pl.DataFrame) -> pl.DataFrame:
    """The bench tests written as acceptance of a build, as rows of the BuildReadings contract.

    Args:
        inspections: rows of the Inspections contract; those without `rebuilt_at` accept nothing.
    """
    rows = inspections.filter(
        pl.col("rebuilt_at").is_not_null() & pl.col("measure").is_in(list(OF_TESTS))
    )
    schema = {name: column.dtype for name, column in BuildReadings.columns().items()}
    return rows.select(
        "engine_id",
        pl.col("measure").replace_strict(OF_TESTS, return_dtype=pl.String).alias("line"),
        pl.concat_str(pl.col("cylinder").cast(pl.String), "port", separator=" ", ignore_nulls=True)
        .replace("", None)
        .alias("place"),
        "value",
        "unit",
        "reference_value",
        "barometer_kpa",
        "barometer_is",
        "recorded_at",
        read_at="inspected_at",
        answer=pl.lit(None, pl.String),
        method=pl.lit(None, pl.String),
        read_by="signed_by",
        waived_by=pl.when(pl.col("accepted_because").is_not_null()).then("signed_by"),
        waived_because="accepted_because",
    ).select(pl.col(name).cast(dtype) for name, dtype in schema.items())
