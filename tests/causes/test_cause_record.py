from datetime import timedelta

import polars as pl
import pytest

from ringland.causes.cause_agreement import (
    agreement_lines,
    confirmed_line,
    record_speaks,
    reverse_order_line,
)
from ringland.causes.cause_differential import rank_causes
from ringland.causes.cause_findings import engine_findings
from ringland.causes.cause_record import CauseRecord, record_before_failure
from ringland.causes.cause_table import default_cause_table
from ringland.causes.fleet_record import FleetRecord
from ringland.contracts.record_tables import BenchVerdicts
from ringland.settings.assumptions import load_assumptions
from ringland.survival.hazard.hazard_effects import FactorEffect
from tests.causes.cause_rows import OPENED, START, lives, sessions, teardown

ASSUMPTIONS = load_assumptions()
TABLE = default_cause_table()
EFFECT = FactorEffect(
    name="shortfall_25h_on",
    step=1.0,
    hazard_ratio=2.0,
    low=1.5,
    high=3.0,
    prior_share=0.1,
    unaided_ratio=None,
    unaided_log_error=None,
)


MARGINS = {"P0": -3.0, "P1": -2.0, "P2": -1.0, "P3": 0.0, "P4": 1.0, "P5": 2.0}
EXPOSURE = pl.concat([sessions(set_id, margin) for set_id, margin in MARGINS.items()])
LIVES = lives(dict.fromkeys(MARGINS, 40.0))


def fleet(of: pl.DataFrame, ridden: pl.DataFrame) -> FleetRecord:
    return FleetRecord.of(of, ridden, ASSUMPTIONS)


def record(set_id: str = "P0", exposure: pl.DataFrame = EXPOSURE) -> CauseRecord:
    life = LIVES.filter(pl.col("piston_set_id") == set_id).row(0, named=True)
    return record_before_failure(life, fleet(LIVES, exposure), [EFFECT], ASSUMPTIONS)


def factor(of: CauseRecord, name: str) -> dict[str, float]:
    return of.factors.filter(pl.col("factor") == name).row(0, named=True)


def test_the_failed_set_is_placed_among_the_others_by_hand() -> None:
    row = factor(record("P1"), "shortfall_25h_on")
    # others: 3, 1, 0, 0, 0 octane numbers short; middle 0; four of five lie below 2
    assert row["value"] == pytest.approx(2.0, abs=1e-9)
    assert row["fleet_middle"] == pytest.approx(0.0, abs=1e-9)
    assert row["percentile"] == pytest.approx(0.8)


def test_ties_count_half() -> None:
    # P4 has no shortfall; of its others 3, 2, 1 lie above and two are tied at 0
    assert factor(record("P4"), "shortfall_25h_on")["percentile"] == pytest.approx(0.2)


def test_the_hazard_against_the_fleets_middle_by_hand() -> None:
    row = factor(record("P1"), "shortfall_25h_on")
    # two steps over a middle of 0: 2 squared, limits 1.5 and 3 squared
    assert row["hazard_ratio"] == pytest.approx(4.0)
    assert (row["hazard_low"], row["hazard_high"]) == pytest.approx((2.25, 9.0))
    assert row["share"] == pytest.approx(1.0)


def test_only_sets_that_reached_these_hours_are_compared() -> None:
    short = lives({**dict.fromkeys(MARGINS, 40.0), "P5": 20.0})
    life = short.filter(pl.col("piston_set_id") == "P0").row(0, named=True)
    got = record_before_failure(life, fleet(short, EXPOSURE), [], ASSUMPTIONS)
    assert got.compared == 4
    assert factor(got, "shortfall_25h_on")["percentile"] is None
    assert any("too few to compare" in gap for gap in got.gaps)


def test_what_other_sets_ran_after_the_failure_changes_no_report() -> None:
    """A year after a failure its report went from 'the record speaks for it too' to 'neither'."""
    at_failure = record("P1")
    worse = sessions("P9", -5.0).with_columns(
        pl.col("started_at", "ended_at") + timedelta(days=400)
    )
    of = lives(dict.fromkeys([*MARGINS, "P9"], 40.0))
    life = of.filter(pl.col("piston_set_id") == "P1").row(0, named=True)
    ridden = pl.concat([EXPOSURE, worse])
    later = record_before_failure(life, fleet(of, ridden), [EFFECT], ASSUMPTIONS)
    assert later.compared == at_failure.compared
    assert later.factors.equals(at_failure.factors)


def test_a_failure_without_a_piston_set_says_so() -> None:
    got = record_before_failure(None, fleet(LIVES, EXPOSURE), [], ASSUMPTIONS)
    assert got.factors.is_empty()
    assert got.gaps == ("The failure belongs to no piston set on record.",)
    speaks = record_speaks(got, TABLE, ASSUMPTIONS)
    assert set(speaks["side"]) == {"says nothing"}


