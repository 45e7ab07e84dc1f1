"""The shop's own catalogue, room and decisions by hand, from the files in its home."""

from collections.abc import Collection
from datetime import date

from pipelines.home import Home, OwnFile
from ringland.decision.actions.action_catalogue import Catalogue
from ringland.decision.actions.catalogue_file import default_catalogue, own_catalogue
from ringland.decision.plan.hand_changes import NO_CHANGES
from ringland.decision.plan.week_file import OwnWeek, read_week
from ringland.decision.week_decisions import default_limits
from ringland.settings.assumptions import Assumptions


def shop_catalogue(home: Home, settings: Assumptions) -> Catalogue:
    """The project's catalogue with the home's `actions.toml`, if there is one, laid over it.

    Raises:
        CatalogueError: the file does not say what it must.
    """
    if not home.actions.exists():
        return default_catalogue(settings)
    return own_catalogue(home.actions.read_text(encoding="utf-8"), str(home.actions), settings)


def shop_week(
    file: OwnFile,
    monday: date,
    *,
    catalogue: Catalogue,
    hulls: Collection[str],
    settings: Assumptions,
) -> OwnWeek:
    """The room of a week and its decisions by hand, from the home's `week.toml` if there is one.

    Args:
        file: the home's `week.toml`, if there is one.
        monday: the week.
        catalogue: what can be done.
        hulls: every hull on record.
        settings: the usual room.

    Raises:
        WeekFileError: the file does not say what it must.
    """
    usual = default_limits(catalogue, settings)
    if file.text is None:
        return OwnWeek(usual, NO_CHANGES)
    return read_week(
        file.text,
        file.name,
        monday=monday,
        usual=usual,
        catalogue=catalogue,
        hulls=hulls,
    )
