"""Reads a file case the way a user would, and holds what was loaded against the truth.

A record is *wrong* if it was loaded and is not in the truth, *lost* if it is in the truth and
neither loaded nor set aside nor counted as left out.  Both are silent, unless a doubt names
the record.
"""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta

import polars as pl

from ringland.contracts.record_kinds import RECORD_KINDS
from ringland.contracts.record_tables import SetAside
from ringland.history.fill_doubts import fills_taken_back, fills_written_twice
from ringland.intake.contract_file import take_in_contract_file
from ringland.intake.intake import Intake, take_in
from ringland.intake.mapping.column_evidence import OnRecord
from ringland.intake.mapping.column_mapping import parse_mapping
from ringland.intake.mapping.dock_clocks import DockClocks
from ringland.intake.mapping.mapped_rows import read_mapped
from ringland.intake.mapping.mapping_draft import draft_mapping
from ringland.intake.mapping.mapping_entries import MappingError
from ringland.intake.mapping.source_look import look_at
from ringland.intake.rows_on_record import split_new
from ringland.intake.written.raw_file import RecordFileError
from ringland.settings.assumptions import load_assumptions
from tests.intake.file_cases.case import FileCase, Row, World

MEASURED = {
    "hull_id", "engine_id", "volume_l", "octane_aki", "octane_ron", "octane_mon",
    "octane_unlabelled", "price_per_l", "meter_h", "running_h", "burned_l",
    "full_throttle_share", "level_l", "total_l", "filled_at", "delivered_at", "read_at",
    "started_at", "ended_at", "fitted_at", "fitted_engine_h", "booster_points",
}  # fmt: skip
"""Columns that must be empty where the truth says nothing of them."""
MOST_ANSWERS = 3


@dataclass
class Outcome:
    """What became of a case."""

    answers: int = 0
    unanswered: list[str] = field(default_factory=list)
    refused: str = ""
    wrong: list[str] = field(default_factory=list)
    lost: int = 0
    missing: int = 0
    set_aside: int = 0
    faults: list[str] = field(default_factory=list)

    @property
    def is_silent(self) -> bool:
        """Whether something was misread or lost and nothing says so."""
        return bool(self.wrong) or self.lost > 0

    @property
    def is_right(self) -> bool:
        """Whether everything was read rightly after three answers or fewer."""
        return not (
            self.is_silent
            or self.refused
            or self.unanswered
            or self.missing
            or self.answers > MOST_ANSWERS
        )


def clocks_of(world: World) -> DockClocks:
    """The clocks of the shop's docks."""
    return DockClocks(
        dict.fromkeys(world.docks, world.zone), dict.fromkeys(world.hulls, world.docks[0])
    )


def on_record_of(world: World) -> OnRecord:
    """What the shop has on record that helps a draft."""
    return OnRecord(world.known, clocks_of(world), [world.country])


def judge(case: FileCase) -> Outcome:
    """Load the case's files one after the other and hold them against the truth."""
    outcome = Outcome()
    on_record: dict[str, pl.DataFrame] = {}
    aside: list[pl.DataFrame] = []
    told = 0
    for name, content in case.files.items():
        try:
            intakes, left_out = _read(case, name, content, outcome)
        except (RecordFileError, MappingError) as error:
            outcome.refused = str(error)
            told += len(case.truth)
            continue
        told += left_out
        for intake in intakes:
            aside.append(intake.set_aside)
            told += intake.rows_set_aside
            outcome.set_aside += intake.rows_set_aside
            outcome.faults += intake.set_aside["fault"].to_list()
            there = on_record.get(intake.kind, intake.loaded.clear())
            parts = split_new(RECORD_KINDS[intake.kind], intake.loaded, there)
            told += parts.conflicts_set_aside.height
            outcome.faults += parts.conflicts_set_aside["fault"].to_list()
            on_record[intake.kind] = pl.concat([there, parts.new])
    rows = [(kind, row) for kind, frame in on_record.items() for row in frame.to_dicts()]
    _hold_against(case, rows, aside, told, outcome)
    return outcome


def _hold_against(
    case: FileCase,
    rows: list[tuple[str, dict[str, object]]],
    aside: list[pl.DataFrame],
    told: int,
    outcome: Outcome,
) -> None:
    left = list(case.truth)
    cells = {n: pl.col("raw_row").str.json_path_match(f"$.{n}") for n in FILL_CELLS}
    refunds = pl.concat([SetAside.create_empty(), *aside]).filter(
        pl.col("raw_row").str.starts_with("{")
    )
    doubted = doubted_keys(rows, refunds.with_columns(**cells))
    for kind, row in rows:
        same = next((true for true in left if _is_same(true, kind, row)), None)
        if same is not None:
            left.remove(same)
        elif _key(row) not in doubted:
            outcome.wrong.append(f"{kind}: { ({k: v for k, v in row.items() if v is not None}) }")
        else:
            outcome.missing += 1  # told as a doubt
    outcome.missing += len(left)
    outcome.lost = max(0, len(left) - told)


FILL_CELLS = ("hull_id", "filled_at", "volume_l")


def _key(row: dict[str, object]) -> str:
    at = row.get("filled_at")
    return f"{row.get('hull_id')}; {at:%Y-%m-%dT%H:%M:%SZ}" if isinstance(at, datetime) else ""


def _is_same(true: Row, kind: str, row: Mapping[str, object]) -> bool:
    true_kind, values = true
    names = set(values) | (MEASURED & set(row))
    return kind == true_kind and all(_agree(values.get(name), row.get(name)) for name in names)


