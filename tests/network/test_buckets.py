from datetime import timedelta

import polars as pl
import pytest
from polars.testing import assert_frame_equal

from ringland.network.buckets import (
    OpenBucketError,
    cut_by_operator,
    names_in,
    refuse_shared_names,
)
from tests.network.two_operators import AS_OF, CAME, added, two_operators

LATER = CAME + timedelta(days=20)


def test_every_row_goes_to_one_operator_and_prices_to_all() -> None:
    records = two_operators()

    cut = cut_by_operator(records, "home")

    assert list(cut) == ["alder", "birch"]
    for kind, rows in records.items():
        parts = [cut[one][kind] for one in cut]
        if kind == "costs":
            assert all(part.equals(rows) for part in parts)
        else:
            assert sum(part.height for part in parts) == rows.height, kind
    assert cut["birch"]["fills"]["hull_id"].unique().sort().to_list() == ["b1", "b2"]


def test_what_names_no_operator_is_the_homes() -> None:
    records = two_operators()
    nobody = pl.lit(None, pl.String).alias("operator")
    records["docks"] = records["docks"].with_columns(nobody)

    assert list(cut_by_operator(records, "home")) == ["home"]


@pytest.mark.parametrize(
    ("kind", "cells", "words"),
    [
        (
            "installations",
            {"engine_id": "ea1", "hull_id": "b1", "installed_at": LATER},
            ["engine ea1 of alder", "hull b1 of birch", "2026-05-21"],
        ),
        (
            "fills",
            {"hull_id": "b2", "filled_at": LATER, "volume_l": 20.0, "source": "dock",
             "source_dock_id": "a"},
            ["hull b2 of birch", "dock a of alder"],
        ),
        (
            "transfers",
            {"from_hull_id": "a2", "to_hull_id": "b1", "moved_at": LATER, "volume_l": 5.0},
            ["hull a2 of alder", "hull b1 of birch"],
        ),
        (
            "hulls",
            {"hull_id": "b9", "dock_id": "a", "tank_l": 70.0, "in_service_at": CAME,
             "operator": "birch"},
            ["hull b9 of birch", "dock a of alder"],
        ),
    ],
    ids=["engine swap", "fill", "transfer", "berth"],
)  # fmt: skip
def test_what_crosses_the_cut_is_refused_by_name(
    kind: str, cells: dict[str, object], words: list[str]
) -> None:
    """Cut by dock, engines that went from one to another had up to 424 h wrong, without a word."""
    with pytest.raises(OpenBucketError) as refused:
        cut_by_operator(added(two_operators(), kind, **cells), "home")

    assert all(word in str(refused.value) for word in words), refused.value


def test_a_swap_that_was_put_right_crosses_no_more() -> None:
    records = added(
        two_operators(), "installations", engine_id="ea1", hull_id="b1", installed_at=LATER
    )
    righted = added(
        records, "corrections", record_kind="installations",
        record_key=f"ea1; {LATER:%Y-%m-%dT%H:%M:%SZ}", change="corrected", field="hull_id",
        new_value="a2", reason="wrong hull", recorded_at=AS_OF,
    )  # fmt: skip

    cut = cut_by_operator(righted, "home")

    assert cut["alder"]["corrections"].height == 1
    assert cut["birch"]["corrections"].is_empty()
    assert cut["alder"]["installations"].height == 3


def test_a_correction_that_carries_a_fill_across_the_cut_is_refused() -> None:
    righted = added(
        two_operators(), "corrections", record_kind="fills",
        record_key=f"a1; {CAME + timedelta(days=1, hours=8):%Y-%m-%dT%H:%M:%SZ}",
        change="corrected", field="hull_id", new_value="b1", reason="wrong hull",
        recorded_at=AS_OF,
    )  # fmt: skip

    with pytest.raises(OpenBucketError, match="birch"):
        cut_by_operator(righted, "home")


def test_one_engine_in_two_buckets_is_refused_by_name() -> None:
    cut = cut_by_operator(two_operators(), "home")
    birch = cut["birch"] | {
        "engines": pl.concat([cut["birch"]["engines"], cut["alder"]["engines"]])
    }

    with pytest.raises(OpenBucketError, match="engine ea1 stands in the records of alder and of"):
        refuse_shared_names({"alder": names_in(cut["alder"]), "birch": names_in(birch)})


def test_the_order_of_rows_is_kept() -> None:
    records = two_operators()
    cut = cut_by_operator(records, "home")
    mine = records["sessions"].filter(pl.col("hull_id").str.starts_with("a"))
    assert_frame_equal(cut["alder"]["sessions"], mine)
