"""A whole network's week: one process, two, two with one killed; a second week; memory.

    python -m tests.studies.network_of_operators FOLDER [OPERATORS] [HULLS]
    python -m tests.studies.network_of_operators FOLDER beyond [OPERATORS] [HULLS]

The second works out one week whose records alone are larger than a worker may take; a network
that FOLDER/made holds already is filled up with copies of its operators under other names.

Makes invented operators one by one with faults in their records, takes the files in as `load`
does, hands them in, and works the week out with the code that ships.  Every line printed is
measured in the run; CPU seconds are those the workers count.
"""

from __future__ import annotations

import hashlib
import resource
import shutil
import sys
import time
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import polars as pl

from pipelines.network.bucket_task import Done, Order, work_out
from pipelines.network.network_week import Asked, NetworkWeek, hand_in_records, network_week
from pipelines.network.pooling import pool_effects
from pipelines.network.store import NetworkStore, Written
from ringland.bench.bench_limits import load_bench_limits
from ringland.contracts.record_kinds import ALL_KINDS
from ringland.exposure.factor_registry import FACTORS
from ringland.network.buckets import OpenBucketError
from ringland.settings.assumptions import load_assumptions
from ringland.survival.cox.cox_regression import fit_cox
from synthetic_data.worlds.network_of_operators import operator_files
from tests.pipelines.network.watched_workers import work_out_and_die_once
from tests.studies.loaded_records import LoadedRecords

SEED = 21
FIRST = datetime(2026, 10, 5, tzinfo=UTC)
ASKED = Asked("2026-10-05", FIRST, load_assumptions(), load_bench_limits())
CAP = "900MB"
NAMED = ("dock_id", "source_dock_id", "hull_id", "engine_id", "piston_set_id", "operator")
"""Columns that name something of an operator's."""


def records_of(number: int, hulls: int) -> dict[str, pl.DataFrame]:
    """One operator's rows as loaded, every kind among them."""
    loaded = LoadedRecords()
    loaded.load(operator_files(number, hulls, SEED), "all")
    return {
        kind: loaded.frames.get(kind, of.schema.create_empty()) for kind, of in ALL_KINDS.items()
    }


def measured(order: Order) -> Done:
    """As `work_out`; leaves beside the network what the process took at most."""
    done = work_out(order)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3
    Path(f"{order.address}.{order.operator}.mb").write_text(f"{peak:.0f}", encoding="utf-8")
    return done


def digests(network: Path) -> dict[str, str]:
    """Every file of a network and what is in it."""
    return {
        path.relative_to(network).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(network.rglob("*"))
        if path.is_file()
    }


def make(folder: Path, operators: int, hulls: int) -> None:
    """The network's records, one operator at a time."""
    begun = time.monotonic()
    network = folder / "made"
    for number in range(1, operators + 1):
        hand_in_records(str(network), records_of(number, hulls), "nobody")
    size = sum(path.stat().st_size for path in network.rglob("*") if path.is_file()) / 1e6
    told(f"{operators} operators of {hulls} hulls handed in: {size:.0f} MB", begun)


def make_copies(folder: Path, operators: int) -> None:
    """Fill a network up with copies of its operators, every id of theirs under another name."""
    begun, store = time.monotonic(), NetworkStore(str(folder / "made"))
    made = store.handed_in()
    for number in range(len(made) + 1, operators + 1):
        files = made[f"operator {number - len(made):03d}"]
        records = {
            kind: store.read(files[kind]) if kind in files else of.schema.create_empty()
            for kind, of in ALL_KINDS.items()
        }
        copied = {
            kind: rows.with_columns(
                pl.format("copy {}", name).alias(name) for name in NAMED if name in rows.columns
            )
            for kind, rows in records.items()
        }
        hand_in_records(store.address, copied, "nobody")
    told(f"{operators - len(made)} of {operators} operators are copies of the others", begun)


def compare(folder: Path, operators: int, hulls: int) -> None:
    """The week of the network that was made, each way; what it finds is printed as it goes."""
    network = folder / "made"
    ways = {
        "one process": (replace(ASKED), work_out),
        "two processes": (replace(ASKED, on="local:2", memory=CAP), measured),
        "two, one killed": (replace(ASKED, on="local:2", memory=CAP), work_out_and_die_once),
    }
    found: dict[str, dict[str, str]] = {}
    for way, (asked, task) in ways.items():
        place = folder / way.replace(" ", "-").replace(",", "")
        shutil.copytree(network, place)
        begun = time.monotonic()
        week = network_week(str(place), asked, task)
        found[way] = digests(place)
        cpu = week.operators["cpu_s"]
        told(f"{way}: {cpu.sum():.1f} s of CPU, {len(week.swept)} orphans swept", begun)
        if way == "one process":
            first = week
            flat(cpu)
    same = all(of == found["one process"] for of in found.values())
    told(f"the {len(found['one process'])} files hold the same bytes each way: {same}")
    memory(folder / "two-processes")
    shared(folder)
    second_week(folder / "one-process", first, operators, hulls)
    swapped(folder / "one-process", hulls)


def memory(network: Path) -> None:
    """What a worker took at most, and what the network's files would take in memory at once."""
    peaks = [float(path.read_text()) for path in network.parent.glob(f"{network.name}.*.mb")]
    told(f"a worker's memory, cap {CAP}: at most {max(peaks):.0f} MB")
    for what, name in (("records", "records.*"), ("tables", "[!r]*")):
        files = network.glob(f"operators/*/{name}.parquet")
        held = sum(pl.read_parquet(path).estimated_size() for path in files) / 1e6
        told(f"all {what} of all operators in memory at once would take {held:.0f} MB")


