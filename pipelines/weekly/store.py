"""Where the outputs of the week lie: one folder per week and instant they were told by.

`weeks/2026-08-17` is that week as it was known when it began; a week worked out again with
what was known later lies beside it under a name that says so.  A folder holds Parquet, NPZ,
JSON and packed ZIP files and `week.json`, which alone says which of them count: a file is written
aside and renamed, the list last.
"""

import hashlib
import json
import lzma
import shutil
import zipfile
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass, field, replace
from datetime import UTC, datetime
from functools import lru_cache
from pathlib import Path
from typing import Any

import polars as pl

from pipelines.raw_store import file_digest
from pipelines.weekly.artefact import (
    FormError,
    canonical,
    form_of,
)
from pipelines.weekly.output_files import files_of, frame_file, value_of
from pipelines.weekly.step import Step
from pipelines.whole_files import write_whole

LIST_NAME = "week.json"
PAGES_MADE = "pages.week_list"
"""The output that tells a week with pages from one worked out for its score alone."""
_TOLD = "-told-"
_STAMP = "%Y%m%dT%H%M%SZ"
_UNREADABLE = (
    OSError, FormError, ValueError, EOFError, lzma.LZMAError, zipfile.BadZipFile,
    pl.exceptions.PolarsError,
)  # fmt: skip


class StoreError(RuntimeError):
    """A week cannot be read or must not be written; the message says what to do."""


@dataclass(frozen=True, order=True)
class WeekKey:
    """A week by its Monday, e.g. '2026-08-17', as it was known then or told by a later instant.

    That instant counts to the second, as its folders are called.
    """

    monday: str
    told_by: datetime | None = None

    def __post_init__(self) -> None:
        if self.told_by is not None:
            object.__setattr__(self, "told_by", self.told_by.replace(microsecond=0))

    @property
    def name(self) -> str:
        """What its folders are called."""
        if self.told_by is None:
            return self.monday
        return f"{self.monday}{_TOLD}{self.told_by.astimezone(UTC):{_STAMP}}"

    @classmethod
    def of(cls, name: str) -> "WeekKey":
        """The key of a folder's name."""
        monday, _, told = name.partition(_TOLD)
        at = datetime.strptime(told, _STAMP).replace(tzinfo=UTC) if told else None
        return cls(monday, at)


@dataclass(frozen=True)
class Made:
    """Who made a week's list and when, and whether it was given out as that week's list."""

    at: str = ""
    by: str = ""
    is_given_out: bool = False


@dataclass(frozen=True)
class Stamp:
    """What an output was made from and what it holds, as digests; `files` by name."""

    inputs: str
    content: str
    form: str
    files: dict[str, str]


