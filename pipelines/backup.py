"""A backup: all of a home that cannot be worked out again, in one ZIP that can verify itself.

Everything under the home goes in but what is named here as made again from the rest, so that
whatever a later ringland keeps there is in the backup without being named.  The warehouse goes
in as a copy, which saves a rebuild; where it is damaged the raw copies do without.
"""

import hashlib
import json
import os
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from glob import escape
from importlib.metadata import version
from pathlib import Path, PurePosixPath
from shutil import disk_usage

import duckdb

from pipelines.duckdb_warehouse import BusyError, WarehouseError, copy_database, warehouse_at
from pipelines.home import SESSIONS, Home
from pipelines.weekly.store import LIST_NAME, WeekKey, WeekStore
from pipelines.whole_files import put_in_place

MANIFEST = "ringland-backup.json"
FORM = 1
_TRIES = 3
_CHUNK_BYTES = 1 << 20
_MADE_AGAIN = {"dagster"}
"""Folders of the home that are left out: Dagster's own log of its last runs."""
_PACKED = {".zip", ".xz", ".parquet", ".npz", ".xlsx", ".jpg", ".jpeg", ".png", ".webp", ".pdf"}
"""Endings of files that packing makes no smaller."""
_ROOM = 1.1  # of the bytes to pack, until the disk is called too full


@dataclass(frozen=True)
class Manifest:
    """What a backup says of itself: each file's SHA-256 by its path in the home."""

    form: int
    ringland: str
    made_at: str
    open_weeks: tuple[str, ...]
    """weeks whose pages lay open"""
    files: dict[str, str]


@dataclass(frozen=True)
class BackedUp:
    """What a backup holds, and what in the home was found damaged while it was made."""

    file: Path
    files: int
    size: int
    damaged: tuple[str, ...]
    has_keys: bool
    """whether whoever has it can pass for the shop's dockside server"""


def back_up(home: Home, target: Path, made_at: datetime) -> BackedUp:
    """Write a backup, read back and found whole before it is put in place.

    Args:
        home: the shop's home; not changed.
        target: the ZIP file to write, outside the home.
        made_at: the time, told by the command.

    Raises:
        WarehouseError: the file is there already, lies in the home or on a disk too full, or a
            week is being worked out.
    """
    target = target.absolute()
    if target.exists():
        raise WarehouseError(f"{target} is there already; choose another name.")
    if target.is_relative_to(home.folder):
        raise WarehouseError(
            f"{target} lies in the home and would be lost with it; name a place outside, best on "
            f"another disk."
        )
    if not target.parent.is_dir():
        raise WarehouseError(f"There is no folder {target.parent}; make it, or name another.")
    size = sum(path.stat().st_size for path in kept_files(home))
    if disk_usage(target.parent).free < size * _ROOM:
        raise WarehouseError(
            f"The disk that holds {target.parent} has less than the {size * _ROOM / 1e6:.0f} MB "
            f"free that a backup may need; nothing was written."
        )
    for left in target.parent.glob(f"{escape(target.name)}.*.partial"):
        left.unlink(missing_ok=True)  # of a backup that was cut off
    partial = target.with_name(f"{target.name}.{os.getpid()}.partial")
    try:
        for _ in range(_TRIES):
            before = _lists(home)
            damaged, manifest = _write(home, partial, made_at)
            if _lists(home) == before:
                break
        else:
            raise WarehouseError("A week is being worked out; make the backup when that is done.")
        if wrong := wrong_in(partial, manifest):
            raise WarehouseError(f"The backup could not be read back: {wrong[0]}. Try again.")
        put_in_place(partial, target)
    finally:
        partial.unlink(missing_ok=True)
    return BackedUp(
        target,
        len(manifest.files),
        target.stat().st_size,
        tuple(damaged),
        any(PurePosixPath(name).parts[0] == home.dockside.name for name in manifest.files),
    )


def kept_files(home: Home) -> Iterator[Path]:
    """The files of a home that cannot be worked out again, but for the warehouse."""
    store = WeekStore(home.weeks)
    with_pages = {key.name for key in store.weeks() if store.has_pages(key)}
    for folder, below, files in os.walk(home.folder):
        here, names = Path(folder), sorted(files)
        if here == home.folder:
            below[:] = [name for name in below if name not in _MADE_AGAIN]
            names = [name for name in names if not _is_warehouse(home, name)]
        if here == home.dockside:  # nobody is signed in again by a restore
            names = [name for name in names if name != SESSIONS and not name.endswith(".lock")]
        if here == home.site:  # pages that a week's own folder holds are laid open from there
            below[:] = [name for name in below if _is_pages(name) and name not in with_pages]
        below[:] = sorted(name for name in below if not (here / name / "home.toml").exists())
        yield from (here / name for name in names if not name.endswith(".partial"))