def test_gaps_of_the_record_are_named() -> None:
    patchy = pl.concat(
        [
            sessions("P0", -3.0, unknown_share=0.4, is_throttle_assumed=True, calibration=None),
            *(sessions(set_id, margin) for set_id, margin in MARGINS.items() if set_id != "P0"),
        ]
    )
    gaps = " ".join(record(exposure=patchy).gaps)
    for words in (
        "40 % of the fuel",
        "full throttle is not on record for 100 %",
        "no calibration",
    ):
        assert words in gaps


def side(of: CauseRecord, cause: str) -> str:
    speaks = record_speaks(of, TABLE, ASSUMPTIONS)
    return speaks.filter(pl.col("cause") == cause)["side"].item()


def test_a_shortfall_that_stands_out_speaks_for_fuel_and_stock_against_the_calibration() -> None:
    assert side(record("P0"), "knock_fuel") == "for"
    assert side(record("P0"), "knock_tune") == "against"
    assert side(record("P5"), "knock_fuel") == "against"


def test_a_shortfall_only_the_worst_fuel_would_give_says_nothing() -> None:
    unsure = pl.concat(
        [
            sessions("P0", 0.0, shortfall_low_on=0.0, shortfall_high_on=4.0),
            *(sessions(set_id, margin) for set_id, margin in MARGINS.items() if set_id != "P0"),
        ]
    )
    got = record(exposure=unsure)
    assert side(got, "knock_fuel") == "says nothing"
    sentence = record_speaks(got, TABLE, ASSUMPTIONS)["sentence"][0]
    assert "0.0 to 4.0 octane numbers" in sentence


def test_a_raised_calibration_speaks_for_itself() -> None:
    raised = pl.concat(
        [
            sessions("P0", -3.0, calibration="raised"),
            *(sessions(set_id, margin) for set_id, margin in MARGINS.items() if set_id != "P0"),
        ]
    )
    got = record(exposure=raised)
    assert side(got, "knock_tune") == "for"
    told = " ".join(agreed(ranked_knock(), got))
    # a need of 91 for both calibrations: the fuel, 3 short of it, is as short of the stock one
    assert "need (91 AKI) as well, by 3.0 to 3.0 octane numbers" in told
    assert "cannot say which of the two to blame" in told


@pytest.mark.parametrize(
    ("short", "said"),
    [
        (
            (1.0, 1.5),
            "would have met the stock calibration's need (91 AKI), even taken at its worst",
        ),
        ((2.5, 4.5), "as well, by 0.5 to 2.5 octane numbers"),
        ((1.0, 4.0), "turns on what is not on record: shortfall 0 to 2.0"),
    ],
)
def test_the_same_fuel_is_held_against_the_stock_need(
    short: tuple[float, float], said: str
) -> None:
    """A fuel good enough for the stock calibration was blamed for what the raised one asked."""
    low, high = short
    raised = sessions(
        "P0", -low, calibration="raised", octane_need_aki=93.0, octane_aki=93.0 - low,
        shortfall_low_on=low, shortfall_high_on=high,
    )  # fmt: skip
    got = record(exposure=pl.concat([raised, EXPOSURE.filter(pl.col("piston_set_id") != "P0")]))
    assert said in " ".join(agreed(ranked_knock(), got))


def agreed(ranking: object, of: CauseRecord, *, is_named: bool = True) -> tuple[str, ...]:
    speaks = record_speaks(of, TABLE, ASSUMPTIONS)
    return agreement_lines(ranking, speaks, TABLE, of, is_named=is_named)


def test_a_driver_that_no_headline_may_name_is_not_put_first_in_the_next_sentence() -> None:
    """'Driver not established', and then: 'The findings put hot charge first'."""
    lines = agreed(ranked_knock(), record("P1"), is_named=False)
    assert lines[0] == "What was found does not tell which driver of its mechanism it was."
    assert "first" not in " ".join(lines)


def of_calibration(*last: str | None) -> tuple[str, str]:
    """Side and sentence on the calibration, by those of the last hours."""
    own = sessions("P0", -3.0)
    column = [*["stock"] * (own.height - len(last)), *last]
    own = own.with_columns(calibration=pl.Series(column, dtype=pl.String))
    got = record(exposure=pl.concat([own, EXPOSURE.filter(pl.col("piston_set_id") != "P0")]))
    speaks = record_speaks(got, TABLE, ASSUMPTIONS).filter(pl.col("cause") == "knock_tune")
    return speaks.select("side", "sentence").row(0)


