"""The sensor that loads what is dropped into the shop's folder."""

import hashlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import dagster as dg

from pipelines.source_files import ENDINGS

RESTS_S = 1.0
"""A file that was written to within this time is looked at again before it is loaded."""
LOOKS = 30


def drop_folder_sensor(folder: Path, job: Any) -> dg.SensorDefinition:
    """Ask for a load whenever the record files in the folder have changed and rest.

    A file rests when two looks in a row find its size and time the same: one that is still
    being copied is not loaded by half.
    """

    @dg.sensor(job=job, name="drop_folder", minimum_interval_seconds=30)
    def look(context: dg.SensorEvaluationContext) -> dg.RunRequest | dg.SkipReason:
        """Load the records when a file in the drop folder is new or has changed."""
        if not folder.is_dir():
            return dg.SkipReason(f"There is no folder {folder} yet.")
        listing = folder_state(folder)
        if not listing:
            return dg.SkipReason(f"No record files in {folder}.")
        digest = hashlib.sha256(listing.encode()).hexdigest()
        seen, _, loaded = (context.cursor or "").partition(" ")
        context.update_cursor(f"{digest} {loaded}")
        if digest == loaded:
            return dg.SkipReason("No file has changed since the last load.")
        if digest != seen:
            return dg.SkipReason("Files are new or still growing; they are loaded once they rest.")
        context.update_cursor(f"{digest} {digest}")
        return dg.RunRequest(run_key=digest)

    return look


def still_growing(files: list[Path], wait: Callable[[float], None], now: float) -> list[Path]:
    """The files that change while they are looked at; those that rest cost no wait.

    Args:
        files: record files about to be loaded.
        wait: what waits some seconds.
        now: the time, as files bear it.
    """
    fresh = {path: _look(path) for path in files if now - path.stat().st_mtime < RESTS_S}
    for _ in range(LOOKS):
        if not fresh:
            break
        wait(RESTS_S)
        looks = {path: _look(path) for path in fresh}
        fresh = {path: look for path, look in looks.items() if look != fresh[path]}
    return list(fresh)


def _look(path: Path) -> tuple[int, int]:
    found = path.stat()
    return found.st_size, found.st_mtime_ns


def folder_state(folder: Path) -> str:
    """Name, size and time of each record file in a folder, one a line."""
    return "\n".join(
        f"{path.name} {path.stat().st_size} {path.stat().st_mtime_ns}"
        for path in sorted(folder.iterdir())
        if path.is_file() and path.suffix.lower() in ENDINGS
    )