def read_manifest(file: Path) -> Manifest:
    """What a backup says of itself.

    Raises:
        WarehouseError: it is no backup, or is damaged.
    """
    try:
        with zipfile.ZipFile(file) as backup:
            told = json.loads(backup.read(MANIFEST))
            manifest = Manifest(**{**told, "open_weeks": tuple(told["open_weeks"])})
    except KeyError as error:
        raise WarehouseError(
            f"{file} is no backup that this ringland can verify: it holds no {MANIFEST}."
        ) from error
    except (OSError, ValueError, TypeError, zipfile.BadZipFile) as error:
        raise WarehouseError(f"{file} cannot be read as a backup ({error}).") from error
    if manifest.form != FORM:
        raise WarehouseError(
            f"{file} was made by ringland {manifest.ringland}, which packs otherwise; restore it "
            f"with that."
        )
    for name in manifest.files:
        path = PurePosixPath(name)
        if path.is_absolute() or ".." in path.parts or "\\" in name or ":" in path.parts[0]:
            raise WarehouseError(f"{file} names {name!r}, which lies in no home; not restored.")
    return manifest


def wrong_in(file: Path, manifest: Manifest) -> list[str]:
    """The files of a backup that are missing or are not as they were packed."""
    wrong = []
    with zipfile.ZipFile(file) as backup:
        for name, digest in manifest.files.items():
            try:
                with backup.open(name) as packed:
                    found = hashlib.file_digest(packed, "sha256").hexdigest()  # type: ignore[arg-type]  # it reads into a buffer
            except (KeyError, OSError, EOFError, ValueError, zipfile.BadZipFile, zlib.error):
                found = ""
            if found != digest:
                wrong.append(name)
    return wrong


def _write(home: Home, partial: Path, made_at: datetime) -> tuple[list[str], Manifest]:
    digests: dict[str, str] = {}
    partial.unlink(missing_ok=True)
    partial.touch(mode=0o600)  # it holds private keys; on Windows its folder's rights hold
    copy = partial.with_name(f"{partial.name}.duckdb.partial")
    damaged: list[str] = []
    with ExitStack() as stack, zipfile.ZipFile(partial, "w") as backup:
        stack.callback(lambda: copy.unlink(missing_ok=True))
        try:
            if home.database.exists():  # held to the end: no load comes between two files
                stack.enter_context(warehouse_at(home.database).reading())
                copy_database(home.database, copy)
                digests[home.database.name] = _add(backup, copy, home.database.name)
        except BusyError:
            raise
        except (WarehouseError, duckdb.Error):
            damaged.append(f"{home.database.name} is damaged and was left out")
        for path in kept_files(home):
            name = path.relative_to(home.folder).as_posix()
            digests[name] = _add(backup, path, name)
        damaged += _damaged(home, digests)
        pages = tuple(path.name for path in sorted(home.site.glob("*")) if _is_pages(path.name))
        manifest = Manifest(
            FORM, version("ringland"), made_at.astimezone(UTC).isoformat(), pages, digests
        )
        backup.writestr(MANIFEST, json.dumps(asdict(manifest), ensure_ascii=False, indent=1))
    with partial.open("rb+") as file:
        os.fsync(file.fileno())
    return damaged, manifest


def _add(backup: zipfile.ZipFile, path: Path, name: str) -> str:
    """Pack a file, hashed on its way."""
    digest = hashlib.sha256()
    packed = zipfile.ZipInfo(name)
    is_packed = path.suffix.lower() in _PACKED
    packed.compress_type = zipfile.ZIP_STORED if is_packed else zipfile.ZIP_DEFLATED
    with path.open("rb") as file, backup.open(packed, "w", force_zip64=True) as into:
        while chunk := file.read(_CHUNK_BYTES):
            digest.update(chunk)
            into.write(chunk)
    return digest.hexdigest()


def _damaged(home: Home, digests: dict[str, str]) -> list[str]:
    """The files that are packed as they are and are not what they should be."""
    store, wrong = WeekStore(home.weeks), []
    for key in store.weeks():
        for name, digest in store.files(key).items():
            path = f"{home.weeks.name}/{key.name}/{name}"
            if digests.get(path) != digest:
                wrong.append(f"{path} is missing or damaged")
    wrong += [f"week of {key.name}: week.json is missing or damaged" for key in store.unreadable()]
    for name, digest in digests.items():
        packed = PurePosixPath(name)
        is_copy = packed.parent.as_posix() == home.raw.name and len(packed.stem) == len(digest)
        if is_copy and packed.stem != digest:
            wrong.append(f"{name} is damaged")
    return wrong


def _lists(home: Home) -> dict[str, bytes]:
    return {
        path.parent.name: path.read_bytes() for path in sorted(home.weeks.glob(f"*/{LIST_NAME}"))
    }


def _is_warehouse(home: Home, name: str) -> bool:
    database = home.database.name
    left = (f"{database}.wal", f"{database}.rebuilt", f"{database}.rebuilt.wal")
    return name in (database, *left) or name.endswith((".old", ".old.wal"))


def _is_pages(name: str) -> bool:
    """Whether a folder of the site is one of a week's pages."""
    try:
        WeekKey.of(name)
        datetime.fromisoformat(name[:10])
    except ValueError:
        return False
    return True
