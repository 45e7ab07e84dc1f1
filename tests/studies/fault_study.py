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

from pipelines import (  # noqa: F401 - imported once, before the forks
    command_line,
    definitions,
    restoring,
    terminal,
    today,
    warehouse_care,
)
from pipelines.home import Home
from tests.studies.fault_cases import DAMAGES, Shop, all_of, brought_back, run_command

COMMANDS = ("load", "week", "backfill", "today", "publish", "backup", "restore", "rebuild")
FROM = {"load": "empty", "week": "loaded", "backfill": "loaded", "rebuild": "loaded"}
"""The home a command begins with; the others begin with a week worked out."""


def in_fork(do: Callable[[], Any], said: Path) -> int:
    """Begin `do` in a process of its own, its result or error into a file; the process id."""
    child = os.fork()
    if child:
        return child
    os.setsid()
    code = 0
    try:
        said.write_text(json.dumps(do()), encoding="utf-8")
    except BaseException as error:
        said.write_text(json.dumps({"error": f"{type(error).__name__}: {error}"}))
        code = 1
    os._exit(code)


def answer_of(do: Callable[[], Any], folder: Path) -> Any:
    """What `do` gives in a process of its own."""
    said = folder / "said.json"
    os.waitpid(in_fork(do, said), 0)
    return json.loads(said.read_text(encoding="utf-8"))


def make_shops(folder: Path) -> tuple[Shop, dict[str, Any]]:
    """The homes the cases begin with, and what an undisturbed run of each command leaves."""
    shop = Shop(folder)
    answer_of(shop.make, folder)
    undisturbed = {}
    for command in COMMANDS:
        home = shop.copy(FROM.get(command, "worked"), folder / f"quiet {command}")

        def quiet(home: Home = home, command: str = command) -> dict[str, Any]:
            began = time.monotonic()
            run_command(shop, home, command)
            return {"took": time.monotonic() - began, "all": all_of(home)}

        undisturbed[command] = answer_of(quiet, folder)
        if "error" in undisturbed[command]:
            raise SystemExit(f"{command}: {undisturbed[command]['error']}")
    return shop, undisturbed


def one_kill(shop: Shop, undisturbed: dict[str, Any], command: str, seed: int) -> dict[str, Any]:
    """One command cut off, and what came back of it."""
    chance = random.Random(seed)  # noqa: S311 - moments, not secrets
    folder = Path(tempfile.mkdtemp(dir=shop.folder))
    home = shop.copy(FROM.get(command, "worked"), folder / "home")
    at = chance.uniform(0, undisturbed[command]["took"])
    child = in_fork(lambda: run_command(shop, home, command), folder / "victim.json")
    time.sleep(at)
    was_cut = not (folder / "victim.json").exists()
    os.killpg(child, signal.SIGKILL) if was_cut else None
    os.waitpid(child, 0)
    found = answer_of(lambda: brought_back(shop, home, command), folder)
    return told({"command": command, "seed": seed, "at": at, "was_cut": was_cut}, found,
                undisturbed[command]["all"], folder)  # fmt: skip


def one_damage(shop: Shop, undisturbed: dict[str, Any], seed: int) -> dict[str, Any]:
    """One thing of a home damaged, and what came back of it."""
    chance = random.Random(seed)  # noqa: S311 - places, not secrets
    folder = Path(tempfile.mkdtemp(dir=shop.folder))
    home = shop.copy("worked", folder / "home")
    name = chance.choice(sorted(DAMAGES))
    what = answer_of(lambda: DAMAGES[name](home, chance), folder)
    found = answer_of(lambda: brought_back(shop, home, None), folder)
    about = {"command": "damage", "seed": seed, "damage": name, "what": what}
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
        shop, undisturbed = make_shops(Path(scratch))
        for command in wanted.only.split(","):
            for _ in range(wanted.damages if command == "damage" else wanted.kills):
                seed = secrets.randbits(32)
                line = (
                    one_damage(shop, undisturbed, seed)
                    if command == "damage"
                    else one_kill(shop, undisturbed, command, seed)
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
