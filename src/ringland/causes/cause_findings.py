"""What was seen in one opened engine, finding by finding, with nothing lost.

A finding is seen in the engine if it is seen in any cylinder.  A sound state must hold
wherever it was looked at, unless it speaks only of the damaged cylinder.  What was not
looked at stays that.  Rows that contradict each other are set aside and listed; words the
table does not know are listed too.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

import polars as pl

from ringland.causes.cause_table import CauseTable, Finding

SEEN, NOT_SEEN, NOT_LOOKED_AT = "seen", "not_seen", "not_looked_at"
WHOLE_ENGINE = 0
"""Slot of a row without a cylinder."""

WORKED_OUT = ("several_cylinders", "one_cylinder_only")
"""Findings worked out from the cylinders entered, unless somebody enters them."""

PISTON_DAMAGE = (
    "second_land_down",
    "land_broken_up",
    "edge_pitting",
    "crown_molten",
    "scuff_both_faces",
    "scuff_all_round",
    "thrust_side_tear",
    "narrow_rub_marks",
    "random_dents",
)
"""Piston damage they are worked out from."""


@dataclass(frozen=True)
class EngineFindings:
    """The findings of one engine opened once."""

    engine_id: str
    cylinders: int | None
    """Number of cylinders; None: the engine is not on record."""
    states: Mapping[str, str]
    """finding key -> seen, not_seen or not_looked_at, for every finding of the table"""
    seen_in: Mapping[str, tuple[int, ...]]
    """finding key -> cylinders in which it was seen; 0 stands for the whole engine"""
    contradictions: tuple[str, ...]
    unmatched: tuple[str, ...]
    """Rows whose words the table does not know, as 'part: words (state)'."""
    notes: tuple[str, ...]

    @property
    def number_seen(self) -> int:
        """How many findings of the table were seen."""
        return sum(state == SEEN for state in self.states.values())


def engine_findings(
    teardowns: pl.DataFrame, table: CauseTable, engine_id: str, cylinders: int | None
) -> EngineFindings:
    """The state of every finding of `table` for one engine.

    Args:
        teardowns: rows of the Teardowns contract of one opening, over however many days and
            by however many hands; only those of `engine_id` count.  'Not looked at' yields to
            whatever anybody saw or did not see.
        table: the cause table.
        engine_id: the engine, e.g. 'E-014'; one without rows gives 'not looked at' throughout.
        cylinders: its number of cylinders; None where the engine is not on record.
    """
    rows = teardowns.filter(pl.col("engine_id") == engine_id)
    notes = [] if cylinders else [f"Engine {engine_id} is not on record: cylinders unknown."]
    if rows.is_empty():
        notes.append("No teardown is on record: nothing was looked at.")
    slots, unmatched = _slots(rows, table)
    contradictions = _within_finding(slots, table) + _between_findings(slots, table)
    states = {key: _state(table.findings[key], slots.get(key, {})) for key in table.findings}
    seen_in = {
        key: tuple(sorted(slot for slot, state in by_slot.items() if state == SEEN))
        for key, by_slot in slots.items()
        if states[key] == SEEN
    }
    _spread_over_cylinders(states, seen_in, slots, cylinders)
    if missing := _cylinders_without_rows(rows, cylinders):
        notes.append(f"Nothing entered for cylinder {', '.join(map(str, missing))}.")
    beyond = [
        n for n in rows["cylinder"].drop_nulls().unique().sort() if cylinders and n > cylinders
    ]
    if beyond:
        notes.append(
            f"Rows for cylinder {', '.join(map(str, beyond))} of an engine with {cylinders}: kept "
            f"as entered; check the cylinder or the engine's record."
        )
    return EngineFindings(
        engine_id,
        cylinders,
        states,
        seen_in,
        tuple(contradictions),
        tuple(unmatched),
        tuple(notes),
    )


def opening_after(
    teardowns: pl.DataFrame,
    failures: pl.DataFrame,
    rebuilds: pl.DataFrame,
    failure: Mapping[str, Any],
) -> pl.DataFrame:
    """The teardown rows of one failure, over all the days its engine stood open.

    From a day before the failure was written down until the engine was rebuilt, or until
    its next failure where no rebuild is on record.
    """
    engine, found_at = failure["engine_id"], failure["found_at"]
    of_it = pl.col("engine_id") == engine
    next_failures = failures.filter(of_it & (pl.col("found_at") > found_at))["found_at"]
    next_rebuilds = rebuilds.filter(of_it & (pl.col("rebuilt_at") > found_at))["rebuilt_at"]
    ends = [*(at - timedelta(days=1) for at in next_failures), *next_rebuilds]
    rows = teardowns.filter(
        (pl.col("engine_id") == engine) & (pl.col("opened_at") >= found_at - timedelta(days=1))
    )
    return rows.filter(pl.col("opened_at") < min(ends)) if ends else rows


_Slots = dict[str, dict[int, str]]


def _slots(rows: pl.DataFrame, table: CauseTable) -> tuple[_Slots, list[str]]:
    """State by finding and cylinder; two different states in one slot read 'contradictory'."""
    slots: _Slots = {}
    unmatched = []
    for row in rows.sort("cylinder", "part", "finding").iter_rows(named=True):
        finding = table.finding_for(row["finding"]) or table.finding_for(
            f"{row['part']} {row['finding']}"
        )
        if finding is None:
            unmatched.append(f"{row['part']}: {row['finding']} ({row['state'].replace('_', ' ')})")
            continue
        by_slot = slots.setdefault(finding.key, {})
        slot = row["cylinder"] or WHOLE_ENGINE
        before = by_slot.get(slot, NOT_LOOKED_AT)
        if NOT_LOOKED_AT in (before, row["state"]):
            by_slot[slot] = row["state"] if before == NOT_LOOKED_AT else before
        elif before != row["state"]:
            by_slot[slot] = "contradictory"
    return slots, unmatched


def _where(slot: int) -> str:
    return f"cylinder {slot}" if slot else "the whole engine"


def _within_finding(slots: _Slots, table: CauseTable) -> list[str]:
    """Set aside a finding both seen and not seen in one place; say so."""
    found = []
    for key, by_slot in slots.items():
        clashing = [slot for slot, state in by_slot.items() if state == "contradictory"]
        whole = by_slot.get(WHOLE_ENGINE)
        if whole == NOT_SEEN and SEEN in by_slot.values():
            clashing.append(WHOLE_ENGINE)
        for slot in clashing:
            by_slot[slot] = NOT_LOOKED_AT
            found.append(
                f"'{table.findings[key].words}' is entered both as seen and as not seen for "
                f"{_where(slot)}: that entry counts for nothing until it is settled."
            )
    return found


def _between_findings(slots: _Slots, table: CauseTable) -> list[str]:
    """Set aside two findings that cannot both hold in one place; say so."""
    found = []
    for key, by_slot in slots.items():
        for other in table.findings[key].excludes:
            for slot, state in by_slot.items():
                against = slots.get(other, {})
                clash = [
                    place
                    for place, seen in against.items()
                    if seen == SEEN and (place == slot or WHOLE_ENGINE in (place, slot))
                ]
                if state == SEEN and clash:
                    by_slot[slot] = NOT_LOOKED_AT
                    for place in clash:
                        against[place] = NOT_LOOKED_AT
                    found.append(
                        f"'{table.findings[key].words}' and '{table.findings[other].words}' "
                        f"cannot both hold for {_where(slot)}: both count for nothing until "
                        f"it is settled."
                    )
            finding = table.findings[key]
            is_of_all = finding.kind == "sound" and not finding.is_local
            if is_of_all and SEEN in slots.get(other, {}).values():
                # sound in one cylinder, damaged in another: no statement about the engine
                by_slot.update(dict.fromkeys(by_slot, NOT_LOOKED_AT))
    return found


def _state(finding: Finding, by_slot: Mapping[int, str]) -> str:
    states = set(by_slot.values())
    if finding.kind == "sound" and not finding.is_local and NOT_SEEN in states:
        return NOT_SEEN
    if SEEN in states:
        return SEEN
    return NOT_SEEN if NOT_SEEN in states else NOT_LOOKED_AT


def _spread_over_cylinders(
    states: dict[str, str],
    seen_in: dict[str, tuple[int, ...]],
    slots: _Slots,
    cylinders: int | None,
) -> None:
    """Work out 'several cylinders' and 'one cylinder only' where nobody entered them."""
    if set(WORKED_OUT) - set(states) or set(WORKED_OUT) & set(slots):
        return
    most = max(
        (len(set(seen_in.get(key, ())) - {WHOLE_ENGINE}) for key in PISTON_DAMAGE), default=0
    )
    damaged = {s for key in PISTON_DAMAGE for s in seen_in.get(key, ())} - {WHOLE_ENGINE}
    looked = {
        slot
        for key in PISTON_DAMAGE
        for slot, state in slots.get(key, {}).items()
        if slot and state in (SEEN, NOT_SEEN)
    }
    if most >= 2:
        states["several_cylinders"] = SEEN
        seen_in["several_cylinders"] = tuple(sorted(damaged))
    elif len(damaged) == 1 and cylinders and cylinders > 1 and len(looked) >= cylinders:
        states["one_cylinder_only"] = SEEN
        seen_in["one_cylinder_only"] = tuple(damaged)


def _cylinders_without_rows(rows: pl.DataFrame, cylinders: int | None) -> list[int]:
    entered = set(rows["cylinder"].drop_nulls().to_list()) if rows.height else set()
    return [n for n in range(1, (cylinders or 0) + 1) if n not in entered] if entered else []
