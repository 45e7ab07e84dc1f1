"""What a job must put on record when it is done, and the rows that do.

A calibration that was put back changes the octane an engine needs; a drained tank holds other
fuel; a test has readings; a renewed engine another piston set.  A name beside 'done' says none
of that, so such a job is answered by its result on record, and whoever writes it down is asked
for all that lacks at once.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

import polars as pl

from ringland.contracts.decision_tables import SHEET_JOB
from ringland.decision.actions.action_catalogue import REPAIR, Action, Catalogue
from ringland.decision.jobs.hull_state import DRAIN

Row = Mapping[str, Any]
Rows = dict[str, list[dict[str, str]]]
"""Rows as text by record kind, as a file of the kind holds them."""

CALIBRATIONS, DRAINS, FUEL_TESTS, INSPECTIONS, REBUILDS = (
    "calibrations", "drains", "fuel_tests", "inspections", "rebuilds",
)  # fmt: skip
CYLINDER_BY_CYLINDER = ("compression", "leak_down")
"""Measures whose readings are given one a cylinder, from the first on."""
READING = re.compile(r"^\s*(ok|-?\d+(?:\.\d+)?)\s*$", re.IGNORECASE)
UNITS = {"leak_down": "%"}
"""The unit of a reading given without one; any other measure must be given its own."""
AFTER_DRAIN = timedelta(minutes=1)
"""A refill follows the draining: at one instant either order would be possible."""


class JobError(ValueError):
    """A job is not found, or what was said of it does not do; the message says what would."""


@dataclass(frozen=True)
class Told:
    """What somebody says of a job that was done; None or empty: nothing.

    `readings` are as 'leak_down=5,6,30' or 'compression=150,152,149 psi', cylinder by cylinder.
    """

    calibration: str | None = None
    needs_aki: float | None = None
    litres: float | None = None
    grade_aki: float | None = None
    source: str | None = None
    is_left_empty: bool = False
    readings: tuple[str, ...] = ()
    is_warm: bool | None = None
    octane_aki: float | None = None
    has_water: bool | None = None
    scope: str | None = None
    pistons: str | None = None
    supplier: str | None = None
    engine_h: float | None = None


@dataclass(frozen=True)
class Shop:
    """What the record tells that need not be said again.

    `needs_aki` is the need by calibration class: the settings', and what the engine's own record
    says of a class; `dock_id` the dock whose tank the hull is filled from.
    """

    catalogue: Catalogue
    needs_aki: Mapping[str, float] = field(default_factory=dict)
    dock_id: str | None = None


def result_kind(what: str, catalogue: Catalogue) -> str | None:
    """The record kind that says what a job led to; None: its name and day say it all."""
    if what == REPAIR:
        return REBUILDS
    kinds = (_kind(action) for action in catalogue.jobs(what))
    return next((kind for kind in kinds if kind is not None), None)


def _kind(action: Action) -> str | None:
    tests = action.test is not None and action.test.measures
    return (
        CALIBRATIONS
        if sets_calibration(action)
        else DRAINS
        if action.cost_item == DRAIN
        else FUEL_TESTS
        if action.finding is not None
        else REBUILDS
        if action.renews_age
        else INSPECTIONS
        if tests
        else None
    )


NEEDS_ITS_RECORD = (CALIBRATIONS, DRAINS, REBUILDS)
"""Kinds without whose row the engine or tank counts as it was: a name alone answers nothing."""


def sets_calibration(action: Action) -> bool:
    """Whether an action changes the calibration, or reads which one there is."""
    return any(effect.covariate == "is_raised_calibration" for effect in action.effects) or (
        action.finding is not None
        and any(e.covariate == "is_raised_calibration" for e in action.finding.effects)
    )


def result_rows(job: Row, told: Told, at: datetime, shop: Shop) -> Rows:
    """The rows that say what a job led to.

    Args:
        job: a row of `HullJobs`.
        told: what was said.
        at: when it was done.
        shop: what need not be said.

    Raises:
        JobError: something lacks, or does not go with the job; the message says all of it.
    """
    if job["what"] == SHEET_JOB:
        raise JobError(
            f"{job['job_id']} is not done by a word: its readings and the signature go into the "
            f"bench form of its rebuild, or a file of build_readings; 'ringland release' lets it "
            f"go by name."
        )
    kind = result_kind(str(job["what"]), shop.catalogue)
    made = _MAKERS[kind](job, told, at, shop) if kind else {}
    beside = [option for of, options in OPTIONS.items() if of != kind for option in options]
    given = [_WRITTEN.get(one, f"--{one}") for one in beside if _is_said(getattr(told, one))]
    if given:
        does = "asks for no result" if kind is None else f"leads to {kind.replace('_', ' ')}"
        raise JobError(f"{job['job_id']} {does}; leave out {', '.join(given)}.")
    return made


OPTIONS = {
    CALIBRATIONS: ("calibration", "needs_aki"),
    DRAINS: ("litres", "grade_aki", "source", "is_left_empty"),
    FUEL_TESTS: ("octane_aki", "has_water"),
    INSPECTIONS: ("readings", "is_warm"),
    REBUILDS: ("scope", "pistons", "supplier", "engine_h"),
}
"""What may be said of a job by the record it leads to."""
_WRITTEN = {
    "needs_aki": "--needs",
    "grade_aki": "--grade",
    "source": "--from",
    "is_left_empty": "--left-empty",
    "octane_aki": "--octane",
    "has_water": "--water",
    "readings": "--reading",
    "is_warm": "--warm or --cold",
    "engine_h": "--engine-hours",
}
"""How the command writes those it does not write by their names."""


def _is_said(value: Any) -> bool:
    return value not in (None, (), False)


def _need(job: Row, lacks: Sequence[str]) -> None:
    if lacks:
        raise JobError(
            f"{job['job_id']} needs its result besides, or the record stays as it was: give "
            f"{' and '.join(lacks)}."
        )


def _calibrations(job: Row, told: Told, at: datetime, shop: Shop) -> Rows:
    puts_back = any(action.effects for action in shop.catalogue.jobs(str(job["what"])))
    classes = ("stock", "mild") if puts_back else ("stock", "mild", "raised")
    if puts_back and told.calibration == "raised":
        raise JobError(
            f"{job['job_id']} takes the raised calibration off; while it is in the engine the job "
            f"is open. Give --calibration stock or --calibration mild once it is out."
        )
    need = told.needs_aki or shop.needs_aki.get(told.calibration or "")
    lacks = [] if told.calibration else [f"--calibration {' or '.join(classes)}"]
    if told.calibration and need is None:
        lacks.append(f"--needs AKI, what its {told.calibration} calibration needs")
    _need(job, lacks)
    return {
        CALIBRATIONS: [
            {
                "engine_id": str(job["engine_id"]),
                "in_force_at": as_text(at),
                "calibration": str(told.calibration),
                "octane_need_aki": f"{need:g}",
            }
        ]
    }


def _drains(job: Row, told: Told, at: datetime, shop: Shop) -> Rows:
    hull = str(job["hull_id"])
    rows: Rows = {
        DRAINS: [{"hull_id": hull, "drained_at": as_text(at), "why": f"job {job['job_id']}"}]
    }
    if told.is_left_empty:
        return rows
    lacks = [] if told.litres else ["--litres of the refill (or --left-empty)"]
    lacks += [] if told.source else ["--from dock or --from outside"]
    if told.source == "outside" and told.grade_aki is None:
        lacks.append("--grade AKI of the refill")
    _need(job, lacks)
    if told.source == "dock" and shop.dock_id is None:
        raise JobError(f"{hull} has no dock on record; give --from outside and --grade.")
    rows["fills"] = [
        {
            "hull_id": hull,
            "filled_at": as_text(at + AFTER_DRAIN),
            "volume_l": f"{told.litres:g}",
            "source": str(told.source),
            "source_dock_id": str(shop.dock_id) if told.source == "dock" else "",
            "octane_aki": "" if told.grade_aki is None else f"{told.grade_aki:g}",
        }
    ]
    return rows


def _fuel_tests(job: Row, told: Told, at: datetime, _shop: Shop) -> Rows:
    said = told.octane_aki is not None or told.has_water is not None
    _need(job, [] if said else ["--octane AKI or --water or --no-water"])
    water = "" if told.has_water is None else "yes" if told.has_water else "no"
    row = {
        "hull_id": str(job["hull_id"]),
        "tested_at": as_text(at),
        "octane_aki": "" if told.octane_aki is None else f"{told.octane_aki:g}",
        "has_water": water,
    }
    return {FUEL_TESTS: [row]}


def _inspections(job: Row, told: Told, at: datetime, shop: Shop) -> Rows:
    tests = [action.test for action in shop.catalogue.jobs(str(job["what"])) if action.test]
    measures = list(dict.fromkeys(name for test in tests for name in test.measures))
    example = f"--reading {measures[0]}={'5,6,5' if measures[0] == 'leak_down' else '12 UNIT'}"
    which = "" if len(measures) == 1 else f" or {', '.join(measures[1:])}"
    _need(job, [] if told.readings else [f"{example}{which}, each cylinder's in order"])
    warm = "" if told.is_warm is None else "yes" if told.is_warm else "no"
    rows = []
    for said in told.readings:
        measure, figures, unit = _parted(said, measures)
        by_cylinder = measure in CYLINDER_BY_CYLINDER
        for number, figure in enumerate(figures, 1):
            is_ok = figure.lower() == "ok"
            rows.append(
                {
                    "engine_id": str(job["engine_id"]),
                    "inspected_at": as_text(at),
                    "measure": measure,
                    "cylinder": str(number) if by_cylinder else "",
                    "state": "stated_ok" if is_ok else "measured",
                    "value": "" if is_ok else figure,
                    "unit": "" if is_ok else unit,
                    "is_warm": warm,
                }
            )
    return {INSPECTIONS: rows}


def _parted(said: str, measures: Sequence[str]) -> tuple[str, list[str], str]:
    """Measure, figures and unit of a reading as it was said."""
    measure, is_given, rest = said.partition("=")
    measure = measure.strip()
    if not is_given or measure not in measures:
        raise JobError(f"'{said}' is no reading of this job: write {measures[0]}=5,6,5.")
    figures = re.match(r"^[\d\s.,okOK-]*", rest)
    text = figures.group() if figures else ""
    unit = rest[len(text) :].strip() or UNITS.get(measure, "")
    found = [part.strip() for part in text.strip(" ,").split(",")]
    if not all(READING.match(part) for part in found):
        raise JobError(f"'{said}': '{rest.strip()}' is no figure a cylinder, with commas between.")
    if not unit and any(part.lower() != "ok" for part in found):
        raise JobError(f"'{said}' has no unit: write e.g. {measure}=150,152,149 psi.")
    if len(found) > 1 and measure not in CYLINDER_BY_CYLINDER:
        raise JobError(f"'{said}': {measure} has one reading an engine.")
    return measure, found, unit


def _rebuilds(job: Row, told: Told, at: datetime, shop: Shop) -> Rows:
    own = {"planned_top_end": "top_end", "full_rebuild": "full"}.get(str(job["what"]))
    scope = told.scope or own
    lacks = [] if scope else ["--scope top_end or --scope full"]
    lacks += [] if told.pistons else ["--pistons cast or --pistons forged"]
    lacks += [] if told.supplier else ["--supplier original or --supplier aftermarket"]
    lacks += [] if told.engine_h is not None else ["--engine-hours, its hours when it was fitted"]
    _need(job, lacks)
    engine = str(job["engine_id"])
    is_repair = job["what"] == REPAIR
    return {
        "rebuilds": [{"engine_id": engine, "rebuilt_at": as_text(at), "scope": str(scope)}],
        "piston_sets": [
            {
                "piston_set_id": f"{engine}-{at:%Y%m%d}",
                "engine_id": engine,
                "fitted_at": as_text(at),
                "fitted_engine_h": f"{told.engine_h:g}",
                "piston_type": str(told.pistons),
                "supplier_grade": str(told.supplier),
                "reason": "after_failure" if is_repair else "planned",
            }
        ],
    }


_MAKERS = {
    CALIBRATIONS: _calibrations,
    DRAINS: _drains,
    FUEL_TESTS: _fuel_tests,
    INSPECTIONS: _inspections,
    REBUILDS: _rebuilds,
}


def own_needs(calibrations: pl.DataFrame, engine_id: str | None) -> dict[str, float]:
    """What an engine's own record says that each class of calibration needs, the newest of each.

    A job of a hull, whatever its engine, names none, and has none.
    """
    mine = calibrations.filter(pl.col("engine_id").eq_missing(engine_id)).sort("in_force_at")
    return dict(mine.select("calibration", "octane_need_aki").iter_rows())


def as_text(at: datetime) -> str:
    """An instant as a record file holds it."""
    return at.isoformat(timespec="seconds").replace("+00:00", "Z")
