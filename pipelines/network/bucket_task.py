"""One operator's week as a task: reads its records, writes its tables, tells what it wrote."""

from __future__ import annotations

import time
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from pipelines.network.store import NetworkStore, Written
from ringland.contracts.record_kinds import ALL_KINDS
from ringland.history.known_then import same_known
from ringland.network.bucket_sums import COUNTED, GROUPED, bucket_counts, grouped_counts
from ringland.network.operator_week import TURNED, Tables, lasting_tables, turning_tables
from ringland.settings.assumptions import Assumptions


@dataclass(frozen=True)
class Lasting:
    """What was made of an operator's records that holds while no more of them become known.

    `since` is the last instant at which any became known, `until` the next; None: none.
    `counts` has a figure per entry of `bucket_sums.COUNTED`, `grouped` one per entry of `GROUPED`
    for each season and kit.
    """

    since: datetime | None
    until: datetime | None
    tables: Mapping[str, Written]
    counts: list[float]
    grouped: Mapping[str, list[float]]

    def told(self) -> dict[str, float]:
        """The numbers that leave the operator, by name."""
        named = {"": (COUNTED, self.counts)} | {
            f"{group}: ": (GROUPED, counts) for group, counts in sorted(self.grouped.items())
        }
        return {
            f"{group}{name}": count
            for group, (names, counts) in named.items()
            for name, count in zip(names, counts, strict=True)
        }


@dataclass(frozen=True)
class Order:
    """All that a worker is told of one operator's week.

    `before` is what an earlier week made of the same records by the same code and settings.
    """

    address: str
    operator: str
    records: Mapping[str, Written]
    monday: str
    as_of: datetime
    settings: Assumptions
    bench_limits: Assumptions
    before: Lasting | None


@dataclass(frozen=True)
class Done:
    """What a worker made of an order, whether it was there already, and its CPU seconds."""

    lasting: Lasting
    turning: Mapping[str, Written]
    is_reused: bool
    cpu_s: float


def work_out(order: Order) -> Done:
    """One operator's week.

    Raises:
        StoreError: a file of its records is lost or was changed.
    """
    begun = time.process_time()
    store = NetworkStore(order.address)
    before = order.before
    is_reused = before is not None and all(map(store.is_whole, before.tables.values()))
    lasting = before if before is not None and is_reused else _made(store, order)
    # read back, made now or before, so that what is made anew and what is reused take one road
    tables = {name: store.read(lasting.tables[name]) for name in TURNED}
    turning = turning_tables(tables, order.settings, order.as_of)
    store.tell(order.operator, order.monday, "week", lasting.told())
    return Done(
        lasting=lasting,
        turning=_write(store, order.operator, turning),
        is_reused=is_reused,
        cpu_s=time.process_time() - begun,
    )


def _made(store: NetworkStore, order: Order) -> Lasting:
    records = _read(store, order.records)
    tables = lasting_tables(records, order.settings, order.as_of, order.bench_limits)
    since, until = same_known(records, order.as_of)
    written = _write(store, order.operator, tables)
    counts = bucket_counts(tables).tolist()
    return Lasting(since, until, written, counts, grouped_counts(tables))


def _read(store: NetworkStore, records: Mapping[str, Written]) -> Tables:
    return {
        name: store.read(records[name]) if name in records else kind.schema.create_empty()
        for name, kind in ALL_KINDS.items()
    }


def _write(store: NetworkStore, operator: str, tables: Tables) -> dict[str, Written]:
    return {name: store.write(operator, name, frame) for name, frame in sorted(tables.items())}
