"""The proof bundle of one failed engine: gathered here, made in `pages.causes.proof_bundle`."""

import difflib
import hashlib
from collections.abc import Mapping
from datetime import timedelta
from importlib.resources import files
from pathlib import Path

import polars as pl

from pipelines.home import Home
from pipelines.taken_list import taken_in
from pipelines.week_graph import GRAPH
from pipelines.weekly.assets import week_at
from pipelines.weekly.store import StoreError, WeekKey
from pipelines.whole_files import put_folder
from ringland.bench.bench_limits import BENCH_LIMITS_FILE
from ringland.pages.causes.proof_bundle import (
    MANIFEST,
    ProofRecords,
    bundle_folder,
    named_photos,
    proof_bundle,
)
from ringland.reports.cause_case import ShopRecord
from ringland.reports.cause_report import CauseReport, cause_report, shop_memory
from ringland.settings.assumptions import assumptions_text
from ringland.words.manner import Manner, in_manner

OF_ENGINE = ("engines", "failures", "teardowns", "evidence", "inspections", "rebuilds",
             "build_readings", "piston_sets", "calibrations", "installations")  # fmt: skip
OF_HULL = {"fills": "filled_at", "drains": "drained_at", "sessions": "started_at"}
"""Kinds kept by hull, and the instant of each: those of the piston set's last rentals."""
OF_TANK = {"deliveries": "delivered_at", "pump_outs": "pumped_at", "dips": "dipped_at",
           "fuel_tests": "tested_at"}  # fmt: skip
"""Kinds kept by dock, or by dock or hull: what was in the tanks that its fuel came from."""
BULK_D = 60.0
"""Days before these rentals from which deliveries still make up a dock's blend."""
LAST_H = 50.0
"""Engine hours of fuel and rentals that go into a bundle: two look-backs of the exposure."""


def write_proof(home: Home, key: WeekKey, engine_id: str) -> tuple[Path, str]:
    """Write the bundle of an engine's latest failure; its folder and the manifest's SHA-256.

    Args:
        home: the shop's home.
        key: the week whose reports it goes by.
        engine_id: serial of the engine.

    Raises:
        StoreError: the week cannot be read, or has no failure of such an engine.
    """
    week = week_at(home, key, GRAPH)
    record: ShopRecord = week.value("cause_record")
    manner: Manner = week.value("manner")
    failures = record.records["failures"]
    own = failures.filter(pl.col("engine_id") == engine_id)
    if own.is_empty():
        failed = failures["engine_id"].unique().sort().to_list()
        near = " or ".join(difflib.get_close_matches(engine_id, failed, n=3, cutoff=0))
        raise StoreError(
            f"No failure of an engine '{engine_id}' is on record in the week of {key.name}. "
            f"Did you mean {near}?"
        )
    with in_manner(manner):
        report = cause_report(record, own.sort("found_at").row(-1, named=True), shop_memory(record))
        made = proof_bundle(report, proof_records(record, report, home.raw), manner.paper)
    usual = home.folder / "proof" / key.name / bundle_folder(engine_id, report.found_at)
    folder = free_folder(usual, made)
    put_folder(folder, made)
    return folder, hashlib.sha256(made[MANIFEST]).hexdigest()


def free_folder(usual: Path, made: Mapping[str, bytes]) -> Path:
    """The usual folder, or beside it where another bundle lies: its hash may be signed for."""
    folder, number = usual, 1
    while folder.exists() and not _holds(folder, made):
        number += 1
        folder = usual.with_name(f"{usual.name}-{number}")
    return folder


def _holds(folder: Path, made: Mapping[str, bytes]) -> bool:
    listed = folder / MANIFEST
    return listed.is_file() and listed.read_bytes() == made[MANIFEST]


