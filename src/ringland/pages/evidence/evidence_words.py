"""What the page on how we know says: headings, labels, notes and sentences on the evidence."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from ringland.words.fixed_words import FACTOR_UNITS, YES_NO_STEPS
from ringland.words.number_words import count_text, share_text

TITLE = "How we know"

RECORD_HOLDS = "What the record holds"
WHAT_RECORDS_MAY_SAY = "What the records may say"
BY_MODE = "Failures by mode, one per piston set"
MODE_HEADINGS = ("Mode", "Failures")
ROWS_ADD_UP = "Rows in = rows loaded + rows set aside"
ROW_ACCOUNTING = "Row accounting"
ROW_HEADINGS = ("Record", "In", "Loaded", "Set aside")
SETS_BEHIND = (
    "Which sets and failures stand behind each figure, and in which file and row they are "
    "written: {behind}."
)
BEHIND = "behind the effects"

LIFE = "How long piston sets last: {mode}"
NO_CURVE = "No curve: {problem}"
STILL_RUNNING = "Share of piston sets still running by engine hours; {counts}"
NUMBERS_AT_RISK = "Numbers at risk"
ENGINE_HOURS, AT_RISK, FAILED_SO_FAR = "Engine hours", "At risk", "Failed so far"
LIFE_NOTE = (
    "The share still running, sets in use counted as far as they came. The band is its 95 % range "
    "at each age. "
    "At risk: sets under observation at that age; one that came onto record later than it was "
    "fitted joins then, so the number may rise."
)
WEIBULL_PLOT = "Weibull probability plot with limits; {counts}"
WEIBULL_NOTE = (
    "Failures close to the line follow a Weibull life; a bend says they do not. Limits by profile "
    "likelihood."
)
LIFE_COUNTS = "{failures} in {sets}."
NO_LIFE_LINE = "No line through these failures: {problem}"
LIFE_LINE = "One set in ten has failed by {b10} h, nearly two in three by {scale} h. {doubt}"
WEIBULL_LIFE = (
    "{mode}: Weibull shape {shape}, characteristic life {scale} h, B10 life {b10} h "
    "(profile-likelihood limits)."
)
FEW_FAILURES = "Few failures: go by the ranges, not by the figure before them."
WITH_LIMITS = "{middle} ({low} to {high})"
NO_LIMIT = "no limit"

FIRST_FAILURE = "Which failure comes first"
INCIDENCE_PICTURE = "Share failed by each failure mode by engine hours, other modes competing."
INCIDENCE_NOTE = (
    "The share failed by each mode first: a set that failed otherwise, or was taken out, cannot "
    "fail by it any more."
)
SHARES_BY_AGE = "Share failed by age"
SHARES_CAPTION = "Share failed by this age (95 % range)"
FAILED_BY_MODE = "{mode}, {failures} failed"
NONE_YET = "none yet"

EFFECTS = "What goes with ring-land fracture"
EFFECTS_PICTURE = "Times the risk per step with 95 % limits; the table below holds the same."
EFFECT_HEADINGS = (
    "Factor",
    "Times the risk (95 % range), with what the trade holds",
    "The trade's share of that",
    "From the record alone",
    "The same, by a second method",
    "Failures behind",
)
EFFECT_LABELS = (
    "Factor",
    "With what the trade holds",
    "The trade's share",
    "Record alone",
    "Second method",
    "Failures behind",
)
"""The same headings where each stands beside its figure on a narrow screen."""
EFFECTS_NOTE = (
    "1 means no difference; a range that holds 1 tells nothing. The first, with what the trade "
    "holds, makes the chances; the other two show how much rests on that."
)
SHARED = "Our record beside that of other operators"
SHARED_HEADINGS = (
    "Factor",
    "Our record alone",
    "Other operators, for one like us",
    "Both together",
)
SHARED_BASIS = (
    "Times the risk of ring-land fracture with its 95 % range. Ours: {ours} among {sets}. Others: "
    "{operators} of our network with {theirs} among {their_sets}, on record by {day}; no record "
    "left any of them."
)
SHARED_NOTE = (
    "Both together makes the chances: where ours says little, it is theirs. The range of the "
    "others also holds how far operators lie apart. In the table above they are part of what the "
    "trade holds. How long a set lasts in our hands is learned from our record alone."
)
FRACTURES = "ring-land fracture"
NO_ESTIMATE = "no estimate"
NO_COX = "No Cox regression beside: {problem}"
COX_BASIS = (
    "Second method: Cox regression on the same intervals, Efron ties, errors clustered over "
    "{hulls}: shown beside, not used for any chance."
)
NO_HAZARD = "{mode}: no hazard fitted: {problem}"
FIT_BASIS = "{mode}: {failures} among {sets}; {factors}."
FACTORS, AGE_ALONE = "factors: {names}", "no factors, age alone"
PRIOR_SHARES = (
    "{mode}: of what is said of the Weibull shape the prior's share is {shape}, of the life "
    "{scale} (100 %: the record taught nothing)."
)
LEANS_ON_PRIORS = (
    "{mode}: few failures for its factors. The estimates lean on what the trade holds; go "
    "by the ranges, not by the figure before them."
)
NO_UNAIDED = "{mode}: no estimate from the record alone: {problem}"
LEFT_OUT = "{mode}: {factor} is left out: it {why}."

SINCE_FITTED = "engine hours since the piston set was fitted"
SINCE_FITTED_LOG = "engine hours since fitted, log scale"
SHARE_RUNNING, SHARE_FAILED = "share still running", "share failed"
SHARE_BY_MODE, TIMES_THE_HAZARD = "share failed by this mode", "times the risk"
"""Titles of the pictures' axes."""
BAND, OBSERVED, FITTED, FAILURES = "95 % band", "observed", "fitted curve", "failures"
LINE_LIMITS = "{percent} % limits of the line"
"""What the pictures' legends call their lines and marks."""

