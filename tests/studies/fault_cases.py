"""What the fault study needs of a home: the commands, the damages, and doing as the check says."""

import hashlib
import os
import random
import shutil
import signal
import sys
import time
from collections.abc import Callable, Collection, Iterator
from contextlib import contextmanager, suppress
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import duckdb
import pytest
from click.testing import CliRunner

from pipelines import command_line
from pipelines.backup import read_manifest, wrong_in
from pipelines.dockside.certificates import FOLDER, own_certificates
from pipelines.dockside.journal import SECOND, Journal, read_journal
from pipelines.dockside.people import PEOPLE, People
from pipelines.dockside.taking_in import TAKEN
from pipelines.duckdb_warehouse import warehouse_at
from pipelines.home import JOURNAL, SESSIONS, Home
from pipelines.taken_list import NAMES
from pipelines.warehouse_care import check_warehouse, record_tables
from pipelines.weekly.store import WeekStore, _list_in
from pipelines.whole_files import free_name
from ringland.contracts.record_kinds import ALL_KINDS
from ringland.dockside.entries import Entry, StampedEntry
from tests.pipelines.tiny_shop import WEEKS, tiny_files, write_tiny

MONDAY = WEEKS[1]
NOW = datetime.fromisoformat(f"{MONDAY}T08:00:00+00:00")
MOST_ROUNDS = 8
FIRST_FILES = ("docks", "hulls", "engines", "installations", "piston_sets")
"""Of the shop's records, those on record before its phones made entries."""


def make_shop(base: str) -> None:
    """The homes that cases begin with, as states of the arena.

    empty: nothing yet; begun: hulls, people, keys and two entries at the dock, none taken in;
    loaded: all records and those two, a third entry waits; worked: a week with that one in it,
    a backup with a fourth, a fifth since.  All stand in the arena while they are made, since
    views name the folder.
    """
    arena = Path(base) / "arena"
    home = _home(arena).prepare()
    write_tiny(arena / "records")
    shutil.copytree(arena, Path(base) / "empty")
    (arena / "first").mkdir()
    for name in FIRST_FILES:
        (arena / "first" / f"{name}.csv").write_text(tiny_files()[f"{name}.csv"])
    run(home, "load", str(arena / "first"))
    open_dock(home)
    enter(home, 1)
    enter(home, 2)
    shutil.copytree(arena, Path(base) / "begun")
    run(home, "load", str(arena / "records"))
    enter(home, 3)
    shutil.copytree(arena, Path(base) / "loaded")
    run(home, "week")
    home.photos.mkdir()
    (home.photos / "ring land.jpg").write_bytes(b"a photo")
    enter(home, 4)
    run(home, "backup", str(arena / "backup.zip"))
    enter(home, 5)
    shutil.copytree(arena, Path(base) / "worked")


def open_dock(home: Home) -> None:
    """People, keys and a session, as a server leaves them."""
    began = NOW - timedelta(days=2)
    people = People(home.dockside)
    people.join(people.invite("Mia", "owner", began, None, None), "a long password", began)
    people.invite("Nils", "mechanic", began, None, None)
    own_certificates(home.dockside, ["localhost"], began)
    (home.dockside / SESSIONS).write_text("{}", encoding="utf-8")


def enter(home: Home, number: int) -> None:
    """An entry that was acknowledged."""
    at = NOW - timedelta(hours=24 - number)
    cells = {"hull_id": "A1", "filled_at": f"{at:%Y-%m-%dT%H:%M:%SZ}", "volume_l": "5",
             "source": "outside", "octane_aki": "91"}  # fmt: skip
    with Journal(home.dockside) as journal:
        journal.append(
            [StampedEntry(Entry(f"entry-{number}", "fills", cells, at), "Mia", "a phone", at)]
        )


def _home(arena: Path) -> Home:
    return Home(arena / "home")


class RefusedError(RuntimeError):
    """A command ended in words, not in a traceback."""


def run(home: Home, *arguments: str) -> str:
    """A command given on Monday morning; it must do what it says."""
    with pytest.MonkeyPatch.context() as clock:
        clock.setattr(command_line, "_now", lambda: NOW)
        clock.setattr("webbrowser.open", lambda _: True)
        done = CliRunner().invoke(command_line.main, ["--home", str(home.folder), *arguments])
    if done.exit_code:
        kind = RefusedError if isinstance(done.exception, SystemExit) else RuntimeError
        raise kind(f"{' '.join(arguments[:2])}: {done.output[-600:]} {done.exception!r}")
    return done.output


