"""The facts of a home that steps may ask for by name, each with a digest of what it says."""

import hashlib
from collections.abc import Callable, Mapping
from datetime import datetime
from functools import partial
from typing import Any, NamedTuple

from pipelines.borrowed_effects import borrowed
from pipelines.duckdb_warehouse import DuckDBWarehouse, warehouse_at
from pipelines.home import Home, OwnFile
from pipelines.shop_week import shop_catalogue
from pipelines.weekly.artefact import canonical, taken_apart
from pipelines.weekly.run import Given
from pipelines.weekly.store import WeekKey, WeekStore
from pipelines.weeks import as_of_week
from ringland.bench.bench_limits import load_bench_limits
from ringland.decision.actions.action_catalogue import Catalogue
from ringland.risk.shared_effects import SharedEffects
from ringland.settings.assumptions import Assumption, Assumptions, load_assumptions
from ringland.words.manner import Manner


class Clock(NamedTuple):
    """A week's instants: as UTC and on the shop's clock, and by when it is told."""

    as_of: datetime
    here: datetime
    told_by: datetime
    is_restated: bool


def clock_of(home: Home, key: WeekKey) -> Clock:
    """The instants of a week in a home."""
    zone = home.facts().zone
    as_of = as_of_week(key.monday, zone)
    return Clock(as_of, as_of.astimezone(zone), key.told_by or as_of, key.told_by is not None)


def _as_of(home: Home, key: WeekKey) -> datetime:
    return clock_of(home, key).as_of


def _clock(home: Home, key: WeekKey) -> Clock:
    return clock_of(home, key)


def _warehouse(home: Home, _key: WeekKey) -> DuckDBWarehouse:
    return warehouse_at(home.database)


def _assumptions(home: Home, _key: WeekKey) -> Assumptions:
    return load_assumptions(home.settings)


def _bench_limits(home: Home, _key: WeekKey) -> Assumptions:
    return load_bench_limits(home.bench_limits)


def _manner(home: Home, _key: WeekKey) -> Manner:
    return home.manner()


def _catalogue(home: Home, _key: WeekKey) -> Catalogue:
    return shop_catalogue(home, load_assumptions(home.settings))


def _week_file(home: Home, _key: WeekKey) -> OwnFile:
    text = home.week.read_text(encoding="utf-8") if home.week.exists() else None
    return OwnFile(str(home.week), text)


def _operator(home: Home, _key: WeekKey) -> str:
    return home.facts().operator


def _is_demo(home: Home, _key: WeekKey) -> bool:
    return home.is_demo


def _photos(home: Home, _key: WeekKey) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in sorted(home.photos.glob("*.*"))}


def _shared_effects(home: Home, key: WeekKey) -> SharedEffects | None:
    return borrowed(home, key.monday)


def _left_out(home: Home, key: WeekKey) -> dict[str, str]:
    return WeekStore(home.weeks).listed(key).left_out


def _is_list_only(_home: Home, _key: WeekKey) -> bool:
    return False


def _told(value: Any, hint: Any) -> str:
    document, _ = taken_apart(value, hint)
    return hashlib.sha256(canonical(document)).hexdigest()


_GIVENS: dict[str, tuple[Callable[[Home, WeekKey], Any], Callable[[Any], str]]] = {
    "as_of": (_as_of, datetime.isoformat),
    "clock": (_clock, partial(_told, hint=Clock)),
    "warehouse": (_warehouse, lambda _: "read afresh"),
    "assumptions": (_assumptions, lambda found: _told(dict(found), dict[str, Assumption])),
    "bench_limits": (
        _bench_limits,
        lambda found: _told(dict(found), dict[str, Assumption]),
    ),
    "left_out": (_left_out, partial(_told, hint=dict[str, str])),
    "is_list_only": (_is_list_only, str),
    "manner": (_manner, partial(_told, hint=Manner)),
    "catalogue": (_catalogue, partial(_told, hint=Catalogue)),
    "week_file": (_week_file, lambda file: _told(file.text, str | None)),
    "operator": (_operator, str),
    "shared_effects": (_shared_effects, partial(_told, hint=SharedEffects | None)),
    "is_demo": (_is_demo, str),
    "photos": (_photos, partial(_told, hint=dict[str, bytes])),
}
GIVENS = frozenset(_GIVENS)
"""What a step may ask for."""


def left_out_given(left_out: Mapping[str, str]) -> Mapping[str, Callable[[], Given]]:
    """The given that says which hulls are left out, where it is not what the week's list says."""
    told = dict(left_out)
    return {"left_out": lambda: (told, _told(told, dict[str, str]))}


LIST_ONLY: Mapping[str, Callable[[], Given]] = {"is_list_only": lambda: (True, str(True))}
"""The given that says to leave out what only pages show: the list and its calls are the same."""


def givens_of(home: Home, key: WeekKey) -> Mapping[str, Callable[[], Given]]:
    """What makes each fact of a home for one week, with its digest."""

    def made(name: str) -> Given:
        make, told = _GIVENS[name]
        value = make(home, key)
        return value, told(value)

    return {name: partial(made, name) for name in _GIVENS}
