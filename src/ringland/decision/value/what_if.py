"""What every combination of the steps a page offers would bring on each hull.

Worked out for the fleet at once, so that a page only looks the answer up.  The hazard is the
planning's, on fewer draws than the hull's own chance; a combination therefore moves that
chance by the ratio of its hazard to that of doing nothing on the same draws (a ratio
estimator: what the two share cancels; Cochran, Sampling Techniques, chapter 6), ends of the
range likewise by their own quantiles.  Doing nothing so gives the very chance of the page.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import product

import dataframely as dy
import numpy as np
import polars as pl

from ringland.contracts.decision_tables import AS_OF_LATE, GRADE, WhatIfs
from ringland.decision.actions.action_catalogue import Action, Catalogue, Effect
from ringland.decision.actions.action_prices import Prices
from ringland.decision.actions.action_terms import is_meant_for, job_days_off, job_price
from ringland.decision.value.hazard_ahead import changed
from ringland.exposure.factor_registry import BOUNDS
from ringland.fuel.octane import with_aki
from ringland.risk.exposure_ahead import (
    Change,
    CumulativeHazard,
    Floats,
    hazard_along,
    read_ahead,
)
from ringland.risk.failure_risk import HORIZONS_D
from ringland.risk.fleet_hazard import READS
from ringland.settings.assumptions import Assumptions

SHORT = "shortfall_25h_on"
MOST_COMBINATIONS = 256
"""Of a hull; steps for which there is no room are told apart (`Choices.left_out`)."""
MOST_GRADES = 5
ROWS_AT_ONCE = 2_000
"""Rows handed to the hazard in one call, so that a big fleet's fit a laptop's memory."""


@dataclass(frozen=True)
class Choices:
    """What can be chosen: one fuel, one renewal, any of the other steps.

    A step priced by the litre is a fuel.  Steps that test nothing, and run on, are in it.
    """

    fuels: tuple[Action, ...]
    renewals: tuple[Action, ...]
    others: tuple[Action, ...]
    left_out: tuple[Action, ...]

    @property
    def steps(self) -> tuple[Action, ...]:
        """All but the fuels, in the order of a combination's `steps`."""
        return self.renewals + self.others

    def combinations(self) -> list[tuple[Action, ...]]:
        """Every choice of a renewal and of other steps: by renewal, the last step fastest."""
        ticked = product(*((False, True) for _ in self.others))
        others = [
            tuple(a for a, is_on in zip(self.others, on, strict=True) if is_on) for on in ticked
        ]
        renewals: list[tuple[Action, ...]] = [(), *((action,) for action in self.renewals)]
        return [renewal + other for renewal in renewals for other in others]


def choices(catalogue: Catalogue) -> Choices:
    """The catalogue's actions a what-if can be asked of."""
    offered = [
        action
        for action in catalogue.actions.values()
        if action.offered and action.test is None and (action.effects or action.renews_age)
    ]
    renewals = tuple(action for action in offered if action.renews_age)
    fuels = tuple(a for a in offered if a.cost_per_l and not a.renews_age)
    others = [a for a in offered if a not in renewals and a not in fuels]
    each = (1 + MOST_GRADES + len(fuels)) * (1 + len(renewals))
    room = max(0, int(np.log2(MOST_COMBINATIONS / each)))
    return Choices(fuels, renewals, tuple(others[:room]), tuple(others[room:]))


def grades_sold(
    deliveries: pl.DataFrame, fills: pl.DataFrame, assumptions: Assumptions
) -> tuple[float, ...]:
    """The pump numbers most often on record, at most `MOST_GRADES`, whole AKI, lowest first."""
    scales = ["octane_aki", "octane_ron", "octane_mon"]
    rows = pl.concat([deliveries.select(scales), fills.select(scales)])
    sold = with_aki(rows, assumptions).filter(~pl.col("is_octane_converted"))
    often = sold["octane_best_aki"].drop_nulls().round(0).value_counts(sort=True, name="rows")
    most = often.sort("rows", "octane_best_aki", descending=[True, False]).head(MOST_GRADES)
    return tuple(most["octane_best_aki"].sort())


