"""A network's records handed in, and its week worked out operator by operator."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
import polars as pl

from pipelines.network.bucket_task import Done, Lasting, Order, work_out
from pipelines.network.own_folder import keep_own_list
from pipelines.network.port import HERE, run_buckets
from pipelines.network.store import NetworkStore, Written, files_in
from pipelines.weekly.artefact import canonical, taken_apart
from pipelines.weekly.run import code_version
from pipelines.weekly.store import StoreError
from ringland.network.bucket_sums import COUNTED, summed
from ringland.network.buckets import cut_by_operator, names_in, refuse_shared_names
from ringland.settings.assumptions import Assumption, Assumptions

_PLAIN = re.compile(r"[\w][\w .&'-]*")


@dataclass(frozen=True)
class Asked:
    """Which week, by which settings, and where it is worked out."""

    monday: str
    as_of: datetime
    settings: Assumptions
    bench_limits: Assumptions
    on: str = HERE
    memory: str | None = None


@dataclass(frozen=True)
class NetworkWeek:
    """A week of a network.

    `operators` has a row per operator: its counts (`COUNTED`), whether its work was reused and
    its CPU seconds; `total` the sums, `swept` the files removed that no list named.
    """

    operators: pl.DataFrame
    total: dict[str, float]
    swept: list[str]


def hand_in_records(
    address: str, records: Mapping[str, pl.DataFrame], home: str, *, is_invented: bool = False
) -> dict[str, dict[str, Written]]:
    """Put the records of a home into the network, in the place of those operators' older ones.

    Args:
        address: of the network.
        records: loaded rows by record kind.
        home: the operator of docks and hulls that name none.
        is_invented: whether they are a demo's, which the network's page then says.

    Raises:
        OpenBucketError: an engine, hull or dock would stand with two operators.
        StoreError: an operator's name cannot name a folder, or the network is in use.
    """
    cut = cut_by_operator(records, home)
    if strange := [one for one in cut if not _PLAIN.fullmatch(one)]:
        raise StoreError(
            f"The operator '{strange[0]}' cannot name a folder. Write its name in letters, digits, "
            f"spaces and dashes (column operator of docks and hulls, or home.toml)."
        )
    store = NetworkStore(address)
    with store.alone():
        kept = store.handed_in()
        others = {one: _names(store, kept[one]) for one in kept if one not in cut}
        refuse_shared_names(others | {one: names_in(parts) for one, parts in cut.items()})
        fresh = {
            one: {
                kind: store.write(one, f"records.{kind}", rows)
                for kind, rows in parts.items()
                if rows.height
            }
            for one, parts in cut.items()
        }
        store.keep_records(kept | fresh)
        if is_invented:
            store.mark_as_invented()
    return fresh


def network_week(
    address: str, asked: Asked, task: Callable[[Order], Done] = work_out
) -> NetworkWeek:
    """Work out a week of every operator that handed records in.

    Args:
        address: of the network.
        asked: the week, its settings, and where it is worked out.
        task: what makes a bucket's `Done` of its `Order`.

    Raises:
        StoreError: nobody handed anything in, a file is lost, or the network is in use.
    """
    store = NetworkStore(address)
    with store.alone():
        records = store.handed_in()
        if not records:
            raise StoreError(
                f"Nobody handed records in to the network at {address}. "
                f"Run 'ringland network hand-in {address}' in each home first."
            )
        fixed = _fixed(asked)
        before = _made_before(store, records, fixed, asked.as_of)
        orders = {
            one: Order(
                address, one, kinds, asked.monday, asked.as_of, asked.settings,
                asked.bench_limits, before.get(one),
            )
            for one, kinds in records.items()
        }  # fmt: skip
        done = run_buckets(task, orders, asked.on, asked.memory)
        counts = summed({one: np.array(made.lasting.counts) for one, made in done.items()})
        total = dict(zip(COUNTED, counts.tolist(), strict=True))
        told = _told(asked, fixed, records, done, total)
        store.keep_week(asked.monday, told)
        for one, made in told["operators"].items():
            keep_own_list(store, one, asked.monday, made)
        swept = store.sweep()
    rows = [[one, *made.lasting.counts, made.is_reused, made.cpu_s] for one, made in done.items()]
    columns = ["operator", *COUNTED, "is_reused", "cpu_s"]
    return NetworkWeek(pl.DataFrame(rows, schema=columns, orient="row"), total, swept)


def _names(store: NetworkStore, kinds: Mapping[str, Written]) -> dict[str, pl.Series]:
    named = ("docks", "hulls", "engines", "piston_sets")
    return names_in({kind: store.read(kinds[kind]) for kind in named})


def _fixed(asked: Asked) -> str:
    """A digest of the code and settings, which no operator's records change."""
    hint = dict[str, Assumption]
    told = [taken_apart(dict(of), hint)[0] for of in (asked.settings, asked.bench_limits)]
    return hashlib.sha256(canonical([code_version(), *told])).hexdigest()


def _made_before(
    store: NetworkStore,
    records: Mapping[str, Mapping[str, Written]],
    fixed: str,
    as_of: datetime,
) -> dict[str, Lasting]:
    """What earlier weeks made of these very records and what is known of them at `as_of`."""
    found: dict[str, Lasting] = {}
    for monday in store.weeks():
        week = store.week(monday)
        if week["fixed"] != fixed:
            continue
        for one, made in week["operators"].items():
            since, until = (_instant(made["lasting"][name]) for name in ("since", "until"))
            is_known_alike = (since is None or since <= as_of) and (until is None or as_of < until)
            if is_known_alike and records.get(one) == files_in(made["records"]):
                lasting = made["lasting"]
                tables = files_in(lasting["tables"])
                found[one] = Lasting(since, until, tables, lasting["counts"], lasting["grouped"])
    return found


def _instant(told: str | None) -> datetime | None:
    return None if told is None else datetime.fromisoformat(told)


def _told(
    asked: Asked,
    fixed: str,
    records: Mapping[str, Mapping[str, Written]],
    done: Mapping[str, Done],
    total: Mapping[str, float],
) -> dict[str, Any]:
    """The list of a week: nothing in it depends on where and how fast it was worked out."""
    return {
        "as_of": asked.as_of.isoformat(),
        "fixed": fixed,
        "sums": total,
        "operators": {
            one: {
                "records": records[one],
                "lasting": {
                    "since": made.lasting.since and made.lasting.since.isoformat(),
                    "until": made.lasting.until and made.lasting.until.isoformat(),
                    "tables": made.lasting.tables,
                    "counts": made.lasting.counts,
                    "grouped": made.lasting.grouped,
                },
                "turning": made.turning,
            }
            for one, made in done.items()
        },
    }
