"""Which cause a headline may name, and what it says where none may be named.

A cause is spoken against where one of its own tests says no and none says yes, or where the
record says no.  No headline names such a cause, whatever its chance: the mechanism stands
and its driver is called not established.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import polars as pl

from ringland.causes import cause_words as said
from ringland.causes.bench_form_words import STATES
from ringland.causes.cause_agreement import AGAINST
from ringland.causes.cause_differential import CauseRanking
from ringland.causes.cause_findings import NOT_LOOKED_AT, SEEN, EngineFindings
from ringland.causes.cause_lines import opinion_chance
from ringland.causes.cause_table import UNDETERMINED, CauseTable
from ringland.words.number_words import day_text


def spoken_against(
    findings: EngineFindings, speaks: pl.DataFrame, table: CauseTable
) -> dict[str, tuple[str, ...]]:
    """The causes that their own test or the record speaks against, each with what speaks.

    Args:
        findings: what was seen.
        speaks: `cause_agreement.record_speaks`.
        table: the cause table; its weights, not those learnt, say which way a test speaks.
    """
    by_record = set(speaks.filter(pl.col("side") == AGAINST)["cause"])
    against = {}
    for key, cause in table.causes.items():
        sides = {
            test: table.findings[test].weight(key) * (1 if state == SEEN else -1)
            for test in cause.own_tests
            if (state := findings.states.get(test, NOT_LOOKED_AT)) != NOT_LOOKED_AT
        }
        said_no = () if any(side > 0 for side in sides.values()) else tuple(sides)
        lines = tuple(
            said.TEST_AGAINST.format(
                finding=table.findings[test].words,
                state=STATES[findings.states[test]],
                cause=cause.name,
            )
            for test in said_no
        )
        if key in by_record:
            lines += (said.RECORD_AGAINST.format(cause=cause.name),)
        if lines:
            against[key] = lines
    return against


def headline(
    ranking: CauseRanking,
    against: Mapping[str, tuple[str, ...]],
    failure: Mapping[str, Any],
    table: CauseTable,
) -> str:
    """Where the findings point, in one sentence that stands against no evidence.

    A cause the shop has settled on is said first, and then no other is named.
    """
    settled = failure["confirmed_cause"] if failure["cause_confirmed_at"] else None
    if settled in table.outcomes and settled != ranking.first:
        if settled in against:
            return said.SETTLED_AGAINST
        day = day_text(failure["cause_confirmed_at"])
        line = said.SETTLED.format(cause=table.named(str(settled)), day=day)
        return f"{line} {said.SETTLED_ELSE}"
    if ranking.first == UNDETERMINED:
        return said.NO_CAUSE_NAMED
    first = ranking.chances.row(0, named=True)
    if first["cause"] in against:
        mechanism = str(first["mechanism"])
        return said.NOT_ESTABLISHED.format(
            mechanism=mechanism[:1].upper() + mechanism[1:],
            against="; ".join(against[first["cause"]]),
        )
    line = said.FIRST_CAUSE.format(cause=first["name"], chance=opinion_chance(first["chance"]))
    rest = ranking.chances.slice(1).filter(~pl.col("cause").is_in(list(against)))
    second = rest.row(0, named=True)
    then = said.THEN_OPEN if second["cause"] == UNDETERMINED else said.THEN_CAUSE
    return line.removesuffix(".") + said.THEN.format(
        second=then.format(cause=second["name"]), second_chance=opinion_chance(second["chance"])
    )
