"""Files and folders put in place whole: written aside, then renamed, on every system alike.

Windows lets nobody rename over a file, or rename a folder, that another program has open; a
virus scanner has each new file open for a moment.  So a refusal is tried again for a while,
and then told in words, with the old one still whole.
"""

import os
import shutil
import time
from collections.abc import Callable, Mapping
from glob import escape
from pathlib import Path

_TRIES, _PAUSE_S = 10, 0.1
_HEADERS_BYTES, _BEGUN_S = 3 * 4096, 2.0
"""What every DuckDB file begins with, and how long making one may take."""


class InUseError(OSError):
    """Another program has a file or folder open; the message says which and what to do."""


def write_whole(path: Path, content: bytes) -> None:
    """Write a file beside its place, force it to the disk and put it there at once.

    Raises:
        InUseError: another program has the file open; it is as it was.
    """
    partial = path.with_name(f"{path.name}.{os.getpid()}.partial")
    try:
        with partial.open("wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        put_in_place(partial, path)
    except BaseException:
        partial.unlink(missing_ok=True)
        raise


def put_in_place(partial: Path, path: Path) -> None:
    """Rename a file that lies beside its place; whoever has an older one open keeps it.

    Raises:
        InUseError: another program has the file open; it is as it was.
    """
    _tried(lambda: partial.replace(path), path)
    sync_folder(path.parent)


def is_begun(database: Path) -> bool:
    """Whether another program has just made this database and not yet written its three headers.

    Two first loads at once: the later one finds a file that is not yet one of DuckDB's.
    """
    try:
        seen = database.stat()
    except OSError:
        return False
    return seen.st_size < _HEADERS_BYTES and time.time() - seen.st_mtime < _BEGUN_S


def move(path: Path, to: Path) -> None:
    """Rename a file or folder to a name that is free.

    Raises:
        InUseError: another program has it open, or something in it; it is as it was.
    """
    _tried(lambda: path.rename(to), path)


def put_folder(folder: Path, content: Mapping[str, bytes]) -> None:
    """Write a folder beside its place and put it there, in the place of an older one.

    Raises:
        InUseError: another program is at work in the older one; it is as it was.
    """
    fresh = folder.with_name(f"{folder.name}.new")
    shutil.rmtree(fresh, ignore_errors=True)
    for name, written in content.items():
        path = fresh / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(written)
    swap_folder(fresh, folder)


def swap_folder(fresh: Path, folder: Path) -> None:
    """Put a folder in the place of an older one, which goes.

    Raises:
        InUseError: another program is at work in the older one; both are as they were.
    """
    gone = free_name(folder.with_name(f"{folder.name}.gone"))
    if folder.exists():
        move(folder, gone)
    try:
        _tried(lambda: fresh.rename(folder), folder)
    except OSError:
        if gone.exists():
            move(gone, folder)
        raise
    sync_folder(folder.parent)
    for ending in (".gone", "-[0-9].gone"):  # also of a swap that was cut off
        for left in folder.parent.glob(escape(folder.name) + ending):
            shutil.rmtree(left, ignore_errors=True)


def set_apart(path: Path) -> Path:
    """Move a damaged file out of the way, into `set-apart/` beside it; where it lies now."""
    apart = free_name(path.parent / "set-apart" / path.name)
    apart.parent.mkdir(exist_ok=True)
    move(path, apart)
    return apart


def free_name(path: Path) -> Path:
    """The path, or with a number in it the first that is not taken."""
    number, free = 1, path
    while free.exists():
        number += 1
        free = path.with_name(f"{path.stem}-{number}{path.suffix}")
    return free


def sync_folder(folder: Path) -> None:
    """Force a rename in a folder to the disk, where the system knows how."""
    try:
        handle = os.open(folder, os.O_RDONLY)
    except OSError:
        return  # Windows opens no folders; it writes renames down by itself
    try:
        os.fsync(handle)
    except OSError:
        pass  # some network drives cannot
    finally:
        os.close(handle)


def _tried(rename: Callable[[], object], path: Path) -> None:
    for attempt in range(_TRIES):
        try:
            rename()
        except PermissionError as error:
            if os.name != "nt" or attempt + 1 == _TRIES:
                raise InUseError(
                    error.errno,
                    f"{path} cannot be replaced: another program has it open, or you may not "
                    f"write there. Close it and try again; it is as it was",
                ) from error
            time.sleep(_PAUSE_S)
        else:
            return
