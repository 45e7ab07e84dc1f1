"""What a form knows of the records: hulls with their engines, docks, last values to offer."""

from __future__ import annotations

from typing import Any

import polars as pl

from ringland.contracts.decision_tables import OPEN
from ringland.dockside.forms import Form
from ringland.dockside.ground import Ground
from ringland.dockside.roles import Person, Scope

SIGNED = ("done_by", "read_by", "examined_by", "released_by", "signed_by")
"""Columns in which whoever is signed in is offered."""


def known_of(
    form: Form, ground: Ground, scope: Scope, person: Person, jobs: pl.DataFrame | None
) -> dict[str, Any]:
    """All a form needs on a phone, out of reach too, as plain JSON.

    Args:
        form: the form.
        ground: the records.
        scope: what the person may see.
        person: who writes.
        jobs: `HullJobs` of the newest list, if one is worked out.

    Returns:
        hulls: by id its dock, engine and cylinders, last meter reading; docks and engines: ids
        with cylinders; jobs: open ones; last: by subject the columns offered; signed: who writes.
    """
    records = ground.corrected
    engines = dict(records["engines"].select("engine_id", "cylinders").iter_rows())
    sits = records["installations"].filter(pl.col("removed_at").is_null()).sort("installed_at")
    engine_in = dict(sits.select("hull_id", "engine_id").iter_rows())
    read = records["hour_readings"].sort("read_at").unique("hull_id", keep="last")
    meters = {
        hull: [meter, at.isoformat(), hours]
        for hull, meter, at, hours in read.select(
            "hull_id", "meter_id", "read_at", "meter_h"
        ).iter_rows()
    }
    served = records["hulls"].filter(pl.col("out_of_service_at").is_null()).sort("hull_id")
    hulls = {
        hull: {
            "dock": dock,
            "engine": engine_in.get(hull),
            "cylinders": engines.get(engine_in.get(hull, "")),
            "meter": meters.get(hull),
        }
        for hull, dock in served.select("hull_id", "dock_id").iter_rows()
        if scope.holds("hulls", hull)
    }
    return {
        "hulls": hulls,
        "docks": sorted(one for one in records["docks"]["dock_id"] if scope.holds("docks", one)),
        "engines": {
            name: count for name, count in sorted(engines.items()) if scope.holds("engines", name)
        },
        "jobs": _open_jobs(jobs, scope),
        "last": _last(form, ground, scope),
        "signed": dict.fromkeys(SIGNED, person.name),
    }


def _open_jobs(jobs: pl.DataFrame | None, scope: Scope) -> list[str]:
    if jobs is None:
        return []
    rows = jobs.filter(pl.col("state") == OPEN).sort("due_at", "job_id")
    return [job for job, hull in rows.select("job_id", "hull_id").iter_rows()
            if scope.holds("hulls", hull)]  # fmt: skip


def _last(form: Form, ground: Ground, scope: Scope) -> dict[str, dict[str, str]]:
    if not form.offered:
        return {}
    kind = form.record_kind
    rows = ground.corrected[kind.name]
    for name, cell in form.given.items():
        rows = rows.filter(pl.col(name) == cell)
    if kind.event_time:
        rows = rows.sort(kind.event_time)
    rows = rows.unique(form.subject, keep="last").select(form.subject, *form.offered)
    what = kind.refers_to[form.subject]
    return {
        row[form.subject]: {name: str(row[name]) for name in form.offered if row[name] is not None}
        for row in rows.iter_rows(named=True)
        if scope.holds(what, row[form.subject])
    }
