"""Rules stand until a week leaves them out; looks at the record stand for their days."""

from datetime import UTC, datetime, timedelta

import polars as pl

from ringland.decision.actions.catalogue_file import default_catalogue
from ringland.decision.actions.standing_rules import GivenOut, standing_from
from ringland.settings.assumptions import load_assumptions

CATALOGUE = default_catalogue(load_assumptions())
AS_OF = datetime(2026, 8, 3, tzinfo=UTC)


def standing(*options: str | None) -> list[tuple[str, int]]:
    """What stands of the options one hull got, oldest first, and weeks since it was begun."""
    weeks = [AS_OF - timedelta(weeks=len(options) - at) for at in range(len(options))]
    given = GivenOut.validate(
        pl.DataFrame(
            {"as_of": weeks, "hull_id": ["H1"] * len(options), "option": list(options)},
            schema_overrides={"option": pl.String},
        ),
        cast=True,
    )
    found = standing_from(given, CATALOGUE, AS_OF)
    begun = ((AS_OF - at).days // 7 for at in found["begun_at"])
    return list(zip(found["action"], begun, strict=True))


def test_a_rule_stands_from_the_first_of_its_unbroken_weeks() -> None:
    assert standing("fuel_rule", "nothing", "fuel_and_check", "fuel_rule") == [("fuel_rule", 2)]


def test_a_rule_that_last_weeks_list_left_out_is_ended() -> None:
    assert standing("fuel_rule", "fuel_rule", "leak_down_check") == []


def test_a_week_in_which_nothing_could_be_said_ends_no_rule() -> None:
    assert standing("fuel_rule", None) == [("fuel_rule", 2)]


def test_both_rules_of_a_bundle_stand() -> None:
    assert standing("fuel_and_throttle") == [("fuel_rule", 1), ("restrict_throttle", 1)]


def test_a_job_done_once_does_not_stand_and_a_look_at_the_record_does_for_its_days() -> None:
    assert standing("planned_top_end", "leak_down_check") == []
    assert standing("read_calibration", *["nothing"] * 20) == [("read_calibration", 21)]
    assert standing("read_calibration", *["nothing"] * 50) == []


def test_a_calibration_put_back_need_not_be_read_out() -> None:
    """A hull put back to the mild calibration was sent to have its calibration read out two
    weeks later, at the chance of a raised one that nobody wrote down."""
    assert standing("mild_calibration", "nothing") == [("read_calibration", 2)]
    assert standing("fuel_rule", "nothing") == []


def test_the_week_itself_is_not_an_earlier_one() -> None:
    given = pl.DataFrame({"as_of": [AS_OF], "hull_id": ["H1"], "option": ["fuel_rule"]})

    assert standing_from(GivenOut.validate(given, cast=True), CATALOGUE, AS_OF).is_empty()


def test_a_week_in_which_the_hull_stood_broken_ends_no_rule() -> None:
    """A fault found in use: a repair's week dropped the dock's order, begun again the next."""
    assert standing("fuel_rule", "repair") == [("fuel_rule", 2)]
