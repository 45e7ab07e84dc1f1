"""What the page of a network says: operators, kits, seasons, states and docks side by side."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

import polars as pl

from ringland.pages.docks import dock_words
from ringland.pages.frame.page_files import page_file
from ringland.pages.network import network_words as said
from ringland.pages.site.site_frame import plain_templates
from ringland.words.number_words import count_text, day_text, number_text
from ringland.words.state_words import STATE_SHORT, STATE_TALLY

Row = Mapping[str, Any]


@dataclass(frozen=True)
class NetworkReport:
    """A week of a network, as far as its operators tell it.

    `total` holds counts of all by name (`bucket_sums.COUNTED`); `counts` a row per operator, kit
    and season with `kind`, `name`, `GROUPED` and the rate per 1,000 h with limits; `shown` by
    operator what it agreed to show: `monday`, and `states` and `docks` where it did.
    """

    as_of: datetime
    is_demo: bool
    total: Mapping[str, float]
    counts: pl.DataFrame
    shown: Mapping[str, Row]
    versions: Mapping[str, str]
    is_customer_copy: bool = True
    """No site stands around the page, so it has no navigation."""
    model_doubts: tuple[str, ...] = ()


def network_site(report: NetworkReport) -> dict[str, bytes]:
    """The page and the files it draws with, by name; the same report is the same bytes."""
    templates = plain_templates()
    templates.globals |= {"report": report, "restated_line": ""}
    page = templates.get_template("network.html.j2").render(
        root="", here="network", charts={}, has_charts=False, **network_context(report)
    )
    own = ("ringland.css", "folds.js")
    return {"index.html": page.encode()} | {name: page_file(name) for name in own}


def network_context(report: NetworkReport) -> dict[str, Any]:
    """Everything the template of the network's page names."""
    total = report.total
    operators = report.counts.filter(kind="operator")["name"].to_list()
    groups = [
        {"id": anchor, "title": title, "of": of, "rows": _counted(report.counts, kind)}
        for kind, (anchor, title, of) in said.COUNTS.items()
    ]
    return {
        "said": said,
        "dock_said": dock_words,
        "lead": said.LEAD.format(
            operators=count_text(len(operators), "operator"),
            hulls=count_text(round(total["hulls"]), "hull"),
            sets=count_text(round(total["piston_sets"]), "piston set"),
            fractures=count_text(round(total["ring_land_fractures"]), "ring-land fracture"),
            hours=number_text(total["engine_h"], 0),
        ),
        "groups": groups,
        "state_heads": [STATE_SHORT[state] for state in STATE_TALLY],
        "hull_states": [_states(one, of) for one, of in report.shown.items() if "states" in of],
        "docks": [
            _dock(one, name, row)
            for one, of in report.shown.items()
            for name, row in of.get("docks", {}).items()
        ],
        "silent": said.SILENT.format(operators=", ".join(silent))
        if (silent := [one for one in operators if one not in report.shown])
        else "",
    }


def _counted(counts: pl.DataFrame, kind: str) -> list[dict[str, str]]:
    return [
        {
            "name": row["name"],
            "hours": number_text(row["engine_h"], 0),
            "rate": said.NO_HOURS
            if row["per_1000_h"] is None
            else dock_words.ratio_words(row["low"], row["per_1000_h"], row["high"]),
            "fractures": number_text(row["ring_land_fractures"], 0),
            "others": number_text(row["other_failures"], 0),
            "sets": number_text(row["piston_sets"], 0),
        }
        for row in counts.filter(kind=kind).iter_rows(named=True)
    ]


def _states(operator: str, shown: Row) -> dict[str, Any]:
    day = day_text(date.fromisoformat(shown["monday"]))
    return {
        "operator": operator,
        "listed": said.AS_LISTED.format(day=day),
        "counts": [shown["states"].get(state, 0) for state in STATE_TALLY],
    }


def _dock(operator: str, name: str, row: Row) -> dict[str, str]:
    return {
        "name": name,
        "operator": operator,
        "holds": dock_words.HULLS_AND_SETS.format(
            hulls=count_text(row["n_hulls"], "hull"), sets=count_text(row["n_sets"], "piston set")
        ),
        "hours": number_text(row["running_h"], 0),
        "rate": dock_words.rate_words(
            row["rate_low"], row["rate"], row["rate_high"], row["n_failures"]
        ),
        "expected": number_text(row["expected"], 1),
        "ratio": dock_words.ratio_words(row["ratio_low"], row["ratio"], row["ratio_high"]),
    }
