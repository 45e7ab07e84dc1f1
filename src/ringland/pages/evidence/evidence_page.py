"""What the how-we-know page says: figures and sentences on the evidence, ready to render."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import date
from typing import Any

import plotly.graph_objects as go
import polars as pl

from ringland.pages.evidence import evidence_words as said
from ringland.pages.evidence.evidence_charts import (
    effects_chart,
    incidence_curves,
    survival_curve,
    weibull_plot,
)
from ringland.pages.week.report_words import one_grade_line, turn_range, unpriced_line
from ringland.pages.week.week_report import WeekReport
from ringland.risk.fleet_evidence import FleetEvidence, LifeCurve
from ringland.risk.fleet_hazard import FleetFits, ModeFit
from ringland.survival.estimates import normal_deviate
from ringland.survival.hazard.hazard_effects import prior_shares
from ringland.words import reference_words
from ringland.words.fixed_words import (
    COX_MODEL,
    FACTOR_LABELS,
    MODE_LABELS,
    PRIOR_MODEL,
    UNAIDED_MODEL,
)
from ringland.words.number_words import count_text, day_text, number_text, share_text


def evidence_context(report: WeekReport) -> dict[str, Any]:
    """Everything the template of the how-we-know page names; `figures` are Plotly figures."""
    evidence = report.evidence
    figures: dict[str, go.Figure] = {}
    for curve in evidence.curves:
        if curve.problem is None:
            figures[f"survival-{curve.mode}"] = survival_curve(
                curve.steps, curve.smooth, curve.mode
            )
        if curve.plot is not None:
            figures[f"weibull-{curve.mode}"] = weibull_plot(curve.plot, curve.mode)
    if evidence.incidence.height:
        figures["incidence"] = incidence_curves(evidence.incidence)
    effects = evidence.effects.with_columns(
        step_text=pl.Series(
            [said.step_text(row) for row in evidence.effects.iter_rows(named=True)], dtype=pl.String
        )
    )
    if effects.height:
        figures["effects"] = effects_chart(effects, (PRIOR_MODEL, UNAIDED_MODEL, COX_MODEL))
    life_modes = [_life_mode(curve) for curve in evidence.curves]
    return {
        "figures": figures,
        "said": said,
        "counts_line": said.counts_line(
            evidence.n_sets,
            evidence.n_running,
            int(evidence.mode_counts["n_failures"].sum()),
            evidence.n_without_hours,
        ),
        "mode_counts": evidence.mode_counts.to_dicts(),
        "accounting": report.row_accounting.to_dicts(),
        "life_modes": life_modes,
        "incidence_problem": evidence.incidence_problem,
        "incidence": _incidence(evidence),
        "effects": _effects(effects),
        "shared": _shared(report),
        "fit_lines": [
            line
            for line in (*fit_lines(report.fits), one_grade_line(report.one_grade_docks))
            if line
        ],
        "method_lines": [
            *(mode["weibull"] for mode in life_modes if mode["weibull"]),
            *method_lines(report.fits),
        ],
        "turn_line": turn_line(
            next((s.state for s in report.hulls if s.state["use_h_d"] is not None), None)
        ),
        "price_note": unpriced_line(report.prices.from_settings),
    }


def settings_context(report: WeekReport) -> dict[str, Any]:
    """Everything the template of the page of settings names: every number we chose, by group."""
    groups: dict[str, list[Any]] = {}
    for entry in report.assumptions.values():
        groups.setdefault(entry.name.split(".")[0], []).append(entry)
    return {"figures": {}, "said": reference_words, "groups": groups}


def _effects(effects: pl.DataFrame) -> list[dict[str, Any]]:
    """One row per factor: what each model says of it, with range, and the failures behind."""
    rows = []
    for (factor,), part in effects.partition_by(
        "factor", as_dict=True, maintain_order=True
    ).items():
        by_model = {row["model"]: row for row in part.iter_rows(named=True)}
        first = part.row(0, named=True)
        rows.append(
            {
                "factor": FACTOR_LABELS[factor],
                "step": first["step_text"],
                "n_failures": first["n_failures"],
                "share": share_text(by_model.get(PRIOR_MODEL, {}).get("prior_share")),
                **{
                    name: _ratio_text(by_model.get(model))
                    for name, model in (
                        ("prior", PRIOR_MODEL),
                        ("unaided", UNAIDED_MODEL),
                        ("cox", COX_MODEL),
                    )
                },
            }
        )
    return rows


def _shared(report: WeekReport) -> dict[str, Any] | None:
    """Each factor's effect by our own record, by other operators' and by both; None: no others."""
    shared, fit = report.evidence.shared, report.fits.ring_land
    if shared is None:
        return None
    by_model = {(row["factor"], row["model"]): row for row in report.evidence.effects.to_dicts()}
    reach = normal_deviate(report.assumptions.number("survival.confidence"))
    rows = []
    for effect in shared.effects:
        own, both = (by_model.get((effect.factor, model)) for model in (COX_MODEL, PRIOR_MODEL))
        ends = (effect.log_ratio + reach * effect.spread * side for side in (0, -1, 1))
        theirs = dict(zip(("hazard_ratio", "low", "high"), map(math.exp, ends), strict=True))
        rows.append(
            {
                "factor": FACTOR_LABELS[effect.factor],
                "step": said.step_text({"factor": effect.factor, "step": effect.step}),
                "figures": [_ratio_text(row) for row in (own, theirs, both)],
            }
        )
    basis = said.SHARED_BASIS.format(
        ours=count_text(fit.n_failures, said.FRACTURES),
        sets=count_text(fit.n_sets, "piston set"),
        operators=count_text(shared.operators, "operator"),
        theirs=count_text(shared.failures, said.FRACTURES),
        their_sets=count_text(shared.piston_sets, "piston set"),
        day=day_text(date.fromisoformat(shared.monday)),
    )
    return {"basis": basis, "rows": rows}


def _ratio_text(row: dict[str, Any] | None) -> str:
    if row is None:
        return said.NO_ESTIMATE
    middle, low, high = (number_text(row[name], 2) for name in ("hazard_ratio", "low", "high"))
    return said.WITH_LIMITS.format(middle=middle, low=low, high=high)


def _incidence(evidence: FleetEvidence) -> dict[str, Any]:
    """The share failed by each mode at round ages, with range, and the sets at risk there."""
    risks = evidence.curves[0].at_risk.filter(pl.col("at_h") > 0)
    failures = dict(evidence.mode_counts.iter_rows())
    modes = evidence.incidence["mode"].unique(maintain_order=True).to_list()
    return {
        "ages": risks["at_h"].to_list(),
        "at_risk": risks["at_risk"].to_list(),
        "modes": [
            {
                "label": MODE_LABELS[mode],
                "n_failures": failures.get(mode, 0),
                "shares": [_share_by(evidence.incidence, mode, age) for age in risks["at_h"]],
            }
            for mode in sorted(modes, key=lambda mode: -failures.get(mode, 0))
        ],
    }


def _share_by(incidence: pl.DataFrame, mode: str, age: float) -> str:
    row = (
        incidence.filter((pl.col("mode") == mode) & (pl.col("at_h") <= age))
        .sort("at_h")
        .tail(1)
        .row(0, named=True)
    )
    if row["estimate"] == 0:
        return said.NONE_YET  # limits of an estimate of nothing would read as certainty
    middle, low, high = (share_text(row[name]) for name in ("estimate", "low", "high"))
    return said.WITH_LIMITS.format(middle=middle, low=low, high=high)


def fit_lines(fits: FleetFits) -> list[str]:
    """Sentences on what each fit rests on, what it leaves out and what it cannot tell."""
    lines = []
    for fit in fits.modes:
        lines += _mode_lines(fit)
    return [*lines, *fits.cannot_separate]


def turn_line(state: Mapping[str, Any] | None) -> str:
    """How far the hours ahead may be off for the whole fleet, and how that is known.

    Args:
        state: a hull's row of `running_sets`; None, or without hours ahead: nothing is said.
    """
    if state is None or state["use_h_d"] is None:
        return ""
    low, high = turn_range(state)
    off = state["turn_off_log"]
    behind = said.TURN_GUESS
    if state["turn_own_share"]:
        behind = said.TURN_YOUNG if off is None else said.TURN_OWN
    return said.TURN.format(
        turn=number_text(state["season_turn"], 2),
        low=number_text(low, 2),
        high=number_text(high, 2),
        behind=behind.format(
            weeks=count_text(state["turn_weeks"], "past week"),
            off=share_text(math.expm1(off or 0.0)),
            share=share_text(state["turn_own_share"]),
            settings=said.SETTINGS,
        ),
    )


def method_lines(fits: FleetFits) -> list[str]:
    """Sentences for whoever checks the figures: how much the priors say, and the second method."""
    lines = []
    for fit in fits.modes:
        if fit.hazard is not None:
            shares = prior_shares(fit.hazard)
            lines.append(
                said.PRIOR_SHARES.format(
                    mode=MODE_LABELS[fit.mode],
                    shape=share_text(shares["shape"]),
                    scale=share_text(shares["scale"]),
                )
            )
    if fits.cox.problem is not None:
        lines.append(said.NO_COX.format(problem=fits.cox.problem))
    elif fits.cox.fit is not None:
        lines.append(said.COX_BASIS.format(hulls=count_text(fits.cox.fit.n_clusters or 0, "hull")))
    return lines


def _mode_lines(fit: ModeFit) -> list[str]:
    mode = MODE_LABELS[fit.mode]
    if fit.hazard is None:
        return [said.NO_HAZARD.format(mode=mode, problem=fit.problem)]
    names = ", ".join(FACTOR_LABELS[name].lower() for name in fit.covariates)
    lines = [
        said.FIT_BASIS.format(
            mode=mode,
            failures=count_text(fit.n_failures, "failure"),
            sets=count_text(fit.n_sets, "piston set"),
            factors=said.FACTORS.format(names=names) if names else said.AGE_ALONE,
        ),
    ]
    if fit.is_doubtful:
        lines.append(said.LEANS_ON_PRIORS.format(mode=mode))
    if fit.hazard.unaided.why_not is not None:
        lines.append(said.NO_UNAIDED.format(mode=mode, problem=fit.hazard.unaided.why_not))
    lines += [
        said.LEFT_OUT.format(mode=mode, factor=FACTOR_LABELS[name].lower(), why=why)
        for name, why in fit.left_out.items()
    ]
    return lines


def _life_mode(curve: LifeCurve) -> dict[str, Any]:
    found = {row["quantity"]: row for row in curve.weibull.iter_rows(named=True)}
    weibull = None
    if curve.weibull_problem is not None:
        life = said.NO_LIFE_LINE.format(problem=curve.weibull_problem)
    else:
        ages = {name: _limits(found[name], 0) for name in ("scale", "b10")}
        life = said.LIFE_LINE.format(**ages, doubt=said.FEW_FAILURES if curve.is_doubtful else "")
        weibull = said.WEIBULL_LIFE.format(
            mode=MODE_LABELS[curve.mode], shape=_limits(found["shape"], 2), **ages
        )
    return {
        "name": curve.mode,
        "label": MODE_LABELS[curve.mode],
        "counts": said.LIFE_COUNTS.format(
            failures=count_text(curve.n_failures, "failure"),
            sets=count_text(curve.n_sets, "piston set"),
        ),
        "problem": curve.problem,
        "life": life,
        "weibull": weibull,
        "warnings": [f"{line[:1].upper()}{line[1:]}." for line in curve.warnings],
        "at_risk": curve.at_risk.to_dicts(),
    }


def _limits(row: dict[str, Any], digits: int) -> str:
    middle, low, high = (_within_sight(row[name], digits) for name in ("value", "low", "high"))
    return said.WITH_LIMITS.format(middle=middle, low=low, high=high)


def _within_sight(value: float, digits: int) -> str:
    """A number, or that it lies beyond any engine's life: a few failures bound nothing."""
    return said.NO_LIMIT if value > BEYOND_ANY_LIFE_H else number_text(value, digits)


BEYOND_ANY_LIFE_H = 20_000.0
"""The contracts accept no more engine hours than this."""
