"""Steps of the room `pages` that a terminal shows: the week's list."""

from dataclasses import dataclass

import polars as pl

from pipelines.asset_figures import Figures, table
from pipelines.rooms.history import Snapshot
from pipelines.versions import report_versions
from pipelines.weekly.step import step, view
from ringland.decision.week_decisions import WeekDecisions
from ringland.decision.week_tables import WeekTables
from ringland.pages.week.week_listing import WEEK_LIST_HEADINGS, listed_week, week_list_lines
from ringland.words.manner import Manner

ROOM = "pages"


@dataclass(frozen=True)
class WeekListing:
    """The week's list as a terminal shows it."""

    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@view()
def versions(snapshot: Snapshot) -> dict[str, str]:
    """What made the week's pages: the program and the records it saw."""
    return report_versions(snapshot.records)


def _listing_figures(listing: WeekListing) -> Figures:
    shown = pl.DataFrame(list(listing.rows), list(listing.headings), orient="row")
    return {"hulls": len(listing.rows), "first_of_the_list": table(shown)}


@step(ROOM, figures=_listing_figures)
def week_list(
    week_tables: WeekTables,
    week_decisions: WeekDecisions,
    sheet_waivers: pl.DataFrame,
    manner: Manner,
) -> WeekListing:
    """The week's list, one row per hull in service."""
    listed = listed_week(week_tables, week_decisions, sheet_waivers, manner)
    return WeekListing(WEEK_LIST_HEADINGS, tuple(week_list_lines(listed)))
