"""Which causes the findings of an opened engine speak for, and what would settle it.

Each cause c gives each finding f a chance p(f|c) of being seen.  The table's weight w sets
its starting value on the log-odds scale, logit p(f|c) = logit p0 + w k; the shop's settled
cases then move it (Beta prior), as they move the share of each cause (Dirichlet prior).
With the findings taken as independent given the cause, Bayes' rule gives

    chance(c | findings)  ~  share(c)  x  product over findings looked at of
                             p(f|c) where seen, 1 - p(f|c) where not seen.

"Undetermined" is an outcome of its own for which every finding is as frequent as usual.
What was not looked at contributes no factor.  The chances rest on opinions: they order the
causes, and are not frequencies until the shop has settled many cases.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import polars as pl

from ringland.causes.cause_findings import (
    NOT_LOOKED_AT,
    NOT_SEEN,
    SEEN,
    WORKED_OUT,
    EngineFindings,
)
from ringland.causes.cause_table import UNDETERMINED, CauseTable

Matrix = npt.NDArray[np.float64]


@dataclass(frozen=True)
class SettledCases:
    """The shop's confirmed cases as counts, in the order of the table."""

    by_cause: Matrix
    """(causes + undetermined,) settled cases"""
    seen: Matrix
    """(causes + undetermined, findings) of these, with the finding seen"""
    not_seen: Matrix
    """(causes + undetermined, findings) of these, with it looked for and not seen"""

    @classmethod
    def none(cls, table: CauseTable) -> SettledCases:
        """No settled case."""
        rows, columns = len(table.outcomes), len(table.findings)
        return cls(np.zeros(rows), np.zeros((rows, columns)), np.zeros((rows, columns)))


@dataclass(frozen=True)
class CauseRanking:
    """The causes of one failure, most likely first, with their evidence."""

    chances: pl.DataFrame
    """rank, cause, name, mechanism, chance, settled_cases; 'undetermined' included"""
    evidence: pl.DataFrame
    """cause, finding, words, part, state, weight, log_ratio, side ('for', 'against'), mark;
    mark is null where settled cases, not the table, say so: no weight, or its sign turned"""
    open_findings: pl.DataFrame
    """finding, words, part, information_bits: what was not looked at, most telling first"""
    contradictions: tuple[str, ...]
    unmatched: tuple[str, ...]
    notes: tuple[str, ...]

    @property
    def first(self) -> str:
        """Key of the cause ranked first."""
        return str(self.chances["cause"][0])


def finding_chances(table: CauseTable, cases: SettledCases) -> Matrix:
    """Chance of seeing each finding under each outcome, (causes + undetermined, findings)."""
    model = table.model
    usual = np.array(
        [
            model["sound_share" if finding.kind == "sound" else "usual_share"]
            for finding in table.findings.values()
        ]
    )
    weights = np.array(
        [[finding.weight(cause) for finding in table.findings.values()] for cause in table.outcomes]
    )
    opinion = 1 / (
        1 + np.exp(-(np.log(usual / (1 - usual)) + weights * model["log_odds_per_point"]))
    )
    worth = model["opinion_cases"]
    return np.asarray((worth * opinion + cases.seen) / (worth + cases.seen + cases.not_seen))


def cause_shares(table: CauseTable, cases: SettledCases) -> Matrix:
    """Share of each outcome before anything is looked at, (causes + undetermined,)."""
    shares = np.array([cause.share for cause in table.causes.values()])
    open_share = table.model["undetermined_share"]
    start = np.append(shares / shares.sum() * (1 - open_share), open_share)
    counts = table.model["prior_cases"] * start + cases.by_cause
    return np.asarray(counts / counts.sum())


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
    chances = finding_chances(table, cases)
    posterior = cause_chances(cause_shares(table, cases), chances, states)
    too_little = findings.number_seen < table.model["least_findings"]
    notes = findings.notes
    if too_little:
        notes += (
            f"{findings.number_seen} finding(s) seen: too little to name a cause. "
            f"The order below it shows only what the shop sees most.",
        )
    notes += tuple(
        table.findings[key].conflict or ""
        for key, state in findings.states.items()
        if state == SEEN and table.findings[key].conflict
    )
    return CauseRanking(
        _chances_frame(table, cases, posterior, too_little),
        _evidence_frame(table, chances, states),
        _open_frame(table, expected_information(posterior, chances), states),
        findings.contradictions,
        findings.unmatched,
        notes,
    )


def _chances_frame(
    table: CauseTable, cases: SettledCases, posterior: Matrix, too_little: bool
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
                "settled_cases": cases.by_cause.astype(int),
            }
        )
        .sort(
            pl.lit(too_little) & (pl.col("cause") == UNDETERMINED),
            "chance",
            descending=True,
            maintain_order=True,
        )
        .with_row_index("rank", offset=1)
    )


def _evidence_frame(table: CauseTable, chances: Matrix, states: list[str]) -> pl.DataFrame:
    rows = []
    open_row = len(table.outcomes) - 1
    for column, (finding, state) in enumerate(zip(table.findings.values(), states, strict=True)):
        if state == NOT_LOOKED_AT:
            continue
        p = chances[:, column] if state == SEEN else 1 - chances[:, column]
        for row, cause in enumerate(table.causes):
            ratio = float(np.log(p[row] / p[open_row]))
            if ratio:
                opinion = finding.weight(cause) * (1 if state == SEEN else -1)
                rows.append(
                    {
                        "cause": cause,
                        "finding": finding.key,
                        "words": finding.words,
                        "part": finding.part,
                        "state": state,
                        "weight": finding.weight(cause),
                        "log_ratio": ratio,
                        "side": "for" if ratio > 0 else "against",
                        "mark": finding.mark_for(cause) if opinion * ratio > 0 else None,
                    }
                )
    schema = {
        "cause": pl.String,
        "finding": pl.String,
        "words": pl.String,
        "part": pl.String,
        "state": pl.String,
        "weight": pl.Float64,
        "log_ratio": pl.Float64,
        "side": pl.String,
        "mark": pl.String,
    }
    return pl.DataFrame(rows, schema=schema).sort(
        pl.col("log_ratio").abs(), descending=True, maintain_order=True
    )


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
