"""What the octane record may be wrong by, by hand and against the fit without error."""

import numpy as np
import polars as pl
import pytest

from ringland.risk.exposure_error import exposure_error
from ringland.risk.fleet_hazard import fit_fleet
from ringland.settings.assumptions import load_assumptions
from tests.risk.made_spells import made_spells

NONE = load_assumptions().changed(
    survival__draws=300, exposure_error__written_on=0.0, exposure_error__possible_on=0.0
)
ONE = NONE.changed(exposure_error__written_on=1.0)


def with_set_means(error_on: float, seed: int = 1) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Spells with each set's own mean shortfall, and the same written with an error a set."""
    rng = np.random.default_rng(seed)
    n = 150
    true, wrong = rng.gamma(1.5, 1.2, n), rng.normal(0, error_on, n)
    plain = made_spells(lambda frame: np.zeros(frame.height), n_sets=n, seed=seed)
    which = plain["piston_set_id"].str.slice(1).cast(pl.Int64).to_numpy()
    x = true[which]
    age = (plain["start_h"] + plain["stop_h"]).to_numpy() / 2
    hazard = 1.5 / 900 * np.sqrt(age / 900) * np.exp(0.5 * x)
    failed = rng.random(plain.height) < -np.expm1(-5 * hazard)
    over = pl.col("mode").is_not_null().cast(pl.Int64)

    def written(values: np.ndarray) -> pl.DataFrame:
        names = ("shortfall_25h_on", "shortfall_25h_low_on", "shortfall_25h_high_on")
        return (
            plain.with_columns(
                *(pl.Series(name, values) for name in names),
                mode=pl.when(pl.Series(failed)).then(pl.lit("ring_land_fracture")),
            )
            .with_columns(before=over.cum_sum().over("piston_set_id") - over)
            .filter(pl.col("before") == 0)
            .drop("before")
        )

    return written(x), written(np.maximum(x + wrong[which], 0.0))


def effect(spells: pl.DataFrame, settings) -> tuple[float, float, float]:  # type: ignore[no-untyped-def]
    found = fit_fleet(spells, settings, np.random.default_rng(1)).ring_land.effects(0.95)
    one = next(e for e in found if e.name == "shortfall_25h_on")
    return float(np.log(one.low)), float(np.log(one.hazard_ratio)), float(np.log(one.high))


def test_a_stated_error_of_what_was_written_gives_the_effect_back() -> None:
    """True effect 0.5 a number; an error of one number a set draws it down where untold."""
    clean, wrong = with_set_means(1.0)

    without = effect(clean, NONE)[1]
    untold = effect(wrong, NONE)[1]
    low, told, high = effect(wrong, ONE)

    assert untold < without - 0.05
    assert abs(told - without) < abs(untold - without)
    assert told == pytest.approx(without, rel=0.25)  # one fleet; 3 % apart over fourteen
    assert low < 0.5 < high


@pytest.mark.parametrize("spread_on", [0.8, 1.2])
def test_what_is_believed_lies_one_for_one_with_the_truth_within_docks(spread_on: float) -> None:
    """An estimate without form took error for truth: a number believed was 0.65 to 0.87 true ones.

    So much of an effect within docks was lost.  Thirty fleets of three docks of 35 sets each.
    """
    rng = np.random.default_rng(7)
    dock = np.repeat(np.arange(3), 35)
    total = np.zeros(2)
    for _ in range(30):
        true = np.maximum(rng.normal(np.array([2.5, 1.5, 0.6])[dock], spread_on), 0.0)
        written = np.maximum(true + rng.normal(0, 1.0, len(dock)), 0.0)
        spells = pl.DataFrame(
            {
                "piston_set_id": [f"S{i:03}" for i in range(len(dock))],
                "dock_id": [f"D{k}" for k in dock],
                "is_raised_calibration": np.zeros(len(dock), dtype=bool),
                "shortfall_25h_on": written,
                "start_h": np.zeros(len(dock)),
                "stop_h": np.full(len(dock), 100.0),
            }
        )
        shift = exposure_error(spells, ONE).shift_on
        believed = written + np.array([shift[name] for name in spells["piston_set_id"]])
        x, y = (v - np.bincount(dock, v)[dock] / 35 for v in (true, believed))
        total += [x @ y, y @ y]
    assert total[0] / total[1] == pytest.approx(1.0, abs=0.1)


def test_a_set_is_drawn_to_those_of_its_own_calibration() -> None:
    """Raised sets need two numbers more; they were drawn towards the stock sets of their dock."""
    raised = np.arange(80) % 2 == 0
    found = []
    for seed in range(5, 13):
        rng = np.random.default_rng(seed)
        written = np.maximum(np.where(raised, 3.0, 1.0) + rng.normal(0, 1.0, 80), 0.0)
        spells = pl.DataFrame(
            {
                "piston_set_id": [f"S{i:02}" for i in range(80)],
                "dock_id": ["D"] * 80,
                "is_raised_calibration": raised,
                "shortfall_25h_on": written,
                "start_h": np.zeros(80),
                "stop_h": np.full(80, 100.0),
            }
        )
        shift = exposure_error(spells, ONE).shift_on
        believed = written + np.array([shift[name] for name in spells["piston_set_id"]])
        found.append([believed[raised].mean(), believed[~raised].mean(), believed[raised].std()])
    high, low, apart = np.mean(found, axis=0)

    assert high == pytest.approx(3.0, abs=0.2)
    assert low == pytest.approx(1.0, abs=0.2)
    assert apart < 0.3  # like sets differ by the error alone


def test_without_an_error_nothing_moves() -> None:
    clean, _ = with_set_means(1.0)

    error = exposure_error(clean, NONE)

    assert error.believed(clean).equals(clean)
    blur = error.blur(clean, ("shortfall_25h_on", "fuel_age_25h_d"))
    assert blur is not None
    assert not blur.any()


def test_a_far_off_set_is_drawn_to_the_others_and_stays_open() -> None:
    """True means 1 but for noise of 1: a written 4 is hardly believed, and less sure than 1."""
    _, wrong = with_set_means(1.0)
    error = exposure_error(wrong, ONE)
    means = wrong.group_by("piston_set_id").agg(pl.col("shortfall_25h_on").mean())
    shift = dict(error.shift_on)
    highest = means.sort("shortfall_25h_on")["piston_set_id"][-1]

    assert shift[highest] < 0
    assert np.median(list(error.left_on.values())) < 1.0  # the others tell something of it
    believed = error.believed(wrong)["shortfall_25h_on"]
    assert believed.min() >= 0  # type: ignore[operator]
    assert believed.std() < wrong["shortfall_25h_on"].std()  # type: ignore[operator]


def test_what_is_possible_lies_between_the_bounds() -> None:
    """Bounds 3 numbers apart: sd 3 / sqrt(12), with 0.5 beside it; none where fuel met the need."""
    frame = pl.DataFrame(
        {
            "piston_set_id": ["A", "B"],
            "shortfall_25h_on": [1.5, 0.0],
            "shortfall_25h_low_on": [0.0, 0.0],
            "shortfall_25h_high_on": [3.0, 0.0],
        }
    )
    error = exposure_error(frame.clear(), NONE.changed(exposure_error__possible_on=0.5))

    blur = error.blur(frame, ("shortfall_25h_on",))

    assert blur is not None
    np.testing.assert_allclose(blur[:, 0], [np.sqrt(9 / 12 + 0.25), 0.0])
    assert error.blur(frame.drop("shortfall_25h_low_on"), ("shortfall_25h_on",)) is None
