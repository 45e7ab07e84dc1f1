"""Values to files and back by their declared type; what is kept, found again and refused."""

import json
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any, Literal, NamedTuple

import dataframely as dy
import numpy as np
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from pipelines.weekly.artefact import (
    FormError,
    Parts,
    canonical,
    form_of,
    npz_arrays,
    npz_bytes,
    put_together,
    taken_apart,
)
from pipelines.weekly.run import WeekRun
from pipelines.weekly.step import Earlier, Graph, Keep, Step, step, view
from pipelines.weekly.store import Made, StoreError, WeekKey, WeekStore

MONDAY, BEFORE = WeekKey("2026-08-17"), WeekKey("2026-08-10")
AS_OF = datetime(2026, 8, 17, tzinfo=UTC)


class Limits(NamedTuple):
    low: float
    high: float


@dataclass(frozen=True)
class Curve:
    at_h: NDArray[np.float64]
    steps: pl.DataFrame
    limits: Limits | None


@dataclass(frozen=True)
class Fit:
    name: str
    curves: tuple[Curve, ...]
    worst: Curve | Limits
    why: dict[str, str]
    made_at: datetime
    kind: Literal["wear", "early"]
    facts: dict[str, Any]
    picture: bytes | None


@dataclass(frozen=True)
class LaterFit(Fit):
    added: int = 0


def a_fit() -> Fit:
    steps = pl.DataFrame(
        {"at": [AS_OF], "who": [["E1", "E2"]], "gap": [None], "f": [float("nan")]},
        schema_overrides={"at": pl.Datetime("us", "UTC")},
    )
    curve = Curve(np.array([0.1, np.inf]), steps, Limits(float("-inf"), 0.1 + 0.2))
    bare = Curve(np.empty((0, 2)), steps.clear(), None)
    facts = {"day": date(2026, 8, 17), "list": [1, (2.5, None)], "at": AS_OF, "on": True}
    return Fit("Ärger: </script>", (curve, bare), bare, {"a/b": "x"}, AS_OF, "wear", facts, b"\x00")


def through_files(value: object, hint: Any) -> Any:
    document, parts = taken_apart(value, hint)
    arrays = npz_arrays(npz_bytes(parts.arrays)) if parts.arrays else {}
    return put_together(json.loads(canonical(document)), Parts(parts.frames, arrays), hint)


def test_a_value_comes_back_as_it_was() -> None:
    fit, back = a_fit(), through_files(a_fit(), Fit)

    assert isinstance(back.curves, tuple)
    for ours, theirs in zip(fit.curves, back.curves, strict=True):
        np.testing.assert_array_equal(ours.at_h, theirs.at_h)
        assert ours.at_h.shape == theirs.at_h.shape
        assert ours.steps.equals(theirs.steps)
        assert ours.limits == theirs.limits
    assert isinstance(back.worst, Curve)
    assert (back.name, back.why, back.made_at, back.kind) == (
        fit.name, fit.why, fit.made_at, fit.kind
    )  # fmt: skip
    assert back.facts == fit.facts
    assert back.picture == fit.picture


plain = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text() | st.dates(),
    lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner) | st.tuples(inner),
)


@given(plain)
def test_any_plain_value_comes_back_of_the_same_type(value: Any) -> None:
    back = through_files(value, Any)

    assert repr(back) == repr(value)  # as text, so that nan equals nan and 1 is not 1.0


def test_the_same_value_gives_the_same_bytes() -> None:
    one, two = (taken_apart(a_fit(), Fit) for _ in range(2))

    assert canonical(one[0]) == canonical(two[0])
    assert npz_bytes(one[1].arrays) == npz_bytes(two[1].arrays)


def test_another_field_is_another_form() -> None:
    assert form_of(Fit) != form_of(LaterFit)
    assert form_of(Fit) == form_of(Fit)


@pytest.mark.parametrize(
    ("value", "hint"),
    [(object(), Any), ({1, 2}, Any), (a_fit(), Curve), (lambda: 0, Any), ([1], pl.DataFrame)],
)
def test_what_cannot_be_kept_is_refused(value: object, hint: Any) -> None:
    with pytest.raises(FormError):
        taken_apart(value, hint)


def test_arrays_of_objects_are_refused() -> None:
    with pytest.raises(ValueError, match="Object arrays"):
        npz_bytes({"a": np.array([object()])})


class Rows(dy.Schema):
    """One row per hull."""

    hull_id = dy.String(primary_key=True)
    chance = dy.Float64(nullable=True)


@dataclass(frozen=True)
class Told:
    rows: pl.DataFrame
    n: int


CALLS: list[str] = []
LIVE = {"hulls": ["A1", "A2"]}


@step("history", reads_live=True, keep=Keep.SOURCE)
def known() -> tuple[str, ...]:
    CALLS.append("known")
    return tuple(LIVE["hulls"])


@step("risk", tables={"rows": Rows}, earlier={"past": Earlier("chances", "rows", Rows)})
def chances(known: tuple[str, ...], past: pl.DataFrame, share: float) -> pl.DataFrame:
    CALLS.append("chances")
    return pl.DataFrame({"hull_id": known, "chance": [share + past.height] * len(known)})


