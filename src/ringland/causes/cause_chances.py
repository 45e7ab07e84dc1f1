"""How often each finding is seen under each cause: by the table, and as the cases move it.

The drivers of one mechanism leave the same signs, so the settled cases of all of them teach
the mechanism and tell none of them from another.  What tells drivers apart is a driver's own
tests; on those only its own settled cases move it.  A shop that has settled on fuel forty
times has learnt nothing about whose fuel it was this time (context-specific likelihoods:
Heckerman 1990, from memory).

Every finding has a usual state, which all outcomes share that the table gives no weight;
their settled cases together move it.  A weight is a distance from it on the log-odds scale,
logit p(f|c) = logit p0(f) + w k, or what the table says a test shows where it is the cause.
With q the chance of a cell before, n its settled cases and m of them with the finding seen,
q' = (a q + m) / (a + n) afterwards, a the cases an opinion is worth (Beta prior).  Cases can
take a weight to nothing, never to its other side: turning it is for a person who edits the
table.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import expit, logit

from ringland.causes.cause_table import CauseTable

Matrix = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]


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
class FindingChances:
    """Chance of seeing each finding under each outcome, (causes + undetermined, findings)."""

    opinion: Matrix
    """as the table has it"""
    moved: Matrix
    """as the settled cases leave it"""
    cases_seen: Matrix
    """settled cases of the cell with the finding seen"""
    cases_looked: Matrix
    """settled cases of the cell with it looked for"""


def opinions(table: CauseTable) -> Matrix:
    """The table's own chances: logit p(f|c) = logit p0 + weight k, or what an own test says."""
    usual = usual_shares(table)
    weights = finding_weights(table)
    chances = expit(logit(usual) + weights * table.model["log_odds_per_point"])
    tested = own_tests(table)
    for column, finding in enumerate(table.findings.values()):
        if finding.seen_if_cause is not None:
            chances[tested[:, column], column] = finding.seen_if_cause
    return np.asarray(chances)


def usual_shares(table: CauseTable) -> Matrix:
    """How often each finding is seen where the table gives it no weight, (findings,)."""
    by_kind = {"sound": table.model["sound_share"], "damage": table.model["usual_share"]}
    return np.array(
        [
            by_kind[finding.kind] if finding.usual is None else finding.usual
            for finding in table.findings.values()
        ]
    )


def finding_chances(table: CauseTable, cases: SettledCases) -> FindingChances:
    """The table's chances, and where the settled cases move them."""
    start = opinions(table)
    weights, tested = finding_weights(table), own_tests(table)
    worth = table.model["opinion_cases"]
    seen, looked = np.zeros_like(start), np.zeros_like(start)

    def update(cells: Flags, before: Matrix) -> Matrix:
        """Beta means of cells of one finding each, (findings,); their cases are kept."""
        of_seen = np.where(cells, cases.seen, 0).sum(axis=0)
        of_looked = of_seen + np.where(cells, cases.not_seen, 0).sum(axis=0)
        seen[:] = np.where(cells, of_seen, seen)
        looked[:] = np.where(cells, of_looked, looked)
        return np.asarray((worth * before + of_seen) / (worth + of_looked))

    without = weights == 0
    usual = update(without, start[-1])
    shift = logit(usual) - logit(start[-1])
    # what a test shows where it is the cause does not hang on what is usual elsewhere
    is_said = np.array([one.seen_if_cause is not None for one in table.findings.values()])
    now = np.where(tested & is_said, start, expit(logit(start) + shift))
    moved = np.where(without, usual, start)
    every = np.arange(start.shape[1])
    for members in table.mechanisms.values():
        group = np.isin(table.outcomes, members)
        weighed = group[:, None] & ~without
        has_owner = (group[:, None] & tested).any(axis=0) & (group.sum() > 1)
        moved = np.where(weighed, now, moved)
        together = weighed & ~has_owner
        mean = update(together, now[together.argmax(axis=0), every])
        moved = np.where(together, mean, moved)
        for row in np.flatnonzero(group):
            own = np.zeros_like(tested)
            own[row] = tested[row] & has_owner
            moved = np.where(own, update(own, now[row]), moved)
    return FindingChances(start, _on_its_side(weights, moved), seen, looked)


def own_tests(table: CauseTable) -> Flags:
    """Whether a finding tests the cause itself, (causes + undetermined, findings)."""
    keys = list(table.findings)
    flags = np.zeros((len(table.outcomes), len(keys)), dtype=np.bool_)
    for row, cause in enumerate(table.causes.values()):
        flags[row, [keys.index(test) for test in cause.own_tests]] = True
    return flags


def finding_weights(table: CauseTable) -> Matrix:
    """The table's weights, (causes + undetermined, findings)."""
    return np.array(
        [[finding.weight(cause) for finding in table.findings.values()] for cause in table.outcomes]
    )


def _on_its_side(weights: Matrix, moved: Matrix) -> Matrix:
    """Every chance kept on the side of the usual state where the table's weight puts it."""
    usual = moved[-1]
    moved = np.where(weights > 0, np.maximum(moved, usual), moved)
    return np.asarray(np.where(weights < 0, np.minimum(moved, usual), moved))


def table_shares(table: CauseTable) -> Matrix:
    """Share of each outcome before anything is looked at, by the table alone, (outcomes,)."""
    shares = np.array([cause.share for cause in table.causes.values()])
    open_share = table.model["undetermined_share"]
    return np.append(shares / shares.sum() * (1 - open_share), open_share)


def cause_shares(table: CauseTable, cases: SettledCases) -> Matrix:
    """Share of each outcome before anything is looked at, (causes + undetermined,).

    Settled cases move the share of a mechanism (Dirichlet prior).  How it is split among
    its drivers stays the table's: what other engines were settled on is no evidence on
    which driver this one had.  So does the share that stays open: a shop writes down the
    causes it settled, seldom those it did not.
    """
    start = table_shares(table)
    named = np.arange(len(start)) < len(table.causes)
    worth = table.model["prior_cases"]
    total = worth + cases.by_cause[named].sum()
    shares = start.copy()
    for members in table.mechanisms.values():
        rows = np.isin(table.outcomes, members)
        part = start[rows].sum() / start[named].sum()
        counts = worth * part + cases.by_cause[rows].sum()
        shares[rows] *= counts / total / part
    return shares
