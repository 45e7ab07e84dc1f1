"""Papers of single hulls, made on demand from a week that was worked out already.

Nothing is decided again: chances, calls and plan are those the week's steps left, so a paper
says what that week's pages say.  Working tables that were pruned since are made again from the
week's own snapshot.
"""

import difflib
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

from pipelines.home import Home
from pipelines.week_graph import GRAPH
from pipelines.weekly.assets import week_at
from pipelines.weekly.store import StoreError, WeekKey, WeekStore
from pipelines.whole_files import write_whole
from ringland.pages.site.site_frame import hull_pages
from ringland.pages.week.week_report import WeekReport

MakePaper = Callable[[WeekReport, str], bytes]


def kept_report(home: Home, key: WeekKey) -> WeekReport:
    """The report of a week that was worked out in this home.

    Raises:
        StoreError: the week was not worked out here, or by a version of the program that left
            other things behind.
    """
    if GRAPH.steps["week_decisions"].label not in WeekStore(home.weeks).listed(key).outputs:
        raise StoreError(
            f"The week of {key.name} is not worked out here. "
            f"Run 'ringland week --as-of {key.monday}' first."
        )
    report: WeekReport = week_at(home, key, GRAPH).value("report")
    return report


def write_papers(
    home: Home, key: WeekKey, hulls: Sequence[str], make: MakePaper, suffix: str
) -> Iterator[Path]:
    """Write one paper for each hull into the home's `papers` folder, telling where as it goes.

    Args:
        home: the shop's home.
        key: the week.
        hulls: hull ids; none: every hull of the week.
        make: what makes a paper, e.g. `hull_pdf`.
        suffix: of the files, e.g. '.pdf'.

    Raises:
        StoreError: the week cannot be read, or has no such hull.
    """
    report = kept_report(home, key)
    names = hull_pages(sheet.hull_id for sheet in report.hulls)
    if unknown := [hull for hull in hulls if hull not in names]:
        near = difflib.get_close_matches(unknown[0], names, n=3, cutoff=0)
        raise StoreError(
            f"No hull '{unknown[0]}' in service in the week of {key.name}. "
            f"Did you mean {' or '.join(near)}?"
        )
    folder = home.papers / key.name
    folder.mkdir(parents=True, exist_ok=True)
    for hull in hulls or names:
        path = folder / f"{Path(names[hull]).stem}{suffix}"
        write_whole(path, make(report, hull))
        yield path
