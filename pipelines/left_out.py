"""Which hulls' records end a week's work, so that the others get their week without them.

No record should be able to do that.  Where one does all the same, the week is tried again
without the records of half the hulls, and of half of those, until it is known whose they are.
"""

from collections.abc import Callable, Mapping, Sequence

from pipelines.command_parts import words_for
from pipelines.duckdb_warehouse import warehouse_at
from pipelines.home import Home
from pipelines.weekly.givens import givens_of, left_out_given
from pipelines.weekly.output_files import files_of
from pipelines.weekly.run import KeptNowhere, WeekRun
from pipelines.weekly.step import Graph
from pipelines.weekly.store import WeekKey, WeekStore

MOST = 5
"""Hulls left out of one week; what more of them end is no matter of one record."""
Trial = Callable[[Mapping[str, str]], WeekRun]
"""A week that keeps nothing, with some hulls left out."""


def left_out_of_week(home: Home, key: WeekKey, graph: Graph, step: str) -> dict[str, str]:
    """The hulls whose records end a step of a week; empty where it is nothing of single hulls."""

    def trial(left_out: Mapping[str, str]) -> WeekRun:
        givens = {**givens_of(home, key), **left_out_given(left_out)}
        return KeptNowhere(WeekStore(home.weeks), key, graph, givens)

    return hulls_to_leave_out(trial, step, hulls_on_record(home))


def hulls_on_record(home: Home) -> list[str]:
    """The ids of every hull, in order."""
    rows = warehouse_at(home.database).read("from shop_records.hulls")
    return sorted(rows["hull_id"])


def hulls_to_leave_out(trial: Trial, step: str, hulls: Sequence[str]) -> dict[str, str]:
    """By hull what its records end; empty where it is nothing of single hulls.

    Args:
        trial: makes a run of the week.
        step: the step that fails with all hulls.
        hulls: those on record.
    """
    if _wrong(trial, step, hulls) is not None:
        return {}
    found: dict[str, str] = {}
    for _ in range(MOST):
        why = _wrong(trial, step, list(found))
        if why is None:
            return found
        low, high = 0, len(hulls)  # without the first `low` it fails, without the first `high` not
        while high - low > 1:
            middle = (low + high) // 2
            if _wrong(trial, step, [*found, *hulls[:middle]]) is None:
                high = middle
            else:
                low = middle
        found[hulls[high - 1]] = f"{step}: {why}"
    return found if _wrong(trial, step, list(found)) is None else {}


def _wrong(trial: Trial, step: str, without: Sequence[str]) -> str | None:
    """What ends the step without these hulls; None: nothing does."""
    run = trial(dict.fromkeys(without, ""))
    try:
        files_of(run.graph.steps[step], run.value(step))
    except Exception as error:
        if words_for(error) is not None:
            raise  # nothing of a hull's
        return f"{type(error).__name__}: {error}".partition("\n")[0]
    return None
