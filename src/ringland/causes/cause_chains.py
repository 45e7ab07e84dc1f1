"""What broke first and what followed: chains of damage, each from its first link on.

Hard bits of a blower clutch go through the oil, score the pump and wipe the bearings.  Seen
at the end of such a chain, wiped bearings are no sign of an engine run without oil: where
the first link was seen, what follows from it counts for no cause of its own.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from ringland.causes import cause_words as said
from ringland.causes.cause_findings import NOT_LOOKED_AT, SEEN, EngineFindings
from ringland.causes.cause_table import CauseTable


def without_followers(table: CauseTable, states: Sequence[str]) -> list[str]:
    """The states, with what follows from a first link that was seen taken out.

    Args:
        table: the cause table with its chains.
        states: one per finding, in the order of the table.
    """
    keys = list(table.findings)
    seen = {key for key, state in zip(keys, states, strict=True) if state == SEEN}
    follows = {
        key for chain in table.chains.values() if chain.links[0] in seen for key in chain.followers
    }
    return [
        NOT_LOOKED_AT if key in follows and state == SEEN else state
        for key, state in zip(keys, states, strict=True)
    ]


def chain_lines(findings: EngineFindings, table: CauseTable) -> tuple[str, ...]:
    """Each chain of which two links or more were seen, the longest first, in a sentence."""
    told = []
    for chain in table.chains.values():
        seen = [key for key in chain.links if findings.states.get(key) == SEEN]
        if len(seen) < 2:
            continue
        between = [
            key
            for first, last in pairwise(seen)
            for key in chain.links[chain.links.index(first) + 1 : chain.links.index(last)]
            if findings.states.get(key) == NOT_LOOKED_AT
        ]
        line = said.CHAIN.format(
            links=said.THEN_LINK.join(table.findings[key].words for key in seen), why=chain.why
        )
        if between:
            words = "; ".join(table.findings[key].words for key in between)
            line += " " + said.CHAIN_OPEN.format(links=words)
        told.append((len(seen), line))
    return tuple(line for _, line in sorted(told, key=lambda one: -one[0]))
