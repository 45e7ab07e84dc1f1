"""The entry forms: which columns of a contract each asks at once, what it fills in by itself.

Labels, limits, choices and what must not be empty are the contract's; a form only says which
columns come first, which cells are always so, and for what a record each is written.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import dataframely as dy

from ringland.contracts.record_kinds import ALL_KINDS, CORRECTIONS, RecordKind
from ringland.dockside.entries import RECORDED
from ringland.words.shown_units import shown_factor, shown_unit

CYLINDER, PORT = "cylinder", "port"
FEW_CHOICES = 3
"""So many choices are shown as buttons; more are a list."""
_STORED = {"l", "l/h", "mm"}
"""Units of a contract that a shop may read in another."""


@dataclass(frozen=True)
class Form:
    """A form; its entries are records of `kind`.

    `asked` are columns shown at once, in order, all others lie folded below; `given` are cells
    that are always so; of `each` a record of its own is written, with its own `read` columns;
    `offered` are columns whose last value for the same hull, dock or engine is filled in.
    """

    name: str
    title: str
    kind: str
    asked: tuple[str, ...]
    given: Mapping[str, str] = field(default_factory=dict)
    each: tuple[str, ...] = ()
    read: tuple[str, ...] = ()
    offered: tuple[str, ...] = ()
    at: str = ""
    """the column that is now, unless somebody says otherwise; empty: the server says it"""

    @property
    def record_kind(self) -> RecordKind:
        """The kind its entries are of."""
        return ALL_KINDS[self.kind]

    @property
    def subject(self) -> str:
        """The column that names what it is written for; empty: a job or nothing."""
        names = self.record_kind.schema.column_names()
        return next((name for name in ("engine_id", "hull_id", "dock_id") if name in names), "")


@dataclass(frozen=True)
class Field:
    """One input of a form.

    `kind` is the type of input: 'text', 'number', 'instant' or 'choice'.  `factor` turns a stored
    figure into the one shown.
    """

    name: str
    label: str
    about: str
    kind: str
    is_required: bool
    unit: str = ""
    factor: float = 1.0
    low: float | None = None
    high: float | None = None
    choices: tuple[str, ...] = ()
    names: str = ""
    """the record kind of which it names one"""

    @property
    def is_few(self) -> bool:
        """Whether its choices are shown as buttons."""
        return 0 < len(self.choices) <= FEW_CHOICES


def _bench(name: str, title: str, measure: str, each: tuple[str, ...]) -> Form:
    return Form(
        name,
        title,
        "inspections",
        ("engine_id", "unit", "reference_value", "is_warm"),
        {"measure": measure, "state": "measured"},
        each,
        ("value",),
        ("unit", "reference_value", "barometer_kpa", "barometer_is"),
        "inspected_at",
    )


_OCTANE = ("octane_aki", "octane_ron", "octane_mon")
FORMS: dict[str, Form] = {
    form.name: form
    for form in [
        Form("fill", "Fill", "fills", ("hull_id", "volume_l", "source", "source_dock_id",
             "octane_aki", "is_full"),
             offered=("source", "source_dock_id", "source_tank_id", *_OCTANE), at="filled_at"),
        Form("delivery", "Dock delivery", "deliveries", ("dock_id", "tank_id", "volume_l",
             "octane_aki"), offered=("tank_id", *_OCTANE), at="delivered_at"),
        Form("dip", "Dip of a tank", "dips", ("dock_id", "tank_id", "hull_id", "level_l"),
             at="dipped_at"),
        Form("hours", "Rental out: hours at hand-over", "hour_readings",
             ("hull_id", "meter_h", "meter_id"), offered=("meter_id",), at="read_at"),
        Form("back", "Rental back", "sessions",
             ("hull_id", "started_at", "running_h", "full_throttle_share"), at="ended_at"),
        _bench("leak-down", "Leak-down", "leak_down", (CYLINDER,)),
        _bench("compression", "Compression", "compression", (CYLINDER,)),
        _bench("vacuum", "Valve-seal vacuum", "valve_seal_vacuum", (CYLINDER, PORT)),
        Form("hull-oil", "Oil in the hull", "inspections", ("engine_id", "value", "unit"),
             {"measure": "hull_oil", "state": "measured"}, offered=("unit",), at="inspected_at"),
        Form("job", "Job done", "jobs_done", ("job_id", "result", "done_by", "note"),
             at="done_at"),
        Form("release", "Release by name", "releases",
             ("hull_id", "what", "job_id", "released_by", "why", "until"), at="released_at"),
        Form("failure", "Failure found", "failures",
             ("engine_id", "mode", "how_found", "complaint"), at="found_at"),
        Form("teardown", "Teardown finding", "teardowns",
             ("engine_id", "part", "finding", "state", "extent", "cylinder", "examined_by"),
             offered=("examined_by",), at="opened_at"),
        Form("build", "Build sheet line", "build_readings",
             ("engine_id", "line", "place", "value", "unit", "answer", "read_by"),
             offered=("read_by",), at="read_at"),
        Form("correct", "Put a mistake right", CORRECTIONS.name,
             ("record_kind", "record_key", "change", "field", "new_value", "reason")),
    ]
}  # fmt: skip
"""Every form by its name, in the order in which they are listed."""

KEYS: dict[str, tuple[str, ...]] = {
    form.kind: form.record_kind.key for form in FORMS.values() if form.kind != CORRECTIONS.name
}
"""By kind the columns that tell an entry from others, as a correction of it names them."""

LABELS = {
    "record_kind": "Kind of record",
    "record_key": "Which record",
    "field": "What in it is wrong",
    "new_value": "What it should say",
    "hull_id": "Hull",
    "dock_id": "Dock",
    "engine_id": "Engine",
    "tank_id": "Tank",
    "volume_l": "Volume",
    "level_l": "Level",
    "source_dock_id": "From dock",
    "source_tank_id": "From tank",
    "octane_aki": "Octane (AKI)",
    "octane_ron": "Octane (RON)",
    "octane_mon": "Octane (MON)",
    "octane_unlabelled": "Octane, scale not told",
    "meter_h": "Hours shown",
    "meter_id": "Meter",
    "job_id": "Job",
    "is_full": "Filled to the brim",
    "is_warm": "Engine warm",
    "running_h": "Engine hours run",
    "started_at": "Left the dock",
    "barometer_is": "That pressure is",
    "barometer_kpa": "Air pressure",
    "reference_value": "Reference",
}
"""Of columns whose name alone says too little."""
CHOICE_LABELS = {"true": "Yes", "false": "No", "": "Not told"}


def fields_of(form: Form) -> tuple[list[Field], list[Field], list[Field]]:
    """The fields asked at once, those of each record of their own, and those folded below."""
    columns = {
        name: _field(form, name, column)
        for name, column in form.record_kind.schema.columns().items()
        if name != RECORDED and name not in form.given and name not in form.each
    }
    first = [columns[name] for name in form.asked]
    each = [columns[name] for name in form.read]
    shown = {*form.asked, *form.read}
    return first, each, [one for name, one in columns.items() if name not in shown]


def words_of(word: str) -> str:
    """A choice as a button says it."""
    return CHOICE_LABELS.get(word, word.replace("_", " ").capitalize())


def _field(form: Form, name: str, column: dy.Column) -> Field:
    told = column.metadata or {}
    unit = str(told.get("unit", ""))
    factor, low, high = 1.0, getattr(column, "min", None), getattr(column, "max", None)
    if unit in _STORED:
        factor, unit = shown_factor(unit), shown_unit(unit).written
    choices = tuple(str(one) for one in told.get("allowed", ()))
    is_bool, is_instant = isinstance(column, dy.Bool), isinstance(column, dy.Datetime)
    is_number = isinstance(column, dy.Float64 | dy.Int64)
    if is_bool:
        choices = ("true", "false")
    kind = "choice" if choices else "instant" if is_instant else "number" if is_number else "text"
    label = LABELS.get(name) or name.removesuffix("_at").replace("_", " ").capitalize()
    return Field(
        name,
        "When" if name == form.at else label,
        column.description or "",
        kind,
        (not column.nullable and name != form.at) or name in _ASKED_FOR.get(form.name, ()),
        unit if unit not in ("ON", "as in unit") else "",
        factor,
        low * factor if is_number and isinstance(low, float | int) else None,
        high * factor if is_number and isinstance(high, float | int) else None,
        choices,
        form.record_kind.refers_to.get(name, ""),
    )


_ASKED_FOR = dict.fromkeys(("leak-down", "compression", "vacuum", "hull-oil"), ("unit",))
"""Columns a contract lets stand empty and what is given makes necessary."""
