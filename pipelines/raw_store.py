"""Every file ever taken in, by the hash of its bytes, with a list of what was loaded when.

Nothing here is ever changed or removed: from this folder alone the warehouse can be built
again (`rebuilding.rebuild`).  A load writes here before it touches the warehouse, so a load
that was cut off is in the list and does no harm when repeated.

The name of a copy is the SHA-256 of its bytes, which every system has a command for.  A name
is not believed: a copy counts only if its bytes have that hash.  Whether a file is one that was
loaded before is asked by its BLAKE3 hash: as safe, and read off several times faster.
"""

import hashlib
import mmap
import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from blake3 import blake3

from pipelines.taken_list import TakenIn, add_to_list
from pipelines.whole_files import put_in_place, set_apart

_CHUNK_BYTES = 1 << 20  # stays in the processor's cache


def digest_of(content: bytes) -> str:
    """The SHA-256 of some bytes, in hex."""
    return hashlib.sha256(content).hexdigest()


def file_digest(path: Path) -> str:
    """The SHA-256 of a file's bytes, in hex; read in small parts."""
    with path.open("rb", buffering=0) as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


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
    """Keep a file, without adding it to the list; hashed as it is copied, in small parts.

    A copy under its name that does not hold its bytes is set apart and healed.
    """
    sha256, quick = hashlib.sha256(), blake3()
    partial = raw_folder / f"{os.getpid()}.partial"
    try:
        with partial.open("wb") as copy:
            for chunk in _chunks(path):
                sha256.update(chunk)
                quick.update(chunk)
                copy.write(chunk)
            copy.flush()
            os.fsync(copy.fileno())
        kept = _put(partial, raw_folder / f"{sha256.hexdigest()}{path.suffix.lower()}")
    finally:
        partial.unlink(missing_ok=True)
    return Kept(kept, sha256.hexdigest(), quick.hexdigest())


def keep(raw_folder: Path, kind: str, file_name: str, content: bytes) -> TakenIn:
    """Keep a file that is read without a mapping, and add it to the list."""
    digest = _keep_bytes(raw_folder, content, Path(file_name).suffix.lower())
    return add_to_list(raw_folder, TakenIn(kind, file_name, digest))


def keep_mapping(raw_folder: Path, mapping: bytes) -> str:
    """Keep a mapping; the SHA-256 of its bytes."""
    return _keep_bytes(raw_folder, mapping, ".toml")


def whole_copy(raw_folder: Path, digest: str) -> Path | None:
    """Where bytes with this SHA-256 are kept; None if no copy holds them."""
    return next((p for p in _copies(raw_folder, digest) if file_digest(p) == digest), None)


def same_copy(raw_folder: Path, digest: str, quick: str) -> Path | None:
    """The same, asked by the BLAKE3 hash of the bytes, which is sooner told."""
    return next((p for p in _copies(raw_folder, digest) if quick_digest_of(p) == quick), None)


def damaged_copies(raw_folder: Path, digest: str) -> list[Path]:
    """The copies under this name whose bytes are others."""
    return [path for path in _copies(raw_folder, digest) if file_digest(path) != digest]


def unlisted_copies(raw_folder: Path, listed: set[str]) -> list[Path]:
    """The copies whose hash is none of these."""
    return [
        path
        for path in sorted(raw_folder.glob("*.*"))
        if len(path.stem) == hashlib.sha256().digest_size * 2
        and path.suffix != ".partial"
        and path.stem not in listed
    ]


def clear_partials(raw_folder: Path) -> None:
    """Remove what loads that were cut off left; only for who holds the warehouse."""
    for path in raw_folder.glob("*.partial"):
        path.unlink(missing_ok=True)


def _copies(raw_folder: Path, digest: str) -> list[Path]:
    return [path for path in sorted(raw_folder.glob(f"{digest}.*")) if path.suffix != ".partial"]


def _chunks(path: Path) -> Iterator[memoryview]:
    room = memoryview(bytearray(_CHUNK_BYTES))
    with path.open("rb", buffering=0) as file:
        while size := file.readinto(room):
            yield room[:size]


def _keep_bytes(raw_folder: Path, content: bytes, suffix: str) -> str:
    digest = digest_of(content)
    # One partial file per process: two that keep the same bytes do not meet.
    partial = raw_folder / f"{digest}.{os.getpid()}.partial"
    try:
        with partial.open("wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        _put(partial, raw_folder / f"{digest}{suffix}")
    finally:
        partial.unlink(missing_ok=True)
    return digest


def _put(partial: Path, kept: Path) -> Path:
    """Put a copy under its name, unless one that holds its bytes is there."""
    if kept.exists():
        if file_digest(kept) == kept.stem:
            return kept
        set_apart(kept)
    put_in_place(partial, kept)
    return kept
