"""One week at work: the value of a step, from the store or made from its inputs.

The hash of a step's inputs covers what went into each parameter, the step itself and all of
the program's code; an output with the same hash, in this week's folder or another's, is taken
over.  Values are read back from what was written, so that a step sees the same whether the
one before it ran just now or a month ago.
"""

import hashlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from functools import cache
from importlib.metadata import version
from importlib.resources import files
from pathlib import Path
from typing import Any

import polars as pl

from pipelines.weekly.artefact import canonical
from pipelines.weekly.step import Earlier, Graph, Step, View
from pipelines.weekly.store import Stamp, StoreError, WeekKey, WeekStore, weeks_before

NUMBERS = ("numpy", "polars", "scipy", "scikit-learn", "numba", "plotly", "typst")
"""Packages whose version decides what comes out."""

Given = tuple[Any, str]
"""A fact of the home and its digest."""


@cache
def code_version() -> str:
    """A digest of the library's code and of the packages it computes with."""
    digest = hashlib.sha256()
    for name in NUMBERS:
        digest.update(f"{name} {version(name)}\n".encode())
    for package in ("ringland", "pipelines"):
        root = Path(str(files(package)))
        for path in sorted(root.rglob("*")):
            if path.is_file() and path.suffix != ".pyc":
                digest.update(path.relative_to(root).as_posix().encode() + b"\n")
                digest.update(path.read_bytes())
    return digest.hexdigest()[:16]


@dataclass(frozen=True)
class Outcome:
    """What became of a step: its value if it was made, or where the same lies already."""

    value: Any
    inputs: str
    found: tuple[WeekKey, Stamp] | None = None


@dataclass
class WeekRun:
    """The steps of one week in one home; not to be shared between weeks.

    `givens` makes each fact of the home when it is asked for.
    """

    store: WeekStore
    key: WeekKey
    graph: Graph
    givens: Mapping[str, Callable[[], Given]]
    _values: dict[str, Any] = field(default_factory=dict)
    _digests: dict[str, str] = field(default_factory=dict)

    def outcome(self, step: Step) -> Outcome:
        """A step's value made now, or the same found where it lies."""
        inputs = self.inputs_digest(step)
        found = None if step.reads_live else self._found(step, inputs)
        return Outcome(None if found else self._made(step), inputs, found)

    def keep(self, step: Step, outcome: Outcome) -> None:
        """Write down what became of a step."""
        self._values.pop(step.name, None)
        self._digests.pop(step.name, None)
        if outcome.found is None:
            self.store.write(self.key, step, outcome.value, outcome.inputs)
        elif outcome.found[0] != self.key:
            self.store.copy(self.key, step, *outcome.found)

    def value(self, name: str) -> Any:
        """A step, a view or a fact of the home by name.

        A step whose output was pruned is worked out again from what is kept.

        Raises:
            StoreError: what it is made from is not kept.
        """
        if name not in self._values:
            self._values[name] = self._value(name)
        return self._values[name]

    def rows(self, earlier: Earlier) -> pl.DataFrame:
        """What the weeks before this one said, as known then, with the instant of each week."""
        step = self.graph.steps[earlier.step]
        wanted = earlier.schema.create_empty().with_columns(
            as_of=pl.lit(None, pl.Datetime("us", "UTC")), is_given_out=pl.lit(None, pl.Boolean)
        )
        parts = [wanted]
        for key in weeks_before(self.store, self.key.monday):
            frame = self.store.frame(key, step, earlier.table)
            if frame is not None:
                listed = self.store.listed(key)
                as_of = datetime.fromisoformat(listed.as_of)
                parts.append(
                    frame.select(set(frame.columns) & set(wanted.columns)).with_columns(
                        as_of=pl.lit(as_of).cast(pl.Datetime("us", "UTC")),
                        is_given_out=pl.lit(listed.made.is_given_out),
                    )
                )
        return pl.concat(parts, how="diagonal_relaxed").sort("as_of", "hull_id")

    def inputs_digest(self, step: Step) -> str:
        """The hash of all that a step's output hangs on."""
        told = [step.label, code_version(), *(self._digest(name, step) for name in step.params)]
        return hashlib.sha256(canonical(told)).hexdigest()

    def _digest(self, name: str, of: Step | View) -> str:
        if name in of.earlier:
            return self._earlier_digest(of.earlier[name])
        if name not in self._digests:
            self._digests[name] = self._node_digest(name)
        return self._digests[name]

    def _node_digest(self, name: str) -> str:
        node = self.graph.nodes.get(name)
        if node is None:
            value, digest = self.givens[name]()
            self._values[name] = value
            return digest
        if isinstance(node, View):
            told = [self._digest(one, node) for one in node.params]
            return hashlib.sha256(canonical(told)).hexdigest()
        stamp = self.store.stamp(self.key, node)
        if stamp is None:
            raise StoreError(f"The week of {self.key.name} holds no {node.label}.")
        return stamp.content

    def _earlier_digest(self, earlier: Earlier) -> str:
        label = self.graph.steps[earlier.step].label
        told = []
        for key in weeks_before(self.store, self.key.monday):
            listed = self.store.listed(key)
            if label in listed.outputs:
                file = f"{label}.{earlier.table}.parquet"
                stamp = listed.outputs[label]
                digest = None if self.store.damaged(key, stamp) else stamp.files.get(file)
                told.append([key.name, listed.as_of, listed.made.is_given_out, digest])
        return hashlib.sha256(canonical(told)).hexdigest()

    def _found(self, step: Step, inputs: str) -> tuple[WeekKey, Stamp] | None:
        others = [key for key in reversed(self.store.weeks()) if key != self.key]
        for key in (self.key, *others):
            stamp = self.store.stamp(key, step)
            is_same = stamp is not None and stamp.inputs == inputs
            if stamp is not None and is_same and not self.store.damaged(key, stamp):
                return key, stamp
        return None

    def _value(self, name: str) -> Any:
        node = self.graph.nodes.get(name)
        if node is None:
            self._digests[name] = self._node_digest(name)
            return self._values[name]
        if isinstance(node, View):
            return self._made(node)
        if node.label in self.store.listed(self.key).outputs or node.reads_live:
            return self.store.read(self.key, node)
        return self._made(node)

    def _made(self, node: Step | View) -> Any:
        return node.make(
            **{
                name: self.rows(node.earlier[name]) if name in node.earlier else self.value(name)
                for name in node.params
            }
        )


@dataclass
class KeptNowhere(WeekRun):
    """The steps of a week, or as of an instant between two; nothing is read or kept but these.

    `taken_over` holds the values that are another week's.
    """

    taken_over: Mapping[str, Any] = field(default_factory=dict)

    def _value(self, name: str) -> Any:
        if name in self.taken_over:
            return self.taken_over[name]
        node = self.graph.nodes.get(name)
        return self._made(node) if isinstance(node, Step) else super()._value(name)
