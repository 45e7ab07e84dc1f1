"""The score page: counts in words, the empty case, and no word that flatters."""

from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
import pytest

from ringland.assumptions import load_assumptions
from ringland.fleet_risk.score_history import ScoreHistory, score_history
from ringland.week_pages.report_page import build_site
from ringland.week_pages.score_page import (
    flag_line,
    lead_line,
    plain_line,
    rival_rows,
    score_context,
)
from tests.service_week.small_fleet import small_fleet

SETTINGS = load_assumptions().changed(survival__draws=200)
START = datetime(2026, 5, 4, tzinfo=UTC)
AT = pl.Datetime("us", "UTC")


def history(n_hulls: int, followed_d: float) -> ScoreHistory:
    """Hulls H0, H1, ... told 30 % if even (then flagged) and 5 % if odd; every fourth fails."""
    hulls = [f"H{n}" for n in range(n_hulls)]
    keys = pl.DataFrame(
        {"hull_id": hulls, "as_of": [START] * n_hulls}, schema_overrides={"as_of": AT}
    )
    even = np.arange(n_hulls) % 2 == 0
    failed = hulls[::4]
    return score_history(
        keys.with_columns(
            age_h=pl.lit(200.0), expected_h_30d=pl.lit(40.0),
            chance_30d=pl.Series(np.where(even, 0.30, 0.05)),
        ),
        keys.with_columns(call=pl.Series(np.where(even, "book_check", "rent_as_normal"))),
        keys.with_columns(fuel_age_25h_d=pl.lit(20.0)),
        failures=pl.DataFrame(
            {"hull_id": failed, "failed_at": [START + timedelta(days=10)] * len(failed)},
            schema={"hull_id": pl.String, "failed_at": AT},
        ),
        taken_out=pl.DataFrame(schema={"hull_id": pl.String, "taken_out_at": AT}),
        followed_to=START + timedelta(days=followed_d),
        assumptions=SETTINGS,
        rng=np.random.default_rng(1),
    )  # fmt: skip


def test_flags_and_misses_are_counted_by_hand() -> None:
    """40 hulls: 20 flagged, of which every other fails (10); no unflagged hull fails."""
    line = flag_line(history(40, followed_d=90))

    assert line.startswith("20 warnings")
    assert "10 were followed by a failure within 30 days of a flag" in line
    assert "10 of 20 flags were, and 0 hull-weeks without a flag" in line


def test_the_lead_says_how_many_failures_were_flagged_and_how_long_before() -> None:
    """Ten fail ten days after the one report, all of them flagged in it."""
    assert lead_line(history(40, followed_d=90)) == (
        "10 ring failures fell in the weeks that can be judged: 10 on hulls flagged before, "
        "first 10 days ahead (looking back 30 days), and 0 without a flag."
    )
    assert lead_line(history(8, followed_d=20)).startswith("No ring failure")


def test_a_week_whose_days_have_not_passed_is_not_scored() -> None:
    context = score_context(history(8, followed_d=20), SETTINGS)

    assert context["is_empty"]
    assert dict(context["counts"])["horizon not over"] == 8


def test_the_page_stands_in_the_site_with_its_figures() -> None:
    fleet = small_fleet()
    scored = history(40, followed_d=90)

    page = build_site(fleet.report(), score=scored)["score.html"].decode()
    bare = build_site(fleet.report())

    assert "score.html" not in bare
    assert b"Was it right?" not in bare["index.html"]
    assert "20 warnings" in page
    assert "Brier score" in page
    for row in scored.leads.iter_rows(named=True):
        assert row["hull_id"] in page


def test_the_picture_shows_the_groups_of_the_table() -> None:
    context = score_context(history(40, followed_d=90), SETTINGS)

    points = context["figures"]["calibration"].data[1]

    assert list(points.x) == pytest.approx([row["said"] for row in context["groups"]], abs=1e-5)
    assert list(points.y) == pytest.approx(
        [row["came_true"] for row in context["groups"]], abs=1e-5
    )


def test_rivals_are_told_with_the_range_of_the_tools_lead() -> None:
    scored = history(40, followed_d=90)
    rows = {row["name"]: row for row in rival_rows(scored)}

    for row in scored.scores.iter_rows(named=True):
        told = rows[row["forecaster"]]
        assert told["brier"] == f"{row['brier']:.4f}"
        if row["tool_better_by"] is not None:
            assert told["lead"].endswith(f" to {row['tool_better_high']:.4f})")


def test_the_plain_line_says_what_came_true_at_both_ends() -> None:
    """Groups by chance: 5 % never failed, 30 % failed in 10 of 20."""
    line = plain_line(history(40, followed_d=90))

    assert line.startswith("Hulls told about 30 % for 30 days failed in ")
    assert "those told about 5.0 % in under 0.1 % of" in line
    assert plain_line(history(8, followed_d=20)).startswith("Too few")
