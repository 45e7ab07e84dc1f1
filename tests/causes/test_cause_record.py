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


def record(set_id: str = "P0", exposure: pl.DataFrame = EXPOSURE) -> CauseRecord:
    life = LIVES.filter(pl.col("piston_set_id") == set_id).row(0, named=True)
    return record_before_failure(life, LIVES, exposure, [EFFECT], ASSUMPTIONS)


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
    got = record_before_failure(life, short, EXPOSURE, [], ASSUMPTIONS)
    assert got.compared == 4
    assert factor(got, "shortfall_25h_on")["percentile"] is None
    assert any("too few to compare" in gap for gap in got.gaps)


def test_a_failure_without_a_piston_set_says_so() -> None:
    got = record_before_failure(None, LIVES, EXPOSURE, [], ASSUMPTIONS)
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
    lines = agreement_lines(ranked_knock(), record_speaks(got, TABLE, ASSUMPTIONS), TABLE)
    assert any("cannot say which of the two to blame" in line for line in lines)


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
    lines = agreement_lines(ranked, record_speaks(record(set_id), TABLE, ASSUMPTIONS), TABLE)
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
    assert "oil gathering in the hull; crankcase pressure failed on 2025-05-01" in line


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
        == "The shop settled on: Knock: fuel below need (2025-07-01)."
    )
    open_still = {"confirmed_cause": None, "cause_confirmed_at": None}
    assert confirmed_line(open_still, TABLE) == "The shop has not settled on a cause."
