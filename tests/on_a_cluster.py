"""The week's steps and a network's buckets, worked out by workers instead of in the test's process.

    RINGLAND_TESTS_ON=local:1 uv run --group dev pytest -n 0 tests/pipelines

A step goes to a worker with its inputs and comes back with what it made; what reads the warehouse
itself, and a step that a test made up, stays here.  So does what the rest of the suite works out:
only tests that know the shell can reach a step or a bucket (`test_on_a_cluster.py`).

A fault that a test plants in code goes along with the step (`plant`), for a worker is another
process.
"""

from __future__ import annotations

import sys
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


PLANTED: list[tuple[str, Any]] = []
"""Names of functions, with module, and what stands in their place; a worker imports both."""
Ordered = tuple[str, dict[str, Any], list[tuple[str, Any]]]


def plant(patched: pytest.MonkeyPatch, name: str, fault: Any) -> None:
    """Put a fault in the place of a function until the test ends, here and wherever steps are made.

    Args:
        patched: the test's own.
        name: of the function, e.g. 'ringland.history.doubts.record_doubts'.
        fault: a function of a module.
    """
    patched.setattr(name, fault)
    patched.setattr(sys.modules[__name__], "PLANTED", [*PLANTED, (name, fault)])


def make(order: Ordered) -> Any:
    """What a step makes of its inputs, with what is planted; runs in a worker."""
    step, inputs, planted = order
    with pytest.MonkeyPatch.context() as patched:
        for name, fault in planted:
            patched.setattr(name, fault)
        return GRAPH.steps[step].make(**inputs)


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
                return run(make, {"it": (node.name, inputs, PLANTED)})["it"]

        patched.setattr(port, "_in_turn", buckets)
        patched.setattr(WeekRun, "_made", made)
        yield
