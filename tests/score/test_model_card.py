"""The model card: its data can be told again, its priors and checks are those of the fits."""

from datetime import UTC, datetime

import numpy as np
import polars as pl
import pytest

from ringland.risk.fleet_hazard import fit_fleet
from ringland.score.challenger import Contest
from ringland.score.model_card import ModelCard, data_hash, make_model_card, with_misses
from ringland.settings.assumptions import load_assumptions
from ringland.survival.hazard.fit_checks import Verdict
from tests.risk.made_spells import made_spells, weibull_truth

SETTINGS = load_assumptions().changed(
    survival__draws=200, prior__log_shape_mean=0.5, prior__log_shape_sd=0.45, prior__effect_sd=0.65
)
AS_OF = datetime(2026, 8, 17, tzinfo=UTC)
UNDECIDED = Contest(0, 0, 0, None, None, None, True, "Not enough scored weeks to say.")


def card(spells: pl.DataFrame) -> ModelCard:
    return make_model_card(
        spells,
        fit_fleet(spells, SETTINGS, np.random.default_rng(1)),
        UNDECIDED,
        as_of=AS_OF,
        assumptions=SETTINGS,
        rng=np.random.default_rng(2),
    )


def test_the_data_hash_knows_the_rows_and_not_their_order() -> None:
    spells = made_spells(weibull_truth(), n_sets=5)

    assert data_hash(spells) == data_hash(spells.sample(fraction=1, shuffle=True, seed=1))
    assert data_hash(spells) != data_hash(spells.head(-1))


def test_the_card_names_its_data_and_its_prior_of_every_parameter() -> None:
    spells = made_spells(weibull_truth())
    made = card(spells)
    priors = {(row["mode"], row["parameter"]): row for row in made.priors.iter_rows(named=True)}
    shape = priors["ring_land_fracture", "shape"]

    assert made.data.sha256 == data_hash(spells)
    assert made.data.hours == pytest.approx(5 * spells.height)
    assert (shape["mean"], shape["sd"]) == (0.5, 0.45)  # as this shop set them, above
    assert priors["ring_land_fracture", "shortfall_25h_on"]["sd"] == 0.65
    assert all(0 <= row["prior_share"] <= 1.05 for row in priors.values())  # rounding of a ratio


def test_every_fit_has_a_verdict_and_one_without_record_says_so() -> None:
    made = card(made_spells(lambda frame: np.zeros(frame.height), n_sets=5))

    assert set(made.checks) == {"ring_land_fracture", "ring_wear", "cox"}
    assert made.checks["ring_land_fracture"].outcome == "not enough record"
    assert made.checks["cox"].outcome == "not enough record"
    assert made.control.passes is None


def test_a_missed_week_ahead_is_a_reason_against_the_fit_of_the_chances() -> None:
    spells = made_spells(weibull_truth())
    fits = fit_fleet(spells, SETTINGS, np.random.default_rng(1))
    ahead = pl.DataFrame(
        {"week": [1], "seen": [9], "expected": [2.5], "low": [0.0], "high": [7.0], "misses": [True]}
    )

    judged = with_misses(Verdict("believed", ()), fits, "ring_land_fracture", ahead)

    assert judged.outcome == "doubtful"
    assert "week 1 ahead 9 failures" in judged.reasons[-1]
