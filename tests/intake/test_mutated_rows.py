"""A hundred thousand mutated rows: no crash, every row accounted for, every fault named once."""

import json
import random
from collections.abc import Callable

import polars as pl
import pytest

from ringland.contracts.record_kinds import RECORD_KINDS, RecordKind
from ringland.intake.intake import take_in
from ringland.intake.written.raw_file import RawFile
from ringland.intake.written.raw_text import read_raw
from tests.history.record_rows import KNOWN, VALID_TEXT

ROWS = 100_000 // len(RECORD_KINDS) + 1
EVERY_KIND = pytest.mark.parametrize("kind", list(RECORD_KINDS))
JUNK = [
    "", " ", "n/a", "-", "NaN", "inf", "-1", "1e999", "1,5", "1.5.2", "0x1F", "=1+1", "@cmd",
    "<script>alert(1)</script>", "'; drop table fills; --", '"', '""', "a;b", "a,b", "\u200b",
    "\ufeff", "null", "None", "9" * 400, "💥", "2025-02-30T10:00:00Z", "2025-13-01T00:00:00Z",
    "0205-01-01T00:00:00Z", "9999-12-31T23:59:59Z", "2025-06-01T10:00:00", "2025-06-01",
    "01/02/2025", "45842.5", "2025-06-01T10:00:00+99:00", "true", "yes", "H0l", "\t", "a\tb",
]  # fmt: skip


def numbered(kind: RecordKind, count: int) -> list[dict[str, str]]:
    """Valid rows that differ in their key."""
    rows = []
    columns = kind.schema.columns()
    for number in range(count):
        row = dict(VALID_TEXT[kind.name])
        for name in kind.key:
            if name in kind.refers_to or name not in row:
                continue
            spec = type(columns[name]).__name__
            if spec == "Datetime":
                month, day, hour = number // 28 % 2 + 1, number % 28 + 1, number // 56 % 24
                row[name] = f"2024-{month:02}-{day:02}T{hour:02}:{number // 1344 % 60:02}:00Z"
            elif spec == "String" and not (columns[name].metadata or {}).get("allowed"):
                row[name] = f"id {number}"
            elif name == "season":
                row[name] = str(1990 + number % 100)
        for name in ("ended_at", "removed_at", "found_at"):
            if name in row and name not in kind.key:
                row[name] = row[name].replace("2024", "2026").replace("2025", "2026")
        if "last_good_at" in row:
            row["last_good_at"] = "2023-05-01T08:00:00Z"
        rows.append(row)
    return rows


def frame_of(kind: RecordKind, rows: list[dict[str, str]]) -> RawFile:
    """As `read_raw` hands a file on: trimmed, empty cells null."""
    names = list(VALID_TEXT[kind.name])
    columns = {name: [(row.get(name) or "").strip() or None for row in rows] for name in names} | {
        "source_row": range(2, len(rows) + 2)
    }
    schema = dict.fromkeys(names, pl.String) | {"source_row": pl.Int64}
    return RawFile("mutated.csv", pl.DataFrame(columns, schema=schema))


@EVERY_KIND
def test_mutated_rows_are_loaded_or_set_aside_and_nothing_else(kind: str) -> None:
    about = RECORD_KINDS[kind]
    rng = random.Random(f"mutate {kind}")  # noqa: S311 - junk, not secrets
    rows = numbered(about, ROWS)
    for row in rows:
        for name in rng.sample(list(row), rng.randint(0, 3)):
            cell = row[name]
            row[name] = rng.choice(
                [
                    rng.choice(JUNK),
                    cell[::-1],
                    cell * 2,
                    cell.replace("0", "O", 1),
                    cell[: rng.randint(0, len(cell))],
                    f"{cell}{rng.choice(JUNK)}",
                    rng.choice(rows)[name],
                ]
            )
    raw = frame_of(about, rows)

    intake = take_in(about, raw, KNOWN)

    loaded = set(intake.loaded["source_row"])
    aside = set(intake.set_aside["source_row"])
    assert loaded | aside == set(raw.frame["source_row"])
    assert not loaded & aside
    assert intake.rows_in == intake.rows_loaded + intake.rows_set_aside == ROWS
    named = pl.concat([intake.set_aside, intake.lost_cells.drop("record_key")]).select(
        "source_row", "field"
    )
    assert named.is_duplicated().sum() == 0
    assert intake.set_aside.select(pl.col("fault", "remedy").str.len_chars().min()).row(0) >= (5, 5)
    assert about.schema.is_valid(intake.loaded.select(about.schema.column_names()))


Spoil = Callable[[random.Random], str]
FAULTS: dict[str, Spoil] = {
    "Float64": lambda rng: rng.choice(["n/a", "1,5", "12 l", "-99999", "1e12", "twelve"]),
    "Int64": lambda rng: rng.choice(["n/a", "2.5", "-99999", "99999999"]),
    "Datetime": lambda rng: rng.choice(["n/a", "2025-02-30T10:00:00Z", "2025-06-01 10:00"]),
    "Bool": lambda rng: rng.choice(["maybe", "2", "ja"]),
    "choice": lambda rng: rng.choice(["n/a", "other thing", "2"]),
    "reference": lambda rng: f"ghost {rng.randint(0, 9)}",
}


@EVERY_KIND
def test_each_injected_fault_is_listed_once_and_no_other(kind: str) -> None:
    about = RECORD_KINDS[kind]
    rng = random.Random(f"inject {kind}")  # noqa: S311 - junk, not secrets
    rows = numbered(about, 200)
    keys = [tuple(row.get(name) for name in about.key) for row in rows]
    rows = [rows[keys.index(key)] for key in dict.fromkeys(keys)]  # seasons come round
    injected = {}
    columns = about.schema.columns()
    for number, row in enumerate(rows):
        if number % 3:
            continue
        name = rng.choice([name for name in row if _way(about, name)])
        row[name] = FAULTS[_way(about, name)](rng)
        injected[number + 2] = (name, row[name])
    assert columns

    intake = take_in(about, frame_of(about, rows), KNOWN)

    cells = pl.concat([intake.set_aside, intake.lost_cells.drop("record_key")])
    found = cells.select("source_row", "field", "value").rows()
    assert not set(intake.set_aside["source_row"]) & set(intake.lost_cells["source_row"])
    assert {row: (field, value) for row, field, value in found} == injected
    assert len(found) == len(injected)


def _way(kind: RecordKind, name: str) -> str:
    column = kind.schema.columns()[name]
    if name in kind.refers_to:
        return "reference"
    if (column.metadata or {}).get("allowed"):
        return "choice"
    spec = type(column).__name__
    return spec if spec in FAULTS else ""


EVIL_HEADINGS = ["field", "fault", "remedy", "value", "written", "raw_row", "kind", "source_file"]


def test_a_files_own_columns_may_have_the_names_we_use_ourselves() -> None:
    header = ",".join([*VALID_TEXT["fills"], *EVIL_HEADINGS])
    good = ",".join([*VALID_TEXT["fills"].values(), *EVIL_HEADINGS])
    bad = good.replace("40.5", "4o.5")

    intake = take_in(
        RECORD_KINDS["fills"],
        read_raw("f.csv", f"{header}\n{good}\n{bad}\n{good}\n".encode()),
        KNOWN,
    )

    assert intake.rows_loaded == 1
    assert intake.set_aside["source_row"].to_list() == [3, 4]
    assert json.loads(intake.set_aside["raw_row"][0])["field"] == "field"