def _agree(true: object, read: object) -> bool:
    if isinstance(true, datetime) and isinstance(read, datetime):
        # a second half of a fill may stand a second after the first
        return abs(true - read) < timedelta(minutes=1)
    if isinstance(true, int | float) and isinstance(read, int | float):
        return abs(true - read) <= 1e-6 * max(1.0, abs(true))
    return true == read


def _read(case: FileCase, name: str, content: bytes, outcome: Outcome) -> tuple[list[Intake], int]:
    if case.contract:
        kind = RECORD_KINDS[next(k for k in RECORD_KINDS if name.startswith(k))]
        return take_in_contract_file(
            kind, name, content, case.world.known, clocks_of(case.world)
        ), 0
    mapping = case.mapping
    if mapping is None:
        draft = draft_mapping(name, look_at(name, content), on_record_of(case.world))
        mapping, count, unanswered = answered(draft, case)
        outcome.answers += count
        outcome.unanswered += unanswered
    tables = read_mapped(name, content, parse_mapping("m.toml", mapping), clocks_of(case.world))
    return [take_in(t.kind, t.raw, case.world.known, t.found) for t in tables], sum(
        t.left_out for t in tables
    )


def doubted_keys(rows: list[tuple[str, dict[str, object]]], refunds: pl.DataFrame) -> set[object]:
    """The fills that a doubt names, as a correction would."""
    fills = pl.DataFrame(
        [row for kind, row in rows if kind == "fills"],
        schema=FILLS.schema.create_empty().schema
        | {"source_file": pl.String, "source_row": pl.Int64},
    )
    doubts = pl.concat(
        [
            fills_written_twice({"fills": fills}, ASSUMPTIONS),
            fills_taken_back({"fills": fills}, refunds),
        ]
    )
    # a doubt's words name both fills of a pair
    near = fills.join(doubts.select("hull_id", "noted_at"), on="hull_id")
    near = near.filter((pl.col("filled_at") - pl.col("noted_at")).abs() <= timedelta(minutes=15))
    return {_key(row) for row in near.to_dicts()}


SOURCE = {"source_file": pl.String, "source_row": pl.Int64}
FILLS = RECORD_KINDS["fills"]
ASSUMPTIONS = load_assumptions()


ASKED = '"?"'


def answered(draft: str, case: FileCase) -> tuple[str, int, list[str]]:
    """The draft with the owner's answers, how many there were, and what stayed open."""
    lines, section, kind, count, open_questions = [], "", "", 0, []
    for line in draft.splitlines():
        if line.startswith("["):
            section = line.strip()
        if ASKED in line and not line.lstrip().startswith("#"):
            name = line.split(" =")[0].strip().strip('"')
            (said,) = tomllib.loads(line).values()
            new, answers = _answer(case, lines, kind, name, said, line)
            count += answers
            if ASKED in new:
                open_questions.append(f"{section} {line.strip()}")
            line = new  # noqa: PLW2901
        if line.startswith("kind ="):
            kind = tomllib.loads(line)["kind"]
        lines.append(line)
    return "\n".join(lines), count, open_questions


def _answer(  # noqa: PLR0911, PLR0917 - one answer a question
    case: FileCase, comments: list[str], kind: str, name: str, said: object, line: str
) -> tuple[str, int]:
    knows = case.knows
    columns: Mapping[str, object] = knows.get("columns", {})
    words: Mapping[str, str] = knows.get("words", {})
    if name in columns:
        return f'{name} = "{columns[name]}"', 1
    if name == "date_formats" and "day_first" in knows:
        first = "# day first: " if knows["day_first"] else "# month first: "
        return next(c for c in comments if c.startswith(first)).removeprefix(first), 1
    if name == "time_zone":
        return line.replace(ASKED, f'"{case.world.zone}"'), 1
    if name == "thousands" and "decimal" in knows:
        return line.replace(ASKED, '","' if knows["decimal"] == "." else '"."'), 0
    if name in ("time_of_day", "decimal") and name in knows:
        return line.replace(ASKED, f'"{knows[name]}"'), 1
    if name == "source" and "source" in knows:
        return _source(str(knows["source"]), line), 1
    if isinstance(said, dict) and said.get("unit") == "?":
        unit = _unit(case, name)
        return (line.replace(ASKED, f'"{unit}"'), 1) if unit else (line, 0)
    answers = 0
    for word, meaning in words.items():
        if f'"{word}" = {ASKED}' in line:
            line = line.replace(f'"{word}" = {ASKED}', f'"{word}" = "{meaning}"')
            answers += 1
    for word in ("gal", "gallon", "gallons"):
        if f'"{word}" = {ASKED}' in line and "gallon" in knows:
            line = line.replace(f'"{word}" = {ASKED}', f'"{word}" = "{knows["gallon"]}"')
            answers += 1
    return line, answers


def _source(said: str, line: str) -> str:
    if said == "outside":
        return 'source = { value = "outside" }'
    if said == "dock":
        return 'source = { value = "dock" }'
    return f'source = {{ value = "dock" }}\nsource_dock_id = {{ value = "{said}" }}'


def _unit(case: FileCase, name: str) -> str | None:
    knows = case.knows
    if name == "full_throttle_share" and knows.get("percent"):
        return "%"
    if name == "running_h" and "running_unit" in knows:
        return str(knows["running_unit"])
    if "gallon" in knows:
        gallon = str(knows["gallon"])
        return f"money/{gallon}" if name == "price_per_l" else gallon
    if knows.get("litres"):
        return "money/l" if name == "price_per_l" else "l"
    return None
