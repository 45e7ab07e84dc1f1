"""Kills and damages: does following the tool's own advice bring everything back?

Run: python -m tests.studies.fault_study OUT.jsonl [--kills 50] [--damages 100] [--only load,week]
then: python -m tests.studies.fault_study OUT.jsonl --table

Each case takes a copy of a small shop's home, cuts a command off by SIGKILL at a random moment
(or damages one file), asks `ringland check`, does what its lines say and nothing else, gives the
command again, and holds tables, weeks and kept files against an undisturbed run.  The seed of a
case is drawn from the system and stands in its line.  A case runs in forked processes, so that
the imports are paid for once; POSIX only.
"""

import argparse
import importlib
import json
import os
import random
import secrets
import shutil
import signal
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

_HEAVY = [
    "dagster",
    "duckdb",
    "lifelines",
    "numba",
    "pint",
    "plotly.graph_objects",
    "rich.table",
    "scipy.optimize",
    "scipy.stats",
    "sklearn.ensemble",
    "typst",
    "xlsxwriter",
]
for _name in _HEAVY:  # once, before the forks; not Polars, whose threads would not be in them
    importlib.import_module(_name)

COMMANDS = ("load", "week", "backfill", "today", "publish", "backup", "restore", "rebuild")
FROM = {"load": "empty", "week": "loaded", "backfill": "loaded", "rebuild": "loaded"}
"""The home a command begins with; the others begin with a week worked out."""


def in_fork(do: Callable[[Any], Any], said: Path) -> int:
    """Begin `do` in a process of its own, its result or error into a file; the process id.

    `do` is given the module of cases; a file beside `said` says when it begins.
    """
    begun = said.with_suffix(".begun")
    for left in (said, begun):
        left.unlink(missing_ok=True)
    child = os.fork()
    if child:
        return child
    os.setsid()
    code = 0
    try:
        cases = importlib.import_module("tests.studies.fault_cases")
        begun.touch()
        told = json.dumps(do(cases))
        said.write_text(told, encoding="utf-8")
    except BaseException as error:
        said.write_text(json.dumps({"error": f"{type(error).__name__}: {error}"}))
        code = 1
    os._exit(code)


def answer_of(do: Callable[[Any], Any], folder: Path) -> Any:
    """What `do` gives in a process of its own."""
    said = folder / "said.json"
    os.waitpid(in_fork(do, said), 0)
    return json.loads(said.read_text(encoding="utf-8"))


def make_shops(folder: Path, commands: list[str]) -> dict[str, Any]:
    """What an undisturbed run of each command leaves; the cases' homes are made."""
    made = answer_of(lambda cases: cases.Shop(folder).make(), folder)
    if made is not None:
        raise SystemExit(made["error"])
    undisturbed = {}
    for command in {*commands, "publish"} & set(COMMANDS):

        def quiet(cases: Any, command: str = command) -> dict[str, Any]:
            shop = cases.Shop(folder)
            home = shop.copy(FROM.get(command, "worked"), folder / f"quiet {command}" / "home")
            began = time.monotonic()
            cases.run_command(shop, home, command)
            return {"took": time.monotonic() - began, "all": cases.all_of(home)}

        undisturbed[command] = answer_of(quiet, folder)
        if "error" in undisturbed[command]:
            raise SystemExit(f"{command}: {undisturbed[command]['error']}")
    return undisturbed


def one_kill(base: Path, undisturbed: dict[str, Any], command: str, seed: int) -> dict[str, Any]:
    """One command cut off, and what came back of it."""
    chance = random.Random(seed)  # noqa: S311 - moments, not secrets
    folder = Path(tempfile.mkdtemp(dir=base))
    shutil.copytree(base / FROM.get(command, "worked") / "home", folder / "home")
    at = chance.uniform(0, undisturbed[command]["took"])

    def victim(cases: Any) -> None:
        cases.run_command(cases.Shop(base), cases.Home(folder / "home"), command)

    def again(cases: Any) -> Any:
        return cases.brought_back(cases.Shop(base), cases.Home(folder / "home"), command)

    child = in_fork(victim, folder / "victim.json")
    while not (folder / "victim.begun").exists():
        time.sleep(0.02)
    time.sleep(at)
    was_cut = not (folder / "victim.json").exists()
    if was_cut:
        os.killpg(child, signal.SIGKILL)
    os.waitpid(child, 0)
    found = answer_of(again, folder)
    return told({"command": command, "seed": seed, "at": at, "was_cut": was_cut}, found,
                undisturbed[command]["all"], folder)  # fmt: skip


