"""What the assets are given besides the warehouse: one shop's folders and settings."""

from pathlib import Path

import dagster as dg

from pipelines.home import Home


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
    def set_aside_file(self) -> Path:
        """The rows to mend, for a spreadsheet."""
        return Path(self.home) / "set-aside.csv"

    @property
    def mend_book(self) -> Path:
        """The same rows as a workbook to mend and load again."""
        return Home(Path(self.home)).mend_book

    @property
    def incoming(self) -> Path:
        """The folder whose record files are loaded."""
        return Path(self.records)
