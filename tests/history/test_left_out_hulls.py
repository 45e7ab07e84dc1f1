"""Records without those of some hulls, and what names them."""

from datetime import UTC, datetime

from ringland.history.left_out_hulls import left_out_flags, without_records_of
from tests.history.record_rows import records

NOON = datetime(2026, 6, 1, 12, tzinfo=UTC)


def test_a_hull_left_out_keeps_its_row_and_the_engine_that_moved_on() -> None:
    known = records(
        hulls=[{"hull_id": "A1"}, {"hull_id": "A2"}],
        engines=[{"engine_id": "E1"}, {"engine_id": "E2"}, {"engine_id": "E3"}],
        installations=[
            {"engine_id": "E1", "hull_id": "A1"},
            {"engine_id": "E2", "hull_id": "A1"},
            {"engine_id": "E2", "hull_id": "A2"},
            {"engine_id": "E3", "hull_id": "A2"},
        ],
        fills=[{"hull_id": "A1"}, {"hull_id": "A2"}],
        transfers=[{"from_hull_id": "A2", "to_hull_id": "A1"}],
    )

    left = without_records_of(known, ["A1"])

    assert left["hulls"]["hull_id"].to_list() == ["A1", "A2"]
    assert left["engines"]["engine_id"].to_list() == ["E2", "E3"]
    assert left["installations"].rows() == known["installations"][2:].rows()
    assert left["fills"]["hull_id"].to_list() == ["A2"]
    assert left["transfers"].is_empty()
    assert without_records_of(known, []) == known


def test_a_hull_left_out_is_named_with_what_went_wrong() -> None:
    (row,) = left_out_flags({"A1": "piston_lives: ValueError: no"}, NOON).rows(named=True)

    assert (row["flag"], row["hull_id"], row["noted_at"]) == ("hull_left_out", "A1", NOON)
    assert "What went wrong: piston_lives: ValueError: no." in row["sentence"]
