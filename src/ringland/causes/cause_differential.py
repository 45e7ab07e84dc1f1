"""Which causes the findings of an opened engine speak for, and what would settle it.

Each cause c gives each finding f a chance p(f|c) of being seen, and has a share before
anything is looked at; both come from `cause_chances`.
With the findings taken as independent given the cause, Bayes' rule gives

    chance(c | findings)  ~  share(c)  x  product over findings looked at of
                             p(f|c) where seen, 1 - p(f|c) where not seen.

"Undetermined" is an outcome of its own for which every finding is as frequent as usual.
What was not looked at contributes no factor.  The chances rest on opinions: they order the
causes, and are not frequencies until the shop has settled many cases.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import polars as pl

from ringland.causes import cause_words as said
from ringland.causes.cause_chains import without_followers
from ringland.causes.cause_chances import (
    FindingChances,
    Matrix,
    SettledCases,
    cause_shares,
    finding_chances,
    finding_weights,
    table_shares,
)
from ringland.causes.cause_findings import (
    NOT_LOOKED_AT,
    NOT_SEEN,
    PISTON_DAMAGE,
    SEEN,
    WORKED_OUT,
    EngineFindings,
)
from ringland.causes.cause_table import UNDETERMINED, CauseTable


@dataclass(frozen=True)
class CauseRanking:
    """The causes of one failure, most likely mechanism first, with their evidence."""

    chances: pl.DataFrame
    """rank, cause, name, mechanism, chance, mechanism_chance, share, table_share,
    settled_cases: ordered by the mechanism's chance, then by the cause's; share is that before
    anything was looked at, table_share the same without the shop's cases; 'undetermined' is
    a row and a mechanism of its own"""
    evidence: pl.DataFrame
    """cause, finding, words, part, state, weight, log_ratio, side ('for', 'against'), mark,
    is_moved, cases_seen, cases_looked: is_moved where settled cases changed the weight, of which
    so many looked for the finding and saw it"""
    open_findings: pl.DataFrame
    """finding, words, part, information_bits: what was not looked at, most telling first"""
    contradictions: tuple[str, ...]
    unmatched: tuple[str, ...]
    notes: tuple[str, ...]

    @property
    def first(self) -> str:
        """Key of the cause ranked first: the leading one of the leading mechanism."""
        return str(self.chances["cause"][0])


def cause_chances(shares: Matrix, chances: Matrix, states: list[str]) -> Matrix:
    """Chance of each outcome given the state of each finding, by Bayes' rule."""
    seen = np.array([state == SEEN for state in states])
    not_seen = np.array([state == NOT_SEEN for state in states])
    log = np.log(shares) + np.log(chances) @ seen + np.log1p(-chances) @ not_seen
    weight = np.exp(log - log.max())
    return np.asarray(weight / weight.sum())


def expected_information(posterior: Matrix, chances: Matrix) -> Matrix:
    """Mutual information between the cause and each finding, in bits, (findings,).

    How much looking at the finding is expected to narrow the causes down.  Two outcomes,
    seen or not: I = H(sum_c q_c p_c) - sum_c q_c H(p_c), with H the binary entropy.
    """
    marginal = posterior @ chances
    return np.maximum(_entropy(marginal) - posterior @ _entropy(chances), 0.0)


def _entropy(p: Matrix) -> Matrix:
    inside = np.clip(p, 1e-300, 1 - 1e-16)  # only keeps log from 0; p is never 0 or 1 here
    return np.asarray(-(inside * np.log2(inside) + (1 - inside) * np.log2(1 - inside)))