@pytest.mark.parametrize(
    ("last", "expected", "words"),
    [
        (["raised"] * 3, "for", "was in force"),
        (["stock"] * 3, "against", "was not a raised one"),
        ([None] * 40, "says nothing", "is not on record"),
        ([None] * 5 + ["stock"] * 5, "says nothing", "for 20 % of its last hours none"),
        (["raised"] * 20 + ["stock"], "says nothing", "in force for 80 % of its last hours"),
    ],
)
def test_a_calibration_is_cleared_only_by_a_record_of_all_the_last_hours(
    last: list[str | None], expected: str, words: str
) -> None:
    """None on record, and one put back to stock an hour before, both cleared the calibration."""
    got, sentence = of_calibration(*last)
    assert got == expected
    assert words in sentence


def test_a_need_that_is_not_on_record_is_no_shortfall() -> None:
    """A usual shortfall stood in for the need and spoke for 'fuel below need'."""
    nothing = ["octane_need_aki", "shortfall_on", "shortfall_low_on", "shortfall_high_on"]
    own = pl.col("piston_set_id") == "P0"
    blank = [pl.when(~own).then(pl.col(name)).alias(name) for name in nothing]
    assert side(record(exposure=EXPOSURE.with_columns(blank)), "knock_fuel") == "says nothing"


def test_fuel_short_of_its_need_is_not_cleared_by_a_fleet_that_was_shorter_still() -> None:
    shorter = pl.concat([sessions("P0", -1.0), *(sessions(s, -4.0) for s in MARGINS if s != "P0")])
    assert side(record(exposure=shorter), "knock_fuel") == "says nothing"


@pytest.mark.parametrize(
    ("hours", "expected"), [(20, "for"), (60, "says nothing"), (200, "against")]
)
def test_hours_clear_a_builder_only_when_many_have_run(hours: int, expected: str) -> None:
    """A circlip that let go at 26 hours was said to speak against its fitter's fault."""
    of = lives(dict.fromkeys(MARGINS, float(hours)))
    life = of.filter(pl.col("piston_set_id") == "P0").row(0, named=True)
    ridden = pl.concat([sessions(set_id, m, hours) for set_id, m in MARGINS.items()])
    got = record_before_failure(life, fleet(of, ridden), [], ASSUMPTIONS)
    assert side(got, "assembly") == expected


def ranked_knock() -> object:
    rows = teardown(
        [
            "1 | piston | second land broken down",
            "2 | piston | second land broken down",
            "plug | plug specks",
            "fuel system | fuel sample below the need of the calibration",
        ]
    )
    return rank_causes(engine_findings(rows, TABLE, "E1", 3), TABLE)


@pytest.mark.parametrize(
    ("set_id", "words"),
    [("P0", "the two lines of evidence agree"), ("P5", "the two lines of evidence disagree")],
)
def test_agreement_and_contradiction_are_said_and_change_no_chance(set_id: str, words: str) -> None:
    ranked = ranked_knock()
    before = ranked.chances.clone()
    lines = agreed(ranked, record(set_id))
    assert words in lines[0]
    assert ranked.chances.equals(before)


def verdicts(*rows: dict[str, object]) -> pl.DataFrame:
    schema = {name: column.dtype for name, column in BenchVerdicts.columns().items()}
    return pl.DataFrame(list(rows), schema=schema)


TRENDS = pl.DataFrame(schema={"measure": pl.String, "shape": pl.String})


def test_worn_rings_before_the_failure_turn_the_order_round() -> None:
    row = {"measure": "crankcase_pressure", "inspected_at": START, "verdict": "fail"}
    findings = engine_findings(teardown(["signs | oil gathering in the hull"]), TABLE, "E1", 3)
    line = reverse_order_line(findings, verdicts(row), TRENDS, TABLE)
    assert "may be the reverse" in line
    assert "oil gathering in the hull; crankcase pressure failed on Thu 1 May 2025" in line


def test_without_test_or_look_the_order_cannot_be_told() -> None:
    findings = engine_findings(teardown(), TABLE, "E1", 3)
    assert "cannot be told" in reverse_order_line(findings, verdicts(), TRENDS, TABLE)


def test_a_clean_ring_test_is_said_as_considered() -> None:
    row = {
        "measure": "leak_down",
        "inspected_at": START,
        "verdict": "pass",
        "standard_value": 5.0,
    }
    findings = engine_findings(teardown(), TABLE, "E1", 3)
    line = reverse_order_line(findings, verdicts(row), TRENDS, TABLE)
    assert line.startswith("Worn rings coming first was considered: 1 ring test(s)")


def test_the_shops_own_conclusion_is_shown_as_its_own() -> None:
    settled = {"confirmed_cause": "knock_fuel", "cause_confirmed_at": OPENED}
    assert (
        confirmed_line(settled, TABLE)
        == "The shop settled on: Knock: fuel below need (Tue 1 Jul 2025)."
    )
    open_still = {"confirmed_cause": None, "cause_confirmed_at": None}
    assert confirmed_line(open_still, TABLE) == "The shop has not settled on a cause."
