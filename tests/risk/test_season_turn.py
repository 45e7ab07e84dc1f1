"""The season's turn from a shop's own past and the pooled one: by hand, and on made fleets."""

import math
from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
import pytest
from scipy import integrate

from ringland.risk.season_turn import RanHours, SeasonTurn, own_turn, pooled_turn, turn_ahead
from ringland.settings.assumptions import Assumptions
from tests.decision.small_fleet import SETTINGS

AS_OF = datetime(2026, 8, 3, tzinfo=UTC)
LEVEL = SETTINGS.changed(record__season_swing_log=0.0)
"""A pooled past that says that all weeks are alike."""


def rentals(*day_hours: tuple[float, float], as_of: datetime = AS_OF) -> RanHours:
    """Rentals from (days ago, hours)."""
    return RanHours.of(
        pl.DataFrame(
            {
                "started_at": [as_of - timedelta(days=day) for day, _ in day_hours],
                "engine_h_start": [0.0] * len(day_hours),
                "engine_h_stop": [float(hours) for _, hours in day_hours],
            },
            schema_overrides={"started_at": pl.Datetime("us", "UTC")},
        )
    )


def own_turn_of(ran: RanHours, settings: Assumptions = SETTINGS) -> float | None:
    return own_turn(ran, AS_OF, settings)


LAST_YEAR = 364.0


def test_the_seasons_turn_is_hours_ahead_over_hours_of_late_a_year_ago() -> None:
    """A year ago: 28 h in the 28 days before (1 h/d), 60 h in the 30 days after (2 h/d): 2."""
    rising = rentals(
        (LAST_YEAR + 20, 14), (LAST_YEAR + 10, 14), (LAST_YEAR - 5, 30), (LAST_YEAR - 20, 30),
        (LAST_YEAR + 36, 99), (LAST_YEAR - 31, 99), (3, 28),
    )  # fmt: skip
    falling = rentals((LAST_YEAR + 10, 28), (LAST_YEAR - 10, 15), (LAST_YEAR + 40, 1), (3, 28))

    assert own_turn_of(rising) == pytest.approx(2.0)
    assert own_turn_of(falling) == pytest.approx(0.5)


def test_without_an_earlier_season_its_own_past_says_nothing() -> None:
    assert own_turn_of(rentals((3, 5), (200, 5))) is None
    assert own_turn_of(rentals((LAST_YEAR + 40, 5), (3, 5))) is None
    nothing_of_late = rentals((LAST_YEAR + 9, 5), (LAST_YEAR - 9, 5))
    assert own_turn_of(nothing_of_late) is None
    assert own_turn_of(rentals()) is None


def test_the_seasons_turn_is_held_within_its_setting() -> None:
    leap = rentals((LAST_YEAR + 40, 1), (LAST_YEAR + 10, 1), (LAST_YEAR - 10, 1000), (3, 1))
    fall = rentals((LAST_YEAR + 40, 1), (LAST_YEAR + 10, 1000), (3, 1000))
    most = SETTINGS.number("record.season_turn_most")

    assert own_turn_of(leap) == most
    assert own_turn_of(fall) == 1 / most


def test_a_record_that_begins_within_the_look_back_is_held_against_the_same_days() -> None:
    """Open for 8 days 364 days ago: 16 h then, 120 h in the 30 days ahead.  Now 16 h in 8 days.

    Level with last year: 120 h ahead are 4 h/d, of late 16 h in 28 days.  A year is 1.2425 days
    more: by so many sevenths the weeks seven days earlier count, 8 h more ahead.
    """
    opened = rentals((LAST_YEAR + 8, 8), (LAST_YEAR + 2, 8), (LAST_YEAR - 10, 120), (7, 8), (1, 8))

    ahead_h_d = (120 + 8 * 1.2425 / 7) / 30
    assert own_turn_of(opened) == pytest.approx(ahead_h_d / (16 / 28))


def test_a_falling_autumn_is_held_against_the_same_days_of_the_year() -> None:
    """Whole weeks fall short of a year: two years on, an autumn was expected 2.5 days further gone.

    Hours expected in August fell 5 % below those run, on fleets of every kind.
    """

    def of_day(before_d: int) -> float:
        return 40.0 + before_d

    rides = [(float(day), of_day(day)) for day in range(1, 29)]
    for years in (1, 2):
        rides += [(years * 365.2425 + day, of_day(day)) for day in range(-39, 40)]

    by_hand = (sum(map(of_day, range(-29, 1))) / 30) / (sum(map(of_day, range(1, 29))) / 28)
    assert own_turn_of(rentals(*rides)) == pytest.approx(by_hand, rel=0.02)


def test_where_little_ran_this_season_stands_nearly_where_earlier_ones_stood() -> None:
    """Three times a year ago's 2 h: with 20 h as before on both sides, 26 / 22 of 60 h ahead."""
    early = rentals((LAST_YEAR + 40, 1), (LAST_YEAR + 10, 2), (LAST_YEAR - 10, 60), (3, 6))
    level = SETTINGS.number("record.season_level_h")

    by_hand = (6 + level) / (2 + level) * (60 / 30) / (6 / 28)
    most = SETTINGS.number("record.season_turn_most")
    assert own_turn_of(early) == pytest.approx(min(by_hand, most))
    assert own_turn_of(early, SETTINGS.changed(record__season_turn_most=99.0)) == (
        pytest.approx(by_hand)
    )