def rank_causes(
    findings: EngineFindings, table: CauseTable, cases: SettledCases | None = None
) -> CauseRanking:
    """All causes of the table and 'undetermined', most likely first.

    With fewer findings seen than the table's `least_findings`, 'undetermined' comes first
    whatever the chances, and a note says so.
    """
    cases = cases or SettledCases.none(table)
    states = [findings.states.get(key, NOT_LOOKED_AT) for key in table.findings]
    counted = without_followers(table, without_implied(table, states))
    chances = of_their_damage(finding_chances(table, cases), table, states)
    shares = cause_shares(table, cases)
    posterior = cause_chances(shares, chances.moved, counted)
    too_little = _too_little(findings, table) or _only_usual(posterior, counted, table)
    notes = findings.notes + ((too_little,) if too_little else ())
    notes += tuple(
        table.findings[key].conflict or ""
        for key, state in findings.states.items()
        if state == SEEN and table.findings[key].conflict
    )
    return CauseRanking(
        _chances_frame(table, cases, posterior, shares, is_open=bool(too_little)),
        _evidence_frame(table, chances, counted),
        _open_frame(table, expected_information(posterior, chances.moved), states),
        findings.contradictions,
        findings.unmatched,
        notes,
    )


def of_their_damage(
    chances: FindingChances, table: CauseTable, states: list[str]
) -> FindingChances:
    """The chances, with how far damage is spread saying nothing of causes that leave none of it.

    Scuffed skirts in two cylinders are several cylinders of scuffing, no sign of knock.
    """
    keys = list(table.findings)
    damage = [
        keys.index(key)
        for key in PISTON_DAMAGE
        if key in table.findings and states[keys.index(key)] == SEEN
    ]
    if not damage:
        return chances
    leaves_none = ~(finding_weights(table)[:, damage] > 0).any(axis=1)
    opinion, moved = chances.opinion.copy(), chances.moved.copy()
    for key in set(WORKED_OUT) & set(keys):
        for p in (opinion, moved):
            p[leaves_none, keys.index(key)] = p[-1, keys.index(key)]
    return replace(chances, opinion=opinion, moved=moved)


def without_implied(table: CauseTable, states: list[str]) -> list[str]:
    """The states, with what another finding already says taken out.

    Of two findings that exclude each other one seen implies the other not seen: they are
    one look, and count once.
    """
    keys = list(table.findings)
    seen = {key for key, state in zip(keys, states, strict=True) if state == SEEN}
    ruled_out = {other for key in seen for other in table.findings[key].excludes}
    return [
        NOT_LOOKED_AT
        if state == NOT_SEEN and (key in ruled_out or seen & set(table.findings[key].excludes))
        else state
        for key, state in zip(keys, states, strict=True)
    ]


def _too_little(findings: EngineFindings, table: CauseTable) -> str | None:
    """Why no cause may be named yet; None: enough was seen.

    What tests a driver, a fuel sample or a calibration, shows what the engine was exposed to.
    Without a sign of damage that is no cause.
    """
    if findings.number_seen < table.model["least_findings"]:
        return (
            f"{findings.number_seen} finding(s) seen: too little to name a cause. "
            f"The order below it shows only what the shop sees most."
        )
    exposures = {
        test
        for key, cause in table.causes.items()
        if table.is_driver(key)
        for test in cause.own_tests
    }
    if not [k for k, s in findings.states.items() if s == SEEN and k not in exposures]:
        return (
            "Only what the engine was exposed to was seen, and no sign of damage: too little to "
            "name a cause."
        )
    return None


def _only_usual(posterior: Matrix, states: list[str], table: CauseTable) -> str | None:
    """Why the leading mechanism may not be named: nothing seen speaks for it; None: something does.

    A shop that sees much knock would otherwise find it in every engine whose signs are few.
    """
    seen = np.array([state == SEEN for state in states])
    for_it = np.asarray((finding_weights(table)[:, seen] > 0).any(axis=1))
    members = {name: np.isin(table.outcomes, keys) for name, keys in table.mechanisms.items()}
    leading = max(members, key=lambda name: float(posterior[members[name]].sum()))
    if for_it[members[leading]].any() or posterior[-1] > posterior[members[leading]].sum():
        return None
    return said.ONLY_USUAL.format(mechanism=leading)


