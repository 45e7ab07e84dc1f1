from datetime import timedelta
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ringland.history.meter_readings import good_readings, meter_spans
from ringland.words.doubt_words import DOUBT_REMEDIES
from tests.history.record_rows import at, records


def readings(*figures: float, meter_id: str = "M1", every_d: float = 7) -> list[dict[str, object]]:
    return [
        {"hull_id": "H01", "meter_id": meter_id, "meter_h": figure,
         "read_at": at("05-01 08:00") + timedelta(days=every_d * i)}
        for i, figure in enumerate(figures)
    ]  # fmt: skip


def judged(*rows: dict[str, object]) -> tuple[list[float], list[str]]:
    good, flags = good_readings(records(hour_readings=rows)["hour_readings"])
    return good["meter_h"].to_list(), flags["flag"].to_list()


@pytest.mark.parametrize(
    ("shown", "good", "flags"),
    [
        ([100, 110, 120, 130], [100, 110, 120, 130], []),
        ([100, 110, 110, 130], [100, 110, 110, 130], []),  # the hull did not run
        ([100, 110, 62, 130], [100, 110, 130], ["meter_runs_backwards"]),
        ([100, 110, 990, 130], [100, 110, 130], ["meter_over_24_h_a_day"]),
        ([100, 110, 1205, 130], [100, 110, 130], ["meter_factor_ten"]),
        ([100, 110, 12.0, 130], [100, 110, 130], ["meter_factor_ten"]),
        ([123.4, 132.1, 312.9, 145], [123.4, 132.1, 145], ["meter_digits_swapped"]),  # 132.9
        ([5000, 100, 110, 120], [100, 110, 120], ["meter_over_24_h_a_day"]),
        ([991, 100, 110, 120], [100, 110, 120], ["meter_factor_ten"]),
    ],
)
def test_a_reading_that_cannot_be_true_is_flagged_by_what_was_likely_wrong(
    shown: list[float], good: list[float], flags: list[str]
) -> None:
    assert judged(*readings(*shown)) == (good, flags)


def test_a_flag_says_meter_reading_and_reason() -> None:
    _, flags = good_readings(records(hour_readings=readings(100, 110, 62, 130))["hour_readings"])

    assert flags.row(0) == (
        "meter_runs_backwards",
        "H01",
        None,
        at("05-15 08:00"),
        "Meter M1 was read as 62.0 h: less than an earlier reading of the same meter. "
        "It is not used.",
        DOUBT_REMEDIES["meter_runs_backwards"],
        "hour_readings",
        "H01; M1; 2025-05-15T08:00:00Z",
    )


def test_a_new_meter_starts_at_any_figure() -> None:
    old = readings(100, 110, 120)
    new = readings(0.2, 8, meter_id="M2")
    for i, row in enumerate(new):
        row["read_at"] = at("05-16 08:00") + timedelta(days=7 * i)

    assert judged(*old, *new) == ([100, 110, 120, 0.2, 8], [])


@pytest.mark.parametrize(
    ("shown", "line", "flags"),
    [
        # 999.9 comes round: 12.3 is 1,012.3
        ([940, 985.5, 12.3, 40], [940, 985.5, 1012.3, 1040], ["meter_rolled_over"]),
        ([9900, 9990, 55, 100], [9900, 9990, 10055, 10100], ["meter_rolled_over"]),
        # set back: what was gained before is not known, the line counts from the reading before
        ([300, 310, 320, 4, 12, 20], [300, 310, 320, 324, 332, 340], ["meter_reset"]),
        # one low reading is a slip as long as nothing follows it
        ([300, 310, 320, 4], [300, 310, 320], ["meter_runs_backwards"]),
        # too far from the end of the dial to have come round, too few to believe a reset
        ([300, 310, 320, 4, 12], [300, 310, 320], ["meter_runs_backwards"] * 2),
        # a slip after a rollover is judged along the line
        (
            [940, 985.5, 12.3, 400, 45],
            [940, 985.5, 1012.3, 1045],
            ["meter_rolled_over", "meter_factor_ten"],
        ),
    ],
)
def test_a_meter_that_starts_again_is_followed_on(
    shown: list[float], line: list[float], flags: list[str]
) -> None:
    good, found = good_readings(records(hour_readings=readings(*shown))["hour_readings"])

    assert good["line_h"].to_list() == pytest.approx(line)
    assert found["flag"].to_list() == flags


def test_a_span_with_a_reset_in_it_is_not_known() -> None:
    rows = readings(300, 310, 320, 4, 12, 20)
    good, _ = good_readings(records(hour_readings=rows)["hour_readings"])

    assert meter_spans(good)["gained_h"].to_list() == [10, 10, 8, 8]


def test_no_meter_runs_more_than_a_day_in_a_day() -> None:
    assert judged(*readings(10, 33.9, every_d=1)) == ([10, 33.9], [])
    assert judged(*readings(10, 35, every_d=1))[0] == [10]


def test_spans_join_neighbouring_good_readings_of_one_meter() -> None:
    rows = [*readings(100, 62, 120), *readings(1, 5, meter_id="M2")]
    good, _ = good_readings(records(hour_readings=rows)["hour_readings"])

    spans = meter_spans(good).sort("meter_id")

    assert spans.select("meter_id", "gained_h").rows() == [("M1", 20.0), ("M2", 4.0)]
    assert spans["to_at"][0] - spans["from_at"][0] == timedelta(days=14)


def test_no_readings_give_no_spans_and_no_flags() -> None:
    good, flags = good_readings(records()["hour_readings"])

    assert good.is_empty()
    assert flags.is_empty()
    assert meter_spans(good).is_empty()


@settings(derandomize=True, deadline=None)
@given(
    gains=st.lists(st.floats(0, 100), min_size=1, max_size=12),
    slips=st.lists(st.tuples(st.integers(0, 11), st.floats(0, 5000)), max_size=3),
    seed=st.randoms(use_true_random=False),
)
def test_good_readings_never_fall_and_row_order_does_not_matter(
    gains: list[float], slips: list[tuple[int, float]], seed: Random
) -> None:
    shown = [sum(gains[: i + 1]) for i in range(len(gains))]
    for place, figure in slips:
        shown[place % len(shown)] = figure
    rows = readings(*shown)

    good, flags = good_readings(records(hour_readings=rows)["hour_readings"])
    seed.shuffle(rows)
    again, _ = good_readings(records(hour_readings=rows)["hour_readings"])

    starts = flags["flag"].is_in(["meter_rolled_over", "meter_reset"]).sum()
    assert good["line_h"].is_sorted()
    assert good.height + flags.height - starts == len(shown)
    assert good.height >= len(shown) - len(slips)  # at most the slips are lost
    assert again.equals(good)
