"""Kills, damages and full disks: does following the tool's own advice bring everything back?

Run: python -m tests.studies.fault_study OUT.jsonl [--cuts 50] [--damages 100] [--full 20]
                                                   [--only load,week,damage,full]
then: python -m tests.studies.fault_study OUT.jsonl --table

Each case takes a copy of a small shop's home, cuts a command off (or damages one file, or fills
the disk), asks `ringland check`, does what its lines say and nothing else, gives the command
again, and holds tables, weeks and kept files against an undisturbed run.

A cut is what SIGKILL leaves on the disk at one moment: the process is stopped (SIGSTOP), the
home is copied as it lies, and the process goes on to the next moment; so that one run gives
many cases.  One in twenty-five is killed for good instead.  Moments are drawn from the system's
chance, half by time and half just before a file is opened to write, renamed or removed.  The
disk is a small tmpfs that is filled to its last byte at such a moment; that needs root.  All
runs are forked, so that the imports are paid for once; POSIX only.
"""

import argparse
import json
import multiprocessing
import os
import random
import secrets
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from importlib import import_module
from pathlib import Path
from typing import Any

COMMANDS = (
    "load",
    "first load",
    "week",
    "backfill",
    "today",
    "publish",
    "backup",
    "restore",
    "rebuild",
)
FULL = ("load", "week")
FROM = {
    "load": "begun",
    "first load": "empty",
    "week": "loaded",
    "backfill": "loaded",
    "rebuild": "loaded",
}
"""The home a command begins with; the others begin with a week worked out."""
_HEAVY = ("dagster", "duckdb", "lifelines", "numba", "pint", "plotly.graph_objects", "rich.table",
          "scipy.optimize", "scipy.stats", "sklearn.ensemble", "typst", "xlsxwriter")  # fmt: skip
"""Imported once, before the forks; not Polars, whose threads would not be in them."""
_FORK = multiprocessing.get_context("fork")
_BATCH = 8
"""Moments of one run."""
_STARTS_S = 120.0


class Worker:
    """A process that does what is asked of the cases, one after the other."""

    def __init__(self) -> None:
        """Fork it."""
        self.pipe, theirs = _FORK.Pipe()
        self.process = _FORK.Process(target=_serve, args=(theirs,), daemon=True)
        self.process.start()
        theirs.close()

    def ask(self, name: str, *arguments: Any) -> None:
        """Have a function of the cases called."""
        self.pipe.send((name, arguments))

    def answer(self) -> Any:
        """What it gave.

        Raises:
            RuntimeError: what it raised.
        """
        is_right, told = self.pipe.recv()
        if not is_right:
            raise RuntimeError(told)
        return told

    def do(self, name: str, *arguments: Any) -> Any:
        """What a function of the cases gives."""
        self.ask(name, *arguments)
        return self.answer()

    def end(self) -> None:
        """Let it go."""
        self.process.kill()
        self.process.join()
        self.pipe.close()


def _serve(pipe: Any) -> None:
    cases = import_module("tests.studies.fault_cases")
    while True:
        name, arguments = pipe.recv()
        try:
            told = (True, getattr(cases, name)(*arguments))
        except BaseException as error:
            told = (False, f"{type(error).__name__}: {error}")
        pipe.send(told)


