"""The score of past weeks, by hand and on histories whose truth is known."""

from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
import pytest

from ringland.score.rival_forecasts import (
    BASE_RATE,
    FUEL_AGE_RULE,
    HOURS_ONLY,
    rival_chances,
)
from ringland.score.score_history import TOOL, score_history
from ringland.settings.assumptions import load_assumptions

SETTINGS = load_assumptions().changed(survival__draws=200)
DAY_0 = datetime(2026, 5, 4, tzinfo=UTC)
AT = pl.Datetime("us", "UTC")


def day(n: float) -> datetime:
    return DAY_0 + timedelta(days=n)


def history(rows: list[tuple[str, float, float | None, str, float]]):  # type: ignore[no-untyped-def]
    """Chances, calls and fuel ages from (hull, day, chance, call, fuel age)."""
    hulls, days, chance, call, fuel_age = zip(*rows, strict=True)
    keys = {"hull_id": list(hulls), "as_of": [day(n) for n in days]}
    n = len(rows)
    chances = pl.DataFrame(
        keys | {"age_h": [200.0] * n, "expected_h_30d": [40.0] * n, "chance_30d": list(chance)},
        schema_overrides={"as_of": AT, "chance_30d": pl.Float64},
    )
    calls = pl.DataFrame(keys | {"call": list(call)}, schema_overrides={"as_of": AT})
    ages = pl.DataFrame(keys | {"fuel_age_25h_d": list(fuel_age)}, schema_overrides={"as_of": AT})
    return chances, calls, ages


def ends(column: str, *rows: tuple[str, float]) -> pl.DataFrame:
    return pl.DataFrame(
        {"hull_id": [hull for hull, _ in rows], column: [day(n) for _, n in rows]},
        schema={"hull_id": pl.String, column: AT},
    )


def score(rows, failed=(), taken=(), to=200.0, settings=SETTINGS):  # type: ignore[no-untyped-def]
    return score_history(
        *history(rows),
        failures=ends("failed_at", *failed),
        taken_out=ends("taken_out_at", *taken),
        followed_to=day(to),
        assumptions=settings,
        rng=np.random.default_rng(1),
    )


FOUR = [
    ("A", 0, 0.3, "book_check", 40.0),
    ("B", 0, 0.1, "rent_as_normal", 5.0),
    ("A", 7, 0.4, "keep_off", 40.0),
    ("B", 7, 0.1, "rent_as_normal", 5.0),
]


def test_a_flagged_hull_that_fails_is_a_hit_with_its_lead_from_the_first_flag() -> None:
    result = score(FOUR, failed=[("A", 20)])

    assert (result.flagged, result.failed_after_flag, result.failed_without_flag) == (2, 2, 0)
    lead = result.leads.row(0, named=True)
    assert (lead["hull_id"], lead["weeks_before"], lead["weeks_flagged"]) == ("A", 2, 2)
    assert (lead["lead_d"], lead["last_chance"]) == (20.0, 0.4)


def test_flags_in_reports_in_a_row_are_one_warning() -> None:
    """A is flagged on days 0 and 7, not on 14, and again on 21: two warnings; it fails on 35."""
    rows = [
        ("A", day, 0.3, "rent_as_normal" if day == 14 else "book_check", 5.0)
        for day in (0, 7, 14, 21)
    ]

    warnings = score(rows, failed=[("A", 35)]).warnings

    assert warnings["n_weeks"].to_list() == [2, 1]
    # Day 35 lies within 30 days of the flag on day 7 and of that on day 21, not of day 0.
    assert warnings["lead_d"].to_list() == [35.0, 14.0]


def test_a_failure_nobody_flagged_is_shown_as_missed() -> None:
    result = score(FOUR, failed=[("B", 20)])

    assert result.failed_without_flag == 2
    assert result.leads["lead_d"].to_list() == [None]


def test_a_failure_after_the_horizon_is_not_one_within_it() -> None:
    result = score(FOUR, failed=[("A", 33)])

    # Within 30 days of day 7, not of day 0.
    assert result.failed_after_flag == 1
    assert result.leads["weeks_before"].to_list() == [1]


def test_hull_weeks_whose_horizon_is_not_over_are_left_out_and_counted() -> None:
    result = score(FOUR, failed=[("A", 20)], to=35.0)

    assert result.counts["scored"] == 2
    assert result.counts["horizon not over"] == 2


def test_hull_weeks_without_a_chance_are_counted_and_their_failures_shown() -> None:
    rows = [*FOUR, ("C", 0, None, "not_enough_record", 5.0)]

    result = score(rows, failed=[("C", 5)])

    assert result.counts["no chance given"] == 1
    assert result.failed_without_flag == 1
    assert result.leads["last_chance"].to_list() == [None]


def test_a_hull_opened_before_it_could_fail_is_followed_to_then_only() -> None:
    result = score(FOUR, failed=[("A", 20)], taken=[("A", 10)])

    assert result.failed_after_flag == 0
    assert result.counts["left unfailed before the horizon"] == 2


def test_a_hull_opened_as_its_horizon_ends_was_followed_through_it() -> None:
    result = score(FOUR, taken=[("A", 30)])

    assert result.counts["left unfailed before the horizon"] == 1  # the list of a week later


def test_counts_add_up_to_all_hull_weeks() -> None:
    counts = score(FOUR, failed=[("A", 20)], to=35.0).counts

    assert counts["hull-weeks"] == (
        counts["scored"] + counts["horizon not over"] + counts["no chance given"]
    )