def run_command(arena: Path, command: str) -> None:
    """One of the study's commands."""
    arguments = {
        "load": (str(arena / "records"),),
        "backfill": ("--since", "2026-06-15"),
        "publish": (str(arena / "published.duckdb"),),
        "backup": (str(free_name(arena / "new.zip")),),
        "restore": (str(arena / "backup.zip"),),
    }
    name = command.removeprefix("first ").removesuffix(" again")
    run(_home(arena), name, *arguments.get(name, ()))


def ready() -> None:
    """Nothing; the process has its imports done."""


def undisturbed(arena: str, command: str) -> dict[str, Any]:
    """What a command leaves, its events on files and the CPU it takes."""
    began = time.process_time()
    with WATCH.over(Path(arena)):
        run_command(Path(arena), command)
    took, events = time.process_time() - began, WATCH.count
    _as_it_says(Path(arena), takes_in=command.endswith(" again"))
    return {"all": all_of(_home(Path(arena))), "events": events, "took": took}


def stopped_at(arena: str, command: str, events: list[int]) -> None:
    """A command whose process stops just before each of these events."""

    def stop() -> None:
        os.kill(os.getpid(), signal.SIGSTOP)

    with WATCH.over(Path(arena), events, stop):
        run_command(Path(arena), command)


def with_full_disk(arena: str, command: str, event: int) -> dict[str, Any]:
    """A command whose disk is filled up just before an event, and room made again after it."""
    filler, home = Path(arena) / "filler", _home(Path(arena))
    before = all_of(home)

    def fill() -> None:
        with filler.open("wb", buffering=0) as file:
            for size in (1 << 20, 1 << 10, 1):
                with suppress(OSError):
                    while True:
                        file.write(bytes(size))

    words = "went through"
    with WATCH.over(Path(arena), [event], fill):
        try:
            run_command(Path(arena), command)
        except RefusedError as error:
            words = str(error)
    filler.unlink(missing_ok=True)
    after = all_of(home)
    lost = [name for name, digest in before.items() if after.get(name) != digest]
    return {"words": words, "lost": [name for name in lost if "/" in name]}


class Watch:
    """Counts the events by which files below a folder change, and acts just before some."""

    def __init__(self) -> None:
        """Watch nothing yet."""
        self.count, self.folder, self.at, self.act = 0, "", set[int](), lambda: None
        self.is_on = False
        sys.addaudithook(self._heard)

    @contextmanager
    def over(
        self, folder: Path, at: Collection[int] = (), act: Callable[[], None] = lambda: None
    ) -> Iterator[None]:
        """Watch a folder."""
        self.count, self.folder, self.at, self.act = 0, str(folder), set(at), act
        self.is_on = True
        try:
            yield
        finally:
            self.is_on = False

    def _heard(self, event: str, arguments: tuple[Any, ...]) -> None:
        if not self.is_on or event not in CHANGES:
            return
        if event == "open" and not int(arguments[2] or 0) & (os.O_WRONLY | os.O_RDWR | os.O_CREAT):
            return
        if not os.fsdecode(arguments[0] if not isinstance(arguments[0], int) else b"").startswith(
            self.folder
        ):
            return
        self.count += 1
        if self.count - 1 in self.at:
            self.is_on = False  # what is done now is not watched
            self.act()
            self.is_on = True


CHANGES = {"open", "os.rename", "os.remove", "os.link", "os.mkdir", "os.rmdir", "os.truncate"}
WATCH = Watch()


ROWS = "rows of "
"""Before a record kind: its rows without the file that each came by."""


def all_of(home: Home) -> dict[str, str]:
    """A digest of every table, of every week's outputs and of every file that is kept."""
    tables = record_tables(warehouse_at(home.database))
    found = {name: _digest(frame.write_csv().encode()) for name, frame in tables.items()}
    for name, kind in ALL_KINDS.items():
        rows = tables[f"shop_records.{name}"].select(kind.schema.column_names()).sort(kind.key)
        found[f"{ROWS}{name}"] = _digest(rows.write_csv().encode())
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
    for path in (home.dockside / PEOPLE, *home.dockside.glob(f"{FOLDER}/*.*")):
        if path.exists():
            found[path.relative_to(home.folder).as_posix()] = _digest(path.read_bytes())
    for one in read_journal(home.dockside / JOURNAL):
        found[f"{home.dockside.name}/{one.entry.id}"] = _digest(repr(one).encode())
    return found


