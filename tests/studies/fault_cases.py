"""What the fault study needs of a home: the commands, the damages, and doing as the check says."""

import hashlib
import random
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import duckdb
import pytest
from click.testing import CliRunner

from pipelines import command_line
from pipelines.duckdb_warehouse import warehouse_at
from pipelines.home import Home
from pipelines.taken_list import NAMES
from pipelines.warehouse_care import check_warehouse, record_tables
from pipelines.weekly.store import WeekStore
from tests.pipelines.tiny_shop import WEEKS, write_tiny

MONDAY = WEEKS[1]
NOW = datetime.fromisoformat(f"{MONDAY}T08:00:00+00:00")
MOST_ROUNDS = 4


@dataclass(frozen=True)
class Shop:
    """A small shop: its record files, its homes in three states, and a backup of the last."""

    folder: Path

    @property
    def records(self) -> Path:
        return self.folder / "records"

    @property
    def backup(self) -> Path:
        return self.folder / "backup.zip"

    def home(self, name: str) -> Home:
        return Home(self.folder / name / "home")

    def copy(self, name: str, place: Path) -> Home:
        return Home(Path(shutil.copytree(self.home(name).folder, place)))

    def make(self) -> None:
        write_tiny(self.records)
        empty = self.home("empty").prepare()
        shutil.copytree(empty.folder, self.home("loaded").folder)
        run(self.home("loaded"), "load", str(self.records))
        shutil.copytree(self.home("loaded").folder, self.home("worked").folder)
        worked = self.home("worked")
        run(worked, "week")
        worked.photos.mkdir()
        (worked.photos / "ring land.jpg").write_bytes(b"a photo")
        run(worked, "backup", str(self.backup))


def run(home: Home, *arguments: str) -> str:
    """A command given on Monday morning; it must do what it says."""
    with pytest.MonkeyPatch.context() as clock:
        clock.setattr(command_line, "_now", lambda: NOW)
        clock.setattr("webbrowser.open", lambda _: True)
        done = CliRunner().invoke(command_line.main, ["--home", str(home.folder), *arguments])
    if done.exit_code:
        raise RuntimeError(f"{' '.join(arguments[:2])}: {done.output[-600:]}")
    return done.output


def run_command(shop: Shop, home: Home, command: str) -> None:
    """One of the study's commands."""
    beside = home.folder.parent
    arguments = {
        "load": (str(shop.records),),
        "backfill": ("--since", WEEKS[0]),
        "publish": (str(beside / "published.duckdb"),),
        "backup": (str(beside / f"b{len(list(beside.glob('b*.zip')))}.zip"),),
        "restore": (str(shop.backup),),
    }
    run(home, command, *arguments.get(command, ()))


def all_of(home: Home) -> dict[str, str]:
    """A digest of every table, of every week's outputs and of every file that is kept."""
    tables = record_tables(warehouse_at(home.database))
    found = {name: _digest(frame.write_csv().encode()) for name, frame in tables.items()}
    store = WeekStore(home.weeks)
    for key in store.weeks():
        listed = store.listed(key)
        for label, stamp in listed.outputs.items():
            found[f"{key.name}/{label}"] = stamp.content
            if damaged := store.damaged(key, stamp):
                found[f"{key.name}/{label}"] = f"damaged: {damaged}"
        found[f"{key.name}/given out"] = str(listed.made.is_given_out)
    for folder in (home.photos, home.mappings, *sorted(home.site.glob("2*"))):
        for path in folder.rglob("*"):
            if path.is_file():
                found[path.relative_to(home.folder).as_posix()] = _digest(path.read_bytes())
    return found


