"""The backup at the end of a week, into the folder that the home's file names."""

from datetime import UTC, datetime
from glob import escape
from pathlib import Path

import dagster as dg

from pipelines.backup import back_up
from pipelines.duckdb_warehouse import WarehouseError
from pipelines.home import Home
from pipelines.partitions import WEEKS
from pipelines.week_site import site_asset
from pipelines.weekly.assets import Weeks
from pipelines.whole_files import free_name

NONE_ASKED_FOR = "none asked for"
_STAMP = "%Y%m%d-%H%M%S"


def keep_backup(home: Home, now: datetime) -> str | None:
    """Make the backup that the home's file asks for, and drop the oldest; what was done, in words.

    None: it asks for none.  What stands in the way is told and ends nothing.  A backup that
    found damage in the home drops no older one, which may be the last that is whole.
    """
    facts = home.facts()
    if not facts.backup_folder:
        return None
    folder = Path(facts.backup_folder)
    begin = f"ringland-{home.folder.name}-"
    try:
        if not folder.is_dir():
            raise WarehouseError(f"there is no folder {folder}; is its disk or stick there?")
        for left in folder.glob(f"{escape(begin)}*.partial"):
            left.unlink()  # of a backup that was cut off
        made = back_up(home, free_name(folder / f"{begin}{now:{_STAMP}}.zip"), now)
        if made.damaged:
            return f"Backup: {made.file}; {made.damaged[0]}: run 'ringland check'"
        for old in sorted(folder.glob(f"{escape(begin)}*.zip"))[: -facts.backups_kept]:
            old.unlink()
    except (WarehouseError, OSError) as error:
        return f"No backup was made: {error}"
    return f"Backup: {made.file} ({made.size / 1e6:.1f} MB)"


@dg.asset(
    key_prefix="pages", group_name="pages", partitions_def=WEEKS, kinds={"zip"}, deps=[site_asset]
)
def week_backup(weeks: Weeks) -> dg.MaterializeResult:
    """A backup of the home, where its file names a folder for them."""
    said = keep_backup(Home(Path(weeks.home)), datetime.now(UTC))
    return dg.MaterializeResult(metadata={"backup": said or NONE_ASKED_FOR})
