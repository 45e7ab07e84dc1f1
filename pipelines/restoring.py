"""A home brought back from a backup, whole or where it is damaged."""

import json
import os
import shutil
import zipfile
from collections import Counter
from dataclasses import dataclass
from datetime import datetime
from glob import escape
from pathlib import Path, PurePosixPath

from pipelines.backup import Manifest, read_manifest, wrong_in
from pipelines.dockside.certificates import faulty_keys
from pipelines.dockside.journal import SECOND, Journal, lines_of_both
from pipelines.dockside.people import PEOPLE, people_fault
from pipelines.duckdb_warehouse import WarehouseError
from pipelines.home import JOURNAL, Home
from pipelines.home_file import HomeFileError
from pipelines.raw_store import whole_copy
from pipelines.rebuilding import rebuild
from pipelines.taken_list import NAMES, list_faults, mend_list, taken_in
from pipelines.week_site import lay_open
from pipelines.week_views import make_views
from pipelines.weekly.store import LIST_NAME, StoreError, WeekKey, WeekStore
from pipelines.whole_files import InUseError, free_name, move, set_apart, write_whole
from ringland.intake.mapping.mapping_entries import MappingError
from ringland.intake.written.raw_file import RecordFileError

BEFORE = "-before-"
"""Between the name of a home and the time it was moved aside for a backup's."""


@dataclass(frozen=True)
class Restored:
    """What was brought back: files by the folder they lie in, and where the home of before is."""

    made_at: str
    counts: dict[str, int]
    before: Path | None
    not_done: tuple[str, ...]
    """what could not be made again from what the backup held, with the step that does"""


def restore(home: Home, file: Path, now: datetime) -> Restored:
    """Bring a home back from a backup; a home that stood there is moved aside whole.

    The backup is held against its own hashes first; then the new home is made beside the old
    one, and put in place by a rename.

    Raises:
        WarehouseError: the backup is damaged, or the disk too full; nothing was changed.
    """
    manifest = _verified(file)
    fresh = Home(home.folder.with_name(f"{home.folder.name}.restoring"))
    shutil.rmtree(fresh.folder, ignore_errors=True)  # of a restore that was cut off
    not_done = []
    try:
        _unpack(file, manifest, fresh.folder)
        not_done += _made_again(fresh.prepare(), manifest)
        before = _put_home(fresh.folder, home.folder, now)
    finally:
        shutil.rmtree(fresh.folder, ignore_errors=True)
    if home.database.exists():
        make_views(home)  # a view names the home's folder
    parts = Counter(PurePosixPath(name).parts[0] for name in manifest.files)
    return Restored(manifest.made_at, dict(sorted(parts.items())), before, tuple(not_done))


def cut_off(home: Home) -> str | None:
    """What to do where a restore was cut off after it moved the home aside; None: it was not."""
    aside = sorted(home.folder.parent.glob(f"{escape(home.folder.name)}{BEFORE}*"))
    if home.folder.exists() or not aside:
        return None
    return (
        f"There is no {home.folder}: a restore was cut off after it moved the home aside. Run "
        f"'ringland restore BACKUP' again, or rename {aside[-1]}, which is whole, to "
        f"{home.folder.name}."
    )


def mend_from(home: Home, file: Path) -> list[str]:
    """Put back from a backup what of a home is lost or damaged; what was put back, in words.

    Raw copies, the list of what was taken in, weeks and settings that cannot be read, the
    journal, people and keys of the dockside server.  What is
    whole stays as it is, whatever the backup holds; a damaged file is set apart.

    Raises:
        WarehouseError: the backup is damaged.
    """
    manifest = _verified(file)
    with zipfile.ZipFile(file) as backup:
        return [
            *_mend_settings(home, backup, manifest),
            *_mend_list(home, backup, manifest),
            *_mend_copies(home, backup, manifest),
            *_mend_weeks(home, backup, manifest),
            *_mend_dockside(home, backup, manifest),
        ]


def _verified(file: Path) -> Manifest:
    manifest = read_manifest(file)
    if wrong := wrong_in(file, manifest):
        raise WarehouseError(
            f"Nothing was changed: the backup {file} is damaged: {', '.join(wrong[:5])}"
            f"{' and others' if len(wrong) > 5 else ''}. Take another one."
        )
    return manifest


def _unpack(file: Path, manifest: Manifest, folder: Path) -> None:
    folder.parent.mkdir(parents=True, exist_ok=True)
    _make_private(Home(folder).dockside, manifest)
    with zipfile.ZipFile(file) as backup:
        size = sum(backup.getinfo(name).file_size for name in manifest.files)
        if shutil.disk_usage(folder.parent).free < size:
            raise WarehouseError(
                f"Nothing was changed: the disk that holds {folder.parent} has less than the "
                f"{size / 1e6:.0f} MB free that this backup unpacks to."
            )
        for name in manifest.files:
            path = folder / name
            path.parent.mkdir(parents=True, exist_ok=True)
            with backup.open(name) as packed, path.open("wb") as unpacked:
                shutil.copyfileobj(packed, unpacked)
                unpacked.flush()
                os.fsync(unpacked.fileno())


