"""What the assets are given besides the warehouse: one shop's folders and settings."""

from datetime import datetime
from pathlib import Path

import dagster as dg

from pipelines.home import Home
from pipelines.weeks import as_of_week
from ringland.settings.assumptions import Assumptions, load_assumptions
from ringland.words.manner import Manner


class ShopFolders(dg.ConfigurableResource):
    """Where the records come from and where the pages go."""

    home: str
    records: str

    @property
    def raw(self) -> Path:
        """Append-only copies of the files taken in."""
        return Home(Path(self.home)).raw

    @property
    def mappings(self) -> Path:
        """Mappings of the sources' files."""
        return Home(Path(self.home)).mappings

    @property
    def site(self) -> Path:
        """One folder of pages per as-of date."""
        return Home(Path(self.home)).site

    @property
    def is_demo(self) -> bool:
        """Whether the records are the invented ones; every page then says so."""
        return Home(Path(self.home)).is_demo

    @property
    def set_aside_file(self) -> Path:
        """The rows to mend, for a spreadsheet."""
        return Path(self.home) / "set-aside.csv"

    @property
    def mend_book(self) -> Path:
        """The same rows as a workbook to mend and load again."""
        return Path(self.home) / "set-aside.xlsx"

    @property
    def incoming(self) -> Path:
        """The folder whose record files are loaded."""
        return Path(self.records)

    def photos(self) -> dict[str, bytes]:
        """Teardown photos by file name, from the home's photo folder."""
        folder = Home(Path(self.home)).photos
        return {path.name: path.read_bytes() for path in sorted(folder.glob("*.*"))}

    def assumptions(self) -> Assumptions:
        """The project's assumptions with the shop's own laid over them."""
        return load_assumptions(Home(Path(self.home)).settings)

    def manner(self) -> Manner:
        """How this shop's pages show figures: units, dates, clock, marks, money, zone, paper."""
        return Home(Path(self.home)).manner()

    def as_of(self, partition_key: str) -> datetime:
        """The instant a week looks back from: its Monday 00:00 on the shop's clock."""
        return as_of_week(partition_key, Home(Path(self.home)).facts().zone)

    def on_our_clock(self, instant: datetime) -> datetime:
        """The same instant on the shop's clock."""
        return instant.astimezone(Home(Path(self.home)).facts().zone)
