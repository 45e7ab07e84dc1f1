"""A step of the week: a plain function that says by its parameters all it depends on.

A parameter names another step, a view, a fact of the home (`givens`), or rows that earlier
weeks said.  So a step can be called in a test, run as an asset, or worked out again for a
paper, and a hash of its inputs can be told before it runs.
"""

import inspect
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from enum import Enum
from types import ModuleType
from typing import Any, get_type_hints

import dataframely as dy

Pages = dict[str, bytes]
"""Files of the week's site by path: an output of this type is kept as one packed ZIP."""


class Keep(Enum):
    """How long a step's output is kept."""

    SAID = "for good: the score rests on it"
    WEEK = "for good if its list was given out, else while it is the newest week"
    SOURCE = "until the home is pruned: papers of the week are made from it"
    WORKING = "while its week is the newest: it can be worked out again"


@dataclass(frozen=True)
class Earlier:
    """Rows that earlier weeks said: a table of a step, and its contract."""

    step: str
    table: str
    schema: type[dy.Schema]


@dataclass(frozen=True)
class Step:
    """One output of the week.

    `tables` maps the place of a frame in the output ('rows': the output itself) to its
    contract.  `figures` tells what the Dagster page shows beside the asset.  `reads_live` is a
    step that reads the warehouse itself and so is never skipped.
    """

    name: str
    room: str
    make: Callable[..., Any]
    hint: Any
    params: tuple[str, ...]
    tables: Mapping[str, type[dy.Schema]] = field(default_factory=dict)
    earlier: Mapping[str, Earlier] = field(default_factory=dict)
    keep: Keep = Keep.WEEK
    figures: Callable[[Any], Mapping[str, Any]] = lambda _: {}
    reads_live: bool = False

    @property
    def label(self) -> str:
        """What its files are called, e.g. 'history.piston_lives'."""
        return f"{self.room}.{self.name}"

    def __call__(self, *args: Any, **inputs: Any) -> Any:
        """What it makes of these inputs."""
        return self.make(*args, **inputs)


@dataclass(frozen=True)
class View:
    """A value that several steps share and nobody keeps."""

    name: str
    make: Callable[..., Any]
    params: tuple[str, ...]
    earlier: Mapping[str, Earlier] = field(default_factory=dict)

    def __call__(self, *args: Any, **inputs: Any) -> Any:
        """What it makes of these inputs."""
        return self.make(*args, **inputs)


def step(room: str, **facts: Any) -> Callable[[Callable[..., Any]], Step]:
    """Make a step of a function; its return type is what is kept."""

    def made(make: Callable[..., Any]) -> Step:
        hint = get_type_hints(make)["return"]
        return Step(make.__name__, room, make, hint, _params(make), **facts)

    return made


def view(**facts: Any) -> Callable[[Callable[..., Any]], View]:
    """Make a view of a function."""
    return lambda make: View(make.__name__, make, _params(make), **facts)


def _params(make: Callable[..., Any]) -> tuple[str, ...]:
    return tuple(inspect.signature(make).parameters)


class Graph:
    """Steps and views by name, each after what it is made from."""

    def __init__(self, modules: list[ModuleType], givens: frozenset[str]) -> None:
        """Collect the steps and views of some modules.

        Raises:
            ValueError: two have one name, or one asks for what nobody makes.
        """
        found = [
            one
            for module in modules
            for one in vars(module).values()
            if isinstance(one, Step | View)
        ]
        nodes = {one.name: one for one in found}
        if any(nodes[one.name] is not one for one in found):
            raise ValueError("two steps have one name")
        self.nodes = nodes
        self.steps = {name: one for name, one in nodes.items() if isinstance(one, Step)}
        for one in nodes.values():
            unknown = [
                p for p in one.params if p not in nodes and p not in givens | set(one.earlier)
            ]
            if unknown:
                raise ValueError(f"{one.name} asks for {unknown[0]}, which nobody makes")

    def steps_behind(self, node: Step | View) -> list[Step]:
        """The steps a step is made from, those behind its views among them."""
        behind: dict[str, Step] = {}
        for name in node.params:
            of = self.nodes.get(name)
            if isinstance(of, Step):
                behind[name] = of
            elif of is not None:
                behind |= {one.name: one for one in self.steps_behind(of)}
        return list(behind.values())

    def earlier_behind(self, node: Step | View) -> list[Earlier]:
        """The earlier rows a step reads, by itself or through its views."""
        rows = list(node.earlier.values())
        for name in node.params:
            if isinstance(of := self.nodes.get(name), View):
                rows += self.earlier_behind(of)
        return rows
