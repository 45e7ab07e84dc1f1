"""One operator's week before the fit, in two parts: what lasts, and what turns with the day.

What lasts rests on the known rows alone, so that a week in which an operator wrote nothing down
need not work it out again; what turns with the day is ages, days since, and the account of late.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import polars as pl

from ringland.contracts.fuel_tables import TankBalance
from ringland.exposure.fuel_at_hand import tanks_now
from ringland.exposure.week_record import WeekRecord, week_record
from ringland.fuel.balance_doubts import ledger_doubts
from ringland.fuel.session_fuel import SessionFuelResult
from ringland.fuel.tank_account import with_recent
from ringland.history.record_quality import last_written, quality_on
from ringland.settings.assumptions import Assumptions

Tables = dict[str, pl.DataFrame]
_LEDGER = {
    "session_fuel": "sessions",
    "tank_events": "tank_events",
    "dock_events": "dock_events",
    "tank_account": "balance",
    "burn_factors": "burn_factors",
    "off_labels": "off_labels",
}
"""Tables of the ledger by the field of `SessionFuelResult` they are."""
_OF_LATE = {"tank_events": "hull_id", "dock_events": "dock_id"}
"""Tables of which what turns needs the newest rows alone, and whose tank each row is of."""
TURNED = (*(f"late_{name}" for name in _OF_LATE), "tank_account", "off_labels", "last_written")
"""The lasting tables that `turning_tables` reads."""
_RECENT = ("in_recent_l", "drained_recent_l", "burned_recent_l", "is_balance_off")


def operator_week(
    records: Mapping[str, pl.DataFrame],
    settings: Assumptions,
    as_of: datetime,
    bench_limits: Assumptions | None = None,
) -> Tables:
    """Everything before the fit: lives, fuel, exposure, bench and doubts, by name.

    Pure: the same arguments give the same rows in the same order.  Each table is as the weekly
    step of that name makes it; `tank_events` and `dock_events` go back to the first record.

    Args:
        records: one operator's loaded rows by record kind, every kind among them.
        settings: assumptions.
        as_of: an instant with time zone; what was not known then is left out.
        bench_limits: of the bench tests; None: the project's own.
    """
    record = week_record(records, as_of, settings, bench_limits)
    lasting = _lasting(record, settings, as_of)
    return lasting | turning_tables(lasting, settings, as_of)


def lasting_tables(
    records: Mapping[str, pl.DataFrame],
    settings: Assumptions,
    as_of: datetime,
    bench_limits: Assumptions | None = None,
) -> Tables:
    """The part of `operator_week` that rests on the rows known at `as_of` and on no day."""
    return _lasting(week_record(records, as_of, settings, bench_limits), settings, as_of)


def turning_tables(
    lasting: Mapping[str, pl.DataFrame],
    settings: Assumptions,
    as_of: datetime,
) -> Tables:
    """The part of `operator_week` that turns with the day.

    Args:
        lasting: `lasting_tables` of the rows known at `as_of`; those in `TURNED` are read.
        settings: assumptions.
        as_of: the instant.
    """
    fields: dict[str, Any] = {
        field: lasting.get(f"late_{name}" if name in _OF_LATE else name, pl.DataFrame())
        for name, field in _LEDGER.items()
    }
    ledger = SessionFuelResult(**fields)
    ledger = replace(
        ledger, balance=with_recent(ledger.balance, ledger.tank_events, as_of, settings)
    )
    return {
        "tanks": tanks_now(ledger, as_of),
        "tank_balance": TankBalance.validate(ledger.balance, cast=True),
        "ledger_doubts": ledger_doubts(ledger, as_of, settings),
        "record_quality": quality_on(lasting["last_written"], as_of),
    }


def _lasting(record: WeekRecord, settings: Assumptions, as_of: datetime) -> Tables:
    ledger = {name: getattr(record.ledger, field) for name, field in _LEDGER.items()}
    ledger["tank_account"] = ledger["tank_account"].drop(*_RECENT)
    days = timedelta(days=settings.number("fuel.balance_days"))
    for name, tank in _OF_LATE.items():
        rows, at, row = ledger[name], pl.col("at"), pl.int_range(pl.len())
        # nothing known on a day lies after it, so that no later day looks further back
        is_late = (at > at.max() - days) | (row == row.max().over(tank))
        ledger[f"late_{name}"] = rows.filter(is_late)
    return {
        "engine_sessions": record.sessions,
        "session_flags": record.session_flags,
        "piston_lives": record.lives,
        "bench_verdicts": record.bench,
        **ledger,
        "session_exposure": record.exposure,
        "spells": record.spells,
        "current_exposure": record.exposure_now,
        "last_written": last_written(record.known, record.sessions, as_of),
    }
