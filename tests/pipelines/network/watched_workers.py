"""Tasks of which a test wants to know more: whose worker is killed, and what one reads."""

import os
from pathlib import Path

import polars as pl

from pipelines.network import store
from pipelines.network.bucket_task import Done, Order, work_out

WRITES_BEFORE = 4
"""Files a worker still puts in place."""


def work_out_and_die_once(order: Order) -> Done:
    """As `work_out`; the first worker that comes to it is gone in the middle of a write."""
    rename, written = store.NetworkStore._rename, [0]

    def dies(self: store.NetworkStore, partial: str, path: str) -> None:
        written[0] += 1
        if written[0] > WRITES_BEFORE and not _died(order).exists():
            _died(order).touch()
            os._exit(9)
        rename(self, partial, path)

    store.NetworkStore._rename = dies  # type: ignore[method-assign]
    try:
        return work_out(order)
    finally:
        store.NetworkStore._rename = rename  # type: ignore[method-assign]


def work_out_and_list_reads(order: Order) -> Done:
    """As `work_out`; the tables it reads stand in a file beside the network."""
    read, names = store.NetworkStore.read, []

    def noted(self: store.NetworkStore, written: store.Written) -> pl.DataFrame:
        names.append(Path(written.name).stem.rpartition("-")[0])
        return read(self, written)

    store.NetworkStore.read = noted  # type: ignore[method-assign]
    try:
        return work_out(order)
    finally:
        store.NetworkStore.read = read  # type: ignore[method-assign]
        Path(f"{order.address}.{order.operator}.read").write_text("\n".join(names))


def _died(order: Order) -> Path:
    return Path(f"{order.address}.died")
