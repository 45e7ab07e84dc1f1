"""An output of the week as files and back: one document, its frames and its arrays."""

import json
from pathlib import Path
from typing import Any

import polars as pl

from pipelines.weekly.artefact import (
    Parts,
    canonical,
    npz_arrays,
    npz_bytes,
    packed,
    parquet_bytes,
    put_together,
    taken_apart,
    unpacked,
)
from pipelines.weekly.step import Pages, Step


def frame_file(step: Step, table: str) -> str:
    """The file of a frame of an output, e.g. 'decision.week_tables.chances.parquet'."""
    return f"{step.label}.{table}.parquet"


def files_of(step: Step, value: Any) -> dict[str, bytes]:
    """The files of an output by name; its frames keep to their contracts."""
    if step.hint == Pages:
        return {f"{step.label}.zip.xz": packed(value)}
    document, parts = taken_apart(value, step.hint)
    for place, schema in step.tables.items():
        parts.frames[place] = schema.validate(parts.frames[place], cast=True)
    files = {f"{step.label}.json": canonical(document)}
    for place, frame in parts.frames.items():
        files[frame_file(step, place)] = parquet_bytes(frame)
    if parts.arrays:
        files[f"{step.label}.npz.xz"] = npz_bytes(parts.arrays)
    return files


def value_of(step: Step, files: dict[str, Path]) -> Any:
    """What an output was, from its files by name."""
    if step.hint == Pages:
        (path,) = files.values()
        return unpacked(path.read_bytes())
    frames = {
        name.removeprefix(f"{step.label}.").removesuffix(".parquet"): pl.read_parquet(path)
        for name, path in files.items()
        if name.endswith(".parquet")
    }
    arrays = files.get(f"{step.label}.npz.xz", files.get(f"{step.label}.npz"))
    parts = Parts(frames, npz_arrays(arrays.read_bytes()) if arrays else {})
    document = json.loads(files[f"{step.label}.json"].read_bytes())
    return put_together(document, parts, step.hint)