def what_ifs(
    running: pl.DataFrame,
    chances: pl.DataFrame,
    at_hand: pl.DataFrame,
    hazard: CumulativeHazard,
    *,
    choices: Choices,
    grades_aki: Sequence[float],
    prices: Prices,
    assumptions: Assumptions,
) -> dy.DataFrame[WhatIfs]:
    """Every combination of fuel and steps on every hull whose chance can be told.

    Args:
        running: one row per hull in service, as `running_sets` returns it.
        chances: `HullChances` of the same.
        at_hand: `FuelAtHand` of the same.
        hazard: the fleet's hazard, as planning uses it.
        choices: what can be chosen.
        grades_aki: the pump numbers that may be filled from now on.
        prices: what things cost this season.
        assumptions: settings.
    """
    told = running.filter(pl.col("why_not").is_null()).sort("hull_id")
    told = told.join(at_hand.select("hull_id", "need_aki"), on="hull_id", how="left")
    if told.is_empty():
        return WhatIfs.create_empty()
    rows = _combined(told, choices, grades_aki, prices, assumptions)
    for name, days in HORIZONS_D.items():
        told_of = {
            f"_{part}_{name}": values
            for part, values in zip(
                _PARTS, _summed(rows, hazard, choices, days, assumptions), strict=True
            )
        }
        rows = rows.with_columns(pl.Series(k, v, dtype=pl.Float64) for k, v in told_of.items())
    found = rows.join(chances.select("hull_id", *_CHANCES), on="hull_id", how="left").with_columns(
        _moved(name, part) for name in HORIZONS_D for part in _PARTS
    )
    return WhatIfs.validate(
        found.with_columns(
            pl.col("sure_cost", "litres").round(0),
            left_cost=(pl.col("chance_30d") * prices.unplanned).round(0),
        ).select(WhatIfs.column_names()),
        cast=True,
    )  # fmt: skip


_PARTS = ("", "_low", "_high")
_CHANCES = [f"chance_{name}{part}" for name in HORIZONS_D for part in _PARTS]


def _moved(name: str, part: str) -> pl.Expr:
    """The hull's own chance as the combination moves it, by the ratio of hazards."""
    done, own = pl.col(f"_{part}_{name}"), pl.col(f"chance_{name}{part}")
    still = done.filter(pl.col("is_as_it_stands")).first().over("hull_id")
    ratio = pl.when(still > 0).then(done / still).otherwise(1.0)
    return (1 - (1 - own) ** ratio).alias(f"chance_{name}{part}")


def _combined(
    told: pl.DataFrame,
    choices: Choices,
    grades_aki: Sequence[float],
    prices: Prices,
    assumptions: Assumptions,
) -> pl.DataFrame:
    """A row per hull, fuel and steps, in order, with what is done in it and what it costs."""
    fuels = pl.concat(
        [
            told.select("hull_id", fuel=pl.lit(AS_OF_LATE), shortfall_on=pl.lit(None, pl.Float64)),
            _shortfalls(told, grades_aki),
            *(
                told.select(
                    "hull_id", fuel=pl.lit(action.name), shortfall_on=pl.lit(None, pl.Float64)
                )
                for action in choices.fuels
            ),
        ]
    )
    steps = pl.DataFrame(
        {"steps": [[action.name for action in some] for some in choices.combinations()]},
        schema={"steps": pl.List(pl.String)},
    )
    actions = choices.fuels + choices.steps
    done = {action.name: _is_done(action, choices) for action in actions}
    meant = {f"_may_{a.name}": is_meant_for((a,), told) for a in actions}
    rows = (
        told.with_columns(**meant)
        .join(fuels, on="hull_id", maintain_order="left_right")
        .join(steps, how="cross", maintain_order="left_right")
        .filter(pl.all_horizontal(~is_on | pl.col(f"_may_{name}") for name, is_on in done.items()))
        .drop(meant)
        .with_columns(is_on.alias(f"_do_{name}") for name, is_on in done.items())
        .with_columns(
            is_as_it_stands=(pl.col("fuel") == AS_OF_LATE) & (pl.col("steps").list.len() == 0)
        )
    )
    days = HORIZONS_D["30d"]
    off = _days_off(rows, actions, prices, days)
    hours = rows["use_h_d"].to_numpy() * (days - off)
    cruise, full = (assumptions.number(f"fuel.{name}_burn_l_h") for name in ("cruise", "full"))
    burn = cruise + (full - cruise) * rows["full_throttle_25h"].to_numpy()
    sure = off * prices.lost_rental_day
    for action in actions:
        cost = job_price(action, prices) + action.cost_per_d * days
        sure = sure + rows[f"_do_{action.name}"].to_numpy() * cost
    return rows.with_columns(
        sure_cost=pl.Series(sure, dtype=pl.Float64),
        litres=pl.Series(hours * burn, dtype=pl.Float64),
        _off=pl.Series(_days_off(rows, actions, prices, np.inf), dtype=pl.Float64),
    )


