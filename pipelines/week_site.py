"""The week's pages as they lie open in a home, and as one file to send on."""

from pathlib import Path, PurePosixPath

import dagster as dg
import polars as pl

from pipelines.asset_figures import table
from pipelines.home import Home
from pipelines.partitions import WEEKS
from pipelines.shared_files import LIBRARY, put_shared
from pipelines.week_graph import GRAPH
from pipelines.week_views import make_views
from pipelines.weekly.assets import Weeks, key_of, on_page
from pipelines.weekly.step import Pages, Step
from pipelines.weekly.store import StoreError, WeekKey, WeekStore
from pipelines.whole_files import put_folder
from ringland.pages.papers.zip_file import zipped

GROUPS: list[Step] = [step for step in GRAPH.steps.values() if step.hint == Pages]
"""The steps that make pages."""


def site_of(home: Home, key: WeekKey) -> Pages:
    """Every page of a week, as it was made.

    Raises:
        StoreError: its pages were never made.
    """
    store = WeekStore(home.weeks)
    listed = store.listed(key).outputs
    if missing := [step for step in GROUPS if step.label not in listed]:
        raise StoreError(
            f"The week of {key.name} has no {missing[0].name.replace('_', ' ')}. "
            f"Run 'ringland week --as-of {key.monday}'."
        )
    site: Pages = {}
    for step in GROUPS:
        site |= store.read(key, step)
    return dict(sorted(site.items()))


def lay_open(home: Home, key: WeekKey) -> Path:
    """Put a week's pages into a folder of their own, in the place of an earlier one."""
    site, folder = site_of(home, key), home.site / key.name
    put_shared(home.site)
    put_folder(folder, site)
    return folder


def lies_open(home: Home, key: WeekKey) -> bool:
    """Whether a week's pages lie open as they were made."""
    folder = home.site / key.name
    try:
        site = site_of(home, key)
        return all((folder / name).read_bytes() == content for name, content in site.items())
    except (OSError, StoreError):
        return False


def whole_bundle(home: Home, key: WeekKey) -> bytes:
    """A week's pages and the drawing library they share, as one ZIP that opens anywhere."""
    site = {f"{key.name}/{path}": content for path, content in site_of(home, key).items()}
    return zipped({**site, LIBRARY: put_shared(home.site).read_bytes()})


def site_sizes(site: Pages) -> pl.DataFrame:
    """Files and megabytes of a site by folder and ending, the largest first."""
    rows = [
        {"kind": f"{path.parent}/*{path.suffix}" if path.parent.name else path.name, "b": len(text)}
        for path, text in ((PurePosixPath(name), text) for name, text in site.items())
    ]
    return (
        pl.DataFrame(rows)
        .group_by("kind", maintain_order=True)
        .agg(files=pl.len(), mb=(pl.col("b").sum() / 1e6).round(2))
        .sort("mb", "kind", descending=[True, False])
    )


@dg.asset(
    key_prefix="pages",
    group_name="pages",
    partitions_def=WEEKS,
    kinds={"html"},
    deps=[*map(key_of, GROUPS), key_of(GRAPH.steps["week_list"])],
    name="site",
)
def site_asset(context: dg.AssetExecutionContext, weeks: Weeks) -> dg.MaterializeResult:
    """The week's pages laid open in the home, and the week's tables as views in the warehouse."""
    home, key = Home(Path(weeks.home)), weeks.key(context.partition_key)
    folder = lay_open(home, key)
    views = make_views(home)
    return dg.MaterializeResult(
        metadata={
            "report": dg.MetadataValue.path(str(folder / "index.html")),
            **on_page({"files": table(site_sizes(site_of(home, key)))}),
            "views": len(views),
        }
    )
