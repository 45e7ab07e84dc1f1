"""The figures a page needs to work out a what-if by the pipeline's own formula.

The page holds every parameter draw of the fleet's fits, one file for all hulls, and each
hull's covariates and their usual values; `what-if.js` beside it repeats `exposure_ahead`,
`hazard_ahead`, `option_outcome` (without tests and without looking a week on) and
`chance_with_range` for one hull at a time.
"""

from __future__ import annotations

import base64
import json
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import polars as pl

from ringland.decision.action_catalogue import Action, Catalogue, Effect, MarkedNumber
from ringland.decision.action_prices import Prices
from ringland.decision.action_terms import job_days_off, job_price
from ringland.exposure.factor_registry import BOUNDS, COVARIATES, LOOKING_BACK
from ringland.risk.exposure_ahead import PIECES, USUAL, Floats
from ringland.risk.failure_risk import HORIZONS_D
from ringland.risk.fleet_hazard import GROUPS, FleetFits
from ringland.settings.assumptions import Assumptions
from ringland.words.manner import manner
from ringland.words.number_words import currency_text
from ringland.words.shown_units import shown_factor

Row = Mapping[str, Any]

FUEL_GRADE = "fuel_grade"
"""The choice that is not in the catalogue: what is filled from now on."""


def fuel_grade(supplied_aki: float, need_aki: float, cost_per_l: float) -> Action:
    """Filling one grade from now on: the shortfall is the need less the pump's number.

    Args:
        supplied_aki: the pump's number.
        need_aki: what the calibration now in force needs at full throttle.
        cost_per_l: money a litre above today's fuel.
    """
    short = MarkedNumber(max(0.0, need_aki - supplied_aki), "C", "need less the pump's number")
    return Action(
        name=FUEL_GRADE,
        label=f"Fill {supplied_aki:g} AKI",
        cost_per_l=cost_per_l,
        effects=(Effect("shortfall_25h_on", "set", short),),
    )


def choices(catalogue: Catalogue) -> list[Action]:
    """The catalogue's actions a page can work out: those that test nothing, and run on."""
    return [
        action
        for action in catalogue.actions.values()
        if action.offered and action.test is None and (action.effects or action.renews_age)
    ]


def fleet_script(
    fits: FleetFits,
    catalogue: Catalogue,
    prices: Prices,
    grades_aki: Sequence[float],
    assumptions: Assumptions,
) -> bytes:
    """The script that hands every hull's page the fleet's draws, prices and choices.

    Draws stand as base64 of little-endian doubles, row by row: log shape, log scale, effects.
    Of each engine and dock stand its failures, those expected and where its scores begin.
    """
    rule = catalogue.actions.get("fuel_rule")
    figures = {
        "lookingBack": sorted(LOOKING_BACK),
        "windowH": assumptions.number("exposure.trailing_h"),
        "pieces": PIECES,
        "confidence": assumptions.number("survival.confidence"),
        "horizonD": HORIZONS_D["30d"],
        "cruiseLH": assumptions.number("fuel.cruise_burn_l_h"),
        "fullLH": assumptions.number("fuel.full_burn_l_h"),
        "unplanned": prices.unplanned,
        "lostRentalDay": prices.lost_rental_day,
        "currency": currency_text(prices.currency),
        "moneyPlace": manner().money,
        "marks": [manner().thousands, manner().decimal],
        "litresPerUnit": 1.0 / shown_factor("l"),
        "gradesAki": list(grades_aki),
        "gradeCostPerL": 0.0 if rule is None else rule.cost_per_l,
        "actions": [_action(action, prices) for action in choices(catalogue)],
    }
    return b"window.RINGLAND_FLEET = " + safe_json(figures).encode() + b";\n"


def hull_figures(state: Row, at_hand: Row) -> dict[str, Any]:
    """What one hull brings to its what-if.

    Args:
        state: its row of `running_sets`, with a chance.
        at_hand: its row of `FuelAtHand`.
    """
    return {
        "ageH": state["age_h"],
        "useHD": state["use_h_d"],
        "covariates": {name: float(state[name]) for name in COVARIATES},
        "usual": _usual(state, {name: name for name in COVARIATES}),
        "bounds": [
            {
                "covariates": {name: float(state[column]) for name, column in stands_in.items()},
                "usual": _usual(state, stands_in),
            }
            for stands_in in BOUNDS.values()
        ],
        "groups": {column: state.get(column) for column in sorted(GROUPS)},
        "needAki": at_hand["need_aki"],
        "dockAki": at_hand["dock_octane_aki"],
    }


def _base64(values: Floats) -> str:
    """Doubles, little end first, row by row."""
    return base64.b64encode(np.ascontiguousarray(values, dtype="<f8").tobytes()).decode("ascii")


def _usual(state: Row, columns: Mapping[str, str]) -> dict[str, float]:
    """What is usual for the hull of each covariate, as the column named beside it has it."""
    return {
        name: float(state[USUAL + column])
        for name, column in columns.items()
        if USUAL + column in state
    }


def grades_sold(deliveries: pl.DataFrame, fills: pl.DataFrame) -> list[float]:
    """The pump numbers on record, whole AKI, lowest first."""
    aki = pl.concat([deliveries["octane_aki"], fills["octane_aki"]]).drop_nulls()
    return [float(value) for value in aki.round(0).unique().sort()]


def safe_json(figures: object) -> str:
    """JSON that may stand in a script element: nothing in it ends the element or a line."""
    text = json.dumps(figures, allow_nan=False, separators=(",", ":"))
    for sign in "<>&\u2028\u2029":
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return text


def _action(action: Action, prices: Prices) -> dict[str, Any]:
    return {
        "name": action.name,
        "label": action.label,
        "price": job_price(action, prices),
        "costPerL": action.cost_per_l,
        "costPerD": action.cost_per_d,
        "daysOff": job_days_off(action, prices),
        "lastsH": action.lasts_h,
        "renewsAge": action.renews_age,
        "onlyWhere": dict(action.only_where),
        "effects": [
            {"covariate": effect.covariate, "how": effect.how, "by": effect.by.value}
            for effect in action.effects
        ],
    }