@dataclass
class WeekList:
    """What `week.json` says: the instants of the week, who made it, and its outputs.

    `left_out` says by hull what went wrong where the week could not be worked out with it.
    """

    as_of: str = ""
    told_by: str = ""
    made: Made = field(default_factory=Made)
    outputs: dict[str, Stamp] = field(default_factory=dict)
    left_out: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class WeekStore:
    """The weeks of one home."""

    folder: Path

    def weeks(self) -> list[WeekKey]:
        """The weeks that are there, by Monday; a restated one after the week as it was known."""
        return [key for key in self._folders() if self._is_readable(key)]

    def unreadable(self) -> list[WeekKey]:
        """The weeks whose list is lost or damaged, so that nothing of them counts."""
        return [key for key in self._folders() if not self._is_readable(key)]

    def _folders(self) -> list[WeekKey]:
        names = [path.name for path in self.folder.glob("????-??-??*") if any(path.iterdir())]
        return sorted(map(WeekKey.of, names), key=lambda key: key.name)

    def _is_readable(self, key: WeekKey) -> bool:
        try:
            self.listed(key)
        except StoreError:
            return False
        return (self.path(key) / LIST_NAME).exists()

    def newest(self, monday: str | None, *, restated: bool = False) -> WeekKey | None:
        """The newest week whose pages were made, or that of one Monday; None: there is none."""
        found = [
            key
            for key in self.weeks()
            if (key.told_by is not None) == restated
            and monday in (None, key.monday)
            and self.has_pages(key)
        ]
        return found[-1] if found else None

    def has_pages(self, key: WeekKey) -> bool:
        """Whether the week's pages were made; a backfilled one has none."""
        return PAGES_MADE in self.listed(key).outputs

    def files(self, key: WeekKey) -> dict[str, str]:
        """The files a week's list counts, with their SHA-256."""
        stamps = self.listed(key).outputs.values()
        return {name: digest for stamp in stamps for name, digest in stamp.files.items()}

    def path(self, key: WeekKey) -> Path:
        """The folder of a week."""
        return self.folder / key.name

    def listed(self, key: WeekKey) -> WeekList:
        """What the week's list says; empty where there is none."""
        path = self.path(key) / LIST_NAME
        if not path.exists():
            return WeekList()
        try:
            look = path.stat()
            told = _list_in(path, look.st_ino, look.st_mtime_ns, look.st_size)
        except (ValueError, TypeError, KeyError, AttributeError) as error:
            raise StoreError(
                f"{path} cannot be read ({error}). Take it from a backup (ringland restore BACKUP "
                f"--mend), or move the folder away and run 'ringland week --as-of {key.monday}'."
            ) from error
        return replace(told, outputs=dict(told.outputs))

    def begin(
        self,
        key: WeekKey,
        as_of: datetime,
        told_by: datetime,
        made: Made,
        left_out: Mapping[str, str] | None = None,
    ) -> None:
        """Note who works a week out, for which instants; outputs of before stay in the list.

        What a run of this week that was cut off left half written goes.
        """
        for left in self.path(key).glob("*.partial"):
            left.unlink(missing_ok=True)
        listed = self.listed(key)
        listed.as_of, listed.told_by = as_of.isoformat(), told_by.isoformat()
        listed.made, listed.left_out = made, dict(left_out or {})
        self._write_list(key, listed)

    def stamp(self, key: WeekKey, step: Step) -> Stamp | None:
        """The stamp of an output that is there and of this form."""
        stamp = self.listed(key).outputs.get(step.label)
        if stamp is None or stamp.form != form_of(step.hint):
            return None
        whole = all((self.path(key) / name).exists() for name in stamp.files)
        return stamp if whole else None

    def damaged(self, key: WeekKey, stamp: Stamp) -> list[str]:
        """The files of an output that are missing or hold other bytes than were written."""
        paths = {name: self.path(key) / name for name in stamp.files}
        return [
            name
            for name, path in paths.items()
            if not path.exists() or file_digest(path) != stamp.files[name]
        ]

    def write(self, key: WeekKey, step: Step, value: Any, inputs: str) -> Stamp:
        """Keep an output; its frames keep to their contracts."""
        files = files_of(step, value)
        folder = self.path(key)
        folder.mkdir(parents=True, exist_ok=True)
        digests = {name: hashlib.sha256(content).hexdigest() for name, content in files.items()}
        self.drop(key, {step.label})  # what is half written counts for nothing
        for name, content in files.items():
            write_whole(folder / name, content)
        stamp = Stamp(inputs, _digest(digests), form_of(step.hint), digests)
        self._put(key, step, stamp)
        return stamp

    def carry(self, key: WeekKey, step: Step, table: str, content: bytes) -> None:
        """Keep a table of an output that was written elsewhere; the output cannot be read back."""
        name = frame_file(step, table)
        self.path(key).mkdir(parents=True, exist_ok=True)
        write_whole(self.path(key) / name, content)
        digest = hashlib.sha256(content).hexdigest()
        self._put(key, step, Stamp("", digest, "carried over", {name: digest}))

    def copy(self, key: WeekKey, step: Step, source: WeekKey, stamp: Stamp) -> None:
        """Take over an output that another week made from the same inputs."""
        self.path(key).mkdir(parents=True, exist_ok=True)
        self.drop(key, {step.label})
        for name in stamp.files:
            write_whole(self.path(key) / name, (self.path(source) / name).read_bytes())
        self._put(key, step, stamp)

    def read(self, key: WeekKey, step: Step) -> Any:
        """An output.

        Raises:
            StoreError: it is not there, or was written by another version of the program.
        """
        stamp = self.listed(key).outputs.get(step.label)
        again = f"Run 'ringland week --as-of {key.monday}' again."
        if stamp is None:
            raise StoreError(f"The week of {key.name} holds no {step.label}. {again}")
        if stamp.form != form_of(step.hint):
            raise StoreError(
                f"{step.label} of the week of {key.name} was written by another version of "
                f"ringland. {again}"
            )
        if damaged := self.damaged(key, stamp):
            raise StoreError(
                f"{step.label} of the week of {key.name} cannot be read: {damaged[0]} is missing "
                f"or was changed. 'ringland check' says what mends it."
            )
        try:
            return value_of(step, {name: self.path(key) / name for name in stamp.files})
        except _UNREADABLE as error:
            raise StoreError(
                f"{step.label} of the week of {key.name} cannot be read ({error}). {again}"
            ) from error

    def frame(self, key: WeekKey, step: Step, table: str) -> pl.DataFrame | None:
        """A table of an output, whatever version wrote it; None: not there, or damaged."""
        name = frame_file(step, table)
        stamp = self.listed(key).outputs.get(step.label)
        if stamp is None or name not in stamp.files or self.damaged(key, stamp):
            return None
        return pl.read_parquet(self.path(key) / name)

    def drop(self, key: WeekKey, labels: set[str]) -> None:
        """Remove these outputs of a week."""
        listed = self.listed(key)
        gone = {label: listed.outputs.pop(label) for label in labels & set(listed.outputs)}
        if not gone:
            return
        self._write_list(key, listed)
        for stamp in gone.values():
            for name in stamp.files:
                (self.path(key) / name).unlink(missing_ok=True)

    def remove(self, key: WeekKey) -> None:
        """Remove a whole week."""
        (self.path(key) / LIST_NAME).unlink(missing_ok=True)
        shutil.rmtree(self.path(key), ignore_errors=True)

    def _put(self, key: WeekKey, step: Step, stamp: Stamp) -> None:
        listed = self.listed(key)
        listed.outputs[step.label] = stamp
        self._write_list(key, listed)

    def _write_list(self, key: WeekKey, listed: WeekList) -> None:
        listed.outputs = dict(sorted(listed.outputs.items()))
        self.path(key).mkdir(parents=True, exist_ok=True)
        told = asdict(listed)
        told["digest"] = _list_digest(told)
        text = json.dumps(told, ensure_ascii=False, indent=1)
        write_whole(self.path(key) / LIST_NAME, text.encode() + b"\n")


def _digest(files: dict[str, str]) -> str:
    return hashlib.sha256(canonical(sorted(files.items()))).hexdigest()


@lru_cache(maxsize=1024)
def _list_in(path: Path, *_look: int) -> WeekList:
    """What a week's list says; read once as long as the file is the same."""
    told = json.loads(path.read_text(encoding="utf-8"))
    if told.pop("digest", None) not in (None, _list_digest(told)):
        raise ValueError("it was changed since it was written")
    outputs = {name: Stamp(**stamp) for name, stamp in told.pop("outputs").items()}
    return WeekList(made=Made(**told.pop("made")), outputs=outputs, **told)


def _list_digest(told: dict[str, Any]) -> str:
    return hashlib.sha256(canonical(told)).hexdigest()


def weeks_before(store: WeekStore, monday: str) -> Iterator[WeekKey]:
    """The weeks before one, as they were known."""
    return (key for key in store.weeks() if key.told_by is None and key.monday < monday)
