"""A worker that is killed between writing a file aside and renaming it, once."""

import os
from pathlib import Path

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


def _died(order: Order) -> Path:
    return Path(f"{order.address}.died")
