"""Steps of the room `causes` beside `sheets`: why each engine broke, on its pages."""

import numpy as np
import polars as pl

from pipelines.asset_figures import Figures
from pipelines.rooms.sheets import ROOM
from pipelines.weekly.step import Pages, step, view
from ringland.pages.causes.cause_pages import build_cause_site
from ringland.rebuilds.comebacks import comebacks
from ringland.rebuilds.rebuild_comparison import builds_after_rebuild, compare_rebuilds
from ringland.reports.cause_case import ShopRecord
from ringland.reports.cause_report import CauseReport, cause_reports
from ringland.words.manner import Manner, in_manner

DRAW_SEED = 19140628  # any fixed number: the same records must give the same draws


def _figures(pages: Pages) -> Figures:
    kinds = [path.rpartition(".")[2] for path in pages]
    return {kind: kinds.count(kind) for kind in sorted(set(kinds))}


@view()
def reports_of_causes(cause_record: ShopRecord, manner: Manner) -> tuple[CauseReport, ...]:
    """A cause report per failure, as its page and the open sheets tell it."""
    with in_manner(manner):
        return cause_reports(cause_record)


@step(ROOM, figures=_figures)
def cause_pages(
    cause_record: ShopRecord,
    reports_of_causes: tuple[CauseReport, ...],
    spells: pl.DataFrame,
    manner: Manner,
) -> Pages:
    """A cause report and a rebuild sheet per failed engine, the bench form, does it pay."""
    rebuilds, assumptions = cause_record.records["rebuilds"], cause_record.assumptions
    builds, _ = builds_after_rebuild(cause_record.lives, rebuilds, assumptions)
    draws = np.random.default_rng(DRAW_SEED)
    comparison = compare_rebuilds(builds, spells, assumptions, draws)
    sets = cause_record.records["piston_sets"]
    came_back = comebacks(builds, rebuilds, sets, assumptions)
    with in_manner(manner):
        return build_cause_site(
            cause_record, reports_of_causes, comparison, manner.paper, came_back
        )
