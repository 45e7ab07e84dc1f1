"""Champion against challenger in worlds where it is known who should win."""

import json
from datetime import timedelta

import numpy as np
import polars as pl
import pytest

from ringland.assumptions import load_assumptions
from ringland.fleet_risk.boosted_hazard import BoostingError, fit_boosted_hazard
from ringland.fleet_risk.challenger import (
    MODE,
    challenger_fit,
    champion_fit,
    contest,
    data_hash,
    model_card,
)
from ringland.fleet_risk.fleet_hazard import fit_fleet
from tests.fleet_risk.made_spells import BEGIN, made_spells, weibull_truth

SETTINGS = load_assumptions().changed(survival__draws=200)
SPLITS = [BEGIN + timedelta(days=n) for n in (80, 110, 140, 200)]


def judged(spells, champion=None, challenger=None, splits=SPLITS):  # type: ignore[no-untyped-def]
    return contest(
        spells,
        champion or champion_fit(SETTINGS, np.random.default_rng(1)),
        challenger or challenger_fit(SETTINGS),
        splits,
        assumptions=SETTINGS,
        rng=np.random.default_rng(2),
    )


def cliff(frame: pl.DataFrame) -> np.ndarray:
    """Only middling fuel age breaks lands: no line on the log scale follows that."""
    age = frame["fuel_age_25h_d"].to_numpy()
    return np.where((age > 5) & (age < 12), 0.012, 0.0004)


def test_in_the_champions_own_world_the_simpler_model_stays() -> None:
    result = judged(made_spells(weibull_truth(), n_sets=150))

    assert result.n_failures > 20
    assert result.stays
    assert "the simpler model stays" in result.verdict


def test_where_no_line_fits_the_trees_win() -> None:
    result = judged(made_spells(cliff, n_sets=200))

    assert not result.stays
    assert result.gain is not None
    assert result.gain.low > 0
    assert "clearly beaten" in result.verdict


def test_two_alike_models_are_a_draw_and_the_champion_stays() -> None:
    def same(known):  # type: ignore[no-untyped-def]
        return lambda later: 0.002 * (later["stop_h"] - later["start_h"]).to_numpy()

    result = judged(made_spells(weibull_truth()), same, same)

    assert result.gain is not None
    assert (result.gain.low, result.gain.value, result.gain.high) == (0, 0, 0)
    assert result.stays


def test_the_score_is_the_poisson_log_likelihood_per_failure() -> None:
    spells = made_spells(weibull_truth())

    def at(rate: float):  # type: ignore[no-untyped-def]
        return lambda known: lambda later: rate * (later["stop_h"] - later["start_h"]).to_numpy()

    result = judged(spells, at(0.002), at(0.004))
    later = spells.filter((pl.col("start_at") >= SPLITS[0]) & (pl.col("start_at") < SPLITS[-1]))
    failures = later["mode"].is_not_null().sum()

    # Each spell has 5 h: log(0.01) per failure less 0.01 per spell.
    by_hand = np.log(0.01) - 0.01 * later.height / failures
    assert result.champion_score == pytest.approx(by_hand)
    assert result.gain is not None
    assert result.gain.value == pytest.approx(np.log(2) - 0.01 * later.height / failures)


def test_models_see_only_what_had_ended_by_the_split() -> None:
    seen = []

    def spy(known):  # type: ignore[no-untyped-def]
        seen.append(known["stop_at"].max())
        return lambda later: np.full(later.height, 0.01)

    judged(made_spells(weibull_truth()), spy, spy)

    assert seen == sorted(seen)
    assert all(at <= split for at, split in zip(seen[::2], SPLITS[:-1], strict=True))


def test_a_record_without_a_failure_keeps_the_simpler_model_and_says_why() -> None:
    result = judged(made_spells(lambda frame: np.zeros(frame.height), n_sets=5))

    assert result.stays
    assert result.n_failures == 0
    assert len(result.left_out) == 3
    assert "no ring_land_fracture on record" in result.left_out[0]


def test_boosting_finds_the_shape_of_a_hazard_and_its_level() -> None:
    spells = made_spells(cliff, n_sets=300)
    hazard = fit_boosted_hazard(spells, MODE, SETTINGS)

    expected = hazard.cumulative_hazard(
        spells["start_h"].to_numpy(), spells["stop_h"].to_numpy(), spells
    )
    in_band = spells["fuel_age_25h_d"].is_between(5, 12).to_numpy()
    per_hour = expected / 5.0

    assert expected.sum() == pytest.approx(hazard.n_failures, rel=0.05)  # trees are shrunk
    assert per_hour[in_band].mean() > 8 * per_hour[~in_band].mean()  # thirty-fold in truth


def test_boosting_gives_the_same_rates_twice() -> None:
    spells = made_spells(cliff)
    middle = spells["start_h"].to_numpy()

    first, second = (fit_boosted_hazard(spells, MODE, SETTINGS).rate(middle, spells) for _ in "ab")

    assert np.array_equal(first, second)


def test_boosting_without_a_failure_is_refused() -> None:
    with pytest.raises(BoostingError, match="no ring_land_fracture on record"):
        fit_boosted_hazard(made_spells(lambda f: np.zeros(f.height), n_sets=3), MODE, SETTINGS)


def test_the_data_hash_knows_the_rows_and_not_their_order() -> None:
    spells = made_spells(weibull_truth(), n_sets=5)

    assert data_hash(spells) == data_hash(spells.sample(fraction=1, shuffle=True, seed=1))
    assert data_hash(spells) != data_hash(spells.head(-1))


def test_the_model_card_can_be_written_and_names_data_models_and_verdict() -> None:
    spells = made_spells(weibull_truth())
    fits = fit_fleet(spells, SETTINGS, np.random.default_rng(1))
    result = judged(spells)

    card = json.loads(json.dumps(model_card(spells, fits, result, SPLITS[-1])))

    assert card["data"]["sha256"] == data_hash(spells)
    assert card["data"]["failures"] == spells["mode"].is_not_null().sum()
    assert card["in_use"] == card["champion"]["name"]
    assert card["contest"]["verdict"] == result.verdict
    assert card["champion"]["effects"]["shortfall_25h_on"]["low"] > 1
