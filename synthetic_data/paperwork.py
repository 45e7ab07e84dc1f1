"""The book's rows as typed frames, with the times at which rows were written down."""

from __future__ import annotations

import numpy as np
import polars as pl

from ringland.contracts.record_kinds import RECORD_KINDS, RecordKind
from synthetic_data.logbook import WRITTEN, Logbook
from synthetic_data.scenario import MINUTES_PER_DAY, Scenario

_BACKFILLED_WEEKS = {"fills": 0.06, "sessions": 0.03}
"""Share of hull-weeks whose rows are written down on the Friday after."""
_WRITTEN_LATER = {"failures": 0.3, "teardowns": 0.25, "rebuilds": 0.2, "calibrations": 0.15}
_FRIDAY = 4
_FRIDAY_MINUTE = 22 * 60

_PRICES = (
    ("check", 180, 2.0),
    ("full_inspection", 340, 4.0),
    ("drain_refill", 170, 1.5),
    ("calibration_change", 120, 1.0),
    ("top_end_planned", 3400, 16.0),
    ("top_end_unplanned", 5200, 20.0),
    ("full_rebuild_planned", 6100, 34.0),
    ("full_rebuild_unplanned", 7900, 40.0),
    ("engine_swap", 650, 7.0),
    ("lost_rental_day", 380, None),
    ("mechanic_hour", 95, None),
)
_YEARLY_RISE = 0.04
_FOREMAN, _SEALANT_PPM = "H. Quist", 16  # invented


def at_minutes(column: str, scenario: Scenario) -> pl.Expr:
    """A column of minutes from the epoch as UTC instants."""
    instant = pl.lit(scenario.epoch) + pl.duration(minutes=pl.col(column))
    return instant.dt.cast_time_unit("us").alias(column)


def write_costs(scenario: Scenario, book: Logbook) -> None:
    """Prices by season, in the invented operator's money."""
    for at, season in enumerate(scenario.seasons):
        rise = (1 + _YEARLY_RISE) ** at
        book["costs"].extend(
            (item, season, float(round(price * rise / 5) * 5), "USD", hours)
            for item, price, hours in _PRICES
        )


def write_releases(scenario: Scenario, book: Logbook) -> None:
    """What the foreman let go by name.

    High silicon that came from sealant, the day after; and, on the day the shop took up build
    sheets, those of every rebuild before, which nobody had written then.
    """
    adopted = scenario.day_of(scenario.seasons[-1], 6, 1) * MINUTES_PER_DAY
    book["releases"].append(
        (adopted, None, None, "rebuild_sheet", _FOREMAN,
         "rebuilt before this shop kept build sheets", None)
    )  # fmt: skip
    columns = WRITTEN["inspections"].split()
    for cells in list(book["inspections"]):
        row = dict(zip(columns, cells, strict=True))
        value, minute = row["value"], row["inspected_at"]
        if row["measure"] != "oil_silicon" or not isinstance(value, float | int):
            continue
        if value >= _SEALANT_PPM and isinstance(minute, int):
            book["releases"].append(
                (minute + MINUTES_PER_DAY, row["engine_id"], None, "oil_silicon", _FOREMAN,
                 "fresh sealant at the cover; iron and aluminium as before", None)
            )  # fmt: skip


def write_jobs_done(scenario: Scenario, book: Logbook) -> None:
    """What the foreman wrote down as done of the list of 15 June."""
    hull = min(str(cells[0]) for cells in book["hulls"])
    asked = scenario.day_of(scenario.seasons[-1], 6, 15)
    job = f"{hull}/borescope/{scenario.instant(asked * MINUTES_PER_DAY):%Y-%m-%d}"
    book["jobs_done"].append(
        (job, (asked + 2) * MINUTES_PER_DAY, _FOREMAN, "done", "nothing to be seen")
    )


def as_frames(
    scenario: Scenario, book: Logbook, rng: np.random.Generator
) -> dict[str, pl.DataFrame]:
    """One frame per record kind as its contract says, in order of event time, then key."""
    frames = {}
    for name, kind in RECORD_KINDS.items():
        wanted = kind.schema.create_empty().schema
        columns = WRITTEN[name].split()
        instants = [c for c in columns if isinstance(wanted[c], pl.Datetime)]
        written = {c: pl.Int64 if c in instants else wanted[c] for c in columns}
        frame = pl.DataFrame(book[name], schema=written, orient="row")
        frame = _until(scenario.record_ends_day + 1, frame, kind)
        frame = frame.with_columns(
            pl.Series("recorded_at", _recorded(name, kind.event_time, frame, rng), dtype=pl.Int64)
        )
        order = [c for c in (kind.event_time, *kind.key) if c is not None and c in frame.columns]
        frame = frame.sort(order, maintain_order=True)
        frames[name] = frame.with_columns(
            *(at_minutes(column, scenario) for column in [*instants, "recorded_at"]),
            *(
                pl.lit(None, dtype=dtype).alias(column)
                for column, dtype in wanted.items()
                if column not in frame.columns
            ),
        ).select(wanted.names())
    return frames


def _until(day: int, frame: pl.DataFrame, kind: RecordKind) -> pl.DataFrame:
    """Without what had not yet come when the record ends."""
    if kind.event_time is None:
        return frame
    last = day * MINUTES_PER_DAY
    told = {end: end for end in kind.ends} | kind.told_with
    return frame.filter(pl.col(kind.event_time) < last).with_columns(
        pl.when(pl.col(end) < last).then(pl.col(column)).alias(column)
        for column, end in told.items()
        if column in frame.columns
    )


def _recorded(
    name: str, event_time: str | None, frame: pl.DataFrame, rng: np.random.Generator
) -> list[int | None]:
    blank: list[int | None] = [None] * frame.height
    if event_time is None or frame.is_empty():
        return blank
    minutes = frame[event_time].to_numpy()
    if name in _WRITTEN_LATER:
        visits, visit = np.unique(minutes, return_inverse=True)
        late = (rng.random(len(visits)) < _WRITTEN_LATER[name])[visit]
        when = minutes + rng.integers(300, 4 * MINUTES_PER_DAY, len(visits))[visit]
    elif name in _BACKFILLED_WEEKS:
        weeks = minutes // (7 * MINUTES_PER_DAY)
        hulls = frame["hull_id"].rank("dense").to_numpy().astype(np.int64)
        book = rng.random((int(hulls.max()) + 1, int(weeks.max()) + 1))
        late = book[hulls, weeks] < _BACKFILLED_WEEKS[name]
        when = _next_friday(minutes)
    else:
        return blank
    return [int(w) if is_late else None for w, is_late in zip(when, late, strict=True)]


def _next_friday(minutes: np.ndarray[tuple[int], np.dtype[np.int64]]) -> np.ndarray:
    # 1 January 2024 is a Monday; for another first season this is merely another weekday.
    day = minutes // MINUTES_PER_DAY
    friday = day + (_FRIDAY - day) % 7
    when = friday * MINUTES_PER_DAY + _FRIDAY_MINUTE
    return np.where(when > minutes, when, when + 7 * MINUTES_PER_DAY)