def proof_records(record: ShopRecord, report: CauseReport, raw: Path) -> ProofRecords:
    """What lies behind one report, of its engine and of nobody else's."""
    engine_id, found_at = report.engine_id, report.found_at
    rows: dict[str, pl.DataFrame] = {
        kind: record.records[kind].filter(pl.col("engine_id") == engine_id) for kind in OF_ENGINE
    }
    fuel = record.exposure.filter(
        (pl.col("engine_id") == engine_id) & (pl.col("ended_at") <= found_at)
    ).sort("ended_at")
    if fuel.height:
        last = fuel["engine_h_stop"][-1]
        fuel = fuel.filter(pl.col("engine_h_stop") > last - LAST_H)
        rows |= _of_hulls(record.records, fuel)
        rows |= _of_tanks(record.records, fuel, rows["fills"])
    rows["corrections"] = _corrections_of(record.records["corrections"], rows, engine_id)
    photos = {name: record.photos[name] for name in named_photos(rows) if name in record.photos}
    families = rows["engines"]["family"].to_list()
    makers = record.records["build_limits"].filter(pl.col("family").is_in(families))
    limits = {
        "cause_table.toml": _own("causes", "cause_table.toml"),
        BENCH_LIMITS_FILE: assumptions_text(record.limits),
        "build_checks.toml": _own("bench", "build_checks.toml"),
        "makers-limits.csv": makers.write_csv(),
    }
    others = set(record.records["engines"]["engine_id"]) - {engine_id}
    hashes = {taken.file_name: taken.content_sha256 for taken in taken_in(raw)}
    return ProofRecords(rows, fuel, limits, photos, hashes, others)


def _of_hulls(records: Mapping[str, pl.DataFrame], fuel: pl.DataFrame) -> dict[str, pl.DataFrame]:
    """Fills, drains and rentals of the hulls it ran in, over its last tanks."""
    span = fuel.group_by("hull_id", maintain_order=True).agg(
        first=pl.col("started_at").min(), last=pl.col("ended_at").max()
    )
    # what was in the tank when these hours began came with the fills of the weeks before
    begin = pl.col("first") - pl.duration(days=30)
    return {
        kind: records[kind]
        .join(span, on="hull_id")
        .filter(pl.col(at).is_between(begin, pl.col("last")))
        .drop("first", "last")
        for kind, at in OF_HULL.items()
    }


def _of_tanks(
    records: Mapping[str, pl.DataFrame], fuel: pl.DataFrame, fills: pl.DataFrame
) -> dict[str, pl.DataFrame]:
    """What went into the docks' tanks that its fills came from, and what was read in any tank."""
    docks = {*fuel["dock_id"].drop_nulls(), *fills["source_dock_id"].drop_nulls()}
    hulls = set(fuel["hull_id"])
    begin, end = fuel["started_at"].min() - timedelta(days=BULK_D), fuel["ended_at"].max()  # type: ignore[operator]
    rows = {}
    for kind, at in OF_TANK.items():
        is_its = pl.col("dock_id").is_in(docks)
        if "hull_id" in records[kind].columns:
            is_its |= pl.col("hull_id").is_in(hulls)
        rows[kind] = records[kind].filter(is_its & pl.col(at).is_between(begin, end))
    return rows


def _corrections_of(
    corrections: pl.DataFrame, rows: Mapping[str, pl.DataFrame], engine_id: str
) -> pl.DataFrame:
    """What was put right in these kinds of its engine, hulls and docks.

    The rows show what counts now; without these nobody could find it in the file they name.
    """
    ids = {engine_id}
    for name in ("hull_id", "dock_id"):
        for of_kind in rows.values():
            if name in of_kind.columns:
                ids |= set(of_kind[name].drop_nulls())
    named = corrections["record_key"].str.split("; ").list.eval(pl.element().is_in(ids)).list.any()
    return corrections.filter(pl.col("record_kind").is_in(list(rows)) & named)


def _own(room: str, name: str) -> str:
    return files(f"ringland.{room}").joinpath(name).read_text(encoding="utf-8")
