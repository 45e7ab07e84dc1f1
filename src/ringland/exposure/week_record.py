"""What the records known at a week tell, in the order in which one thing rests on another."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

import polars as pl

from ringland.bench.bench_station import station_pressures
from ringland.bench.bench_tests import judge_bench_tests
from ringland.exposure.exposure_spells import current_exposure, spells
from ringland.exposure.fuel_at_hand import tanks_now
from ringland.exposure.octane_margin import session_exposure
from ringland.fuel.session_fuel import SessionFuelResult, session_fuel
from ringland.history.engine_history import piston_lives
from ringland.history.hour_meter import engine_sessions
from ringland.history.known_then import known_by
from ringland.settings.assumptions import Assumptions


@dataclass(frozen=True)
class WeekRecord:
    """What the records known at the week tell: each frame as its contract of the same name."""

    known: Mapping[str, pl.DataFrame]
    sessions: pl.DataFrame
    session_flags: pl.DataFrame
    lives: pl.DataFrame
    bench: pl.DataFrame
    ledger: SessionFuelResult
    exposure: pl.DataFrame
    spells: pl.DataFrame
    exposure_now: pl.DataFrame
    tanks: pl.DataFrame


def week_record(
    records: Mapping[str, pl.DataFrame],
    as_of: datetime,
    settings: Assumptions,
    bench_limits: Assumptions | None = None,
) -> WeekRecord:
    """Lives and exposure from loaded records: everything before the fit.

    Args:
        records: loaded rows by record kind, every kind among them.
        as_of: an instant with time zone; what was not known then is left out.
        settings: assumptions.
        bench_limits: of the bench tests; None: the project's own.
    """
    known = known_by(records, as_of)
    sessions, session_flags = engine_sessions(known, settings)
    lives = piston_lives(known, sessions, as_of)
    station = station_pressures(
        known["inspections"], known["installations"], known["hulls"], known["docks"]
    )
    ledger = session_fuel(known, sessions, settings, as_of)
    exposure = session_exposure(ledger.sessions, sessions, settings)
    return WeekRecord(
        known=known,
        sessions=sessions,
        session_flags=session_flags,
        lives=lives,
        bench=judge_bench_tests(known["inspections"], known["engines"], station, bench_limits),
        ledger=ledger,
        exposure=exposure,
        spells=spells(exposure, lives, settings),
        exposure_now=current_exposure(exposure, lives, settings),
        tanks=tanks_now(ledger, as_of),
    )
