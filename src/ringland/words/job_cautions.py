"""What can hurt whoever does a job, and the protection it needs: said where the job stands.

Common practice, no source; local codes and licensed practice come first.  A job that is not
named here, as one of a shop's own catalogue, gets every caution.
"""

from __future__ import annotations

from collections.abc import Iterable

WORK = {
    "fuel": (
        "Fuel vapour gathers in the bilge: ventilate, keep every spark and flame away, and take "
        "the battery off before working on fuel; wear gloves and eye protection.",
        "Drained fuel is hazardous waste: store and hand it in as local rules say.",
    ),
    "filling": (
        "Fill with the engine off and nobody aboard, away from every flame, and ventilate before "
        "it is started.",
    ),
    "test": (
        "A leak-down test can turn the crank: lock it, and keep hands and tools clear; with a plug "
        "out, ignition and fuel are off and eyes covered.",
    ),
    "heat": (
        "Oil and exhaust stay hot; lifting needs rated slings and nobody under the load; wear "
        "gloves and eye protection.",
    ),
    "running": (
        "On the flushing hose: engine on before water, water off before engine.",
        "Run it in the open: exhaust gas kills in a closed shed.",
    ),
}
"""The kinds of work and what to mind at each."""

SHORT = {
    "fuel": "no spark, battery off, gloves",
    "filling": "engine off, no flame",
    "test": "lock crank, goggles",
    "heat": "let it cool, rated slings",
    "running": "run it in the open",
}
"""The same in a few words, for a list."""

LOCAL_CODES = "Local codes and licensed practice come before anything on this page."

WORK_OF = {
    "drain_refill": ("fuel",),
    "test_fuel": ("fuel",),
    "fuel_rule": ("filling",),
    "restrict_throttle": ("running",),
    "mild_calibration": ("running",),
    "read_calibration": ("running",),
    "leak_down_check": ("test", "heat"),
    "borescope": ("test", "heat"),
    "find_the_leak": ("test", "heat"),
    "planned_top_end": ("heat", "fuel", "running"),
    "full_rebuild": ("heat", "fuel", "running"),
    "repair": ("heat", "fuel", "running"),
    "rebuild_sheet": ("test", "heat"),
    "take_out_of_use": (),
    "nothing": (),
}
"""The kinds of work of each job, the first the one a list warns of."""

CAUTIONS = (*(line for lines in WORK.values() for line in lines), LOCAL_CODES)
"""All of them, for a page about every kind of work."""


def works_of(jobs: Iterable[str]) -> list[str]:
    """The kinds of work that jobs are, each once."""
    return list(dict.fromkeys(work for what in jobs for work in WORK_OF.get(what, tuple(WORK))))


def cautions_of(jobs: Iterable[str]) -> list[str]:
    """What to mind at jobs, each caution once, local codes last; empty where there is no job."""
    lines = [line for work in works_of(jobs) for line in WORK[work]]
    return [*lines, LOCAL_CODES] if lines else []


def short_cautions_of(jobs: Iterable[str]) -> list[str]:
    """What to mind at jobs in few words: for each job the kind of work that hurts most."""
    first = [WORK_OF.get(what, tuple(WORK))[:1] for what in jobs]
    kinds = dict.fromkeys(kind for kinds in first for kind in kinds)
    worst = [kind for kind in SHORT if kind in kinds and (kind != "filling" or len(kinds) == 1)]
    return [SHORT[kind] for kind in worst]