def one_damage(base: Path, undisturbed: dict[str, Any], seed: int) -> dict[str, Any]:
    """One thing of a home damaged, and what came back of it."""
    chance = random.Random(seed)  # noqa: S311 - places, not secrets
    folder = Path(tempfile.mkdtemp(dir=base))
    shutil.copytree(base / "worked" / "home", folder / "home")

    def damaged(cases: Any) -> Any:
        home = cases.Home(folder / "home")
        name = chance.choice(sorted(cases.DAMAGES))
        what = cases.DAMAGES[name](home, chance)
        return {"damage": name, "what": what, **cases.brought_back(cases.Shop(base), home, None)}

    found = answer_of(damaged, folder)
    about = {"command": "damage", "seed": seed}
    about |= {name: found.pop(name, None) for name in ("damage", "what")}
    return told(about, found, undisturbed["publish"]["all"], folder)


def told(
    about: dict[str, Any], found: dict[str, Any], wanted: dict[str, str], folder: Path
) -> dict[str, Any]:
    """The line of a case: equal, or said to be loaded again, or lost."""
    shutil.rmtree(folder, ignore_errors=True)
    if "error" in found:
        return {**about, "outcome": "failed", "why": found["error"]}
    differs = sorted(
        name for name in wanted.keys() | found["all"].keys()
        if wanted.get(name) != found["all"].get(name)
    )  # fmt: skip
    outcome = "equal" if not differs else "differs"
    if found["left"]:
        outcome = "told" if differs else "equal, but the check is not content"
    return {**about, "outcome": outcome, "steps": found["steps"], "left": found["left"],
            "differs": differs[:5]}  # fmt: skip


def main() -> None:
    """Run the study, a line a case."""
    asked = argparse.ArgumentParser()
    asked.add_argument("out", type=Path)
    asked.add_argument("--kills", type=int, default=50)
    asked.add_argument("--damages", type=int, default=100)
    asked.add_argument("--only", default=",".join((*COMMANDS, "damage")))
    asked.add_argument("--table", action="store_true")
    wanted = asked.parse_args()
    if wanted.table:
        sys.stdout.write(table(wanted.out))
        return
    with tempfile.TemporaryDirectory() as scratch:
        base, commands = Path(scratch), wanted.only.split(",")
        undisturbed = make_shops(base, commands)
        for command in commands:
            for _ in range(wanted.damages if command == "damage" else wanted.kills):
                seed = secrets.randbits(32)
                line = (
                    one_damage(base, undisturbed, seed)
                    if command == "damage"
                    else one_kill(base, undisturbed, command, seed)
                )
                with wanted.out.open("a", encoding="utf-8") as out:
                    out.write(json.dumps(line) + "\n")


def table(out: Path) -> str:
    """The study's lines by command and outcome, as Markdown."""
    lines = [json.loads(line) for line in out.read_text(encoding="utf-8").splitlines()]
    counted: dict[str, Counter[str]] = {}
    for line in lines:
        kind = line.get("damage", line["command"])
        counted.setdefault(kind, Counter())[line["outcome"]] += 1
        counted[kind]["cut off"] += line.get("was_cut", False)
    rows = [
        "| what | cases | cut off | equal | told | differs or failed |",
        "|---|--:|--:|--:|--:|--:|",
    ]
    for kind, found in sorted(counted.items()):
        cases = sum(found.values()) - found["cut off"]
        rest = cases - found["equal"] - found["told"]
        rows.append(
            f"| {kind} | {cases} | {found['cut off'] or ''} | {found['equal']} | {found['told']} "
            f"| {rest} |"
        )
    return "\n".join(rows) + "\n"


if __name__ == "__main__":
    main()