class Study:
    """The arena in which every case stands, the homes to begin with, and what is expected."""

    def __init__(self, base: Path, commands: list[str]) -> None:
        """Make the shop's homes, and do each command once undisturbed."""
        self.base, self.arena = base, base / "arena"
        self.warm = Worker()
        self.warm.do("make_shop", str(base))
        self.expected: dict[str, dict[str, Any]] = {}
        for command in {*commands, "publish"} & set(COMMANDS):
            self.begin(command)
            victim = Worker()
            self.expected[command] = victim.do("undisturbed", str(self.arena), command)
            victim.end()

    def begin(self, command: str) -> None:
        """The home that a command begins with, into the arena."""
        self.put(self.base / FROM.get(command, "worked"))

    def put(self, state: Path) -> None:
        """A state of the arena, in its place."""
        shutil.rmtree(self.arena, ignore_errors=True)
        shutil.copytree(state, self.arena)

    def came_back(self, about: dict[str, Any], command: str | None) -> dict[str, Any]:
        """The line of a case whose home lies damaged in the arena."""
        try:
            found = self.warm.do("brought_back", str(self.arena), command)
        except RuntimeError as error:
            return {**about, "outcome": "failed", "why": str(error)}
        wanted = self.expected[command or "publish"]["all"]
        return {**about, **told(found, wanted)}

    def cuts(self, command: str, count: int) -> Iterator[dict[str, Any]]:
        """Cases of one command cut off."""
        killed, done = max(1, count // 25), 0
        while done < count:
            seed = secrets.randbits(32)
            chance = random.Random(seed)  # noqa: S311 - moments, not secrets
            is_killed = done < killed
            is_by_file = chance.random() < 0.5 if is_killed else (done - killed) // _BATCH % 2
            # a command that changes no file ('today') can be cut off by time alone
            by = "file" if is_by_file and self.expected[command]["events"] else "time"
            moments = 1 if is_killed else min(_BATCH, count - done)
            for number, (at, state) in enumerate(self._stops(command, by, moments, chance)):
                self.put(state)
                shutil.rmtree(state)
                about = {"command": command, "seed": seed, "number": number, "by": by, "at": at,
                         "killed": is_killed}  # fmt: skip
                yield self.came_back(about, command)
                done += 1

    def _stops(
        self, command: str, by: str, count: int, chance: random.Random
    ) -> list[tuple[float, Path]]:
        """What lay on the disk at some moments of one run; one alone is its end."""
        expected = self.expected[command]
        most = expected["events"] if by == "file" else expected["took"]
        at = sorted(chance.uniform(0, most) for _ in range(count))
        self.begin(command)
        victim = Worker()
        victim.do("ready")
        pid, states, ran = victim.process.pid, [], 0.0
        assert pid is not None
        events = [int(moment) for moment in at] if by == "file" else []
        victim.ask("stopped_at", str(self.arena), command, events)
        for number, moment in enumerate(sorted(set(events)) if events else at):
            if by == "time":
                time.sleep(moment - ran)
                ran = moment
                os.kill(pid, signal.SIGSTOP)
            if not _stopped(pid, victim.pipe) or (by == "time" and victim.pipe.poll()):
                os.kill(pid, signal.SIGCONT)
                break
            state = self.base / f"state-{number}"
            if count == 1:
                os.kill(pid, signal.SIGKILL)
            shutil.copytree(self.arena, state)
            states.append((moment, state))
            if count == 1:
                break
            os.kill(pid, signal.SIGCONT)
        if count > 1:
            victim.answer()
        victim.end()
        return states

    def damages(self, count: int) -> Iterator[dict[str, Any]]:
        """Cases of one thing damaged in a home."""
        for number in range(count):
            seed = secrets.randbits(32)
            self.put(self.base / "worked")
            what = self.warm.do("damage", str(self.arena), number, seed)
            yield self.came_back({"command": "damage", "seed": seed, **what}, None)

    def full_disks(self, command: str, count: int) -> Iterator[dict[str, Any]]:
        """Cases of a command whose disk is filled to its last byte while it runs."""
        for number in range(count):
            seed = secrets.randbits(32)
            chance = random.Random(seed)  # noqa: S311 - moments, not secrets
            events = self.expected[command]["events"]
            at = int(events * (number + chance.random()) / count)
            shutil.rmtree(self.arena, ignore_errors=True)
            self.arena.mkdir()
            with _small_disk(self.arena):
                shutil.copytree(
                    self.base / FROM.get(command, "worked"), self.arena, dirs_exist_ok=True
                )
                said = self.warm.do("with_full_disk", str(self.arena), command, at)
                about = {"command": f"full disk, {command}", "seed": seed, "at": at, **said}
                yield self.came_back(about, command)


class _small_disk:  # noqa: N801 - reads as a function
    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def __enter__(self) -> None:
        mount = ["mount", "-t", "tmpfs", "-o", "size=160m", "tmpfs", str(self.folder)]
        subprocess.run(mount, check=True)

    def __exit__(self, *_: object) -> None:
        subprocess.run(["umount", str(self.folder)], check=True)


def _stopped(pid: int, pipe: Any) -> bool:
    """Wait until a process stops; False: it is done instead."""
    while True:
        found, status = os.waitpid(pid, os.WUNTRACED | os.WNOHANG)
        if found:
            return os.WIFSTOPPED(status)
        if pipe.poll(0.005):
            return False


def told(found: dict[str, Any], wanted: dict[str, str]) -> dict[str, Any]:
    """Equal, or said to be loaded again, or lost."""
    differs = sorted(
        name for name in wanted.keys() | found["all"].keys()
        if wanted.get(name) != found["all"].get(name)
    )  # fmt: skip
    outcome = "equal" if not differs else "differs"
    if differs and all(name in ("shop_records.files", "shop_records.fills") for name in differs):
        outcome = "equal"  # the dock's entries taken in again, as one file in place of several
    if found["left"]:
        outcome = "told" if outcome == "differs" else "equal, but the check is not content"
    return {"outcome": outcome, "steps": found["steps"], "left": found["left"],
            "litter": found["litter"], "cpu_s": found["cpu_s"], "differs": differs[:5]}  # fmt: skip


def main() -> None:
    """Run the study, a line a case."""
    asked = argparse.ArgumentParser()
    asked.add_argument("out", type=Path)
    asked.add_argument("--cuts", type=int, default=50)
    asked.add_argument("--damages", type=int, default=100)
    asked.add_argument("--full", type=int, default=20)
    asked.add_argument("--only", default=",".join((*COMMANDS, "damage", "full")))
    asked.add_argument("--table", action="store_true")
    wanted = asked.parse_args()
    if wanted.table:
        sys.stdout.write(table(wanted.out))
        return
    for name in _HEAVY:
        import_module(name)
    commands = wanted.only.split(",")
    with tempfile.TemporaryDirectory() as scratch:
        needed = [*commands, *(FULL if "full" in commands else ())]
        study = Study(Path(scratch), needed)
        for command in commands:
            if command == "damage":
                lines = study.damages(wanted.damages)
            elif command == "full":
                lines = (line for one in FULL for line in study.full_disks(one, wanted.full))
            else:
                lines = study.cuts(command, wanted.cuts)
            for line in lines:
                with wanted.out.open("a", encoding="utf-8") as out:
                    out.write(json.dumps(line) + "\n")
        study.warm.end()


def table(out: Path) -> str:
    """The study's lines by command and outcome, as Markdown."""
    lines = [json.loads(line) for line in out.read_text(encoding="utf-8").splitlines()]
    counted: dict[str, Counter[str]] = {}
    for line in lines:
        kind = f"damage: {line['damage']}" if "damage" in line else line["command"]
        found = counted.setdefault(kind, Counter())
        found[line["outcome"]] += 1
        found["cases"] += 1
        found["killed"] += line.get("killed", False)
    rows = [
        "| what | cases | of them killed | equal | told what to load | differs or failed |",
        "|---|--:|--:|--:|--:|--:|",
    ]
    for kind, found in sorted(counted.items()):
        rest = found["cases"] - found["equal"] - found["told"]
        rows.append(
            f"| {kind} | {found['cases']} | {found['killed'] or ''} | {found['equal']} "
            f"| {found['told']} | {rest} |"
        )
    return "\n".join(rows) + "\n"


if __name__ == "__main__":
    main()
