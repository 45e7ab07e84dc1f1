"""Which files of a folder hold which record kind, and by which mapping they are read.

A mapping beside a file, of the same name with '.toml', goes before those in the shop's
`mappings/` folder, which are for the files they name.  A file without a mapping is in the
contract's own form, and its kind is told by how its name begins.
"""

import hashlib
import re
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

from ringland.contracts.record_kinds import RECORD_KINDS
from ringland.intake.column_mapping import ColumnMapping, MappingError, parse_mapping

ENDINGS = {".csv", ".tsv", ".txt", ".xlsx", ".parquet"}
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
    stem = re.sub(r"[\s\-]+", "_", Path(file_name).stem.lower())
    return next(
        (kind for kind in RECORD_KINDS if stem == kind or stem.startswith(f"{kind}_")), None
    )


def mapping_path(path: Path, mappings: Path | None) -> Path | None:
    """The mapping a file is read by; None if there is none.

    Raises:
        MappingError: a mapping for it cannot be read.
    """
    beside = path.with_suffix(".toml")
    if beside.exists():
        return beside
    for candidate in sorted(mappings.glob("*.toml")) if mappings and mappings.is_dir() else []:
        if candidate.stem.lower() == path.stem.lower() or read_mapping(candidate).is_for(path.name):
            return candidate
    return None


def read_mapping(path: Path) -> ColumnMapping:
    """The mapping in a file.

    Raises:
        MappingError: it does not say what it must.
    """
    return MappingFile(path.name, path.read_bytes()).read()


def record_files(folder: Path, kind: str | None, mappings: Path | None = None) -> Iterator[Path]:
    """The folder's files of one kind by name; `kind` None: those of no kind."""
    for path in sorted(folder.iterdir()):
        if not path.is_file() or path.suffix.lower() not in ENDINGS or path.name.startswith("~$"):
            continue  # '~$' begins the lock file of an open workbook
        if is_mended(path.name) or is_corrections(path.name):
            continue
        try:
            mapping = mapping_path(path, mappings)
            kinds = read_mapping(mapping).kinds() if mapping else {kind_of(path.name)}
        except MappingError:  # told when the file is loaded
            kinds = {kind_of(path.name) or next(iter(RECORD_KINDS))}
        if kind in kinds:
            yield path


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
