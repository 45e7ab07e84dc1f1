"""What the how-we-know page says: figures and sentences on the evidence, ready to render."""

from __future__ import annotations

from typing import Any

import plotly.graph_objects as go
import polars as pl

from ringland.fleet_risk.fleet_evidence import LifeCurve
from ringland.fleet_risk.fleet_hazard import FleetFits, ModeFit
from ringland.week_pages.evidence_charts import (
    effects_chart,
    incidence_curves,
    survival_curve,
    weibull_plot,
)
from ringland.week_pages.report_lines import one_grade_line, unpriced_line
from ringland.week_pages.week_report import WeekReport
from ringland.wording.fixed_words import (
    COX_MODEL,
    FACTOR_LABELS,
    FACTOR_UNITS,
    MODE_LABELS,
    PRIOR_MODEL,
    UNAIDED_MODEL,
    YES_NO_STEPS,
)
from ringland.wording.number_words import count_text, number_text, share_text


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
            [step_text(row) for row in evidence.effects.iter_rows(named=True)], dtype=pl.String
        )
    )
    if effects.height:
        figures["effects"] = effects_chart(effects, (PRIOR_MODEL, UNAIDED_MODEL, COX_MODEL))
    return {
        "figures": figures,
        "counts_line": (
            f"{count_text(evidence.n_sets, 'piston set')}, {evidence.n_running} still running, "
            f"{count_text(int(evidence.mode_counts['n_failures'].sum()), 'failure')}; "
            f"{count_text(evidence.n_without_hours, 'set')} without running time left out."
        ),
        "mode_counts": evidence.mode_counts.to_dicts(),
        "accounting": report.row_accounting.to_dicts(),
        "life_modes": [_life_mode(curve) for curve in evidence.curves],
        "incidence_problem": evidence.incidence_problem,
        "incidence_note": "",
        "effects": [
            row | {"factor": FACTOR_LABELS[row["factor"]]} for row in effects.iter_rows(named=True)
        ],
        "fit_lines": [
            line
            for line in (*fit_lines(report.fits), one_grade_line(report.one_grade_docks))
            if line
        ],
        "assumptions": list(report.assumptions.values()),
        "price_note": unpriced_line(report.prices.from_settings),
    }


def step_text(effect: dict[str, Any]) -> str:
    """One step of a factor in words, e.g. 'per 10 days'."""
    step, factor = effect["step"], effect["factor"]
    if factor == "full_throttle_25h":
        return f"per {share_text(step)} of running time"
    if FACTOR_UNITS[factor] == "yes/no":
        return YES_NO_STEPS[factor]
    unit = FACTOR_UNITS[factor]
    return f"per {step:g} {unit.removesuffix('s') if step == 1 else unit}"


def fit_lines(fits: FleetFits) -> list[str]:
    """Sentences on what each fit rests on, what it leaves out and what it cannot tell."""
    lines = []
    for fit in fits.modes:
        lines += _mode_lines(fit)
    if fits.cox.problem is not None:
        lines.append(f"No Cox fit: {fits.cox.problem}")
    elif fits.cox.fit is not None:
        lines.append(
            f"Cox regression on the same intervals, Efron ties, errors clustered over "
            f"{count_text(fits.cox.fit.n_clusters or 0, 'hull')}: shown beside, not used for "
            f"any chance."
        )
    return [*lines, *fits.cannot_separate]


def _mode_lines(fit: ModeFit) -> list[str]:
    label = MODE_LABELS[fit.mode]
    if fit.hazard is None:
        return [f"{label}: no hazard fitted: {fit.problem}"]
    names = ", ".join(FACTOR_LABELS[name].lower() for name in fit.covariates)
    lines = [
        f"{label}: {count_text(fit.n_failures, 'failure')} among "
        f"{count_text(fit.n_sets, 'piston set')}; "
        f"{'factors: ' + names if names else 'no factors, age alone'}."
    ]
    shape, scale, *_ = fit.hazard.prior_shares()
    lines.append(
        f"{label}: of what is said of the Weibull shape the prior's share is "
        f"{share_text(float(shape))}, of the life {share_text(float(scale))} "
        f"(100 %: the record taught nothing)."
    )
    if fit.is_doubtful:
        lines.append(
            f"{label}: few failures for its factors. The estimates lean on the stated priors; "
            f"read the ranges, not the middle."
        )
    if fit.hazard.unaided_why_not is not None:
        lines.append(f"{label}: no estimate without priors: {fit.hazard.unaided_why_not}")
    lines += [
        f"{label}: {FACTOR_LABELS[name].lower()} is left out: it {why}."
        for name, why in fit.left_out.items()
    ]
    return lines


def _life_mode(curve: LifeCurve) -> dict[str, Any]:
    found = {row["quantity"]: row for row in curve.weibull.iter_rows(named=True)}
    if curve.weibull_problem is not None:
        weibull = f"No Weibull life: {curve.weibull_problem}"
    else:
        shape, scale, b10 = (found[name] for name in ("shape", "scale", "b10"))
        weibull = (
            f"Weibull shape {_limits(shape, 2)}, characteristic life {_limits(scale, 0)} h, "
            f"B10 life {_limits(b10, 0)} h (profile-likelihood limits). "
            f"{'Few failures: read the limits, not the middle.' if curve.is_doubtful else ''}"
        )
    return {
        "name": curve.mode,
        "label": MODE_LABELS[curve.mode],
        "counts": f"{count_text(curve.n_failures, 'failure')} in "
        f"{count_text(curve.n_sets, 'piston set')}.",
        "problem": curve.problem,
        "weibull": weibull,
        "warnings": [f"{line[:1].upper()}{line[1:]}." for line in curve.warnings],
        "at_risk": curve.at_risk.to_dicts(),
    }


def _limits(row: dict[str, Any], digits: int) -> str:
    ends = (_within_sight(row[end], digits) for end in ("low", "high"))
    return f"{_within_sight(row['value'], digits)} ({' to '.join(ends)})"


def _within_sight(value: float, digits: int) -> str:
    """A number, or that it lies beyond any engine's life: a few failures bound nothing."""
    return "no limit" if value > BEYOND_ANY_LIFE_H else number_text(value, digits)


BEYOND_ANY_LIFE_H = 20_000.0
"""The contracts accept no more engine hours than this."""