CURVE_METHODS = (
    "Shares still running: Kaplan-Meier with delayed entry. Shares failed by each mode: "
    "Aalen-Johansen. Chances and the first column of effects: the joint fit that the {card} "
    "describes."
)
TURN = (
    "Hours ahead: the whole fleet's hours a day over the next 30 days are counted {turn} times "
    "those of late, {low} to {high} in 19 of 20 cases. That range is one for all hulls, so it "
    "widens what the fleet's failures may come to as much as one hull's. {behind}"
)
TURN_OWN = (
    "In {weeks}, each with what was known then, this shop's own past foretold "
    "the hours then run with a typical error of {off}; the turn is {share} from it and the rest "
    "from a stated guess of how a rental year goes ({settings})."
)
TURN_YOUNG = (
    "The turn is {share} from this shop's one earlier season, which no past week could be held "
    "against yet, and the rest from a stated guess of how a rental year goes ({settings})."
)
TURN_GUESS = (
    "No earlier season of this shop is on record for these weeks, so it is a stated guess of how "
    "a rental year goes ({settings}): set the busiest day to your own."
)
MODEL_CARD = "model card"
CHANCES = "How a chance is made"
NUMBERS_CHOSEN = "Every number we chose, with its source and how sure we are of it: {settings}."
SETTINGS = "settings"


def counts_line(n_sets: int, n_running: int, n_failures: int, n_without_hours: int) -> str:
    """How many piston sets and failures the record holds, in a sentence."""
    return (
        f"{count_text(n_sets, 'piston set')}, {n_running} still running, "
        f"{count_text(n_failures, 'failure')}; "
        f"{count_text(n_without_hours, 'set')} without running time left out."
    )


def step_text(effect: Mapping[str, Any]) -> str:
    """One step of a factor in words, e.g. 'per 10 days'.

    Args:
        effect: its factor and its step, in the factor's unit.
    """
    step, factor = effect["step"], effect["factor"]
    if factor == "full_throttle_25h":
        return f"per {share_text(step)} of running time"
    if FACTOR_UNITS[factor] == "yes/no":
        return YES_NO_STEPS[factor]
    unit = FACTOR_UNITS[factor]
    return f"per {step:g} {unit.removesuffix('s') if step == 1 else unit}"
