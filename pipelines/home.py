"""Where one shop's files live: a folder that may be moved or copied as a whole."""

import os
from dataclasses import dataclass, replace
from importlib.resources import files
from pathlib import Path
from typing import NamedTuple

from pipelines.home_file import TEMPLATE, HomeFacts, read_home_file
from pipelines.whole_files import write_whole
from ringland.bench.bench_limits import BENCH_LIMITS_FILE
from ringland.settings.manner_file import page_settings_text, read_manner
from ringland.words.manner import DEFAULT_MANNER, Manner

JOURNAL = "journal.jsonl"
"""In the folder of the dockside server: every entry that was acknowledged."""
SESSIONS = "sessions.json"
"""Beside it: who has signed in on which device."""
SHARED = "shared"
"""In the folder of the site: what every week draws with and no week's folder holds."""
DEMO = "demo"
"""Folder inside a home in which the demo has its own."""
DEFAULT_HOME = Path("warehouse") / "local"


class OwnFile(NamedTuple):
    """A file of the shop's: what messages call it, and its text if it is there."""

    name: str
    text: str | None


@dataclass(frozen=True)
class Home:
    """The folders and files below one shop's home folder."""

    folder: Path

    @classmethod
    def here(cls) -> "Home":
        """The home named by RINGLAND_HOME, else `warehouse/local` below the present folder."""
        return cls(Path(os.environ.get("RINGLAND_HOME", DEFAULT_HOME)).absolute())

    @property
    def database(self) -> Path:
        """The one DuckDB file."""
        return self.folder / "ringland.duckdb"

    @property
    def drop(self) -> Path:
        """Record files dropped here are loaded by the sensor."""
        return self.folder / "drop"

    @property
    def raw(self) -> Path:
        """Append-only copies of every file taken in, named by content."""
        return self.folder / "raw"

    @property
    def mappings(self) -> Path:
        """One TOML file per source whose files are not in the contract's own form."""
        return self.folder / "mappings"

    @property
    def site(self) -> Path:
        """One folder of pages per as-of date."""
        return self.folder / "site"

    @property
    def weeks(self) -> Path:
        """One folder per week and instant it was told by: what was made of it, typed."""
        return self.folder / "weeks"

    @property
    def papers(self) -> Path:
        """Papers of single hulls, one folder per week; made on demand, may be deleted."""
        return self.folder / "papers"

    @property
    def photos(self) -> Path:
        """Photo files that teardown rows name."""
        return self.folder / "photos"

    @property
    def dagster(self) -> Path:
        """Dagster's own run history."""
        return self.folder / "dagster"

    @property
    def is_demo(self) -> bool:
        """Whether this home holds the invented fleet: it says so in a file of its own."""
        return (self.folder / "invented-records").exists()

    @property
    def settings(self) -> Path | None:
        """The shop's own assumptions, if it has written any."""
        own = self.folder / "assumptions.toml"
        return own if own.exists() else None

    @property
    def bench_limits(self) -> Path | None:
        """The shop's own limits of the bench tests, if it has written any."""
        own = self.folder / BENCH_LIMITS_FILE
        return own if own.exists() else None

    @property
    def page_settings(self) -> Path:
        """How this shop's pages show figures; written with the project's own at first."""
        return self.folder / "pages.toml"

    @property
    def week(self) -> Path:
        """The room of the week and decisions by hand; written at first with nothing in force."""
        return self.folder / "week.toml"

    @property
    def mend_book(self) -> Path:
        """The rows to mend as a workbook, which may be mended and loaded again."""
        return self.folder / "set-aside.xlsx"

    @property
    def actions(self) -> Path:
        """The shop's own actions and prices, laid over the project's catalogue, if written."""
        return self.folder / "actions.toml"

    @property
    def shared_effects(self) -> Path:
        """What other operators of a network share, a file per Monday; empty or none at first."""
        return self.folder / "shared-effects"

    @property
    def dockside(self) -> Path:
        """The journal of entries, who may make them, and who saw and wrote what."""
        return self.folder / "dockside"

    @property
    def demo_beside(self) -> str:
        """Where the demo of this home lies, told to one who asks this home for a week; or empty."""
        demo = Home(self.folder / DEMO)
        if not demo.is_demo:
            return ""
        return f" The demo's weeks are in a home of their own: 'ringland --home {demo.folder} ...'."

    def mark_as_demo(self) -> None:
        """Say that all records in this home are invented."""
        (self.folder / "invented-records").touch()

    @property
    def own_file(self) -> Path:
        """Whose home it is and on whose clock the week begins; written at first."""
        return self.folder / "home.toml"

    def facts(self) -> HomeFacts:
        """Who runs this home, and on whose clock its week begins.

        Raises:
            HomeFileError: an entry of its file is not one of those known.
        """
        if not self.own_file.exists():
            return HomeFacts()
        return read_home_file(str(self.own_file), self.own_file.read_text(encoding="utf-8"))

    def manner(self) -> Manner:
        """How this shop's pages show figures, on the home's clock unless they name their own.

        Raises:
            PageSettingError: an entry of its file is not one of those known.
            HomeFileError: the same of the home's file.
        """
        ours = replace(DEFAULT_MANNER, time_zone=self.facts().time_zone)
        if not self.page_settings.exists():
            return ours
        text = self.page_settings.read_text(encoding="utf-8")
        return read_manner(str(self.page_settings), text, ours)

    def prepare(self) -> "Home":
        """Make the folders that must exist, with Dagster's telemetry off."""
        for folder in (
            self.folder,
            self.drop,
            self.raw,
            self.mappings,
            self.site,
            self.dagster,
        ):
            folder.mkdir(parents=True, exist_ok=True)
        told = "telemetry:\n  enabled: false\n"
        if not (log := self.dagster / "dagster.yaml").exists() or log.read_text("utf-8") != told:
            write_whole(log, told.encode())
        if not self.own_file.exists():  # a home older than this file keeps its pages' clock
            file = TEMPLATE.format(time_zone=self.manner().time_zone)
            write_whole(self.own_file, file.encode())
        if not self.page_settings.exists():
            write_whole(self.page_settings, page_settings_text().encode())
        if not self.week.exists():
            template = files("ringland.decision.plan").joinpath("week_template.toml")
            write_whole(self.week, template.read_bytes())
        return self