def _digest(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()[:16]


def brought_back(place: str, command: str | None) -> dict[str, Any]:
    """Do as the check says until it is content, then give the command again."""
    arena, began = Path(place), time.process_time()
    home = _home(arena)
    steps, wrong = _as_it_says(arena, takes_in=command is None)
    if command is not None:
        run_command(arena, command)
        more, wrong = _as_it_says(arena)
        steps += more
    litter = [path.name for path in arena.rglob("*") if path.name.endswith(LITTER)]
    left = [*wrong, *_not_whole(arena)]
    spent = round(time.process_time() - began, 2)
    return {"steps": steps, "left": left, "litter": litter, "all": all_of(home), "cpu_s": spent}


def _as_it_says(arena: Path, *, takes_in: bool = False) -> tuple[list[str], list[str]]:
    """Do as the check says, each of its lines' steps once; what was done, and what is left.

    That entries wait at the dock is no fault: they are taken in where a damage may have met them.
    """
    home, done = _home(arena), list[tuple[str, tuple[str, ...]]]()
    while True:
        wrong = [line for line in _wrong(home) if takes_in or not line.endswith(WAITING)]
        told = [(line, step) for line in wrong for step in _steps(line)]
        left = [one for one in told if one not in done]
        if not left or len(done) == MOST_ROUNDS:
            return [step[0] for _, step in done], wrong
        done.append(left[0])
        run(home, *(part.format(arena=arena) for part in left[0][1]))


WAITING = "not taken in yet: run 'ringland load'"
LITTER = (".partial", ".new", ".gone", ".rebuilt", ".restoring")


def _wrong(home: Home) -> list[str]:
    _list_in.cache_clear()  # as in a process of its own
    return [line for finding in check_warehouse(home) for line in finding.wrong]


def _not_whole(arena: Path) -> list[str]:
    """Backups and published copies that can be taken for whole and are not."""
    backups = [
        f"{file.name}: {wrong}"
        for file in arena.glob("*.zip")
        for wrong in wrong_in(file, read_manifest(file))
    ]
    published = [file for file in arena.glob("*.duckdb") if not record_tables(warehouse_at(file))]
    return [*backups, *(file.name for file in published)]


def _steps(line: str) -> list[tuple[str, ...]]:
    """The steps that a line of the check says, in its order."""
    said = {
        "load the original again": ("load", "{arena}/records"),
        "load it again": ("load", "{arena}/records"),
        "load its file again": ("load", "{arena}/records"),
        "Load some records": ("load", "{arena}/records"),
        "ringland restore BACKUP --mend": ("restore", "{arena}/backup.zip", "--mend"),
        "ringland restore BACKUP' again": ("restore", "{arena}/backup.zip"),
        "run 'ringland load'": ("load",),
        "ringland rebuild": ("rebuild",),
        "ringland open": ("open", "--as-of", MONDAY),
        "ringland week": ("week",),
    }
    found = [(line.index(words), step) for words, step in said.items() if words in line]
    return [step for _, step in sorted(found)]


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


def _journal(home: Home) -> list[Path]:
    return [home.dockside / JOURNAL, home.dockside / SECOND]


def _taken_in(home: Home) -> list[Path]:
    return [home.dockside / TAKEN]


def _people(home: Home) -> list[Path]:
    return [home.dockside / PEOPLE]


def _keys(home: Home) -> list[Path]:
    return list(home.dockside.glob(f"{FOLDER}/*.*"))


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
    "bytes of the journal": _to(_journal, _flip),
    "the journal truncated": _to(_journal, _truncate),
    "the journal lost": _to(_journal, _delete),
    "bytes of what was taken in": _to(_taken_in, _flip),
    "what was taken in lost": _to(_taken_in, _delete),
    "bytes of the people": _to(_people, _flip),
    "the people lost": _to(_people, _delete),
    "bytes of a key": _to(_keys, _flip),
    "a key lost": _to(_keys, _delete),
}


def damage(place: str, number: int, seed: int) -> dict[str, str]:
    """Damage one thing of a home; each kind in turn."""
    name = sorted(DAMAGES)[number % len(DAMAGES)]
    chance = random.Random(seed)  # noqa: S311 - places, not secrets
    return {"damage": name, "what": DAMAGES[name](_home(Path(place)), chance)}
