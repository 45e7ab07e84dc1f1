"""Whether a file loaded before is worth loading again."""

import pytest

from pipelines.loaded_before import EarlierLoad, held_against
from ringland.intake.mapping.mapped_rows import NO_CLOCKS, DockClocks

KNOWN = {"hulls": {"H1", "H2"}, "docks": {"north"}}


def test_the_order_of_the_ids_on_record_does_not_matter() -> None:
    backwards = {"docks": {"north"}, "hulls": {"H2", "H1"}}

    assert held_against(KNOWN, NO_CLOCKS) == held_against(backwards, NO_CLOCKS)


@pytest.mark.parametrize(
    ("known", "clocks"),
    [
        (KNOWN | {"hulls": {"H1", "H2", "H3"}}, NO_CLOCKS),
        (KNOWN | {"hulls": {"north"}, "docks": {"H1", "H2"}}, NO_CLOCKS),
        (KNOWN, DockClocks({"north": "America/Chicago"}, {})),
        (KNOWN, DockClocks({}, {"H1": "north"})),
    ],
)
def test_another_id_or_clock_on_record_is_seen(
    known: dict[str, set[str]], clocks: DockClocks
) -> None:
    assert held_against(known, clocks) != held_against(KNOWN, NO_CLOCKS)


@pytest.mark.parametrize(
    ("rows_set_aside", "read_by", "held", "stays"),
    [
        (0, "m1", "then", True),
        (0, "m1", "now", True),  # no row of it hangs on what is on record
        (3, "m1", "then", True),
        (3, "m1", "now", False),
        (0, "m2", "then", False),
        (0, None, "then", False),
    ],
)
def test_a_file_stays_as_it_is_unless_a_row_of_it_could_fare_otherwise(
    rows_set_aside: int, read_by: str | None, held: str, stays: bool
) -> None:
    earlier = EarlierLoad("ab", 10, rows_set_aside, 0, "m1", "then")

    assert earlier.stays(read_by, held) is stays


def test_rows_set_aside_by_an_older_ringland_are_tried_again() -> None:
    assert not EarlierLoad("ab", 10, 3, 0, None, None).stays(None, "now")