def _chances_frame(
    table: CauseTable, cases: SettledCases, posterior: Matrix, shares: Matrix, *, is_open: bool
) -> pl.DataFrame:
    outcomes = table.outcomes
    return (
        pl.DataFrame(
            {
                "cause": outcomes,
                "name": [table.named(cause) for cause in outcomes],
                "mechanism": [
                    table.causes[cause].mechanism if cause != UNDETERMINED else None
                    for cause in outcomes
                ],
                "chance": posterior,
                "share": shares,
                "table_share": table_shares(table),
                "settled_cases": cases.by_cause.astype(int),
            }
        )
        .with_columns(mechanism_chance=pl.col("chance").sum().over("mechanism"))
        .sort(
            pl.lit(is_open) & (pl.col("cause") == UNDETERMINED),
            "mechanism_chance",
            "chance",
            descending=True,
            maintain_order=True,
        )
        .with_row_index("rank", offset=1)
    )


LEAST_MOVE = 0.05
"""A log-odds ratio that settled cases changed by less is said as the table's own."""

_EVIDENCE = {
    "cause": pl.String,
    "finding": pl.String,
    "words": pl.String,
    "part": pl.String,
    "state": pl.String,
    "weight": pl.Float64,
    "log_ratio": pl.Float64,
    "side": pl.String,
    "mark": pl.String,
    "is_moved": pl.Boolean,
    "cases_seen": pl.Int64,
    "cases_looked": pl.Int64,
}


def _evidence_frame(table: CauseTable, chances: FindingChances, states: list[str]) -> pl.DataFrame:
    rows = []
    for column, (finding, state) in enumerate(zip(table.findings.values(), states, strict=True)):
        if state == NOT_LOOKED_AT:
            continue
        ratios, opinion = (
            _log_ratios(p[:, column], is_seen=state == SEEN)
            for p in (chances.moved, chances.opinion)
        )
        for row, cause in enumerate(table.causes):
            if abs(ratios[row]) < 1e-9:  # rounding: neither for nor against
                continue
            rows.append(
                {
                    "cause": cause,
                    "finding": finding.key,
                    "words": finding.words,
                    "part": finding.part,
                    "state": state,
                    "weight": finding.weight(cause),
                    "log_ratio": ratios[row],
                    "side": "for" if ratios[row] > 0 else "against",
                    "mark": finding.mark_for(cause),
                    "is_moved": abs(ratios[row] - opinion[row]) > LEAST_MOVE,
                    "cases_seen": int(chances.cases_seen[row, column]),
                    "cases_looked": int(chances.cases_looked[row, column]),
                }
            )
    return pl.DataFrame(rows, schema=_EVIDENCE).sort(
        pl.col("log_ratio").abs(), descending=True, maintain_order=True
    )


def _log_ratios(p: Matrix, *, is_seen: bool) -> Matrix:
    """How much a finding's state speaks for each cause against 'undetermined', (causes + 1,)."""
    likelihood = p if is_seen else 1 - p
    return np.asarray(np.log(likelihood / likelihood[-1]))


def _open_frame(table: CauseTable, information: Matrix, states: list[str]) -> pl.DataFrame:
    """What is worth looking at next.

    Left out are findings that one already seen rules out, those worked out from others, and
    the weaker of two that are one look.
    """
    findings = list(table.findings.values())
    seen = {finding.key for finding, state in zip(findings, states, strict=True) if state == SEEN}
    settled = seen | {key for name in seen for key in table.findings[name].excludes}
    order = np.argsort(-information, kind="stable")
    listed: dict[str, float] = {}
    for column in order:
        finding = findings[column]
        if states[column] != NOT_LOOKED_AT or finding.key in (*settled, *WORKED_OUT):
            continue
        same_look = {other for other in listed if finding.key in table.findings[other].excludes}
        if set(finding.excludes) & (seen | set(listed)) or same_look:
            continue
        listed[finding.key] = float(information[column])
    return pl.DataFrame(
        [(key, table.findings[key].words, table.findings[key].part, bits)
         for key, bits in listed.items()],
        schema={
            "finding": pl.String,
            "words": pl.String,
            "part": pl.String,
            "information_bits": pl.Float64,
        },
        orient="row",
    )  # fmt: skip
