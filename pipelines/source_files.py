"""Which files of a folder hold which record kind, and by which mapping they are read.

A mapping beside a file, of the same name with '.toml', goes before those in the shop's
`mappings/` folder, which are for the files they name.  A file without a mapping is in the
contract's own form, and its kind is told by how its name begins.
"""

import hashlib
from collections.abc import Iterator
from contextlib import suppress
from functools import lru_cache
from pathlib import Path
from typing import NamedTuple

from pipelines.refused_files import refuse_too_large
from ringland.contracts.record_kinds import RECORD_KINDS
from ringland.intake.contract_file import kind_named, kinds_of_sheets
from ringland.intake.mapping.column_mapping import parse_mapping
from ringland.intake.mapping.mapping_entries import MappingError
from ringland.intake.mapping.mapping_rules import ColumnMapping
from ringland.intake.written.raw_file import RecordFileError

_WORKBOOKS = {".xlsx", ".xlsm", ".xlsb", ".xls", ".ods"}
ENDINGS = {".csv", ".tsv", ".txt", ".parquet", *_WORKBOOKS}
MENDED = "set-aside"
CORRECTIONS = "corrections"


class MappingFile(NamedTuple):
    """A mapping as it was written: what messages call it, and its bytes."""

    name: str
    content: bytes

    @property
    def sha256(self) -> str:
        """The hash of its bytes, in hex."""
        return hashlib.sha256(self.content).hexdigest()

    def read(self) -> ColumnMapping:
        """What it says.

        Raises:
            MappingError: it does not say what it must.
        """
        try:
            text = self.content.decode("utf-8")
        except UnicodeDecodeError as error:
            raise MappingError(
                self.name, "the file", "It is not UTF-8 text.", "Save it as UTF-8."
            ) from error
        return parse_mapping(self.name, text)


def kind_of(file_name: str) -> str | None:
    """The record kind a file name begins with; None if it begins with none."""
    return kind_named(Path(file_name).stem)


def mapping_path(path: Path, mappings: Path | None) -> Path | None:
    """The mapping a file is read by; None if there is none.

    A mapping in the shop's folder that cannot be read is for no file but the one of its name.
    """
    beside = path.with_suffix(".toml")
    if beside.exists():
        return beside
    for candidate in sorted(mappings.glob("*.toml")) if mappings and mappings.is_dir() else []:
        if candidate.stem.lower() == path.stem.lower() or _is_for(candidate, path.name):
            return candidate
    return None


def _is_for(candidate: Path, file_name: str) -> bool:
    try:
        return read_mapping(candidate).is_for(file_name)
    except MappingError:
        return False


def read_mapping(path: Path) -> ColumnMapping:
    """The mapping in a file.

    Raises:
        MappingError: it does not say what it must.
    """
    return MappingFile(path.name, path.read_bytes()).read()


def record_files(folder: Path, kind: str | None, mappings: Path | None = None) -> Iterator[Path]:
    """The folder's files that hold one kind, by name; `kind` None: those that hold none.

    A file whose mapping cannot be read is among those of its name's kind, else of the first.
    """
    for path in _candidates(folder):
        if path.suffix.lower() not in ENDINGS:
            continue
        try:
            mapping = mapping_path(path, mappings)
            kinds = read_mapping(mapping).kinds() if mapping else _kinds_in(path)
        except MappingError:  # told when the file is loaded
            kinds = {kind_of(path.name) or next(iter(RECORD_KINDS))}
        if kind in kinds or (kind is None and not kinds):
            yield path


def _candidates(folder: Path) -> Iterator[Path]:
    """The folder's files that may hold records, by name."""
    for path in sorted(folder.iterdir()):
        is_hidden = path.name.startswith((".", "~$"))  # '~$': the lock file of an open workbook
        if path.is_file() and not (is_hidden or is_mended(path.name) or is_corrections(path.name)):
            yield path


def _kinds_in(path: Path) -> set[str]:
    """The kinds that a file in the contract's form holds, told by its name and its sheets'."""
    stat = path.stat()
    return set(_kinds_at(path, stat.st_mtime_ns, stat.st_size))


@lru_cache(maxsize=1024)
def _kinds_at(path: Path, _changed: int, _size: int) -> frozenset[str]:
    kinds = {kind_of(path.name)}
    if path.suffix.lower() in _WORKBOOKS:
        with suppress(RecordFileError):  # told when it is loaded
            refuse_too_large(path)
            kinds |= set(kinds_of_sheets(path.name, path.read_bytes()).values())
    return frozenset(kind for kind in kinds if kind is not None)


_BESIDE_RECORDS = {"readme.md", "truth.json"}
"""What the invented fleet brings beside its records."""
_PICTURES = {".jpg", ".jpeg", ".png", ".heic", ".gif", ".tif", ".tiff", ".webp"}


def unread_files(folder: Path) -> dict[str, str]:
    """The folder's files of a form that is not read, and why, with the remedy; by name."""
    unread = {}
    for path in _candidates(folder):
        ending = path.suffix.lower()
        if ending in ENDINGS:
            continue
        if ending in _PICTURES:
            unread[path.name] = (
                "a picture; no row is read from it. Type what it shows into a record file, e.g. "
                "the one 'ringland workbook' writes."
            )
        elif ending == ".pdf":
            unread[path.name] = (
                "a PDF; no row is read from it. Ask whoever sent it for a CSV or a spreadsheet, "
                "or type its rows into a record file."
            )
        elif ending != ".toml" and path.name.lower() not in _BESIDE_RECORDS:
            unread[path.name] = (
                f"a file of the form '{ending or path.name}', which is not read. If it holds "
                "records, open it in a spreadsheet program and save it as .xlsx or CSV."
            )
    return unread


def mended_files(folder: Path) -> list[Path]:
    """Workbooks of set-aside rows that come back from the user."""
    return sorted(
        path for path in folder.iterdir() if path.suffix == ".xlsx" and is_mended(path.name)
    )


def correction_files(folder: Path) -> list[Path]:
    """Files of corrections, by name."""
    return sorted(
        path
        for path in folder.iterdir()
        if path.suffix.lower() in ENDINGS and is_corrections(path.name)
    )


def is_mended(file_name: str) -> bool:
    """Whether the name is that of a workbook of set-aside rows."""
    return file_name.lower().replace("_", "-").startswith(MENDED) and file_name.endswith(".xlsx")


def is_corrections(file_name: str) -> bool:
    """Whether the name is that of a file of corrections."""
    return file_name.lower().startswith(CORRECTIONS)
