"""Papers of single hulls, made on demand from a week that was worked out already.

Nothing is worked out again: what the week's assets left for each other is read back, so a
paper says what that week's pages say.
"""

import difflib
import logging
import os
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import dagster as dg

from pipelines.definitions import build_definitions
from pipelines.duckdb_warehouse import WarehouseError, warehouse_at
from pipelines.home import Home
from pipelines.resources import ShopFolders
from pipelines.week_pages import report_of
from pipelines.weeks import as_of_week
from ringland.history.known_then import known_by
from ringland.pages.site.report_page import hull_pages
from ringland.pages.week.week_report import WeekReport

INPUTS = {
    "fleet_fits": "fleet_risk",
    "evidence": "fleet_risk",
    "week_tables": "service_week",
    "week_decisions": "service_week",
}
"""What the report is made from besides the warehouse: asset and room."""

MakePaper = Callable[[WeekReport, str], bytes]


def kept_report(home: Home, partition_key: str) -> WeekReport:
    """The report of a week that was worked out in this home.

    Raises:
        WarehouseError: the week was not worked out here, or by a version of the program that
            left other things behind.
    """
    os.environ["DAGSTER_HOME"] = str(home.dagster)
    os.environ["DAGSTER_DISABLE_TELEMETRY"] = "1"
    again = f"Run 'ringland week --as-of {partition_key}' first."
    if not (home.site / partition_key / "index.html").exists():
        raise WarehouseError(f"The week of {partition_key} is not worked out here. {again}")
    definitions = build_definitions(home)
    with (
        dg.DagsterInstance.get() as instance,
        definitions.get_asset_value_loader(instance=instance) as loader,
    ):
        logging.disable(logging.INFO)  # Dagster tells of every file that it reads
        try:
            left = {
                name: loader.load_asset_value(
                    dg.AssetKey([room, name]), partition_key=partition_key
                )
                for name, room in INPUTS.items()
            }
        except (OSError, AttributeError, ImportError, TypeError) as error:  # lost, or of old code
            raise WarehouseError(
                f"What the week of {partition_key} left behind cannot be read ({error}). {again}"
            ) from error
        finally:
            logging.disable(logging.NOTSET)
    warehouse, as_of = warehouse_at(home.database), as_of_week(partition_key, home.facts().zone)
    return report_of(
        warehouse,
        ShopFolders(home=str(home.folder), records=str(home.drop)),
        as_of,
        known_by(warehouse.read_records(), as_of),
        **left,
    )


def write_papers(
    home: Home, partition_key: str, hulls: Sequence[str], make: MakePaper, suffix: str
) -> Iterator[Path]:
    """Write one paper for each hull into the home's `papers` folder, telling where as it goes.

    Args:
        home: the shop's home.
        partition_key: the week.
        hulls: hull ids; none: every hull of the week.
        make: what makes a paper, e.g. `hull_pdf`.
        suffix: of the files, e.g. '.pdf'.

    Raises:
        WarehouseError: the week cannot be read, or has no such hull.
    """
    report = kept_report(home, partition_key)
    names = hull_pages(sheet.hull_id for sheet in report.hulls)
    if unknown := [hull for hull in hulls if hull not in names]:
        near = difflib.get_close_matches(unknown[0], names, n=3, cutoff=0)
        raise WarehouseError(
            f"No hull '{unknown[0]}' in service in the week of {partition_key}. "
            f"Did you mean {' or '.join(near)}?"
        )
    folder = home.papers / partition_key
    folder.mkdir(parents=True, exist_ok=True)
    for hull in hulls or names:
        path = folder / f"{Path(names[hull]).stem}{suffix}"
        path.write_bytes(make(report, hull))
        yield path
