"""The what-if of a hull's page: its form, and the answers the week wrote for every choice.

The script beside it (`what-if.js`) finds the row of a choice, adds the price of the litres to
it and puts the figures into the sentences given here; it works out nothing else.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any

import polars as pl
from markupsafe import Markup

from ringland.contracts.decision_tables import AS_OF_LATE, GRADE
from ringland.decision.actions.action_catalogue import FUEL_RULE, Catalogue
from ringland.decision.value.what_if import Choices, grade_shortfall
from ringland.pages.frame.page_files import page_file
from ringland.pages.hull import hull_words
from ringland.words.number_words import chance_text, money_form
from ringland.words.shown_units import price_factor

Row = Mapping[str, Any]

CHANCES = tuple(f"chance_{days}d{part}" for days in (7, 30) for part in ("", "_low", "_high"))
"""Columns of `WhatIfs`, in the order of the places in `hull_words.WHAT_IF_CHANCES`."""


def what_if_form(
    rows: pl.DataFrame,
    at_hand: Row,
    *,
    choices: Choices,
    grades_aki: Sequence[float],
    catalogue: Catalogue,
    per_l: float | None = None,
) -> dict[str, Any] | None:
    """What the template needs; None where nothing can be told of the hull.

    Args:
        rows: the hull's rows of `WhatIfs`, in order.
        at_hand: its row of `FuelAtHand`.
        choices: what can be chosen.
        grades_aki: the pump numbers that may be filled.
        catalogue: the words for the steps.
        per_l: what a litre of better fuel costs this hull more, as the plan prices it; None:
            as the catalogue does.
    """
    if rows.is_empty():
        return None
    used = set(rows["steps"].explode().drop_nulls())
    fuels = _fuels(rows, at_hand, choices, grades_aki, per_l)
    renewals = [action for action in choices.renewals if action.name in used]
    others = [action for action in choices.others if action.name in used]
    texts = sorted({chance_text(chance) for name in CHANCES for chance in rows[name]})
    place = {text: number for number, text in enumerate(texts)}
    figures = {
        "fuels": [[row, extra] for _, row, extra in fuels],
        "each": (1 + len(renewals)) * 2 ** len(others),
        "texts": [text.replace(" %", "\N{NO-BREAK SPACE}%") for text in texts],
        "chances": [[place[chance_text(chance)] for chance in rows[name]] for name in CHANCES],
        **{
            name: rows[f"{name}_cost" if name != "litres" else name].cast(pl.Int64).to_list()
            for name in ("sure", "left", "litres")
        },
    }
    return {
        "fuels": [label for label, _, _ in fuels],
        "renewals": [catalogue.label(action.name) for action in renewals],
        "others": [(action.name, catalogue.label(action.name)) for action in others],
        "note": hull_words.what_if_note(
            at_hand["need_aki"], [catalogue.label(action.name) for action in choices.left_out]
        ),
        "figures": Markup(safe_json(figures)),  # noqa: S704  # safe_json
    }


def what_if_script(currency: str) -> bytes:
    """The script of every hull's what-if, with the sentences and the forms it fills."""
    shared = {
        "litresPerUnit": price_factor(),
        "money": money_form(currency),
        "said": hull_words.WHAT_IF_ANSWERS,
    }
    return (
        b"window.RINGLAND_SAID = " + safe_json(shared).encode() + b";\n" + page_file("what-if.js")
    )


def _fuels(
    rows: pl.DataFrame,
    at_hand: Row,
    choices: Choices,
    grades_aki: Sequence[float],
    per_l: float | None,
) -> list[tuple[str, int, float]]:
    """Each fuel to choose: its words, the place of its rows, its usual price step a unit."""
    places = {
        key: place
        for place, key in enumerate(
            rows.select("fuel", "shortfall_on").unique(maintain_order=True).iter_rows()
        )
    }
    need, dock = at_hand["need_aki"], at_hand["dock_octane_aki"]
    usual = max((action.cost_per_l for action in choices.fuels), default=0.0)
    better = usual if per_l is None else per_l
    found = [(hull_words.AS_OF_LATE, places[AS_OF_LATE, None], 0.0)]
    for aki in grades_aki if need is not None else ():
        extra = better if dock is not None and aki > dock else 0.0
        place = places[GRADE, grade_shortfall(need, aki)]
        found.append((hull_words.grade_words(aki, need), place, _a_unit(extra)))
    found += [
        (
            action.label,
            places[action.name, None],
            _a_unit(better if action.name == FUEL_RULE else action.cost_per_l),
        )
        for action in choices.fuels
        if (action.name, None) in places
    ]
    return found


def _a_unit(per_litre: float) -> float:
    return round(per_litre * price_factor(), 2)


def safe_json(figures: object) -> str:
    """JSON that may stand in a script element: nothing in it ends the element or a line."""
    text = json.dumps(figures, allow_nan=False, separators=(",", ":"))
    for sign in "<>&\u2028\u2029":
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return text
