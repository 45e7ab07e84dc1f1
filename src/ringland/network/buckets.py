"""Records cut by operator, and refused where an engine, a hull or a dock crosses the cut.

A bucket is closed when no installation, fill, transfer or dock leads out of it.  Cut through
such a tie, engines keep the hours and tanks the fuel that the other side wrote down, and nothing
fails: so an open cut is refused by name.
"""

from __future__ import annotations

from collections.abc import Mapping

import polars as pl

from ringland.contracts.record_kinds import ALL_KINDS, CORRECTIONS, RECORD_KINDS
from ringland.history.corrections import as_key_text, key_text, with_corrections
from ringland.history.operators import with_operators

_NAMED = 5
"""Crossings a refusal names."""
_THINGS = {
    "docks": ("dock_id",),
    "hulls": ("hull_id",),
    "engines": ("engine_id",),
    "piston_sets": ("piston_set_id",),
}
_SHARED = ("costs", "build_limits")
"""Kinds of the shop and not of a craft: every operator gets them whole."""


class OpenBucketError(ValueError):
    """Records cannot be cut by operator; the message names what crosses and the remedy."""


def cut_by_operator(
    records: Mapping[str, pl.DataFrame], home: str
) -> dict[str, dict[str, pl.DataFrame]]:
    """Each operator's records by its name, in the order of names, rows in the order they had.

    A row belongs to whoever runs the hull, dock or engine it names; an engine to whoever runs
    the hulls it sat in.  What is in no hull and at no dock is the home's.

    Args:
        records: loaded rows by record kind, docks, hulls, engines and installations among them.
        home: the operator of docks and hulls that name none.

    Raises:
        OpenBucketError: an engine, hull or dock has records with two operators.
    """
    records = with_operators(records, home)
    told = records.get(CORRECTIONS.name, CORRECTIONS.schema.create_empty())
    righted = with_corrections(records, told)
    owners = _owners(righted)
    own = [kind for kind in records if kind not in (*_SHARED, CORRECTIONS.name)]
    for kind in own:
        _refuse(_crossings(kind, righted[kind], owners))
    by_kind = {
        kind: records[kind].with_columns(_owner_of(kind, records[kind], owners, home))
        for kind in own
    }
    operators = sorted({one for rows in by_kind.values() for one in rows["_owner"].unique()})
    cut = {
        one: {
            kind: rows.filter(pl.col("_owner") == one).drop("_owner")
            for kind, rows in by_kind.items()
        }
        | {kind: records[kind] for kind in _SHARED if kind in records}
        for one in operators
    }
    owner = _corrected_by(told, cut, home)
    for one in operators:
        cut[one][CORRECTIONS.name] = told.filter(owner == one)
        _refuse(_moved(one, cut[one], owners, home))
    return {one: {kind: cut[one][kind] for kind in records} for one in operators}


def refuse_shared_names(names: Mapping[str, Mapping[str, pl.Series]]) -> None:
    """Refuse a network in which one dock, hull, engine or piston set stands in two buckets.

    Args:
        names: by operator, `names_in` of its records.

    Raises:
        OpenBucketError: with what stands in both.
    """
    for kind in _THINGS:
        told = [
            pl.DataFrame({"name": of[kind]}).with_columns(operator=pl.lit(one))
            for one, of in names.items()
        ]
        if not told:
            return
        both = (
            pl.concat(told)
            .group_by("name", maintain_order=True)
            .agg(pl.col("operator").unique(maintain_order=True))
            .filter(pl.col("operator").list.len() > 1)
            .sort("name")
        )
        crossings = [
            f"{_one(kind)} {name} stands in the records of {' and of '.join(who)}"
            for name, who in both.iter_rows()
        ]
        _refuse(crossings)


def names_in(records: Mapping[str, pl.DataFrame]) -> dict[str, pl.Series]:
    """The docks, hulls, engines and piston sets of some records, by kind."""
    return {kind: records[kind][name] for kind, (name,) in _THINGS.items()}


def _owners(records: Mapping[str, pl.DataFrame]) -> dict[str, pl.DataFrame]:
    """Who runs each hull, dock and engine: its id and `operator`, by the kind it is of."""
    hulls = records["hulls"].select("hull_id", "operator").unique("hull_id", maintain_order=True)
    docks = records["docks"].select("dock_id", "operator").unique("dock_id", maintain_order=True)
    engines = (
        records["installations"]
        .join(hulls, on="hull_id", how="left", maintain_order="left")
        .drop_nulls("operator")
        .sort("engine_id", "installed_at", "hull_id")
        .group_by("engine_id", maintain_order=True)
        .agg(pl.col("operator").first())
    )
    return {"hulls": hulls, "docks": docks, "engines": engines}


