"""Which cause a headline may name, and what it says where none may be named.

Drivers of one mechanism leave the same picture.  A driver is named only where one of its
own tests speaks for it and neither another of them nor the record speaks against it;
otherwise the mechanism stands and its driver is called not established.  A cause alone in
its mechanism is named unless its own tests or the record speak against it.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import polars as pl

from ringland.causes import cause_words as said
from ringland.causes.bench_form_words import STATES
from ringland.causes.cause_agreement import AGAINST, FOR
from ringland.causes.cause_differential import CauseRanking
from ringland.causes.cause_findings import NOT_LOOKED_AT, SEEN, EngineFindings
from ringland.causes.cause_lines import opinion_chance
from ringland.causes.cause_table import UNDETERMINED, CauseTable
from ringland.words.number_words import day_text


def own_test_sides(findings: EngineFindings, cause: str, table: CauseTable) -> dict[str, int]:
    """The own tests of a cause that were looked at: +1 for it, -1 against.

    The table's weights say which way a test speaks, not those learnt from settled cases.
    """
    return {
        test: 1 if (table.findings[test].weight(cause) > 0) == (state == SEEN) else -1
        for test in table.causes[cause].own_tests
        if (state := findings.states.get(test, NOT_LOOKED_AT)) != NOT_LOOKED_AT
    }


def spoken_against(
    findings: EngineFindings, speaks: pl.DataFrame, table: CauseTable
) -> dict[str, tuple[str, ...]]:
    """The causes that their own test or the record speaks against, each with what speaks.

    One own test that says yes outweighs those that say no: a clear charge cooler leaves the
    blocked passages.

    Args:
        findings: what was seen.
        speaks: `cause_agreement.record_speaks`.
        table: the cause table.
    """
    by_record = set(speaks.filter(pl.col("side") == AGAINST)["cause"])
    against = {}
    for key, cause in table.causes.items():
        sides = own_test_sides(findings, key, table)
        lines = tuple(
            said.TEST_AGAINST.format(
                finding=table.findings[test].words,
                state=STATES[findings.states[test]],
                cause=cause.name,
            )
            for test in ([] if 1 in sides.values() else sides)
        )
        if key in by_record:
            lines += (said.RECORD_AGAINST.format(cause=cause.name),)
        if lines:
            against[key] = lines
    return against


def may_be_named(
    cause: str,
    findings: EngineFindings,
    against: Mapping[str, tuple[str, ...]],
    table: CauseTable,
) -> bool:
    """Whether the findings and the record allow a headline to name this cause."""
    if cause == UNDETERMINED or cause in against:
        return False
    return not table.is_driver(cause) or 1 in own_test_sides(findings, cause, table).values()


def pointed_at(
    ranking: CauseRanking,
    findings: EngineFindings,
    against: Mapping[str, tuple[str, ...]],
    table: CauseTable,
) -> tuple[str, ...]:
    """The cause a headline points at: none, one, or drivers that tests speak for alike."""
    if not may_be_named(ranking.first, findings, against, table):
        return ()
    if not table.is_driver(ranking.first):
        return (ranking.first,)
    members = table.mechanisms[table.causes[ranking.first].mechanism]
    return tuple(
        cause
        for cause in ranking.chances["cause"]
        if cause in members and may_be_named(cause, findings, against, table)
    )


def headline(
    ranking: CauseRanking,
    findings: EngineFindings,
    speaks: pl.DataFrame,
    failure: Mapping[str, Any],
    table: CauseTable,
) -> str:
    """Where the findings point, in one sentence that stands against no evidence.

    A cause the shop has settled on is said first, and then no other is named.
    """
    against = spoken_against(findings, speaks, table)
    settled = failure["confirmed_cause"] if failure["cause_confirmed_at"] else None
    if settled in table.outcomes and settled != ranking.first:
        if settled in against:
            return said.SETTLED_AGAINST
        day = day_text(failure["cause_confirmed_at"])
        line = said.SETTLED.format(cause=table.named(str(settled)), day=day)
        leaning = said.NO_CAUSE_NAMED if ranking.first == UNDETERMINED else said.SETTLED_ELSE
        return f"{line} {leaning}"
    if ranking.first == UNDETERMINED:
        return said.NO_CAUSE_NAMED
    first = ranking.chances.row(0, named=True)
    if not may_be_named(first["cause"], findings, against, table):
        return _not_established(first, against, speaks, table)
    return _pointing(ranking, findings, against, speaks, table)


def _pointing(
    ranking: CauseRanking,
    findings: EngineFindings,
    against: Mapping[str, tuple[str, ...]],
    speaks: pl.DataFrame,
    table: CauseTable,
) -> str:
    """The first cause, which may be named, with what stands beside it."""
    first = ranking.chances.row(0, named=True)
    pointed = pointed_at(ranking, findings, against, table)
    if len(pointed) > 1:
        peers = ranking.chances.filter(pl.col("cause").is_in(pointed))
        return _drivers_beside_each_other(first, peers.rows(named=True))
    line = said.FIRST_CAUSE.format(cause=first["name"], chance=opinion_chance(first["chance"]))
    rest = [
        row
        for row in ranking.chances.sort("chance", descending=True).iter_rows(named=True)
        if row["cause"] == UNDETERMINED
        or (row["cause"] != first["cause"] and may_be_named(row["cause"], findings, against, table))
    ]
    then = said.THEN_OPEN if rest[0]["cause"] == UNDETERMINED else said.THEN_CAUSE
    line = line.removesuffix(".") + said.THEN.format(
        second=then.format(cause=rest[0]["name"]), second_chance=opinion_chance(rest[0]["chance"])
    )
    by_record = _by_record(first["mechanism"], against, speaks, table)
    leaning = [cause for cause in by_record if cause != first["cause"]]
    if not (table.is_driver(first["cause"]) and leaning):
        return line
    return f"{line} {said.RECORD_LEANS_TOO.format(causes=_names(leaning, table))}"


def clash_lines(
    findings: EngineFindings, speaks: pl.DataFrame, table: CauseTable
) -> tuple[str, ...]:
    """Where a cause's own test and the record contradict each other: one of them is wrong."""
    side = dict(speaks.select("cause", "side").iter_rows())
    lines = []
    for key, cause in table.causes.items():
        tested = own_test_sides(findings, key, table).values()
        if not tested or side.get(key) not in (FOR, AGAINST):
            continue
        if (1 in tested) != (side[key] == FOR):
            lines.append(said.TEST_AND_RECORD.format(cause=cause.name))
    return tuple(lines)


