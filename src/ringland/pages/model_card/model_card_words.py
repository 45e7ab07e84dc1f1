"""What the model card says: headings, labels, notes and what each of its parts is for."""

from __future__ import annotations

TITLE = "Model card"
LEAD = (
    "What stands behind the chances in this report, what it was fitted to, how it was checked and "
    "where it ends. The chances come from a {champion} of ring-land fracture and of ring wear on "
    "engine hours, with weakly informative priors. A hull's range holds the fit's parameters, what "
    "its engine and dock bear of their own, what the fuel record leaves open, the hours ahead with "
    "the season's turn (one doubt for the whole fleet), and how far the days ahead may lie from "
    "the usual. It does not hold other failure modes, a fuel or a renter never seen here, nor an "
    "error of the model's form."
)

FITTED_TO = "What it was fitted to"
AS_KNOWN, MADE_BY, ROWS, RUNNING = (
    "Records to",
    "Made by",
    "Record rows loaded",
    "Running it was fitted to",
)
INTERVALS, DIGEST = "Intervals", "SHA-256 of those intervals"
NO_RUNNING = "none"
FROM_TO = "{first} to {last}"
INTERVALS_OF = "{intervals} of {sets} in {hulls}, {hours} engine hours"
SAME_RECORDS = "The same records give the same hash and the same report."
ROWS_BY_KIND, WHICH_SETS, AS_JSON = (
    "Rows by kind",
    "which sets and failures",
    "this card as JSON",
)

FAILURES = "Failures, and what is fitted to them"
ALL_FAILURES = "All failures on record"
FAILURE_HEADINGS = ("Mode", "Failures")
FITTED_MODE = "{mode}: {failures} among {sets} with known exposure, {state} on {factors}."
NOT_FITTED, IS_FITTED = "no fit: {problem}", "fitted"
HOURS_ALONE = "hours on the set alone"
LEFT_OUT = "Left out: {factors}."
OTHER_MODES = "Other modes end a set's time under observation; no chance speaks of them."

PRIORS = "What was put in before any record"
PRIOR_HEADINGS = ("Of what", "Mode", "Prior (about 95 % of it)", "Prior's share of the answer")
PRIOR_LABELS = ("Of what", "Mode", "Prior", "Prior's share")
"""The same headings where each stands beside its figure on a narrow screen."""
HAZARD_RATIO = "{factor}, hazard ratio {step}"
LIFE_PARAMETERS = {"shape": "Weibull shape", "scale": "Characteristic life, h"}
WITH_RANGE = "{middle} ({low} to {high})"
PRIORS_NOTE = (
    "100 %: the record taught nothing, what is said is the prior. The priors are assumptions; a "
    "shop may set its own. The effects themselves, with and without priors, stand on {how_we_know}."
)
BORROWED = (
    "Those of factors that other operators share are narrowed by what their records say, and lie "
    "about that."
)
HOW_WE_KNOW = "How we know"
NO_PRIOR = "No hazard was fitted, so no prior was used."

CHECKS = "May the fits be believed?"
CHECK = "{fit}: {outcome}"
FIT_LABELS = {"cox": "Cox, shown beside"}
NO_REASON = "No reason against it was found."
CANNOT_SEPARATE = "Cannot separate:"

SECOND = "Worked out twice"
SECOND_NOTE = (
    "Each week another program, the library lifelines, works out the curve and the effects of the "
    "Cox regression from the same intervals without sharing a line of code with ours."
)
SECOND_HEADINGS = ("Of what", "Ours", "The second", "Apart")
SECOND_CURVE = "Share of sets whole, where the two are furthest apart"
APART_ERRORS, APART_SHARE = "{apart} standard errors", "{apart} of sets"
SECOND_AGREES = (
    "The two agree: an effect within {errors} standard errors, the curve within {curve}."
)
SECOND_DIFFERS = "The two differ more than they may on: {quantities}. Every page says so."
SECOND_NONE = "There is no second fit: {problem}."

CONTROL = "Negative control"
CONTROL_NOTE = (
    "Fuel of too little octane cannot let water in or break an engine with a foreign object. If it "
    "went with those failures too, something nobody wrote down would stand behind both, and the "
    "fuel's effect on ring lands with it."
)
CONTROL_SOURCE = "Lipsitch, Tchetgen Tchetgen and Cohen (2010), Epidemiology 21:383-388."

HISTORY = "Its own scored history"
WEEK_BY_WEEK = "Week by week"
NOT_SCORED = "No week of this home has been scored yet."

CONTEST = "Champion against challenger"
SCORED_WEEKS, HULL_WEEKS, FAILURES_IN_THEM = "Scored weeks", "Hull-weeks", "Failures in them"
BRIER_OF, CHALLENGER_NEARER = "Brier score, {model}", "Challenger nearer by"
CONTEST_NOTE = (
    "Every week {challenger} say a chance of their own from the same record; it is kept, never "
    "shown as advice. When its 30 days have passed, both are held against what happened. The "
    "simpler model stays unless the other's lead in Brier score is above nothing over its whole "
    "range, hulls drawn with replacement. At least {weeks} scored weeks with {failures} failures "
    "are asked for; {command} works out past weeks."
)

BACKFILL = "ringland backfill --since YYYY-MM-DD"

LIMITS = "Where it ends"
USE = "Association in this fleet's record; not a proof of cause, never clearance to run."
"""What the card is for, where it is handed on as data."""