@view()
def doubled(chances: pl.DataFrame) -> pl.DataFrame:
    return chances.with_columns(pl.col("chance") * 2)


@step("decision", keep=Keep.WORKING)
def told(doubled: pl.DataFrame) -> Told:
    CALLS.append("told")
    return Told(doubled, doubled.height)


class Module:
    """What a module of steps looks like to a graph."""

    known, chances, doubled, told = known, chances, doubled, told


GRAPH = Graph([Module], frozenset({"share"}))  # type: ignore[list-item]  # its names are asked for


def work(folder: Path, key: WeekKey = MONDAY, share: float = 0.5) -> tuple[WeekRun, list[str]]:
    """A week worked out, and the steps that had to be made."""
    CALLS.clear()
    run = WeekRun(WeekStore(folder), key, GRAPH, {"share": lambda: (share, str(share))})
    run.store.begin(key, AS_OF, key.told_by or AS_OF, Made("today", "me", is_given_out=True))
    for each in GRAPH.steps.values():
        run.keep(each, run.outcome(each))
    return run, list(CALLS)


def test_only_what_changed_is_made_again(tmp_path: Path) -> None:
    _, first = work(tmp_path)
    _, again = work(tmp_path)
    _, another_share = work(tmp_path, share=0.7)
    run, back = work(tmp_path)

    assert first == ["known", "chances", "told"]
    assert again == ["known"]
    assert another_share == back == ["known", "chances", "told"]
    assert run.value("told").rows["chance"].to_list() == [1.0, 1.0]


def test_another_weeks_output_of_the_same_inputs_is_taken_over(tmp_path: Path) -> None:
    work(tmp_path)
    restated = WeekKey(MONDAY.monday, datetime(2026, 9, 1, tzinfo=UTC))

    run, made = work(tmp_path, restated)

    assert made == ["known"]
    assert run.value("told").n == 2


def test_what_earlier_weeks_said_is_an_input(tmp_path: Path) -> None:
    work(tmp_path, BEFORE)
    restated = WeekKey(BEFORE.monday, datetime(2026, 9, 1, tzinfo=UTC))
    work(tmp_path, restated, share=0.9)

    run, made = work(tmp_path)

    assert made == ["known", "chances", "told"]
    # two rows said by the week before as it was known; those of the restated one do not count
    assert run.value("chances")["chance"].to_list() == [2.5, 2.5]


def test_a_working_table_that_was_dropped_is_made_from_what_is_kept(tmp_path: Path) -> None:
    run, _ = work(tmp_path)
    run.store.drop(MONDAY, {told.label})
    CALLS.clear()

    later = WeekRun(WeekStore(tmp_path), MONDAY, GRAPH, {"share": lambda: (0.5, "0.5")})

    assert later.value("told").n == 2
    assert CALLS == ["told"]
    assert told.label not in later.store.listed(MONDAY).outputs


def test_a_week_whose_source_is_gone_says_what_to_do(tmp_path: Path) -> None:
    run, _ = work(tmp_path)
    run.store.drop(MONDAY, {step.label for step in GRAPH.steps.values()})

    later = WeekRun(WeekStore(tmp_path), MONDAY, GRAPH, {"share": lambda: (0.5, "0.5")})

    with pytest.raises(StoreError, match="ringland week --as-of 2026-08-17"):
        later.value("told")


def test_a_file_of_another_version_is_refused_but_its_rows_can_be_read(tmp_path: Path) -> None:
    run, _ = work(tmp_path)
    newer = Step("chances", "risk", chances.make, Told, ("known",), tables={"rows": Rows})

    with pytest.raises(StoreError, match="another version of ringland"):
        run.store.read(MONDAY, newer)
    assert run.store.stamp(MONDAY, newer) is None
    frame = run.store.frame(MONDAY, newer, "rows")
    assert frame is not None
    assert frame.height == 2


def test_a_damaged_file_is_told_with_its_week(tmp_path: Path) -> None:
    run, _ = work(tmp_path)
    next(tmp_path.glob("*/risk.chances.rows.parquet")).write_bytes(b"PAR1")

    with pytest.raises(StoreError, match=r"risk\.chances of the week of 2026-08-17"):
        run.store.read(MONDAY, chances)


def test_a_frame_that_breaks_its_contract_is_not_kept(tmp_path: Path) -> None:
    run, _ = work(tmp_path)
    twice = pl.DataFrame({"hull_id": ["A1", "A1"], "chance": [0.1, 0.2]})

    with pytest.raises(dy.exc.ValidationError):
        run.store.write(MONDAY, chances, twice, "inputs")
    assert run.store.read(MONDAY, chances).height == 2


def test_the_same_week_in_another_place_is_the_same_bytes(tmp_path: Path) -> None:
    work(tmp_path / "one")
    work(tmp_path / "two")

    one, two = (
        {path.name: path.read_bytes() for path in (tmp_path / name).rglob("*.*")}
        for name in ("one", "two")
    )
    assert one == two
    assert not [name for name in one if name.endswith((".pickle", ".pkl"))]


def test_a_graph_that_asks_for_what_nobody_makes_is_refused() -> None:
    class Lacking:
        told = told

    with pytest.raises(ValueError, match="told asks for doubled"):
        Graph([Lacking], frozenset())  # type: ignore[list-item]