def _drivers_beside_each_other(first: Mapping[str, Any], peers: list[dict[str, Any]]) -> str:
    """Two drivers whose own tests speak for them: which one broke it is more than these say."""
    mechanism = str(first["mechanism"])
    drivers = [
        said.DRIVER_AND_CHANCE.format(cause=row["name"], chance=opinion_chance(row["chance"]))
        for row in peers
    ]
    return said.SEVERAL_DRIVERS.format(
        mechanism=mechanism[:1].upper() + mechanism[1:],
        chance=opinion_chance(first["mechanism_chance"]),
        drivers=said.AND.join(drivers),
    )


def _by_record(
    mechanism: str | None,
    against: Mapping[str, tuple[str, ...]],
    speaks: pl.DataFrame,
    table: CauseTable,
) -> list[str]:
    """The drivers of a mechanism that the record speaks for and no test against."""
    members = table.mechanisms[str(mechanism)]
    spoken = speaks.filter(pl.col("side") == FOR)["cause"]
    return [cause for cause in spoken if cause in members and cause not in against]


def _names(causes: list[str], table: CauseTable) -> str:
    return said.AND.join(repr(table.named(cause)) for cause in causes)


def _not_established(
    first: Mapping[str, Any],
    against: Mapping[str, tuple[str, ...]],
    speaks: pl.DataFrame,
    table: CauseTable,
) -> str:
    """The mechanism with its chance, and why no driver of it is named."""
    mechanism = str(first["mechanism"])
    why = against.get(first["cause"]) or (said.NOTHING_TELLS,)
    line = said.NOT_ESTABLISHED.format(
        mechanism=mechanism[:1].upper() + mechanism[1:],
        chance=opinion_chance(first["mechanism_chance"]),
        against="; ".join(why),
    )
    by_record = _by_record(mechanism, against, speaks, table)
    if not by_record:
        return line
    return f"{line} {said.RECORD_LEANS.format(causes=_names(by_record, table))}"