def test_the_pooled_turn_is_the_stated_swing_ahead_over_that_of_late() -> None:
    """Of exp(cos) of the days from 20 July; 3 August is 14 days past it."""
    ran = rentals((3, 5), (200, 5))

    def swing(day: float) -> float:
        return math.exp(math.cos(2 * math.pi * (day + 14) / 365.2425))

    by_hand = (integrate.quad(swing, 0, 30)[0] / 30) / (integrate.quad(swing, -28, 0)[0] / 28)
    assert pooled_turn(ran, AS_OF, SETTINGS) == pytest.approx(by_hand, rel=1e-4)


def test_the_pooled_turn_ends_with_the_season_and_knows_when_the_record_began() -> None:
    """11 of 30 days are left on 20 September; of 28 days looked back over 8 are on record."""
    autumn = datetime(2026, 9, 20, tzinfo=UTC)
    late = rentals((3, 5), (200, 5), as_of=autumn)

    assert pooled_turn(late, autumn, LEVEL) == pytest.approx(11 / 30)
    assert pooled_turn(rentals((8, 5), (3, 5)), AS_OF, LEVEL) == pytest.approx(28 / 8)
    assert pooled_turn(rentals((200, 5)), AS_OF, LEVEL) is None


def test_a_shop_in_its_first_season_borrows_the_pooled_past_with_its_range() -> None:
    """No stretch ahead is over: the range is the setting's."""
    got = turn_ahead(rentals((20, 9), (3, 5)), AS_OF, SETTINGS)

    assert got.turn == pooled_turn(rentals((20, 9), (3, 5)), AS_OF, SETTINGS)
    assert (got.own_share, got.n_weeks, got.off_log) == (0.0, 0, None)
    assert got.sd_log == pytest.approx(SETTINGS.number("record.season_pooled_sd"))
    assert turn_ahead(rentals(), AS_OF, SETTINGS).turn == 1.0


def test_one_season_counts_by_what_is_said_beforehand_of_both_pasts() -> None:
    """No week of this season is past yet: variances 0.15 ** 2 and 0.5 ** 2."""
    ran = rentals((370, 20), (350, 60), (10, 20))
    got = turn_ahead(ran, AS_OF, SETTINGS)

    own, pooled = own_turn_of(ran), pooled_turn(ran, AS_OF, SETTINGS)
    share = 0.25 / (0.25 + 0.0225)
    assert own is not None
    assert pooled is not None
    assert (got.own_share, got.n_weeks) == (pytest.approx(share), 0)
    assert got.turn == pytest.approx(own**share * pooled ** (1 - share))
    assert got.sd_log == pytest.approx(math.sqrt(share**2 * 0.0225 + (1 - share) ** 2 * 0.25))


OPENS = (datetime(2024, 5, 1), datetime(2025, 5, 1), datetime(2026, 5, 1))


def made_shop(seed: int, *, busiest: float, months_sd: float, hulls: int = 12) -> RanHours:
    """Three seasons of 153 days with a course, a level by year, months of their own, luck."""
    rng = np.random.default_rng(seed)
    days, hours = [], []
    for opens in OPENS:
        level = rng.normal(0.0, 0.2)
        months = np.interp(np.arange(153), np.arange(0, 181, 30), rng.normal(0, months_sd, 7))
        course = np.cos(np.pi * (np.arange(153) - busiest) / 120)
        rides = rng.poisson(0.7 * hulls * np.exp(level + months + course - 0.5))
        for day, n in enumerate(rides):
            at = opens.replace(tzinfo=UTC) + timedelta(days=day)
            days += [at] * int(n)
            hours += rng.uniform(0.4, 1.3, int(n)).tolist()
    return RanHours.of(
        pl.DataFrame(
            {"started_at": days, "engine_h_start": [0.0] * len(days), "engine_h_stop": hours},
            schema_overrides={"started_at": pl.Datetime("us", "UTC")},
        )
    )


def known_at(ran: RanHours, as_of: datetime) -> RanHours:
    n = int(np.searchsorted(ran.at_us, round(as_of.timestamp() * 1e6)))
    return RanHours(ran.at_us[:n], ran.summed_h[: n + 1], ran.first)


def told(ran: RanHours, as_of: datetime) -> tuple[SeasonTurn, float]:
    """The turn said, and how far its log lay from that of the hours then run."""
    got = turn_ahead(known_at(ran, as_of), as_of, SETTINGS)
    run = ran.between(as_of, as_of + timedelta(days=30)) / 30
    of_late = ran.between(as_of - timedelta(days=28), as_of) / 28
    return got, math.log(run / of_late / got.turn)


def test_a_shop_unlike_the_pooled_past_comes_to_believe_its_own() -> None:
    """Busiest on its first day: the stated guess says that May rises."""
    ran = made_shop(7, busiest=0.0, months_sd=0.02)
    first, second, third = (
        told(ran, datetime(year, 6, 8, tzinfo=UTC)) for year in (2024, 2025, 2026)
    )

    assert first[0].own_share == 0.0
    assert 0.85 < second[0].own_share < third[0].own_share
    assert third[0].n_weeks > 12
    assert abs(third[1]) < abs(first[1])
    assert third[0].sd_log < first[0].sd_log


def test_the_turns_range_holds_what_was_then_run() -> None:
    """Courses, levels and months the method does not know; about 95 % within 1.96 sd."""
    off = []
    for seed in range(30):
        ran = made_shop(seed, busiest=40.0 + seed * 3, months_sd=0.12)
        for year, month in ((2025, 6), (2025, 8), (2026, 6), (2026, 8)):
            got, miss = told(ran, datetime(year, month, 8, tzinfo=UTC))
            off.append((miss, got.sd_log))
    miss, sd = np.array(off).T

    assert (np.abs(miss) < 1.96 * sd).mean() >= 0.9
    assert np.sqrt(np.mean(miss**2)) > 0.5 * sd.mean()  # nor is it merely wide
