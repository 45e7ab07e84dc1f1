"""Every file ever taken in, by the hash of its bytes, with a list of what was loaded when.

Nothing here is ever changed or removed: from this folder alone the warehouse can be built
again (`warehouse_care.rebuild`).  A load writes here before it touches the warehouse, so a
load that was cut off is in the list and does no harm when repeated.
"""

import hashlib
import json
import os
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from pathlib import Path

LIST_NAME = "taken-in.jsonl"


@dataclass(frozen=True)
class TakenIn:
    """One file as it was loaded once."""

    kind: str
    file_name: str
    content_sha256: str
    mapping_name: str | None = None
    mapping_sha256: str | None = None


def digest_of(content: bytes) -> str:
    """The SHA-256 of a file's bytes, in hex."""
    return hashlib.sha256(content).hexdigest()


def keep(
    raw_folder: Path, kind: str, file_name: str, content: bytes, mapping: Path | None = None
) -> TakenIn:
    """Keep a file and the mapping it is read with, and add it to the list."""
    mapping_bytes = mapping.read_bytes() if mapping else None
    taken = TakenIn(
        kind,
        file_name,
        _keep_bytes(raw_folder, content, Path(file_name).suffix.lower()),
        mapping.name if mapping else None,
        _keep_bytes(raw_folder, mapping_bytes, ".toml") if mapping_bytes is not None else None,
    )
    with (raw_folder / LIST_NAME).open("ab") as listed:
        listed.write(json.dumps(asdict(taken), ensure_ascii=False).encode() + b"\n")
        listed.flush()
        os.fsync(listed.fileno())
    return taken


def _keep_bytes(raw_folder: Path, content: bytes, suffix: str) -> str:
    digest = digest_of(content)
    kept = raw_folder / f"{digest}{suffix}"
    if not kept.exists():
        # One partial file per process: two that keep the same bytes do not meet.
        partial = kept.with_name(f"{kept.name}.{os.getpid()}.partial")
        with partial.open("wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        partial.replace(kept)
    return digest


def taken_in(raw_folder: Path) -> Iterator[TakenIn]:
    """The list, oldest first; a last line that was cut off in writing is passed over."""
    path = raw_folder / LIST_NAME
    lines = path.read_bytes().split(b"\n") if path.exists() else []
    for line in lines:
        try:
            yield TakenIn(**json.loads(line))
        except (ValueError, TypeError):
            continue


def kept_path(raw_folder: Path, digest: str) -> Path | None:
    """Where bytes with this hash are kept; None if they are not."""
    return next((path for path in raw_folder.glob(f"{digest}.*") if _is_whole(path)), None)


def _is_whole(path: Path) -> bool:
    return path.suffix != ".partial"
