"""Credibility weights against a published example, by hand, and what must hold for any fleet."""

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ringland.risk.credibility import credible_means

# Hachemeister (1975), Credibility for regression models with application to trend: average
# claims and numbers of claims of five states over twelve quarters; results as printed by
# R actuar 3.3 `cm(~state, hachemeister, ratios = ..., weights = ...)` (Buhlmann-Gisler), both
# from memory.  That the function comes to all fifteen printed digits from the data says that
# neither was remembered wrongly.
MEANS = {
    "1": "1738 1642 1794 2051 2079 2234 2032 2035 2115 2262 2267 2517",
    "2": "1364 1408 1597 1444 1342 1675 1470 1448 1464 1831 1612 1471",
    "3": "1759 1685 1479 1763 1674 2103 1502 1622 1828 2155 2233 2059",
    "4": "1223 1146 1010 1257 1426 1532 1953 1123 1343 1243 1762 1306",
    "5": "1456 1499 1609 1741 1482 1572 1606 1735 1607 1573 1613 1690",
}
WEIGHTS = {
    "1": "7861 9251 8706 8575 7917 8263 9456 8003 7365 7832 7849 9077",
    "2": "1622 1742 1523 1515 1622 1602 1964 1515 1527 1748 1654 1861",
    "3": "1147 1357 1329 1204 998 1077 1277 1218 896 1003 1108 1121",
    "4": "407 396 348 341 315 328 352 331 287 384 321 342",
    "5": "2902 3172 3046 3068 2693 2910 3275 2697 2663 3017 3242 3425",
}
PRINTED = {  # own mean, credibility, credible mean
    "1": (2060.921, 0.9847404, 2055.165),
    "2": (1511.224, 0.9276352, 1523.706),
    "3": (1805.843, 0.8984754, 1793.444),
    "4": (1352.976, 0.7279092, 1442.967),
    "5": (1599.829, 0.9587911, 1603.285),
}
COLLECTIVE = 1683.713


def blocks(*rows: tuple[str, str, float | None, float]) -> pl.DataFrame:
    return pl.DataFrame(
        rows,
        schema={
            "dock_id": pl.String, "hull_id": pl.String, "mean": pl.Float64, "weight": pl.Float64,
        },
        orient="row",
    )  # fmt: skip


def test_credible_means_are_those_of_the_published_example() -> None:
    found = credible_means(
        blocks(
            *(
                ("all", unit, float(mean), float(weight))
                for unit, means in MEANS.items()
                for mean, weight in zip(means.split(), WEIGHTS[unit].split(), strict=True)
            )
        )
    )

    for row in found.iter_rows(named=True):
        own, credibility, credible = PRINTED[row["hull_id"]]
        # half of the last printed digit
        assert row["own_mean"] == pytest.approx(own, abs=5.1e-4)
        assert row["credibility"] == pytest.approx(credibility, abs=5.1e-8)
        assert row["credible_mean"] == pytest.approx(credible, abs=5.1e-4)
        assert row["dock_mean"] == pytest.approx(COLLECTIVE, abs=5.1e-4)


def test_by_hand_two_hulls_of_one_dock() -> None:
    """Blocks (0, 2) and (2, 4), means 1 and 3: s2 = (1 + 1 + 1 + 1) / 2 = 2.

    Spread of the means, weight 2 each, about 2: 2 + 2 = 4; less s2 x 1: 2; over 4 - 8 / 4
    = 2: a = 1.  Z = 2 / (2 + 2 / 1) = 1/2: halfway to the dock's 2.
    """
    found = credible_means(
        blocks(("d", "A", 0.0, 1), ("d", "A", 2.0, 1), ("d", "B", 2.0, 1), ("d", "B", 4.0, 1))
    )

    assert found["credibility"].to_list() == pytest.approx([0.5, 0.5])
    assert found["credible_mean"].to_list() == pytest.approx([1.5, 2.5])


def test_hulls_that_differ_no_more_than_chance_take_their_docks_mean() -> None:
    found = credible_means(
        blocks(("d", "A", 0.0, 1), ("d", "A", 4.0, 1), ("d", "B", 1.0, 1), ("d", "B", 3.0, 3))
    )

    assert found["credibility"].to_list() == [0, 0]
    # each block by its weight: (0 + 4 + 1 + 9) / 6
    assert found["credible_mean"].to_list() == pytest.approx([14 / 6, 14 / 6])


def test_one_block_each_leaves_every_hull_its_own_mean() -> None:
    found = credible_means(blocks(("d", "A", 1.0, 1), ("d", "B", 5.0, 1), ("d", "C", None, 1)))

    assert found["hull_id"].to_list() == ["A", "B"]
    assert found["credible_mean"].to_list() == [1, 5]


def test_no_block_at_all_gives_no_row() -> None:
    assert credible_means(blocks()).is_empty()


NUMBERS = st.tuples(
    st.sampled_from("de"), st.sampled_from("ABC"), st.floats(-5, 5), st.floats(0.1, 9)
)


@given(st.lists(NUMBERS, min_size=1, max_size=20))
@settings(derandomize=True, deadline=None)
def test_a_credible_mean_lies_between_the_hulls_own_and_its_docks(
    rows: list[tuple[str, str, float, float]],
) -> None:
    for row in credible_means(blocks(*rows)).iter_rows(named=True):
        ends = sorted((row["own_mean"], row["dock_mean"]))
        slack = 1e-9  # rounding
        assert 0 <= row["credibility"] <= 1
        assert ends[0] - slack <= row["credible_mean"] <= ends[1] + slack
