"""Why a hull stands as it does, in sentences: each reason once, however many jobs share it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from ringland.decision.jobs.fuel_lines import own_fuel_line
from ringland.decision.jobs.hull_state import OWN_FUEL, Week, is_overdue, job_label, job_short
from ringland.words import state_words as said
from ringland.words.number_words import count_text, day_text

Row = Mapping[str, Any]


def reason_text(jobs: Sequence[Row], own: str | None, at_hand: Row, week: Week) -> str:
    """What earlier lists asked for and nobody did, then why: first the musts, then the plan's.

    Args:
        jobs: what speaks, rows of `HullJobs`: the musts, and others whose day has passed.
        own: why the plan gives the hull its option; None where a must says it all.
        at_hand: its row of `FuelAtHand`; empty if it has none.  What is in its tank now stands
            in the place of what an earlier list found there.
        week: the week.
    """
    waits = [job for job in jobs if not job["answer"]]
    whys = [_why(job, at_hand) for job in waits if job["is_must"]]
    whys += [own] if own else []
    if not whys:
        whys = [str(job["why"]) for job in waits]
    said_done = [
        said.DONE_BUT.format(job=job_label(job["what"], week.catalogue), but=job["answer"])
        for job in jobs
        if job["answer"]  # done by a name, its result not on record
    ]
    return " ".join(dict.fromkeys([*said_done, *asked_before(waits, week), *whys]))


def asked_before(jobs: Sequence[Row], week: Week) -> list[str]:
    """Since when jobs wait: one sentence for all that were asked for and are due together."""
    waits: dict[tuple[datetime, datetime], list[Row]] = {}
    for job in jobs:
        if job["asked_at"] < week.as_of:
            waits.setdefault((job["asked_at"], job["due_at"]), []).append(job)
    lines = []
    for (asked_at, due_at), own in waits.items():
        shorts = ", ".join(job_short(job["what"], week.catalogue) for job in own)
        lines.append(
            said.ASKED_BEFORE.format(
                what="" if len(own) == len(jobs) else said.ASKED_WHAT.format(jobs=shorts),
                asked=day_text(asked_at),
                due=day_text(due_at),
                late=late_text(due_at, week.as_of),
            )
        )
    return [line[:1].upper() + line[1:] for line in lines]


def late_text(due_at: datetime, now: datetime) -> str:
    """How late a job is that was due then, e.g. ': 2 days overdue'; empty where it is not."""
    if not is_overdue({"due_at": due_at}, now):
        return ""
    return said.LATE.format(days=count_text(max((now - due_at).days, 1), "day"))


def _why(job: Row, at_hand: Row) -> str:
    is_wrong = at_hand and (at_hand["is_own_short"] or at_hand["is_own_old"])
    return own_fuel_line(at_hand) if job["because"] == OWN_FUEL and is_wrong else str(job["why"])
