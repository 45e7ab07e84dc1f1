"""What each doubt about records is called, and what its operator can do about it."""

from __future__ import annotations

NOTHING_TO_DO = "Nothing to do: the earlier row is kept."
"""The remedy of a set-aside row that says again what is on record."""

_CORRECT = "Put it right in a file of corrections"

DOUBT_LABELS = {
    "hull_left_out": "Hull left out of the week",
    "meter_runs_backwards": "Meter reading below an earlier one",
    "meter_over_24_h_a_day": "Meter ran faster than the clock",
    "meter_factor_ten": "Meter reading ten times too large or small",
    "meter_digits_swapped": "Meter reading with two digits swapped",
    "meter_rolled_over": "Meter came round to its beginning",
    "meter_reset": "Meter was set back",
    "meter_counts_key_on": "Meter counts with the key on",
    "meter_and_sessions_disagree": "Meter and rentals disagree",
    "sessions_overlap": "Rentals of one hull overlap",
    "sessions_without_fills": "A month of running without a fill",
    "fills_without_sessions": "A month of fills without a rental",
    "written_in_batches": "Written down in one go, late",
    "fill_above_tank": "Fill larger than the tank",
    "fill_written_twice": "Fill probably written down twice",
    "fill_taken_back": "Fill that a refund takes back",
    "ran_on_no_fuel": "Ride on no fuel",
    "pump_counts_back": "Counter of a pump that went back",
    "fuel_balance_off": "Litres filled and litres burned do not agree",
    "fuel_unexplained": "Litres that came or went without a note",
    "label_off_blend": "Fill labelled as what the dock's tank did not hold",
    "calibration_gap": "Time without a calibration on record",
    "need_below_spark": "Octane need below what the spark advance asks",
    "reading_cannot_be": "Bench reading that cannot be",
    "reading_asks": "Bench reading that leaves a question",
    "two_engines_in_hull": "Two engines in one hull",
    "engine_in_two_hulls": "One engine in two hulls",
    "no_engine_in_hull": "Rentals of a hull without an engine",
    "before_engine_record": "Rentals before the engine's record begins",
    "fitted_hours_disagree": "Piston set fitted at other hours than the rentals give",
    "failure_without_piston_set": "Failure of an engine without a piston set",
    "failure_on_failed_set": "Second failure of a set that had failed",
    "job_unknown": "A job that no list asked for",
    "job_without_result": "A job done without its result on record",
}

DOUBT_REMEDIES = {
    "hull_left_out": "Do not rent it. Look through what was written down of it lately, correct or "
    "withdraw what cannot be, and ask for the week again; tell the makers of this program.",
    "meter_runs_backwards": f"Read the meter again. {_CORRECT}, or write the new meter's serial "
    "if it was replaced.",
    "meter_over_24_h_a_day": f"Read the meter again. {_CORRECT}, or withdraw the reading.",
    "meter_factor_ten": f"Look where the decimal point stands on the dial. {_CORRECT}.",
    "meter_digits_swapped": f"Compare the reading with the paper. {_CORRECT}.",
    "meter_rolled_over": "Nothing to do if the dial did come round; else correct the reading.",
    "meter_reset": "If the meter was replaced, give the new one a serial of its own.",
    "meter_counts_key_on": "Have the meter wired to run with the engine, or write down each "
    "rental's running hours.",
    "meter_and_sessions_disagree": "Look for rentals that were not written down between the two "
    "readings, or for a rental with wrong hours.",
    "sessions_overlap": f"Find out which hull went out, and when. {_CORRECT}, or withdraw the "
    "rental that was written twice.",
    "sessions_without_fills": "Load that month's fills of this hull, or correct the hull of those "
    "written under another.",
    "fills_without_sessions": "Load that month's rentals of this hull, or correct the hull of the "
    "fills.",
    "written_in_batches": "Write rentals and fills down on the day: from memory, times and litres "
    "are rough.",
    "fill_written_twice": "If it is one fill, withdraw one of the two in a file of corrections; if "
    "the hull was filled twice, nothing.",
    "fill_taken_back": "If the fuel never went into the tank, withdraw the fill in a file of "
    "corrections and leave the refund out.",
    "fill_above_tank": f"Look whether the litres are gallons, two craft in one line, or a slip of "
    f"the pen. {_CORRECT}; if the tank is larger than its record, correct the hull.",
    "ran_on_no_fuel": f"Leave the litres of a ride empty where nobody measured them. {_CORRECT}.",
    "pump_counts_back": f"Read the counter again. {_CORRECT}; if the counter was replaced or set "
    "back, nothing.",
    "fuel_balance_off": "Look for fills, drains or rentals of these days that are not written "
    "down, or that stand under another hull.",
    "fuel_unexplained": "Look for fills, drains and transfers of these days, and for customers' "
    "receipts; a dip or a fill to the brim, written down as one, closes the litres from then on.",
    "label_off_blend": "Find out which tank or pump it came from, and write that beside the fill; "
    "or correct the label, or the delivery's.",
    "calibration_gap": "Write down which calibration was in force from then on, and the octane "
    "it needs.",
    "need_below_spark": "Ask who made the calibration what it needs, and fill for the higher of "
    "the two until then. Correct the need or the advance, whichever is wrong.",
    "reading_cannot_be": "Check the gauge's zero, the unit and the decimal point; for a vacuum, "
    "that the pressure is the station's own, not the weather report's. Test again, or put it "
    "right in a file of corrections.",
    "reading_asks": "Write down what is asked, in a file of corrections: the supply of a "
    "leak-down, the altitude of the dock, or whether the air pressure was read at the bench.",
    "two_engines_in_hull": "Correct the earlier engine's row: write when it came out.",
    "engine_in_two_hulls": "Correct the earlier stay's row: write when it came out.",
    "no_engine_in_hull": "Write down which engine sat in the hull, and from when.",
    "before_engine_record": "Correct the day the engine's record begins, or the rental's hull.",
    "fitted_hours_disagree": f"Compare the engine hours at fitting with the job sheet. {_CORRECT}.",
    "failure_without_piston_set": "Write down the piston set the engine ran, and when it was "
    "fitted.",
    "job_unknown": "Compare the id with 'ringland jobs', and correct it or withdraw the row in a "
    "file of corrections.",
    "job_without_result": "Write the result down with 'ringland done', which asks for what lacks, "
    "or in a file of the kind named; or withdraw the row if the job was not done.",
    "failure_on_failed_set": "Write down the set that was fitted after the first failure, or "
    "withdraw the failure that was written twice.",
}
"""By flag; every one of `contracts.record_tables.RECORD_FLAGS` has both."""
