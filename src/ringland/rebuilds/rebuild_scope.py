"""The rebuild sheet: what must be opened and why, and what it must pass before it goes back.

The scope follows from the failure mode, what was seen, and the tests that failed.  The
acceptance readings follow from the scope, whoever proposes less.  A sheet cannot be
closed while a reading is missing, impossible, too old, unsigned or out of the maker's limits
(`bench.build_lines`).
"""

from __future__ import annotations

import tomllib
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

import polars as pl

from ringland.bench.build_checks import SCOPES
from ringland.bench.build_lines import BuildTime
from ringland.bench.build_sheet import BuildSheet, build_sheet
from ringland.causes.cause_findings import SEEN, EngineFindings
from ringland.causes.cause_table import CauseTable
from ringland.words import fixed_words


@dataclass(frozen=True)
class RebuildBasis:
    """One engine, what was read of it before the work, and what accepts the work."""

    engine: Mapping[str, Any]
    """Row of the Engines contract."""
    before: pl.DataFrame
    """`BenchVerdicts` of this engine from before the work."""
    at: BuildTime
    """The failure that the build answers, and the instant spoken of."""
    readings: pl.DataFrame
    """Rows of the BuildReadings contract of this engine, up to its next failure."""
    limits: pl.DataFrame
    """Rows of the BuildLimits contract."""

    @property
    def cylinders(self) -> int:
        """Number of cylinders; 0: not on record."""
        return int(self.engine["cylinders"] or 0)


@dataclass(frozen=True)
class ScopeItem:
    """One piece of work with its reasons in this engine."""

    key: str
    what: str
    why: str
    because: tuple[str, ...]
    """What in this engine calls for it; empty: part of every rebuild."""
    parts: tuple[str, ...]
    hours: float
    scope: str
    mark: str


@dataclass(frozen=True)
class RebuildSheet:
    """All a mechanic works from and signs."""

    engine_id: str
    scope: str
    items: tuple[ScopeItem, ...]
    build: BuildSheet
    """What it must pass, line by line in working order."""
    break_in: tuple[str, ...]
    break_in_mark: str
    kept_parts: str
    disposal: str
    cautions: tuple[str, ...]

    @property
    def hours(self) -> float:
        """Mechanic's hours of all items."""
        return sum(item.hours for item in self.items)

    @property
    def parts(self) -> tuple[str, ...]:
        """Every part once, in the order of the items."""
        return tuple(dict.fromkeys(part for item in self.items for part in item.parts))


@cache
def default_rebuild_table() -> Mapping[str, Any]:
    """The project's own table of rebuild work."""
    text = files("ringland.rebuilds").joinpath("rebuild_table.toml").read_text("utf-8")
    return tomllib.loads(text)


def propose_rebuild(
    basis: RebuildBasis,
    mode: str | None,
    findings: EngineFindings,
    cause_table: CauseTable,
    table: Mapping[str, Any] | None = None,
) -> RebuildSheet:
    """The sheet for one engine.

    Args:
        basis: the engine and its readings before and after the work.
        mode: the failure mode, e.g. 'ring_land_fracture'; None: no failure on record.
        findings: what was seen when it was opened.
        cause_table: words of the findings.
        table: rebuild work; default: the project's own.
    """
    table = table or default_rebuild_table()
    bad = basis.before.filter(pl.col("verdict").is_in(["fail", "lap and retest"]))
    failed = set(bad["measure"])
    items = tuple(
        _item(key, fields, _because(fields, failed, mode, findings, cause_table))
        for key, fields in table["item"].items()
    )
    items = tuple(
        item
        for item, fields in zip(items, table["item"].values(), strict=True)
        if item.because or (fields.get("always") and not _is_spared(fields, basis))
    )
    # work on the bottom end is done when something in this engine asks for it
    scope = "full" if any(item.scope == "full" and item.because for item in items) else "top_end"
    words = table["words"]
    return RebuildSheet(
        engine_id=str(basis.engine["engine_id"]),
        scope=scope,
        items=tuple(item for item in items if _is_within(item.scope, scope)),
        build=build_sheet(basis.engine, scope, basis.at, basis.readings, basis.limits),
        break_in=tuple(words["break_in"]),
        break_in_mark=words["break_in_mark"],
        kept_parts=words["kept_parts"],
        disposal=words["disposal"],
        cautions=(*fixed_words.CAUTIONS, *words["cautions"]),
    )


def _is_within(scope: str, of: str) -> bool:
    return SCOPES.index(scope) <= SCOPES.index(of)


def _because(
    fields: Mapping[str, Any],
    failed: Collection[str],
    mode: str | None,
    findings: EngineFindings,
    cause_table: CauseTable,
) -> tuple[str, ...]:
    """What in this engine calls for an item; `failed` are measures it failed."""
    return (
        *(
            f"failure: {fixed_words.MODE_LABELS[name].lower()}"
            for name in fields.get("modes", ())
            if name == mode
        ),
        *(
            f"seen: {cause_table.findings[name].words}"
            for name in fields.get("findings", ())
            if findings.states.get(name) == SEEN
        ),
        *(
            f"failed: {fixed_words.MEASURE_LABELS[name].lower()}"
            for name in fields.get("tests", ())
            if name in failed
        ),
    )


def _item(key: str, fields: Mapping[str, Any], because: tuple[str, ...]) -> ScopeItem:
    return ScopeItem(
        key,
        fields["what"],
        fields["why"],
        because,
        tuple(fields["parts"]),
        float(fields["hours"]),
        fields["scope"],
        fields["mark"],
    )


def _is_spared(fields: Mapping[str, Any], basis: RebuildBasis) -> bool:
    """Whether every wanted reading of the item's measure passed since the failure.

    A deck that was flat when the engine was built says nothing of it after it broke.
    """
    measure = fields.get("unless_passed")
    if measure is None:
        return False
    rows = basis.before.filter(
        (pl.col("measure") == measure) & (pl.col("inspected_at") >= basis.at.since)
    )
    if rows.is_empty():
        return False
    latest = rows.filter(pl.col("inspected_at") == pl.col("inspected_at").max())
    wanted = 2 * basis.cylinders if measure == "valve_seal_vacuum" else 1
    return latest.height >= max(wanted, 1) and bool((latest["verdict"] == "pass").all())


def can_close(sheet: RebuildSheet) -> tuple[bool, tuple[str, ...]]:
    """Whether the rebuild may be closed, and each thing that stands in its way."""
    return sheet.build.is_closed, sheet.build.obstacles