def grade_shortfall(need_aki: float, grade_aki: float) -> float:
    """Octane numbers a grade leaves of a need: the need less the pump's number."""
    return max(0.0, need_aki - grade_aki)


def _shortfalls(told: pl.DataFrame, grades_aki: Sequence[float]) -> pl.DataFrame:
    """Per hull, what the grades leave of its need, each once, the worst first."""
    if not grades_aki:
        return told.select(
            "hull_id", fuel=pl.lit(GRADE), shortfall_on=pl.lit(None, pl.Float64)
        ).clear()
    known = told.filter(pl.col("need_aki").is_not_null())
    left = [
        sorted({grade_shortfall(need, aki) for aki in grades_aki}, reverse=True)
        for need in known["need_aki"]
    ]
    return known.select(
        "hull_id",
        fuel=pl.lit(GRADE),
        shortfall_on=pl.Series(left, dtype=pl.List(pl.Float64)),
    ).explode("shortfall_on")


def _is_done(action: Action, choices: Choices) -> pl.Expr:
    if action in choices.fuels:
        return pl.col("fuel") == action.name
    return pl.col("steps").list.contains(action.name)


def _days_off(rows: pl.DataFrame, actions: Sequence[Action], prices: Prices, most: float) -> Floats:
    off = [rows[f"_do_{a.name}"].to_numpy() * job_days_off(a, prices) for a in actions]
    return np.asarray(np.minimum(np.sum(off, axis=0), most))


def _summed(
    rows: pl.DataFrame,
    hazard: CumulativeHazard,
    choices: Choices,
    days: float,
    assumptions: Assumptions,
) -> tuple[Floats, Floats, Floats]:
    """Hazard over the days ahead: of the mean chance, and its quantiles over the draws."""
    tail = (1 - assumptions.number("survival.confidence")) / 2
    found = np.zeros((3, rows.height))
    asked = read_ahead(rows, READS)
    asked += ["use_h_d", "age_h", "shortfall_on", "_off"]
    asked += [name for name in rows.columns if name.startswith("_do_")]
    told = rows.select(asked)
    for which, changes in _alike(rows, choices):
        some = told[which]
        hours = (some["use_h_d"] * (days - some["_off"]).clip(0.0)).to_numpy()
        renewed = some.select(
            pl.any_horizontal(pl.lit(value=False), *(f"_do_{a.name}" for a in choices.renewals))
        ).to_series()
        age_h = np.where(renewed.to_numpy(), 0.0, some["age_h"].to_numpy())
        for begin in range(0, some.height, ROWS_AT_ONCE):
            part = slice(begin, begin + ROWS_AT_ONCE)
            summed = hazard_along(
                hazard,
                some[part],
                age_h[part],
                hours[part],
                window_h=assumptions.number("exposure.trailing_h"),
                changes=changes,
            )
            found[0, which[part]] = -np.log1p(np.expm1(-summed).mean(axis=0))
            found[1:, which[part]] = np.quantile(summed, [tail, 1 - tail], axis=0)
    return found[0], found[1], found[2]


def _alike(rows: pl.DataFrame, choices: Choices) -> Iterator[tuple[np.ndarray, list[Change]]]:
    """Rows with the same steps of a stated length, so that their hours are cut alike."""
    actions = choices.fuels + choices.steps
    lasting = [f"_do_{action.name}" for action in actions if action.lasts_h is not None]
    told = rows.select(*lasting).with_row_index("_row")
    groups = told.partition_by(lasting) if lasting else [told]
    for group in groups:
        here = {name: group[name][0] for name in lasting}
        done = [a for a in actions if here.get(f"_do_{a.name}", True)]
        changes = [Change(name, _graded) for name in _with_bounds(SHORT, rows)]
        changes += [
            Change(name, partial(_changed_where, f"_do_{action.name}", effect), action.lasts_h)
            for action in done
            for effect in action.effects
            for name in _with_bounds(effect.covariate, rows)
        ]
        yield group["_row"].to_numpy(), changes


def _with_bounds(covariate: str, rows: pl.DataFrame) -> list[str]:
    """The covariate and the columns that bound it: a step changes all alike."""
    bounds = [columns[covariate] for columns in BOUNDS.values() if covariate in columns]
    return [covariate, *(name for name in bounds if name in rows.columns)]


def _graded(now: pl.Expr) -> pl.Expr:
    return pl.coalesce("shortfall_on", now.cast(pl.Float64))


def _changed_where(is_done: str, effect: Effect, now: pl.Expr) -> pl.Expr:
    return pl.when(pl.col(is_done)).then(changed(effect, now)).otherwise(now.cast(pl.Float64))
