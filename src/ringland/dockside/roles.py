"""Who may see and write what: a role says which kinds, a scope which hulls, docks and engines.

A shop's owner and mechanics work on every hull; an operator has its own, a dock hand those of
one dock, a reader by link one hull.  What lies outside a scope is answered as if it were not
there at all.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import polars as pl

from ringland.contracts.record_kinds import ALL_KINDS, CORRECTIONS, RECORD_KINDS
from ringland.dockside.entries import Entry, EntryFault
from ringland.dockside.ground import Ground

OWNER, MECHANIC, OPERATOR = "owner", "mechanic", "operator"
DOCK_HAND, READER = "dock_hand", "reader"
NOBODY = "nobody"
"""Who has not signed in."""
ROLES = (OWNER, MECHANIC, OPERATOR, DOCK_HAND, READER)
STAFF = frozenset({OWNER, MECHANIC, OPERATOR, DOCK_HAND})
"""Those who write."""
_SIGNED_BY = {"releases": "released_by"}
"""A record that lets an engine run bears the name of who is signed in, and no other."""

_AT_THE_DOCK = {"fills", "drains", "deliveries", "dips", "hour_readings", "sessions", "fuel_tests",
                "pump_outs", "pump_totals", "transfers"}  # fmt: skip
_AT_THE_BENCH = {"inspections", "jobs_done", "releases", "failures", "teardowns", "rebuilds",
                 "build_readings", "piston_sets", "calibrations", "evidence", "installations",
                 "engines", "build_limits"}  # fmt: skip
_OF_AN_OPERATOR = _AT_THE_DOCK | {"jobs_done", "failures", "dock_tanks"}
KINDS: dict[str, frozenset[str]] = {
    OWNER: frozenset(ALL_KINDS),
    MECHANIC: frozenset(_AT_THE_DOCK | _AT_THE_BENCH | {CORRECTIONS.name}),
    OPERATOR: frozenset(_OF_AN_OPERATOR | {CORRECTIONS.name}),
    DOCK_HAND: frozenset(_AT_THE_DOCK | {CORRECTIONS.name}),
    READER: frozenset(),
    NOBODY: frozenset(),
}
"""The kinds of record each role writes; a correction only of a kind it writes."""


@dataclass(frozen=True)
class Person:
    """Somebody who asks: `operator`, `dock` or `hull` is what the role is bound to, if any."""

    id: str
    name: str
    role: str
    operator: str | None = None
    dock: str | None = None
    hull: str | None = None

    @property
    def sees_all(self) -> bool:
        """Whether the role is bound to nothing."""
        return self.role in (OWNER, MECHANIC)


NO_PERSON = Person("", "", NOBODY)


@dataclass(frozen=True)
class Scope:
    """The hulls, docks and engines somebody may see; `sees_all`: and those not on record yet."""

    hulls: frozenset[str]
    docks: frozenset[str]
    engines: frozenset[str]
    sees_all: bool = False

    def holds(self, what: str, name: str) -> bool:
        """Whether a hull, dock or engine (`what`: the kind that lists it) lies in it."""
        ids = {"hulls": self.hulls, "docks": self.docks, "engines": self.engines}
        return self.sees_all or name in ids[what]


def scope_of(person: Person, ground: Ground) -> Scope:
    """What somebody may see of the records as they stand.

    An engine goes with the hull it sits in, else with the one it sat in last.
    """
    hulls, docks = ground.corrected["hulls"], ground.corrected["docks"]
    if person.role == OPERATOR:
        docks = docks.filter(pl.col("operator") == person.operator)
        hulls = hulls.filter(pl.col("operator") == person.operator)
    elif person.role == DOCK_HAND:
        docks = docks.filter(pl.col("dock_id") == person.dock)
        hulls = hulls.filter(pl.col("dock_id") == person.dock)
    elif person.role == READER:
        docks, hulls = docks.clear(), hulls.filter(pl.col("hull_id") == person.hull)
    elif not person.sees_all:
        docks, hulls = docks.clear(), hulls.clear()
    last = ground.corrected["installations"].sort("installed_at").unique("engine_id", keep="last")
    engines = last.filter(pl.col("hull_id").is_in(hulls["hull_id"].implode()))["engine_id"]
    if person.sees_all:
        engines = ground.corrected["engines"]["engine_id"]
    return Scope(
        frozenset(hulls["hull_id"]),
        frozenset(docks["dock_id"]),
        frozenset(engines),
        person.sees_all,
    )


def may_not(entry: Entry, person: Person, scope: Scope) -> list[EntryFault]:
    """What keeps somebody from making an entry; the record's own words for what is not there."""
    about = entry.cells.get("record_kind", "") if entry.kind == CORRECTIONS.name else entry.kind
    allowed = KINDS[person.role]
    if entry.kind not in allowed or (about in ALL_KINDS and about not in allowed):
        return [EntryFault("kind", f"Your sign-in does not write {about}. Ask the shop's owner.")]
    found = [
        EntryFault(column, f"{column} '{name}' is not on record among the {what}.")
        for column, what, name in _named(entry)
        if not scope.holds(what, name)
    ]
    if not scope.sees_all and not found and not _named(entry):
        return [EntryFault("kind", f"This entry names no hull, dock or engine of yours ({about}).")]
    signed = _SIGNED_BY.get(entry.kind)
    if signed and person.id and entry.cells.get(signed) != person.name:
        found.append(EntryFault(signed, f"{signed} is who is signed in: {person.name}."))
    return found


def _named(entry: Entry) -> list[tuple[str, str, str]]:
    """Column, kind and id of each hull, dock and engine an entry names."""
    if entry.kind != CORRECTIONS.name:
        return _in_cells(entry.kind, entry.cells)
    kind = RECORD_KINDS.get(entry.cells.get("record_kind", ""))
    if kind is None:
        return []
    key = [part.strip() for part in entry.cells.get("record_key", "").split(";")]
    told = _in_cells(kind.name, dict(zip(kind.key, key, strict=False)))
    named = [("record_key", what, name) for _, what, name in told]
    put = {entry.cells.get("field", ""): entry.cells.get("new_value", "")}
    return named + [("new_value", what, name) for _, what, name in _in_cells(kind.name, put)]


def _in_cells(kind: str, cells: Mapping[str, str]) -> list[tuple[str, str, str]]:
    refers = RECORD_KINDS[kind].refers_to if kind in RECORD_KINDS else {}
    named = [
        (column, what, cells[column].strip())
        for column, what in refers.items()
        if cells.get(column, "").strip()
    ]
    if kind in ("hulls", "docks", "engines"):
        column = RECORD_KINDS[kind].key[0]
        named += [(column, kind, cells[column].strip())] if cells.get(column) else []
    if cells.get("job_id"):
        named.append(("job_id", "hulls", cells["job_id"].split("/")[0].strip()))
    return named
