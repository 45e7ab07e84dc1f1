"""The list of what was taken in, in order: from it and the raw copies the warehouse is built.

It stands twice, in two files of the raw store.  Each line bears its number and a digest of
itself, so that a line that was changed, lost or cut off in writing is known as such; what one
file lost the other has.  Lines of an older ringland bear neither and count by their place.
"""

import hashlib
import json
import os
from collections.abc import Iterable, Iterator
from dataclasses import asdict, dataclass
from pathlib import Path

from pipelines.whole_files import set_apart, write_whole

LIST_NAME = "taken-in.jsonl"
SECOND_NAME = "taken-in-second.jsonl"
NAMES = (LIST_NAME, SECOND_NAME)
_DIGITS = 16


@dataclass(frozen=True)
class TakenIn:
    """One file as it was loaded once."""

    kind: str
    file_name: str
    content_sha256: str
    mapping_name: str | None = None
    mapping_sha256: str | None = None

    def digests(self) -> list[str]:
        """The hashes of the copies it needs: the file and, if it had one, its mapping."""
        return [digest for digest in (self.content_sha256, self.mapping_sha256) if digest]


@dataclass(frozen=True)
class _Read:
    """What one file of the list says: entries by number, and the lines that say nothing."""

    entries: dict[int, TakenIn]
    damaged: tuple[int, ...]
    ends: bool


def taken_in(raw_folder: Path) -> Iterator[TakenIn]:
    """The list, oldest first, of both its files together."""
    yield from _together(raw_folder).values()


def is_listed(raw_folder: Path, taken: TakenIn) -> bool:
    """Whether the same bytes were taken in as this kind by this mapping, under any name."""
    wanted = (taken.kind, *taken.digests())
    return any((one.kind, *one.digests()) == wanted for one in taken_in(raw_folder))


def add_to_list(raw_folder: Path, taken: TakenIn) -> TakenIn:
    """Note that a kept file is loaded now; it is on the disk when this returns."""
    mend_list(raw_folder)
    line = _line(max(_together(raw_folder), default=0) + 1, taken)
    for name in NAMES:
        with (raw_folder / name).open("ab") as listed:
            listed.write(line)
            listed.flush()
            os.fsync(listed.fileno())
    return taken


def mend_list(raw_folder: Path, loaded: Iterable[TakenIn] = ()) -> bool:
    """Write the list anew from what its two files say together; whether there was need to.

    Args:
        raw_folder: where it lies.
        loaded: files that the warehouse says were loaded; those on no list are added to its end.
    """
    reads = {name: _read(raw_folder / name) for name in NAMES}
    together = _together(raw_folder)
    listed = list(together.values())
    known = {(taken.kind, taken.content_sha256) for taken in listed}
    lost = [taken for taken in loaded if (taken.kind, taken.content_sha256) not in known]
    whole = [_Read(dict(enumerate(listed, start=1)), (), ends=True)] * len(NAMES)
    if not lost and list(reads.values()) == whole:
        return False
    content = b"".join(_line(*numbered) for numbered in enumerate([*listed, *lost], start=1))
    for name, read in reads.items():
        path = raw_folder / name
        if read.damaged and path.exists():
            set_apart(path)
        if not path.exists() or path.read_bytes() != content:
            write_whole(path, content)
    return True


def list_faults(raw_folder: Path) -> list[str]:
    """What is wrong with the list, in words; that a cut-off load left it is nothing wrong."""
    together, wrong = _together(raw_folder), []
    for name in NAMES:
        read = _read(raw_folder / name)
        if not (raw_folder / name).exists():
            if name == SECOND_NAME and _is_older(raw_folder):
                continue  # the next load writes it
            if together:
                wrong.append(f"{name} is missing")
        elif read.damaged:
            wrong.append(f"{name}: line {', '.join(map(str, read.damaged))} cannot be read")
        elif len(together) - len(read.entries) > 1:  # one: a load cut off between the two files
            wrong.append(f"{name} lacks {len(together) - len(read.entries)} lines")
    gone = [number for number in range(1, max(together, default=0)) if number not in together]
    if gone:
        wrong.append(f"line {', '.join(map(str, gone))} is lost from both files of the list")
    return wrong


def _is_older(raw_folder: Path) -> bool:
    """Whether an older ringland, which kept one file, wrote the list."""
    path = raw_folder / LIST_NAME
    return path.exists() and b'"number"' not in path.read_bytes()


def _together(raw_folder: Path) -> dict[int, TakenIn]:
    entries = _read(raw_folder / SECOND_NAME).entries | _read(raw_folder / LIST_NAME).entries
    return dict(sorted(entries.items()))


def _read(path: Path) -> _Read:
    text = path.read_bytes() if path.exists() else b""
    lines = text.split(b"\n")
    last = lines.pop()  # what follows the last line's end: nothing, or a line cut off in writing
    entries: dict[int, TakenIn] = {}
    damaged = []
    for place, line in enumerate(lines, start=1):
        found = _entry(line, len(entries) + 1)
        if found is None:
            damaged.append(place)
        else:
            entries[found[0]] = found[1]
    return _Read(entries, tuple(damaged), ends=not last)


def _entry(line: bytes, place: int) -> tuple[int, TakenIn] | None:
    try:
        told = json.loads(line)
        number, digest = told.pop("number", place), told.pop("digest", None)
        taken = TakenIn(**told)
    except (ValueError, TypeError, AttributeError):
        return None
    is_whole = isinstance(number, int) and digest in (None, _digest(number, taken))
    return (number, taken) if is_whole else None


def _line(number: int, taken: TakenIn) -> bytes:
    told = {"number": number, **asdict(taken), "digest": _digest(number, taken)}
    return json.dumps(told, ensure_ascii=False).encode() + b"\n"


def _digest(number: int, taken: TakenIn) -> str:
    told = json.dumps([number, asdict(taken)], sort_keys=True)
    return hashlib.sha256(told.encode()).hexdigest()[:_DIGITS]
