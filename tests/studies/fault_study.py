"""Kills, damages and full disks: does following the tool's own advice bring everything back?

Run: python -m tests.studies.fault_study OUT.jsonl [--cuts 50] [--damages 100] [--full 20]
                                       [--only load,week,damage,full] [--base FOLDER]
then: python -m tests.studies.fault_study OUT.jsonl --table

Each case takes a copy of a small shop's home, cuts a command off (or damages one file, or fills
the disk), asks `ringland check`, does what its lines say and nothing else, gives the command
again, and holds tables, weeks and kept files against an undisturbed run.

A cut is what SIGKILL leaves on the disk at one moment: the process is stopped (SIGSTOP), the
home is copied as it lies, and the process goes on to the next moment; so that one run gives
many cases.  At the last of its moments, one in twenty-five, it is killed.  Moments are drawn from
the system's chance, half by the CPU spent and half just before a file is opened to write, renamed
or removed.  Of cuts that left the same bytes (but for Dagster's log of runs, which decides
nothing) one is brought back, and the others name it.  The disk is a small tmpfs that is filled to
its last byte at such a moment; that needs root.  All runs are forked, so that the imports are
paid for once; POSIX only.

A run that was ended goes on where its lines end; with --base it finds the shop it made.
"""

import argparse
import hashlib
import json
import multiprocessing
import os
import random
import re
import secrets
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import nullcontext
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
AS_DAMAGED = ("publish again", "week again")
"""What a damaged home must equal: all taken in that waits at the dock; and where the check's own
step was a week, that week with it."""
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
_BATCH = 25
"""Moments of one run; cases of each kind before the next kind has its turn."""
_LOOKS_S = 0.005


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
        self.expected: dict[str, dict[str, Any]] = {}
        self.known: dict[str, dict[str, Any]] = {}
        kept = base / "expected.json"
        if kept.exists():
            self.expected = json.loads(kept.read_text(encoding="utf-8"))
        else:
            self.warm.do("make_shop", str(base))
        of_damages = AS_DAMAGED if "damage" in commands else ()
        for command in (*of_damages, *(one for one in commands if one in COMMANDS)):
            if command not in self.expected:
                self.begin(command)
                victim = Worker()
                self.expected[command] = victim.do("undisturbed", str(self.arena), command)
                victim.end()
                kept.write_text(json.dumps(self.expected), encoding="utf-8")

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
        expected = command or AS_DAMAGED["week" in found["steps"]]
        return {**about, **told(found, self.expected[expected]["all"])}

    def cuts(self, command: str, done: int, count: int) -> Iterator[dict[str, Any]]:
        """Cases of one command cut off."""
        while done < count:
            seed = secrets.randbits(32)
            chance = random.Random(seed)  # noqa: S311 - moments, not secrets
            # a command that changes no file ('today') can be cut off by time alone
            is_by_file = self.expected[command]["events"] and not done % (2 * _BATCH)
            by = "file" if is_by_file else "time"
            moments = min(_BATCH, count - done)
            for number, (at, state, is_killed) in enumerate(
                self._stops(command, by, moments, chance)
            ):
                about = {"command": command, "seed": seed, "number": number, "by": by,
                         "at": round(at, 3), "killed": is_killed}  # fmt: skip
                lies = f"{command} {_digest(state)}"
                if lies in self.known:
                    same = self.known[lies]
                    shutil.rmtree(state)
                    yield {**same, **about, "same as": f"{same['seed']} {same['number']}"}
                else:
                    self.put(state)
                    shutil.rmtree(state)
                    self.known[lies] = self.came_back(about, command)
                    yield self.known[lies]
                done += 1

    def _stops(
        self, command: str, by: str, count: int, chance: random.Random
    ) -> Iterator[tuple[float, Path, bool]]:
        """What lay on the disk at some moments of one run, which is killed at the last."""
        expected = self.expected[command]
        if by == "file":
            at = [float(one) for one in sorted(_drawn(expected["events"], count, chance))]
        else:
            at = sorted(chance.uniform(0, expected["took"]) for _ in range(count))
        self.begin(command)
        victim, states = Worker(), list[tuple[float, Path, bool]]()
        victim.do("ready")
        pid = victim.process.pid
        assert pid is not None
        began = _spent(pid)
        victim.ask("stopped_at", str(self.arena), command, at if by == "file" else [])
        for number, moment in enumerate(at):
            while by == "time" and _spent(pid) - began < moment and not victim.pipe.poll(_LOOKS_S):
                pass
            if by == "time" and not victim.pipe.poll():
                os.kill(pid, signal.SIGSTOP)
            if victim.pipe.poll() or not _stopped(pid, victim.pipe) or victim.pipe.poll():
                os.kill(pid, signal.SIGCONT)
                victim.answer()
                break
            is_last = number + 1 == len(at)
            os.kill(pid, signal.SIGKILL if is_last else 0)
            states.append((moment, self.base / f"state-{number}", is_last))
            shutil.copytree(self.arena, states[-1][1])
            os.kill(pid, signal.SIGCONT)
        victim.end()
        yield from states

    def damages(self, done: int, count: int) -> Iterator[dict[str, Any]]:
        """Cases of one thing damaged in a home."""
        for number in range(done, count):
            seed = secrets.randbits(32)
            self.put(self.base / "worked")
            what = self.warm.do("damage", str(self.arena), number, seed)
            yield self.came_back({"command": "damage", "seed": seed, **what}, None)

    def full_disks(self, command: str, done: int, count: int) -> Iterator[dict[str, Any]]:
        """Cases of a command whose disk is filled to its last byte while it runs."""
        for number in range(done, count):
            seed = secrets.randbits(32)
            chance = random.Random(seed)  # noqa: S311 - moments, not secrets
            events = self.expected[command]["events"]
            at = int(events * (number % 20 + chance.random()) / 20)
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