def _made_again(home: Home, manifest: Manifest) -> list[str]:
    not_done = []
    if not home.database.exists() and any(taken_in(home.raw)):
        try:
            rebuild(home)
        except (WarehouseError, RecordFileError, MappingError) as error:
            not_done.append(str(error))
    store = WeekStore(home.weeks)
    for name in manifest.open_weeks:
        key = WeekKey.of(name)
        try:
            if store.has_pages(key):
                lay_open(home, key)
        except StoreError as error:
            not_done.append(str(error))
    return not_done


def _put_home(fresh: Path, folder: Path, now: datetime) -> Path | None:
    before = None
    try:
        if folder.exists() and any(folder.iterdir()):
            before = free_name(folder.with_name(f"{folder.name}{BEFORE}{now:%Y%m%d-%H%M%S}"))
            move(folder, before)
        elif folder.exists():
            folder.rmdir()
    except OSError as error:
        raise InUseError(
            error.errno,
            f"Nothing was changed: {folder} cannot be moved aside, since another program is at "
            f"work in it or you may not write beside it. Restore to another place with --home",
        ) from error
    try:
        move(fresh, folder)  # whose files a virus scanner may just be reading
    except OSError:
        if before is not None:
            move(before, folder)
        raise
    return before


def _mend_settings(home: Home, backup: zipfile.ZipFile, manifest: Manifest) -> list[str]:
    if home.own_file.exists() and home.own_file.name in manifest.files:
        try:
            home.facts()
        except (HomeFileError, UnicodeDecodeError):
            return [_put(backup, home, home.own_file.name)]
    return []


def _mend_list(home: Home, backup: zipfile.ZipFile, manifest: Manifest) -> list[str]:
    """Lines of the backup's list that the home's has lost, before those that came since."""
    packed = [f"{home.raw.name}/{name}" for name in NAMES]
    is_lost = not any(taken_in(home.raw)) or bool(list_faults(home.raw))
    if not is_lost or not set(packed) & set(manifest.files):
        return []
    since = list(taken_in(home.raw))
    for name in packed:
        if name in manifest.files:
            _put(backup, home, name)
    mend_list(home.raw, since)
    return [f"{home.raw.name}/{NAMES[0]}"]


def _mend_copies(home: Home, backup: zipfile.ZipFile, manifest: Manifest) -> list[str]:
    wanted = {digest for taken in taken_in(home.raw) for digest in taken.digests()}
    lost = {digest for digest in wanted if whole_copy(home.raw, digest) is None}
    return [
        _put(backup, home, name)
        for name, digest in manifest.files.items()
        if digest in lost and PurePosixPath(name).parent.as_posix() == home.raw.name
    ]


def _mend_weeks(home: Home, backup: zipfile.ZipFile, manifest: Manifest) -> list[str]:
    store, put_back = WeekStore(home.weeks), []
    there = {key.name for key in store.weeks()}
    for name in sorted(manifest.files):
        path = PurePosixPath(name)
        is_list = path.parts[0] == home.weeks.name and path.name == LIST_NAME
        if is_list and path.parts[1] not in there:
            is_there = store.path(WeekKey.of(path.parts[1])).exists()
            # a whole week may have been dropped on purpose, but not one that was given out
            if is_there or json.loads(backup.read(name))["made"]["is_given_out"]:
                put_back.append(_put(backup, home, name))
    for key in store.weeks():
        for stamp in store.listed(key).outputs.values():
            for file in store.damaged(key, stamp):
                name = f"{home.weeks.name}/{key.name}/{file}"
                if manifest.files.get(name) == stamp.files[file]:
                    put_back.append(_put(backup, home, name))
    return put_back


def _mend_dockside(home: Home, backup: zipfile.ZipFile, manifest: Manifest) -> list[str]:
    """What is lost of the dockside server, and the lines its journal has lost."""
    put_back = []
    damaged = set(faulty_keys(home.dockside))
    if people_fault(home.dockside) is not None:
        damaged.add(home.dockside / PEOPLE)
    _make_private(home.dockside, manifest)
    for name in sorted(manifest.files):
        path = PurePosixPath(name)
        if path.parts[0] != home.dockside.name:
            continue
        if path.name == JOURNAL:
            put_back += _mend_journal(home, name, backup.read(name))
        elif not (home.folder / name).exists() or home.folder / name in damaged:
            put_back.append(_put(backup, home, name))
    return put_back


def _mend_journal(home: Home, name: str, packed: bytes) -> list[str]:
    """The journal of the backup with the lines that came since."""
    path = home.folder / name
    Journal(home.dockside).close()  # refuses while a server is at work on it
    before = path.read_bytes()
    mended = lines_of_both(packed, before)
    if mended == before:
        return []
    set_apart(path)
    write_whole(path, mended)
    (home.dockside / SECOND).unlink()  # its lines are all among them
    Journal(home.dockside).close()
    return [name]


def _make_private(dockside: Path, manifest: Manifest) -> None:
    """The folder of keys and people, for its owner alone; its own rights hold on Windows."""
    if any(PurePosixPath(name).parts[0] == dockside.name for name in manifest.files):
        dockside.parent.mkdir(parents=True, exist_ok=True)
        dockside.mkdir(mode=0o700, exist_ok=True)


def _put(backup: zipfile.ZipFile, home: Home, name: str) -> str:
    path = home.folder / name
    path.parent.mkdir(parents=True, exist_ok=True)
    if path.exists():
        set_apart(path)
    write_whole(path, backup.read(name))
    return name
