"""Every file ever taken in, by the hash of its bytes, with a list of what was loaded when.

Nothing here is ever changed or removed: from this folder alone the warehouse can be built
again (`warehouse_care.rebuild`).  A load writes here before it touches the warehouse, so a
load that was cut off is in the list and does no harm when repeated.

The name of a copy is the SHA-256 of its bytes, which every system has a command for.
Whether a file is one that was loaded before is asked by its BLAKE3 hash: as safe, and read
off several times faster.
"""

import hashlib
import json
import mmap
import os
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from pathlib import Path

from blake3 import blake3

LIST_NAME = "taken-in.jsonl"
_CHUNK_BYTES = 1 << 20  # stays in the processor's cache


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


def quick_digest_of(path: Path) -> str:
    """The BLAKE3 hash of a file's bytes, in hex."""
    digest = blake3()
    for chunk in _chunks(path):
        digest.update(chunk)
    return digest.hexdigest()


@dataclass(frozen=True)
class Kept:
    """A file's copy in the raw store, and the hashes of its bytes."""

    path: Path
    sha256: str
    blake3: str

    def content(self) -> bytes | mmap.mmap:
        """The bytes of the copy, which nobody changes; a large one is read from where it lies."""
        if self.path.stat().st_size < _CHUNK_BYTES:
            return self.path.read_bytes()
        with self.path.open("rb") as file:
            return mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ)


def keep_copy(raw_folder: Path, path: Path) -> Kept:
    """Keep a file, without adding it to the list; hashed as it is copied, in small parts."""
    sha256, quick = hashlib.sha256(), blake3()
    partial = raw_folder / f"{os.getpid()}.partial"
    with partial.open("wb") as copy:
        for chunk in _chunks(path):
            sha256.update(chunk)
            quick.update(chunk)
            copy.write(chunk)
        copy.flush()
        os.fsync(copy.fileno())
    kept = raw_folder / f"{sha256.hexdigest()}{path.suffix.lower()}"
    if kept.exists():
        partial.unlink()
    else:
        partial.replace(kept)
    return Kept(kept, sha256.hexdigest(), quick.hexdigest())


def _chunks(path: Path) -> Iterator[memoryview]:
    room = memoryview(bytearray(_CHUNK_BYTES))
    with path.open("rb", buffering=0) as file:
        while size := file.readinto(room):
            yield room[:size]


def keep(raw_folder: Path, kind: str, file_name: str, content: bytes) -> TakenIn:
    """Keep a file that is read without a mapping, and add it to the list."""
    digest = _keep_bytes(raw_folder, content, Path(file_name).suffix.lower())
    return add_to_list(raw_folder, TakenIn(kind, file_name, digest))


def keep_mapping(raw_folder: Path, mapping: Path) -> str:
    """Keep a mapping; the SHA-256 of its bytes."""
    return _keep_bytes(raw_folder, mapping.read_bytes(), ".toml")


def add_to_list(raw_folder: Path, taken: TakenIn) -> TakenIn:
    """Note that a kept file is loaded now."""
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