def beyond_memory(folder: Path) -> None:
    """A week of the network that was made, by two workers that may take less than its records.

    A worker's memory is the kernel's count of its most (`ru_maxrss`); its nanny ends it at 95 % of
    the cap, and a bucket whose worker was lost four times fails the run.
    """
    begun = time.monotonic()
    network = folder / "made"
    week = network_week(str(network), replace(ASKED, on="local:2", memory=CAP), measured)
    cpu = float(week.operators["cpu_s"].sum())
    told(f"{week.operators.height} operators, two processes: {cpu:.1f} s of CPU", begun)
    own = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3
    told(f"the process that asked took at most {own:.0f} MB")
    memory(network)
    told(f"all together: {week.total}")


def flat(cpu: pl.Series) -> None:
    """CPU per bucket, the first ten against all."""
    told(
        f"CPU per bucket: mean of the first 10 {cpu.head(10).mean():.2f} s, of all {cpu.mean():.2f}"
        f" s, of the last 10 {cpu.tail(10).mean():.2f} s"
    )


def shared(folder: Path) -> None:
    """The effects all operators share: by rounds of sums here and in two processes, and pooled."""
    for way, asked in (("one-process", ASKED), ("two-processes", replace(ASKED, on="local:2"))):
        begun = time.monotonic()
        pool = pool_effects(str(folder / way), asked)
        told(f"effects shared, {way}: {pool['shared']['rounds']} rounds, {pool['rests_on']}", begun)
    same = digests(folder / "one-process") == digests(folder / "two-processes")
    told(f"same bytes both ways: {same}")
    store, factors = NetworkStore(str(folder / "one-process")), pool["shared"]["factors"]
    rows = pl.concat(
        store.read(Written(*made["rows"])).with_columns(operator=pl.lit(one))
        for one, made in pool["operators"].items()
        if made["failures"] is not None
    )
    step = np.array([FACTORS[name].step(ASKED.settings) for name in factors])
    x = rows.select(pl.col(factors).cast(pl.Float64)).to_numpy() / step
    spans = (rows[name] for name in ("start_h", "stop_h", "failed"))
    together = fit_cox(*spans, x, names=factors, strata=rows["operator"])
    off = np.abs(np.array(pool["shared"]["coef"]) - together.coef).max()
    told(f"furthest from the fit of all {rows.height} spells in one place: {off:.1e}")
    for at, name in enumerate(factors):
        ratio, low, high = (pool["shared"][end][at] for end in ("ratio", "low", "high"))
        apart = pool["shared"]["apart"][at]
        told(f"  {name}: {ratio:.2f} ({low:.2f} to {high:.2f}), operators {apart:.2f} apart (log)")


def second_week(place: Path, first: NetworkWeek, operators: int, hulls: int) -> None:
    """The next Monday: one operator in twenty handed in one more ride."""
    changed = range(1, 1 + max(1, round(operators / 20)))
    for number in changed:
        records = records_of(number, hulls)
        ride = records["sessions"].sort("ended_at").tail(1).with_columns(
            started_at=pl.lit(FIRST + timedelta(days=1)),
            ended_at=pl.lit(FIRST + timedelta(days=1, hours=3)),
            recorded_at=pl.lit(None, pl.Datetime("us", "UTC")),
        )  # fmt: skip
        records["sessions"] = pl.concat([records["sessions"], ride])
        hand_in_records(str(place), records, "nobody")
    later = replace(ASKED, monday="2026-10-12", as_of=FIRST + timedelta(days=7))
    week = network_week(str(place), later)
    share = float(week.operators["cpu_s"].sum()) / float(first.operators["cpu_s"].sum())
    told(
        f"second week, {len(changed)} of {operators} operators changed, "
        f"{week.operators['is_reused'].sum()} reused: {100 * share:.1f} % of the first week's CPU"
    )


def swapped(place: Path, hulls: int) -> None:
    """An engine of one operator planted into a hull of another."""
    before = digests(place)
    one, other = records_of(1, hulls), records_of(2, hulls)
    stay = one["installations"].head(1).with_columns(
        hull_id=pl.lit(other["hulls"]["hull_id"][0]), installed_at=pl.lit(FIRST),
        removed_at=pl.lit(None, pl.Datetime("us", "UTC")),
    )  # fmt: skip
    both = {kind: pl.concat([one[kind], other[kind]]) for kind in one}
    both["installations"] = pl.concat([both["installations"], stay])
    try:
        hand_in_records(str(place), both, "nobody")
    except OpenBucketError as error:
        told(f"planted swap refused, files untouched {digests(place) == before}: {error}")
    else:
        told("planted swap was NOT refused")


def told(line: str, begun: float | None = None) -> None:
    """Print a line, with the seconds it took."""
    took = "" if begun is None else f" ({time.monotonic() - begun:.0f} s)"
    sys.stdout.write(f"{line}{took}\n")
    sys.stdout.flush()


if __name__ == "__main__":
    at, *words = sys.argv[1:]
    is_beyond = words[:1] == ["beyond"]
    size = tuple(map(int, words[is_beyond:])) or ((90, 111) if is_beyond else (45, 111))
    if is_beyond:
        if not (Path(at) / "made").exists():
            make(Path(at), *size)
        make_copies(Path(at), size[0])
        beyond_memory(Path(at))
    else:
        assert NetworkStore(at).handed_in() == {}, "name an empty folder"
        make(Path(at), *size)
        compare(Path(at), *size)