def _digest(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()[:16]


def brought_back(shop: Shop, home: Home, command: str | None) -> dict[str, Any]:
    """Do as the check says until it is content, then give the command again."""
    steps: list[str] = []
    if command == "restore" and not home.folder.exists():
        run_command(shop, home, command)  # it was cut off between two renames
        steps.append("restore again")
    for _ in range(MOST_ROUNDS):
        wrong = [line for finding in check_warehouse(home) for line in finding.wrong]
        step = next((step for line in wrong if (step := _step(line)) is not None), None)
        if step is None:
            break
        steps.append(step[0])
        run(home, *(part.format(records=shop.records, backup=shop.backup) for part in step))
    if command is not None:
        run_command(shop, home, command)
    left = [line for finding in check_warehouse(home) for line in finding.wrong]
    return {"steps": steps, "left": left, "all": all_of(home)}


def _step(line: str) -> tuple[str, ...] | None:
    """The step that a line of the check says, the first that it names."""
    said = {
        "load the original again": ("load", "{records}"),
        "load it again": ("load", "{records}"),
        "load its file again": ("load", "{records}"),
        "Load some records": ("load", "{records}"),
        "ringland restore BACKUP --mend": ("restore", "{backup}", "--mend"),
        "ringland rebuild": ("rebuild",),
        "ringland open": ("open", "--as-of", MONDAY),
        "ringland week": ("week",),
    }
    found = [(line.index(words), step) for words, step in said.items() if words in line]
    return min(found)[1] if found else None


def _flip(path: Path, chance: random.Random) -> str:
    content = bytearray(path.read_bytes())
    at = chance.randrange(len(content))
    content[at] ^= chance.randrange(1, 256)
    path.write_bytes(content)
    return f"{path.name} at {at}"


def _truncate(path: Path, chance: random.Random) -> str:
    content = path.read_bytes()
    path.write_bytes(content[: chance.randrange(len(content))])
    return path.name


def _delete(path: Path, _: random.Random) -> str:
    path.unlink()
    return path.name


def _tamper(path: Path, _: random.Random) -> str:
    path.write_bytes(path.read_bytes().replace(b",40,", b",14,").replace(b"north", b"south"))
    return path.name


def _to(pick: Callable[[Home], list[Path]], damage: Callable[[Path, random.Random], str]) -> Any:
    def do(home: Home, chance: random.Random) -> str:
        return damage(chance.choice(sorted(pick(home))), chance)

    return do


def _copies(home: Home) -> list[Path]:
    return list(home.raw.glob("*.csv"))


def _lists(home: Home) -> list[Path]:
    return [home.raw / name for name in NAMES]


def _week_files(home: Home) -> list[Path]:
    return [path for path in home.weeks.glob("*/*") if path.is_file() and path.stat().st_size]


def _database(home: Home) -> list[Path]:
    return [home.database]


def _schema_half_done(home: Home, chance: random.Random) -> str:
    with duckdb.connect(str(home.database)) as con:
        version = chance.randrange(1, 7)
        con.execute("delete from schema_version where version > ?", [version])
        table = chance.choice(["files", "mended", "fills", "sessions", "set_aside"])
        con.execute(f"drop table shop_records.{table}")
    return f"version {version}, {table} dropped"


def _rows_lost(home: Home, chance: random.Random) -> str:
    with duckdb.connect(str(home.database)) as con:
        con.execute(
            f"delete from shop_records.fills where source_row % {chance.randrange(2, 9)} = 0"
        )
    return "rows of fills deleted"


DAMAGES: dict[str, Callable[[Home, random.Random], str]] = {
    "bytes of a copy": _to(_copies, _flip),
    "a copy truncated": _to(_copies, _truncate),
    "a copy tampered": _to(_copies, _tamper),
    "a copy deleted": _to(_copies, _delete),
    "bytes of a list": _to(_lists, _flip),
    "a list truncated": _to(_lists, _truncate),
    "a list lost": _to(_lists, _delete),
    "bytes of the database": _to(_database, _flip),
    "the database truncated": _to(_database, _truncate),
    "the database lost": _to(_database, _delete),
    "schema half done": _schema_half_done,
    "rows lost": _rows_lost,
    "bytes of a week": _to(_week_files, _flip),
    "a file of a week lost": _to(_week_files, _delete),
}
