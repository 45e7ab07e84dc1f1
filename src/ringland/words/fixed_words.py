"""Every fixed wording an operator reads: actions, factors, modes, cautions.

One place, so that the words can be weighed, and later translated, together.  Sentences
that carry numbers are made in `report_words`; nothing here knows HTML.
"""

from __future__ import annotations

from ringland.words import job_cautions

DEMO_LABEL = "Invented demo data"

REPAIR_LABEL = "Open, repair and measure before it runs again"
REPAIR_SHORT = "open and repair"
NOTHING_LABEL = "Nothing beyond normal care"
NOTHING_SHORT = "nothing"
NO_JOB_BESIDE, NO_JOB_BESIDE_SHORT = "Nothing beyond that condition", "nothing beyond that"
"""The same of a hull that is rented on a condition, which is not nothing."""
"""The two actions that are not in the catalogue; the catalogue holds the words of the others."""

MODE_LABELS = {
    "ring_land_fracture": "Ring-land fracture",
    "ring_wear": "Ring wear",
    "head_gasket": "Head gasket",
    "valve_seal": "Valve seal",
    "bearing": "Bearing",
    "water": "Water",
    "foreign_object": "Foreign object",
    "other": "Other",
}

FACTOR_LABELS = {
    "shortfall_25h_on": "Fuel below need in hard running",
    "fuel_age_25h_d": "Age of the fuel burned",
    "full_throttle_25h": "Share of time at full throttle",
    "is_raised_calibration": "Raised calibration",
    "is_forged": "Forged pistons",
    "build_number": "Piston sets so far in this engine",
    "age_h": "Engine hours on the piston set",
}

FACTOR_UNITS = {
    "shortfall_25h_on": "octane numbers",
    "fuel_age_25h_d": "days",
    "full_throttle_25h": "share",
    "is_raised_calibration": "yes/no",
    "is_forged": "yes/no",
    "build_number": "sets",
    "age_h": "engine hours",
}

MEASURE_LABELS = {
    "compression": "Compression",
    "leak_down": "Leak-down",
    "valve_seal_vacuum": "Valve-seal vacuum",
    "ring_end_gap": "Ring end gap",
    "bore_taper": "Bore taper",
    "bore_out_of_round": "Bore out of round",
    "bearing_clearance": "Bearing clearance",
    "deck_flatness": "Deck flatness",
    "oil_iron": "Iron in oil",
    "oil_aluminium": "Aluminium in oil",
    "oil_silicon": "Silicon in oil",
    "crankcase_pressure": "Crankcase pressure",
    "hull_oil": "Oil in the hull",
}

STANDS_UNTIL = (
    "A failed test stands until a complete one of the same measure passes, or somebody releases it "
    "by name"
)
PARTIAL_RETEST = "A test since then was not complete or not passed, and answers nothing"
FAILED_TEST = "{what}: failed."
RELEASED = "Released by {who} on {day}{until}: {why}."

NEVER_CLEARANCE = (
    "A low chance is never clearance to run. A craft that leaks fuel, was under water, "
    "or shows an alarm comes out at once, whatever this page says."
)

CAUTIONS_HEADING = "Before you touch it"
CAUTIONS = job_cautions.CAUTIONS

ASSOCIATION = (
    "These figures say what goes with failure in this fleet's record. They do not prove "
    "what causes it: whoever buys cheaper fuel may also run harder."
)

SECOND_FIT_DIFFERS = (
    "Doubt: a second program gives other figures than ours for {quantities}. Trust neither until "
    "this is cleared up; tell whoever looks after ringland."
)
SECOND_CURVE = "the share of sets still whole"

MARK_WORDS = {
    "P": "published",
    "S": "secondary source",
    "M": "from memory",
    "CP": "common practice, no source",
    "A": "assumption",
    "C": "computed",
}

METHODS = "For whoever checks the figures: the methods by name"
"""Where a page of proof names what an operator need not know."""
CHANCE_METHOD = (
    "A chance is one minus the chance of surviving the expected engine hours, given survival "
    "to now. The fuel and the riding of late give way, hour by hour, to what is usual for the "
    "hull. An engine or a dock whose sets broke more, or less, often than like ones bears a part "
    "of that, as far as its record tells it from luck. The chance adds ring-land fracture and "
    "ring wear and leaves other failures aside. What the record leaves "
    "open, the spread between engines among it, is drawn many times; the chance is the average "
    "and its range holds 19 in 20, with the best and worst fuel the open part "
    "of the record may have been."
)

SCORE_COUNTS = {
    "hull-weeks": "Hull-weeks: one hull in one week's report",
    "scored": "scored: a chance was given and its 30 days are over",
    "horizon not over": "not yet: the 30 days are not over",
    "no chance given": "no chance was given: laid up, broken, or not enough record",
    "left unfailed before the horizon": "of those scored, opened, sold or withdrawn unfailed "
    "within the 30 days",
}
"""What was counted in the score, by the names of `ScoreHistory.counts`."""

MODEL_LIMITS = (
    "It speaks of ring-land fracture and ring wear alone. A bearing, a hose, a charger or a "
    "bolt fails without asking it.",
    "It knows what was written down. Fuel nobody recorded enters as a range, a knock nobody "
    "heard not at all.",
    "An effect is what goes with failure in this fleet's record. It proves no cause, and it may "
    "not hold in another fleet.",
    "It takes the present exposure to go on. A hull whose fuel, calibration or renters change "
    "this week has another chance.",
    "With few failures a range leans on the stated priors: read the range, not the middle.",
    "It is no clearance to run, no substitute for a look at the engine, and no ground to refuse "
    "a customer's claim by itself.",
)

MODEL_COVERAGE = (
    "In 300 simulated fleets of 12 hulls with about 7 failures the 95 % ranges of this model's "
    "hazard held the true effect in 96 % and the true chance in 93 %; in 300 of 48 hulls with "
    "about 29 failures in 93 % and 96 %. Simulated fleets keep to the model's own form; a real one "
    "need not. In 48 invented fleets of 48 hulls not used before, four of each of twelve worlds "
    "made apart from the model, with faulty records, the range shown for 30 days held the true "
    "chance of 98.7 % of hulls (98.0 to 99.2; 2026-11-28, commit 2d80122), and of 95.6 % of the "
    "tenth likeliest to fail (92.9 to 97.7). With the priors before, 636 other such fleets gave "
    "98.5 and 96.6 %, and 232 of 12 hulls 97.8 and 93.9 %. Least was held in the likeliest tenth "
    "where engines differ in a strength no record shows: 85 %."
)
"""Measured by tests/studies/test_hazard_coverage.py, table in tests/studies/hazard_coverage.md,
and by tests/studies/chances_of_worlds.py, table beside it."""

PRICE_METHOD = (
    "The cost of leaving a hull as it is: its chance of an unplanned failure to the end of the "
    "season times its price (the rebuild and the rental lost). For a hull already broken it is "
    "the repair and the rental lost if the repair begins a week later. What a step saves also "
    "counts the hours it leaves in the set for another season. The week's plan gives "
    "each hull the action that costs the whole fleet least within the room there is; a hull "
    "that must be looked at before it is rented gets a check, a renewal or a week ashore "
    "whatever that costs."
)

PRIOR_MODEL = "Joint hazard, with priors"
UNAIDED_MODEL = "Plain Weibull, without priors"
COX_MODEL = "Cox, without priors"
"""The models whose effects are shown side by side; the first makes the chances."""

YES_NO_STEPS = {
    "is_raised_calibration": "raised against any other",
    "is_forged": "forged against cast",
}
