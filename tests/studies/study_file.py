"""A study's results as JSON lines, one per fleet, so that a stopped run goes on where it was."""

from __future__ import annotations

import json
import subprocess
import time
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]


def commit() -> str:
    """The commit the code under study stands at."""
    run = subprocess.run(
        ["git", "rev-parse", "--short", "HEAD"], cwd=ROOT, capture_output=True, text=True,
        check=False,
    )  # fmt: skip
    return run.stdout.strip() or "unknown"


def read_lines(file: Path) -> list[dict[str, Any]]:
    """Every fleet on file."""
    if not file.exists():
        return []
    return [json.loads(line) for line in file.read_text(encoding="utf-8").splitlines() if line]


def run_fleets(
    file: Path,
    wanted: Iterable[tuple[str, int, int]],
    one_fleet: Callable[[str, int, int], Mapping[str, Any]],
    *,
    budget_s: float,
) -> None:
    """Add to the file each fleet (shape, hulls, seed) that it lacks, until the budget is spent."""
    done = {(row["shape"], row["hulls"], row["seed"]) for row in read_lines(file)}
    began, stamp = time.monotonic(), commit()
    for shape, hulls, seed in wanted:
        if (shape, hulls, seed) in done:
            continue
        if time.monotonic() - began > budget_s:
            print(f"budget of {budget_s:.0f} s spent; run again to go on")
            return
        start = time.process_time()
        row = {"shape": shape, "hulls": hulls, "seed": seed, "commit": stamp}
        row |= one_fleet(shape, hulls, seed)
        row["cpu_s"] = round(time.process_time() - start, 1)
        with file.open("a", encoding="utf-8") as lines:
            lines.write(json.dumps(row) + "\n")
