"""The ways to go on with a broken engine: price, range, what each leaves, what neglect adds.

A price is the shop's own where its costs hold one; the range is that of its own jobs of the
kind where it has done three or more, else that of its prices over the seasons, else the weak
figures of the table.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from typing import Any

import polars as pl

from ringland.causes.cause_lines import Rows
from ringland.rebuilds import rebuild_sheet_words as said
from ringland.rebuilds.rebuild_scope import RebuildSheet
from ringland.words.number_words import price_text

LEAST_JOBS = 3
"""The shop's own jobs of a kind that give a range of its own."""


@cache
def _table() -> dict[str, Any]:
    text = files("ringland.rebuilds").joinpath("repair_options.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def option_rows(sheet: RebuildSheet, costs: pl.DataFrame, rebuilds: pl.DataFrame) -> Rows:
    """Option, price, range, what it leaves, what neglect adds; the proposed one first.

    Args:
        sheet: the rebuild sheet, whose scope is proposed.
        costs: rows of the Costs contract.
        rebuilds: rows of the Rebuilds contract, for what such jobs have cost.
    """
    costs = costs.sort("season")
    currency = next(reversed(costs["currency"].drop_nulls().to_list()), "money")
    options = _table()["option"]
    first = sorted(options, key=lambda key: options[key].get("scope") != sheet.scope)
    rows = []
    for key in first:
        fields = options[key]
        is_proposed = fields.get("scope") == sheet.scope
        short = said.NEEDS_MORE if sheet.scope == "full" and not fields["opens_bottom"] else ""
        rows.append(
            (
                said.PROPOSED_OPTION.format(option=fields["words"])
                if is_proposed
                else fields["words"],
                _price(fields, costs),
                _range(fields, costs, rebuilds, currency),
                f"{fields['leaves']} {short}".strip(),
                fields["neglect"],
            )
        )
    return (*rows, (said.LEAVE_IT, said.NO_PRICE, said.NONE, said.LEFT_AS_IT_IS, said.KEEPS))


def _price(fields: Mapping[str, Any], costs: pl.DataFrame) -> str:
    own = costs.filter(pl.col("item") == fields.get("item", ""))
    if own.is_empty():
        return said.NOT_PRICED
    price = price_text(own["amount"][-1], own["currency"][-1])
    return said.FETCHES.format(price=price) if fields.get("is_income") else price


def _range(
    fields: Mapping[str, Any], costs: pl.DataFrame, rebuilds: pl.DataFrame, currency: str
) -> str:
    jobs = rebuilds.filter(pl.col("scope") == fields.get("scope", ""))["cost"].drop_nulls()
    if len(jobs) >= LEAST_JOBS:
        return said.OWN_RANGE.format(**_ends(jobs, currency), jobs=len(jobs))
    listed = costs.filter(
        (pl.col("item") == fields.get("item", ""))
        & (pl.col("currency") == pl.col("currency").last())  # one sum of money, not two
    )
    if listed.height > 1:
        ends = _ends(listed["amount"], listed["currency"][-1])
        return said.LISTED_RANGE.format(**ends, seasons=listed.height)
    if "low" not in fields:
        return said.ASK_FOR_IT
    return said.WEAK_RANGE.format(**_ends(pl.Series([fields["low"], fields["high"]]), "USD"))


def _ends(amounts: pl.Series, currency: str) -> dict[str, str]:
    low, high = (price_text(float(end), currency) for end in (amounts.min(), amounts.max()))  # type: ignore[arg-type]
    return {"low": low, "high": high}
