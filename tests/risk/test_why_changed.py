"""Why a chance is another than last week's: parts that add up, each from its own inputs."""

import polars as pl
import pytest

from ringland.decision.week_tables import WeekBefore, with_change
from ringland.risk.failure_risk import hull_chances
from ringland.risk.why_changed import GROUPS, chance_inputs
from tests.decision.small_fleet import SETTINGS, small_fleet

FLEET = small_fleet()
FITS = FLEET.fits()
NOW = FLEET.tables(FITS)


def parts(**then: pl.Expr) -> dict[str, dict[str, float]]:
    """By hull and part, where last week's running sets had these columns."""
    before = NOW.running.with_columns(**then)
    said = WeekBefore(chance_inputs(before), hull_chances(FITS, before, SETTINGS))
    found = with_change(NOW, FITS, said, SETTINGS).changed
    for row in (
        found.group_by("hull_id")
        .agg(pl.col("by").sum(), pl.col("chance_then", "chance_now").first())
        .iter_rows(named=True)
    ):
        assert row["by"] == pytest.approx(row["chance_now"] - row["chance_then"], abs=1e-15)
    return {
        str(hull): dict(mine.select("part", "by").iter_rows())
        for (hull,), mine in found.partition_by("hull_id", as_dict=True).items()
    }


@pytest.mark.parametrize(
    ("then", "part"),
    [
        ({"age_h": pl.col("age_h") * 0.8}, "hours"),
        ({"use_h_d": pl.col("use_h_d") / 2}, "season"),
        ({"shortfall_25h_on": pl.col("shortfall_25h_on") + 2}, "fuel"),
        ({"usual_fuel_age_25h_d": pl.col("usual_fuel_age_25h_d") + 20}, "fuel"),
        ({"full_throttle_25h": pl.col("full_throttle_25h") / 2}, "throttle"),
        ({"is_raised_calibration": ~pl.col("is_raised_calibration")}, "calibration"),
    ],
)  # fmt: skip
def test_what_moved_bears_the_change_and_nothing_else_does(
    then: dict[str, pl.Expr], part: str
) -> None:
    found = parts(**then)

    assert found
    for hull in found.values():
        assert hull[part] != 0.0
        rest = [by for name, by in hull.items() if name != part]
        assert rest == pytest.approx([0.0] * len(rest), abs=1e-12)


def test_several_moves_and_a_new_fit_still_add_up() -> None:
    before = NOW.running.with_columns(
        age_h=pl.col("age_h") * 0.9, shortfall_25h_on=pl.col("shortfall_25h_on") + 1
    )
    other = small_fleet(seed=3).fits()
    said = WeekBefore(chance_inputs(before), hull_chances(other, before, SETTINGS))
    found = with_change(NOW, FITS, said, SETTINGS).changed
    told = found.filter(pl.col("part").is_in(["refit", "hours", "fuel"]))["by"]

    assert (told != 0.0).all()
    sums = found.group_by("hull_id").agg(
        off=pl.col("by").sum() - (pl.col("chance_now") - pl.col("chance_then")).first()
    )
    assert sums["off"].abs().max() == pytest.approx(0.0, abs=1e-15)
    assert found.filter(hull_id="H03")["part"].to_list() == ["refit", *GROUPS, "other"]


def test_a_renewed_set_is_one_part_and_a_hull_without_a_chance_then_has_none() -> None:
    is_one = pl.col("hull_id") == "H03"
    renewed = parts(piston_set_id=pl.when(is_one).then(pl.lit("old")).otherwise("piston_set_id"))
    silent = parts(why_not=pl.when(is_one).then(pl.lit("silent")).otherwise("why_not"))

    assert list(renewed["H03"]) == ["set"]
    assert "H03" not in silent
    assert len(silent) == len(renewed) - 1