def _with_owners(
    kind: str, rows: pl.DataFrame, owners: Mapping[str, pl.DataFrame]
) -> tuple[pl.DataFrame, dict[str, str]]:
    """The rows with who runs each thing they name, and those columns by the naming one."""
    named = _names(kind, rows)
    out = rows
    for column, of in named.items():
        mine = owners[of].rename({"operator": f"_of_{column}"})
        out = out.join(
            mine, left_on=column, right_on=mine.columns[0], how="left", maintain_order="left"
        )
    return out, named


def _owner_of(
    kind: str, rows: pl.DataFrame, owners: Mapping[str, pl.DataFrame], home: str
) -> pl.Series:
    """Whose each row is: `_owner`."""
    out, named = _with_owners(kind, rows, owners)
    if kind == "jobs_done":  # a job's id begins with its hull
        hulls = owners["hulls"].rename({"operator": "_of_hull"})
        hull = pl.col("job_id").str.split("/").list.first().alias("hull_id")
        out, named = (
            out.with_columns(hull).join(hulls, on="hull_id", how="left", maintain_order="left"),
            {"hull": "hulls"},
        )
    whose = [f"_of_{column}" for column in named]
    return out.select(pl.coalesce(*whose, pl.lit(home)).alias("_owner")).to_series()


def _moved(
    one: str, parts: Mapping[str, pl.DataFrame], owners: Mapping[str, pl.DataFrame], home: str
) -> list[str]:
    """Records that a correction takes out of this operator's hands."""
    if parts[CORRECTIONS.name].is_empty():
        return []
    righted = with_corrections(parts, parts[CORRECTIONS.name])
    return [
        f"a correction gives one of the {kind} of {one} to {other}"
        for kind, rows in righted.items()
        if kind not in (*_SHARED, CORRECTIONS.name)
        for other in _owner_of(kind, rows, owners, home).unique().sort()
        if other != one
    ]


def _names(kind: str, rows: pl.DataFrame) -> dict[str, str]:
    """The columns by which rows name a hull, dock or engine, and of what kind that is."""
    own = {_THINGS[kind][0]: kind} if kind in ("hulls", "docks", "engines") else {}
    named = own | {
        column: of for column, of in RECORD_KINDS[kind].refers_to.items() if of in _THINGS
    }
    return {column: of for column, of in named.items() if column in rows.columns}


def _crossings(kind: str, rows: pl.DataFrame, owners: Mapping[str, pl.DataFrame]) -> list[str]:
    """What of the rows names things of two operators, in words."""
    out, named = _with_owners(kind, rows, owners)
    if len(named) < 2:
        return []
    whose = [f"_of_{column}" for column in named]
    several = pl.concat_list(whose).list.drop_nulls().list.n_unique() > 1
    at = RECORD_KINDS[kind].event_time
    found = []
    for row in out.filter(several).iter_rows(named=True):
        things = [
            f"{_one(what)} {row[column]} of {row[f'_of_{column}']}"
            for column, what in named.items()
            if row[column] is not None and row[f"_of_{column}"] is not None
        ]
        when = "" if at is None else f" on {row[at]:%Y-%m-%d}"
        found.append(f"{' with '.join(things)} ({kind}{when})")
    return found


def _refuse(crossings: list[str]) -> None:
    if not crossings:
        return
    more = f" and {len(crossings) - _NAMED} more" if len(crossings) > _NAMED else ""
    raise OpenBucketError(
        f"The records cannot be cut by operator: {'; '.join(crossings[:_NAMED])}{more}. Hours and "
        f"fuel would be lost at the cut. Give both the same operator (column operator of docks "
        f"and hulls), or put the record right (ringland replace, corrections)."
    )


def _corrected_by(
    told: pl.DataFrame, cut: Mapping[str, Mapping[str, pl.DataFrame]], home: str
) -> pl.Series:
    """Whose record each correction puts right; the home's where it fits none."""
    owner: list[str | None] = [None] * told.height
    for kind in told["record_kind"].unique().sort():
        if kind not in ALL_KINDS:
            continue
        keys = as_key_text(ALL_KINDS[kind], told["record_key"]).to_list()
        kinds = told["record_kind"].to_list()
        for one, parts in cut.items():
            held = set(key_text(ALL_KINDS[kind], parts[kind]).to_list()) if kind in parts else set()
            for at, key in enumerate(keys):
                if kinds[at] == kind and owner[at] is None and key in held:
                    owner[at] = one
    return pl.Series([home if one is None else one for one in owner], dtype=pl.String)


def _one(kind: str) -> str:
    return kind.removesuffix("s").replace("_", " ")