def _drawn(events: int, count: int, chance: random.Random) -> list[int]:
    """Some of a run's events, each once."""
    return chance.sample(range(events), min(events, count))


def _spent(pid: int) -> float:
    """The CPU a process has spent, by the clock Linux keeps of it."""
    return time.clock_gettime((~pid << 3) | 2)


def _digest(state: Path) -> str:
    """Of every file of a state by name and content, but for Dagster's log of runs."""
    found = hashlib.sha256()
    for path in sorted(one for one in state.rglob("*") if one.is_file()):
        name = path.relative_to(state)
        plain = re.sub(r"\d+\.partial$", "partial", str(name))  # without the process's number
        if name.parts[:2] != ("home", "dagster"):
            found.update(f"{plain} {path.stat().st_size} ".encode() + path.read_bytes())
    return found.hexdigest()


def _stopped(pid: int, pipe: Any) -> bool:
    """Wait until a process stops; False: it is done instead."""
    while True:
        found, status = os.waitpid(pid, os.WUNTRACED | os.WNOHANG)
        if found:
            return os.WIFSTOPPED(status)
        if pipe.poll(_LOOKS_S):
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
            "litter": found["litter"], "cpu_s": found["cpu_s"], "differs": differs}  # fmt: skip


def main() -> None:
    """Run the study, a line a case."""
    asked = argparse.ArgumentParser()
    asked.add_argument("out", type=Path)
    asked.add_argument("--cuts", type=int, default=50)
    asked.add_argument("--damages", type=int, default=100)
    asked.add_argument("--full", type=int, default=20)
    asked.add_argument("--only", default=",".join((*COMMANDS, "damage", "full")))
    asked.add_argument("--base", type=Path, help="an empty folder, or that of an earlier run")
    asked.add_argument("--table", action="store_true")
    wanted = asked.parse_args()
    if wanted.table:
        sys.stdout.write(table(wanted.out))
        return
    for name in _HEAVY:
        import_module(name)
    kinds = wanted.only.split(",")
    commands = [*kinds, *(FULL if "full" in kinds else ())]
    with nullcontext(wanted.base) if wanted.base else tempfile.TemporaryDirectory() as base:
        study = Study(Path(base), commands)
        _run(study, wanted, kinds)
        study.warm.end()


def _run(study: Study, wanted: argparse.Namespace, kinds: list[str]) -> None:
    """Cases of each kind in turn, until there are as many as were asked for."""
    asked = {one: wanted.cuts for one in kinds if one in COMMANDS}
    asked |= {"damage": wanted.damages} if "damage" in kinds else {}
    asked |= {f"full disk, {one}": wanted.full for one in FULL if "full" in kinds}
    while left := {kind: n for kind, n in asked.items() if _done(wanted.out)[kind] < n}:
        for kind, most in left.items():
            done = _done(wanted.out)[kind]
            upto = min(most, done + _BATCH)
            if kind == "damage":
                lines = study.damages(done, upto)
            elif kind in COMMANDS:
                lines = study.cuts(kind, done, upto)
            else:
                lines = study.full_disks(kind.removeprefix("full disk, "), done, upto)
            for line in lines:
                with wanted.out.open("a", encoding="utf-8") as out:
                    out.write(json.dumps(line) + "\n")


def _done(out: Path) -> Counter[str]:
    lines = out.read_text(encoding="utf-8").splitlines() if out.exists() else []
    return Counter(json.loads(line)["command"] for line in lines)


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
        found["states"] += "same as" not in line
    rows = [
        "| what | cases | of them killed | states | equal | told what to load "
        "| differs or failed |",
        "|---|--:|--:|--:|--:|--:|--:|",
    ]
    for kind, found in sorted(counted.items()):
        rest = found["cases"] - found["equal"] - found["told"]
        rows.append(
            f"| {kind} | {found['cases']} | {found['killed'] or ''} | {found['states']} "
            f"| {found['equal']} | {found['told']} | {rest} |"
        )
    return "\n".join(rows) + "\n"


if __name__ == "__main__":
    main()
