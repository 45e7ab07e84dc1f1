"""The sensor that loads what is dropped into the shop's folder."""

import hashlib
from pathlib import Path
from typing import Any

import dagster as dg

from pipelines.source_files import ENDINGS


def drop_folder_sensor(folder: Path, job: Any) -> dg.SensorDefinition:
    """Ask for a load whenever the record files in the folder have changed."""

    @dg.sensor(job=job, name="drop_folder", minimum_interval_seconds=30)
    def look(context: dg.SensorEvaluationContext) -> dg.RunRequest | dg.SkipReason:
        """Load the records when a file in the drop folder is new or has changed."""
        if not folder.is_dir():
            return dg.SkipReason(f"There is no folder {folder} yet.")
        listing = folder_state(folder)
        if not listing:
            return dg.SkipReason(f"No record files in {folder}.")
        digest = hashlib.sha256(listing.encode()).hexdigest()
        if digest == context.cursor:
            return dg.SkipReason("No file has changed since the last load.")
        context.update_cursor(digest)
        return dg.RunRequest(run_key=digest)

    return look


def folder_state(folder: Path) -> str:
    """Name, size and time of each record file in a folder, one a line."""
    return "\n".join(
        f"{path.name} {path.stat().st_size} {path.stat().st_mtime_ns}"
        for path in sorted(folder.iterdir())
        if path.is_file() and path.suffix.lower() in ENDINGS
    )
