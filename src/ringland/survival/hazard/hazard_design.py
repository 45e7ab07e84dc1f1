"""Covariates as the columns of a log hazard: lines, hinges, and what differs between docks.

A factor's line is counted in steps from the state where all is well.  Hinges let it bend: the
log hazard's slope changes at each knot, by coefficients drawn towards zero together, so that
little evidence leaves a straight line and a jump shows as a steep stretch (penalised linear
splines; Ruppert, Wand & Carroll 2003).  A factor that goes with the place (the dock) also has
the place's own mean over the record as a column: the line is then the effect within places,
and line and that column together the effect between them (Mundlak 1978).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from ringland.survival.spell_checks import Flags, Floats, Ints, SpellError


@dataclass(frozen=True)
class Factor:
    """One covariate of the hazard: its name, step, state when all is well, and its bends.

    `effect_mean` and `effect_sd` are the prior mean and standard deviation of its log hazard
    ratio per step.
    `knots`, in its own unit, are where its slope may change; `differs_by_place` asks for the
    effect within and between places apart.
    """

    name: str
    step: float
    centre: float
    effect_sd: float
    knots: tuple[float, ...] = ()
    differs_by_place: bool = False
    effect_mean: float = 0.0


@dataclass(frozen=True)
class SpellRows:
    """Spells (start, stop] of life as a fit takes them, all of one bucket.

    A bucket is what shares engines and docks with nothing outside it; the likelihood of
    several is the sum of each one's.  `x` has shape (n, factors).  `own` names whose spell it
    is (an engine), `place` where it ran (a dock); None: no such groups.  `blur` is the
    standard deviation of what is open about each covariate, in its unit, shape (n, factors).
    """

    start: Floats
    stop: Floats
    event: Flags
    x: Floats = field(repr=False)
    own: Sequence[str] | None = field(default=None, repr=False)
    place: Sequence[str] | None = field(default=None, repr=False)
    blur: Floats | None = field(default=None, repr=False)

    def __post_init__(self) -> None:
        for column, values in (("x", self.x), ("blur", self.blur)):
            if values is not None and not np.isfinite(values).all():
                row = int(np.argwhere(~np.isfinite(values))[0][0])
                raise SpellError(f"Row {row}: {column} is not a finite number.")

    def alone(self) -> SpellRows:
        """The same without places and own groups."""
        return replace(self, own=None, place=None)

    def joined(self) -> SpellRows:
        """The same with spells that follow on alike made one, which no likelihood tells apart."""
        labels = [
            np.zeros(len(self.start)) if names is None else np.unique(names, return_inverse=True)[1]
            for names in (self.own, self.place)
        ]
        held = np.column_stack([*labels, self.x, *([] if self.blur is None else [self.blur])])
        follows = (
            (self.start[1:] == self.stop[:-1])
            & ~self.event[:-1]
            & (held[1:] == held[:-1]).all(axis=1)
        )
        first = np.flatnonzero(np.concatenate(([True], ~follows)))
        last = np.append(first[1:], len(self.start)) - 1

        def of(names: Sequence[str] | None) -> list[str] | None:
            return None if names is None else [names[int(i)] for i in first]

        return SpellRows(
            start=self.start[first],
            stop=self.stop[last],
            event=self.event[last],
            x=self.x[first],
            own=of(self.own),
            place=of(self.place),
            blur=None if self.blur is None else self.blur[first],
        )


@dataclass(frozen=True)
class Design:
    """How the covariates of spells become columns: lines, then hinges, then places' means."""

    factors: tuple[Factor, ...]
    places: tuple[str, ...]
    place_mean: Floats
    """Of each factor that differs by place, shape (places, such factors), in steps."""
    line_share: Floats
    """Slope of the straight line nearest each hinge over the record, one per hinge."""

    @classmethod
    def of(cls, factors: Sequence[Factor], buckets: Sequence[SpellRows]) -> Design:
        """The design for the spells of all buckets."""
        names = sorted({str(p) for rows in buckets if rows.place is not None for p in rows.place})
        at = {name: i for i, name in enumerate(names)}
        split = [j for j, factor in enumerate(factors) if factor.differs_by_place and names]
        total, hours = np.zeros((len(names), len(split))), np.zeros(len(names))
        moments = np.zeros((sum(len(f.knots) for f in factors), 4))
        weight = np.zeros(len(factors))
        sums = np.zeros((len(factors), 2))
        for rows in buckets:
            run = rows.stop - rows.start
            if rows.place is not None:
                which = np.array([at[str(p)] for p in rows.place], dtype=np.int64)
                hours += np.bincount(which, run, len(names))
                for column, j in enumerate(split):
                    z = _steps(rows.x[:, j], factors[j])
                    total[:, column] += np.bincount(which, run * z, len(names))
            hinge = 0
            for j, factor in enumerate(factors):
                z = _steps(rows.x[:, j], factor)
                weight[j] += run.sum()
                sums[j] += [run @ z, run @ z**2]
                for knot in factor.knots:
                    bent = _bent(rows.x[:, j], factor, knot)
                    moments[hinge, :2] += [run @ bent, run @ (bent * z)]
                    hinge += 1
        share, hinge = [], 0
        for j, factor in enumerate(factors):
            mean = sums[j, 0] / weight[j]
            spread = sums[j, 1] / weight[j] - mean**2
            for _ in factor.knots:
                first, product = moments[hinge, :2] / weight[j]
                share.append((product - first * mean) / spread if spread > 0 else 0.0)
                hinge += 1
        means = total / np.where(hours > 0, hours, 1.0)[:, None]
        return cls(tuple(factors), tuple(names), means, np.array(share))

    @property
    def split(self) -> tuple[int, ...]:
        """Indices of the factors with an effect between places of its own."""
        return tuple(
            j for j, factor in enumerate(self.factors) if factor.differs_by_place and self.places
        )

    @property
    def n_hinges(self) -> int:
        """Hinges over all factors."""
        return sum(len(factor.knots) for factor in self.factors)

    def place_index(self, place: Sequence[str | None]) -> Ints:
        """Where each place stands among those on record; -1 where it is not."""
        at = {name: i for i, name in enumerate(self.places)}
        return np.array([-1 if p is None else at.get(str(p), -1) for p in place], dtype=np.int64)

    def columns(self, x: Floats, place: Ints | None) -> Floats:
        """Shape (rows, lines + hinges + places' means); a place not on record: the middle one."""
        z = [_steps(x[:, j], factor) for j, factor in enumerate(self.factors)]
        bent = [
            _bent(x[:, j], factor, knot)
            for j, factor in enumerate(self.factors)
            for knot in factor.knots
        ]
        means = []
        if self.split:
            padded = np.vstack([self.place_mean, self.place_mean.mean(axis=0)])
            at = np.full(len(x), -1) if place is None else place
            means = list(padded[at].T)
        parts = [*z, *bent, *means]
        return np.column_stack(parts) if parts else np.empty((len(x), 0))

    def line_slopes(self, coefficients: Floats) -> Floats:
        """Slope per step of the line nearest each factor's course, from draws of all columns.

        Shape (draws, factors); over the record's running hours.
        """
        n = len(self.factors)
        slope = coefficients[:, :n].copy()
        at = 0
        for j, factor in enumerate(self.factors):
            for _ in factor.knots:
                slope[:, j] += coefficients[:, n + at] * self.line_share[at]
                at += 1
        return slope


def _steps(x: Floats, factor: Factor) -> Floats:
    return (x - factor.centre) / factor.step


def _bent(x: Floats, factor: Factor, knot: float) -> Floats:
    return np.maximum(x - knot, 0.0) / factor.step