def test_brier_is_the_mean_squared_distance_of_chance_and_outcome() -> None:
    # Nobody left early, so every weight is one.  Day 40 is the first week with a past.
    rows = [*FOUR, ("A", 40, 0.5, "book_check", 40.0), ("B", 40, 0.2, "rent_as_normal", 5.0)]

    result = score(rows, failed=[("A", 20), ("A", 60)])
    table = {row["forecaster"]: row for row in result.scores.iter_rows(named=True)}

    assert table[TOOL]["brier"] == pytest.approx(((1 - 0.5) ** 2 + 0.2**2) / 2)
    # Four past hull-weeks, two failed: (2 + 0.5) / (4 + 1).
    assert table[BASE_RATE]["brier"] == pytest.approx(0.5**2)
    # Two of two with old fuel, none of two without: (2.5 / 3) and (0.5 / 3).
    assert table[FUEL_AGE_RULE]["brier"] == pytest.approx((1 / 6) ** 2)
    assert table[FUEL_AGE_RULE]["tool_better_by"] == pytest.approx((1 / 6) ** 2 - 0.145)


def test_rules_learn_only_from_weeks_whose_horizon_has_passed() -> None:
    told = pl.DataFrame(
        {
            "as_of": [day(0), day(7), day(30), day(37)],
            "age_h": [200.0] * 4,
            "expected_h": [40.0] * 4,
            "fuel_age_d": [5.0, 40.0, 5.0, None],
            "failed": [True, False, False, False],
        },
        schema_overrides={"as_of": AT},
    )

    rules = rival_chances(told, 30.0, SETTINGS)

    assert rules[BASE_RATE].to_list() == [None, None, 1.5 / 2, 1.5 / 3]
    assert rules[FUEL_AGE_RULE].to_list() == [None, None, 1.5 / 2, None]


def test_hours_only_is_the_fixed_shape_weibull_of_the_set_hours() -> None:
    # Scale^shape = sum of powered hours / failures (Nelson 1985), half a failure added.
    told = pl.DataFrame(
        {
            "as_of": [day(0), day(0), day(30)],
            "age_h": [100.0, 300.0, 500.0],
            "expected_h": [40.0, 20.0, 30.0],
            "fuel_age_d": [5.0] * 3,
            "failed": [True, False, False],
        },
        schema_overrides={"as_of": AT},
    )
    k = np.exp(SETTINGS.number("prior.log_shape_mean"))
    powered = (140**k - 100**k) + (320**k - 300**k)

    chance = rival_chances(told, 30.0, SETTINGS)[HOURS_ONLY][2]

    assert chance == pytest.approx(1 - np.exp(-1.5 / powered * (530**k - 500**k)))


def many_weeks(skill: float, seed: int = 3):  # type: ignore[no-untyped-def]
    """Sixty hulls over forty weeks whose chances are right, or blind to the hull (skill 0)."""
    rng = np.random.default_rng(seed)
    rows, failed = [], []
    true = rng.choice([0.02, 0.1, 0.4], 60)
    for i, p in enumerate(true):
        per_day = -np.log(1 - p) / 30
        at = np.cumsum(rng.exponential(1 / per_day, 60))
        failed += [(f"H{i}", float(n)) for n in at if n < 320]
        said = skill * p + (1 - skill) * true.mean()
        rows += [(f"H{i}", 7.0 * week, said, "rent_as_normal", 5.0) for week in range(40)]
    return rows, failed


def test_chances_that_are_right_have_a_slope_near_one_and_beat_the_base_rate() -> None:
    result = score(*many_weeks(skill=1.0), to=320.0)
    base = result.scores.row(by_predicate=pl.col("forecaster") == BASE_RATE, named=True)

    assert result.line is not None
    assert result.line.slope.low < 1 < result.line.slope.high
    assert base["tool_better_low"] > 0
    assert base["verdict"] == "the tool did better than the base rate"
    said, low, high = (result.groups[name] for name in ("said", "low", "high"))
    # Weeks overlap and hulls repeat, so exact binomial limits are narrow: allow one miss.
    assert ((low <= said) & (said <= high)).sum() >= result.groups.height - 1


def test_chances_blind_to_the_hull_beat_nothing_and_have_no_slope() -> None:
    result = score(*many_weeks(skill=0.0), to=320.0)
    base = result.scores.row(by_predicate=pl.col("forecaster") == BASE_RATE, named=True)

    assert result.line is None
    assert "All forecasts are alike" in str(result.no_line)
    assert abs(base["tool_better_by"]) < 0.005  # against a Brier of about 0.12


def test_chances_too_bold_have_a_slope_below_one() -> None:
    rows, failed = many_weeks(skill=1.0)
    bold = [(h, d, min(0.98, (p / (1 - p)) ** 2 / (1 + (p / (1 - p)) ** 2)), c, f)
            for h, d, p, c, f in rows]  # fmt: skip

    line = score(bold, failed, to=320.0).line

    assert line is not None
    # Log odds doubled: the slope is one half.
    assert line.slope.low < 0.5 < line.slope.high


def test_a_history_without_a_failure_is_scored_without_a_slope() -> None:
    result = score(FOUR)

    assert result.no_line is not None
    assert result.leads.is_empty()
    assert result.groups["n_failures"].sum() == 0


def test_no_history_gives_empty_tables() -> None:
    result = score([("A", 0, 0.3, "book_check", 40.0)], to=10.0)

    assert result.counts["scored"] == 0
    assert result.scores.is_empty()
    assert result.groups.is_empty()
