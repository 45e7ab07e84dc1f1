"""A build sheet as it stands: every line in working order, and whether it may be closed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import polars as pl

from ringland.bench.build_checks import BuildCheck, build_checks, checks_for
from ringland.bench.build_lines import OUT, WAIVED, BuildLine, BuildTime, Limit, build_line
from ringland.contracts.build_records import BuildReadings

CYLINDERS_UNKNOWN = "number of cylinders not known"


@dataclass(frozen=True)
class BuildSheet:
    """The lines of one build."""

    engine_id: str
    scope: str
    lines: tuple[BuildLine, ...]
    unknown: tuple[str, ...]
    """Rows on record whose check or place this sheet does not ask for."""
    beyond: tuple[str, ...] = ()
    """Rows of cylinders that the engine's record says it does not have."""

    @property
    def obstacles(self) -> tuple[str, ...]:
        """Each thing that keeps the sheet open; none: it may be closed."""
        if not self.lines or not any(line.place for line in self.lines):
            return (
                "The number of cylinders is not known, so no cylinder and no port was asked for.",
            )
        return (*(line.obstacle for line in self.lines if line.obstacle), *self.beyond)

    @property
    def open_lines(self) -> tuple[str, ...]:
        """The same in a few words each, e.g. 'Compression, 2: missing'."""
        lines = tuple(f"{line.name}: {line.verdict}" for line in self.lines if line.obstacle)
        return lines if lines or self.is_closed else self.beyond or (CYLINDERS_UNKNOWN,)

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
    latest: dict[tuple[str, str | None], list[dict[str, Any]]] = {}
    for row in own.sort("read_at", maintain_order=True).iter_rows(named=True):
        rows = latest.setdefault((row["line"], _plain(row["place"])), [])
        # of one instant both stand: which of two that disagree is right, nobody can say
        latest[row["line"], _plain(row["place"])] = [
            *(one for one in rows if one["read_at"] == row["read_at"]),
            row,
        ]
    makers = {
        row["line"]: Limit(row["least"], row["most"], row["unit"], row["source"], row["entered_by"])
        for row in limits.filter(
            (pl.col("family") == pl.lit(engine["family"], pl.String)) & (pl.col("kind") == "new")
        ).iter_rows(named=True)
    }
    checks = checks_for(scope, is_boosted=engine["induction"] != "naturally_aspirated")
    asked = [(check, place) for check in checks for place in check.places(cylinders)]
    lines = [
        _line(check, place, latest.get((check.key, _plain(place))), makers.get(check.key), at)
        for check, place in asked
    ]
    wanted = {(check.key, _plain(place)) for check, place in asked}
    spare = {
        key: rows
        for key, rows in latest.items()
        if key not in wanted and rows[-1]["read_at"] > at.since
    }
    more = _measured_unasked(spare, cylinders, makers, at)
    judged = {(line.check.key, _plain(line.place)) for line in more}
    return BuildSheet(
        str(engine["engine_id"]),
        scope,
        (*lines, *more),
        tuple(
            f"{check}{f', {place}' if place else ''}: not asked for on this sheet"
            for check, place in spare
            if (check, place) not in judged
        ),
        tuple(
            f"{check}, {place}: on record, but the engine's record says {cylinders} cylinders"
            for check, place in spare
            if check in build_checks() and cylinders and _cylinder(place) > cylinders
        ),
    )


def _line(
    check: BuildCheck,
    place: str | None,
    rows: list[dict[str, Any]] | None,
    limit: Limit | None,
    at: BuildTime,
) -> BuildLine:
    """The line of the latest reading; of several of one instant, one that stands in the way."""
    if not rows:
        return build_line(check, place, None, limit, at)
    made = [build_line(check, place, row, limit, at) for row in rows]
    return next((line for line in made if line.obstacle), made[-1])


def _measured_unasked(
    spare: Mapping[tuple[str, str | None], list[dict[str, Any]]],
    cylinders: int,
    makers: Mapping[str, Limit],
    at: BuildTime,
) -> list[BuildLine]:
    """What was measured beyond the scope and is out of limit: no sheet closes over it."""
    lines = []
    for (key, place), rows in spare.items():
        check = build_checks().get(key)
        if check and place in map(_plain, check.places(cylinders)):
            lines.append(_line(check, place, rows, makers.get(key), at))
    return [line for line in lines if line.verdict in (OUT, WAIVED)]


def _cylinder(place: str | None) -> int:
    """The cylinder a place names, e.g. 2 of '2 intake'; 0: none."""
    number = (place or "").split(" ")[0]
    return int(number) if number.isdecimal() else 0


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
