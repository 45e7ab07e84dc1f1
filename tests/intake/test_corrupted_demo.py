"""Corrupted copies of the demo files: each is refused or set aside in words, nothing is lost."""

import json
from pathlib import Path

import pytest

from ringland.contracts.record_kinds import RECORD_KINDS
from ringland.intake.intake import Intake, take_in
from ringland.intake.written.raw_text import RecordFileError, read_raw

DEMO = Path(__file__).resolve().parents[2] / "synthetic_data" / "demo"
LINES = 120  # enough for every kind of row, few enough to be quick
EVERY_KIND = pytest.mark.parametrize("kind", list(RECORD_KINDS))


@pytest.fixture(scope="module")
def known() -> dict[str, list[str]]:
    ids = {}
    for kind in ("docks", "hulls", "engines"):
        raw = read_raw(f"{kind}.csv", (DEMO / f"{kind}.csv").read_bytes())
        ids[kind] = raw.frame[RECORD_KINDS[kind].key[0]].to_list()
    return ids


def demo_lines(kind: str) -> tuple[list[str], list[list[str]]]:
    """Header and first rows of a demo file; none of them holds a quoted delimiter."""
    header, *rows = (DEMO / f"{kind}.csv").read_text(encoding="utf-8").splitlines()[:LINES]
    return header.split(","), [row.split(",") for row in rows if '"' not in row]


def load(
    kind: str, header: list[str], rows: list[list[str]], known: dict[str, list[str]]
) -> Intake:
    content = "".join(",".join(row) + "\n" for row in [header, *rows]).encode()
    intake = take_in(RECORD_KINDS[kind], read_raw(f"{kind}.csv", content), known)
    assert intake.rows_in == intake.rows_loaded + intake.rows_set_aside == len(rows)
    return intake


def corrupt(kind: str, column: str, cell: str, known: dict[str, list[str]]) -> Intake:
    header, rows = demo_lines(kind)
    sound = load(kind, header, rows, known)
    row = sound.loaded["source_row"][0]
    rows[row - 2][header.index(column)] = cell

    intake = load(kind, header, rows, known)

    assert intake.rows_set_aside == sound.rows_set_aside + 1
    mine = [line for line in intake.set_aside.to_dicts() if line["source_row"] == row]
    assert len(mine) == 1
    assert column in mine[0]["field"]
    assert mine[0]["remedy"]
    assert json.loads(mine[0]["raw_row"])[column] == cell
    return intake


def a_column(kind: str, *types: str) -> str:
    columns = RECORD_KINDS[kind].schema.columns()
    header, _ = demo_lines(kind)
    return next(name for name in header if type(columns[name]).__name__ in types)


@EVERY_KIND
def test_a_wrong_type(kind: str, known: dict[str, list[str]]) -> None:
    corrupt(kind, a_column(kind, "Float64", "Int64", "Datetime", "Bool"), "n/a", known)


@EVERY_KIND
def test_an_impossible_value(kind: str, known: dict[str, list[str]]) -> None:
    column = a_column(kind, "Float64", "Int64", "Datetime")
    dtype = RECORD_KINDS[kind].schema.columns()[column]
    far_off = "0205-01-01T00:00:00Z" if type(dtype).__name__ == "Datetime" else "123456789"

    corrupt(kind, column, far_off, known)


@pytest.mark.parametrize("kind", [name for name, kind in RECORD_KINDS.items() if kind.refers_to])
def test_an_unknown_hull_engine_or_dock(kind: str, known: dict[str, list[str]]) -> None:
    corrupt(kind, next(iter(RECORD_KINDS[kind].refers_to)), "ghost", known)


@EVERY_KIND
def test_a_duplicate(kind: str, known: dict[str, list[str]]) -> None:
    header, rows = demo_lines(kind)
    sound = load(kind, header, rows, known)
    row = sound.loaded["source_row"][0]

    intake = load(kind, header, [*rows, rows[row - 2]], known)

    assert intake.loaded.equals(sound.loaded)
    assert intake.set_aside["fault"][-1] == f"Same as row {row} of this file."


@EVERY_KIND
def test_a_missing_column(kind: str, known: dict[str, list[str]]) -> None:
    header, rows = demo_lines(kind)
    gone = header.index(RECORD_KINDS[kind].key[0])

    with pytest.raises(RecordFileError, match=f"{kind}.csv, row 1: The file lacks {header[gone]};"):
        load(
            kind,
            header[:gone] + header[gone + 1 :],
            [row[:gone] + row[gone + 1 :] for row in rows],
            known,
        )
