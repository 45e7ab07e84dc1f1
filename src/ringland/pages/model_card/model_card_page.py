"""What the model card says, as a page and as JSON: the model, its data, its checks, its limits."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from typing import Any

from ringland.pages.evidence.evidence_words import step_text
from ringland.pages.model_card import model_card_words as said
from ringland.pages.score import score_words
from ringland.pages.score.score_page import calibration_sentence, in_all, rival_rows
from ringland.pages.week.week_report import WeekReport
from ringland.risk.fleet_hazard import ModeFit
from ringland.score.challenger import CHALLENGER, CHAMPION
from ringland.score.model_card import ModelCard
from ringland.score.score_history import ScoreHistory
from ringland.survival.hazard.fit_checks import Verdict
from ringland.words.fixed_words import FACTOR_LABELS, FACTOR_UNITS, MODE_LABELS
from ringland.words.number_words import (
    count_text,
    day_text,
    known_text,
    number_text,
    share_text,
)

PRIOR_REACH = 2.0
"""Standard deviations a prior is told over: about 95 % of it."""


def card_context(report: WeekReport, card: ModelCard, score: ScoreHistory | None) -> dict[str, Any]:
    """Everything the template of the model card names.

    Args:
        report: the week.
        card: as `make_model_card` returns it.
        score: how earlier weeks' advice fared, if that is known.
    """
    return {
        "figures": {},
        "said": said,
        "scored": score_words,
        "champion": CHAMPION,
        "challenger": CHALLENGER,
        "facts": _facts(report, card),
        "modes": [_mode(fit) for fit in report.fits.modes],
        "mode_counts": [
            (MODE_LABELS[row["mode"]], row["n_failures"])
            for row in report.evidence.mode_counts.iter_rows(named=True)
        ],
        "priors": [_prior(report, row) for row in card.priors.iter_rows(named=True)],
        "borrows": report.evidence.shared is not None,
        "checks": [_check(name, verdict) for name, verdict in card.checks.items()],
        "calibration": _calibration(report, score),
        "rivals": [] if score is None else rival_rows(score),
        "contest": _contest(card),
        "verdict": card.contest.verdict,
        "control": card.control.sentence,
        "cannot_separate": list(card.cannot_separate),
        "second": [_second(row) for row in report.evidence.second.rows.iter_rows(named=True)],
        "second_verdict": _second_verdict(report),
    }


def card_json(report: WeekReport, card: ModelCard) -> bytes:
    """The card for another program: the same facts as numbers, keys as on the page."""
    contest, control = card.contest, card.control
    content = {
        "as_of": card.as_of.isoformat(),
        "is_invented_data": report.is_demo,
        "in_use": CHAMPION,
        "data": {
            "spells_sha256": card.data.sha256,
            "spells": card.data.n_spells,
            "piston_sets": card.data.n_sets,
            "hulls": card.data.n_hulls,
            "engine_hours": card.data.hours,
            "records": {row["kind"]: row["loaded"] for row in report.row_accounting.to_dicts()},
        },
        "failures": dict(report.evidence.mode_counts.select("mode", "n_failures").iter_rows()),
        "fits": {
            fit.mode: {
                "failures": fit.n_failures,
                "factors": list(fit.covariates),
                "left_out": fit.left_out,
                "problem": fit.problem,
            }
            for fit in report.fits.modes
        },
        "effects": report.evidence.effects.to_dicts(),
        "priors": card.priors.to_dicts(),
        "checks": {
            name: {"outcome": verdict.outcome, "reasons": list(verdict.reasons)}
            for name, verdict in card.checks.items()
        },
        "contest": {
            "challenger": CHALLENGER,
            "weeks": contest.n_weeks,
            "hull_weeks": contest.n_hull_weeks,
            "failures": contest.n_failures,
            "champion_brier": contest.champion_brier,
            "challenger_brier": contest.challenger_brier,
            "challenger_ahead_low": None if contest.lead is None else contest.lead.low,
            "challenger_ahead_high": None if contest.lead is None else contest.lead.high,
            "champion_stays": contest.stays,
            "verdict": contest.verdict,
        },
        "negative_control": {
            "failures": control.n_failures,
            "hazard_ratio": control.hazard_ratio,
            "low": control.low,
            "high": control.high,
            "passes": control.passes,
            "says": control.sentence,
        },
        "cannot_separate": list(card.cannot_separate),
        "second_fit": {
            "by": "lifelines",
            "rows": report.evidence.second.rows.to_dicts(),
            "problem": report.evidence.second.problem,
        },
        "use": said.USE,
    }
    return json.dumps(content, indent=1, ensure_ascii=True).encode()


def _facts(report: WeekReport, card: ModelCard) -> list[tuple[str, str]]:
    data = card.data
    span = (
        said.NO_RUNNING
        if data.first_at is None or data.last_at is None
        else said.FROM_TO.format(first=day_text(data.first_at), last=day_text(data.last_at))
    )
    rows = int(report.row_accounting["loaded"].sum()) if report.row_accounting.height else 0
    return [
        (said.AS_KNOWN, known_text(card.as_of)),
        (said.MADE_BY, ", ".join(f"{name} {text}" for name, text in report.versions.items())),
        (said.ROWS, number_text(rows, 0)),
        (said.RUNNING, span),
        (
            said.INTERVALS,
            said.INTERVALS_OF.format(
                intervals=number_text(data.n_spells, 0),
                sets=count_text(data.n_sets, "piston set"),
                hulls=count_text(data.n_hulls, "hull"),
                hours=number_text(data.hours, 0),
            ),
        ),
        (said.DIGEST, data.sha256),
    ]


def _mode(fit: ModeFit) -> dict[str, Any]:
    names = ", ".join(FACTOR_LABELS[name].lower() for name in fit.covariates)
    return {
        "label": MODE_LABELS[fit.mode],
        "failures": count_text(fit.n_failures, "failure"),
        "sets": count_text(fit.n_sets, "piston set"),
        "factors": names or said.HOURS_ALONE,
        "left_out": "; ".join(
            f"{FACTOR_LABELS[name].lower()} {why}" for name, why in fit.left_out.items()
        ),
        "state": said.NOT_FITTED.format(problem=fit.problem)
        if fit.hazard is None
        else said.IS_FITTED,
    }


def _prior(report: WeekReport, row: Mapping[str, Any]) -> dict[str, str]:
    """One prior as a middle with the span of about 95 % of it, on the natural scale."""
    mean, half = row["mean"], PRIOR_REACH * row["sd"]
    low, middle, high = (math.exp(value) for value in (mean - half, mean, mean + half))
    name = row["parameter"]
    if name in FACTOR_LABELS:
        step = step_text({"factor": name, "step": report.assumptions.number(f"step.{name}")})
        label = said.HAZARD_RATIO.format(factor=FACTOR_LABELS[name], step=step)
    else:
        label = said.LIFE_PARAMETERS[name]
    digits = 0 if name == "scale" else 2
    return {
        "mode": MODE_LABELS[row["mode"]],
        "label": label,
        "prior": said.WITH_RANGE.format(
            middle=number_text(middle, digits),
            low=number_text(low, digits),
            high=number_text(high, digits),
        ),
        "share": share_text(row["prior_share"]),
    }


def _check(name: str, verdict: Verdict) -> dict[str, Any]:
    return {
        "name": said.FIT_LABELS.get(name) or MODE_LABELS[name],
        "outcome": verdict.outcome,
        "reasons": [_in_words(reason) for reason in verdict.reasons],
    }


def _in_words(reason: str) -> str:
    """The reason with the covariates under the names the pages use."""
    for name in FACTOR_UNITS:
        reason = reason.replace(name, FACTOR_LABELS[name].lower())
    return reason


def _second(row: Mapping[str, Any]) -> dict[str, str]:
    is_curve = row["quantity"] not in FACTOR_LABELS
    apart = said.APART_SHARE if is_curve else said.APART_ERRORS
    return {
        "label": said.SECOND_CURVE if is_curve else FACTOR_LABELS[row["quantity"]],
        "ours": number_text(row["ours"], 4),
        "second": number_text(row["second"], 4),
        "apart": apart.format(apart=f"{row['apart']:.0e}"),
    }


def _second_verdict(report: WeekReport) -> str:
    found, settings = report.evidence.second, report.assumptions
    if found.rows.is_empty():
        return said.SECOND_NONE.format(problem=found.problem)
    if found.differs:
        labels = (FACTOR_LABELS.get(name, said.SECOND_CURVE).lower() for name in found.differs)
        return said.SECOND_DIFFERS.format(quantities=", ".join(labels))
    return said.SECOND_AGREES.format(
        errors=number_text(settings.number("model.second_fit_errors"), 2),
        curve=f"{settings.number('model.second_fit_curve'):.0e}",
    )


def _calibration(report: WeekReport, score: ScoreHistory | None) -> str:
    if score is None or score.counts["scored"] == 0:
        return said.NOT_SCORED
    sentences = (in_all(score), calibration_sentence(score, report.assumptions))
    return " ".join(sentence for sentence in sentences if sentence)


def _contest(card: ModelCard) -> list[tuple[str, str]]:
    found = card.contest
    rows = [
        (said.SCORED_WEEKS, number_text(found.n_weeks, 0)),
        (said.HULL_WEEKS, number_text(found.n_hull_weeks, 0)),
        (said.FAILURES_IN_THEM, number_text(found.n_failures, 0)),
    ]
    if found.lead is None:
        return rows
    low, middle, high = (
        number_text(value, 4) for value in (found.lead.low, found.lead.value, found.lead.high)
    )
    return [
        *rows,
        (said.BRIER_OF.format(model=CHAMPION), number_text(found.champion_brier, 4)),
        (said.BRIER_OF.format(model=CHALLENGER), number_text(found.challenger_brier, 4)),
        (said.CHALLENGER_NEARER, said.WITH_RANGE.format(middle=middle, low=low, high=high)),
    ]
