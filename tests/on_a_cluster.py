"""The week's steps and a network's buckets, worked out by workers instead of in the test's process.

    RINGLAND_TESTS_ON=local:1 uv run --group dev pytest -n 0 tests/pipelines

A step goes to a worker with its inputs and comes back with what it made; what reads the warehouse
itself, and a step that a test made up, stays here.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from typing import Any

import pytest

from pipelines.network import port
from pipelines.week_graph import GRAPH
from pipelines.weekly.run import WeekRun
from pipelines.weekly.step import Step, View

SENT: dict[str, int] = {}
"""How often each step, or a network's buckets, went to a worker."""


def make(order: tuple[str, dict[str, Any]]) -> Any:
    """What a step makes of its inputs; runs in a worker."""
    name, inputs = order
    return GRAPH.steps[name].make(**inputs)


@contextmanager
def worked_out_on(on: str) -> Iterator[None]:
    """Send what a test would work out in its own process to workers, as `--on` names them."""
    in_turn = port._in_turn
    with port.at_work(on) as run, pytest.MonkeyPatch.context() as patched:

        def buckets(task: Callable[..., Any], orders: Mapping[str, Any], /) -> dict[str, Any]:
            if any(order.address.startswith("memory:") for order in orders.values()):
                return in_turn(task, orders)  # every process has a memory of its own
            SENT["buckets"] = SENT.get("buckets", 0) + len(orders)
            return run(task, orders)

        def made(self: WeekRun, node: Step | View) -> Any:
            inputs = {
                name: self.rows(node.earlier[name]) if name in node.earlier else self.value(name)
                for name in node.params
            }
            if not isinstance(node, Step) or node.reads_live or GRAPH.steps.get(node.name) != node:
                return node.make(**inputs)
            SENT[node.name] = SENT.get(node.name, 0) + 1
            with warnings.catch_warnings():  # a step's inputs may be large
                warnings.filterwarnings("ignore", message="Sending large graph")
                return run(make, {"it": (node.name, inputs)})["it"]

        patched.setattr(port, "_in_turn", buckets)
        patched.setattr(WeekRun, "_made", made)
        yield
