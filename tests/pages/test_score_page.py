"""The score page: counts in words, the empty case, and no word that flatters."""

from dataclasses import replace

import polars as pl
import pytest

from ringland.pages.score import score_words as said
from ringland.pages.score.score_page import (
    SHOWN_ROWS,
    flag_line,
    lead_line,
    plain_line,
    rival_rows,
    score_context,
)
from ringland.pages.site.report_page import build_site
from ringland.score.weeks_ahead import WeeksAhead
from tests.decision.small_fleet import small_fleet
from tests.pages.small_score import SETTINGS, history


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


def test_weeks_ahead_stand_on_the_page_and_a_miss_is_a_doubt_on_every_page() -> None:
    """Nine failures in the second week ahead where 2.5 were said, 0 to 7 in keeping."""
    ahead = WeeksAhead.validate(
        pl.DataFrame(
            {"week": [1, 2], "n_hull_weeks": [40, 40], "seen": [2, 9], "expected": [2.5, 2.5],
             "low": [0.0, 0.0], "high": [7.0, 7.0], "misses": [False, True]}
        )
    )  # fmt: skip
    report = replace(small_fleet().report(), ahead=ahead)

    site = build_site(report, score=history(40, followed_d=90))

    assert said.AHEAD in site["score.html"].decode()
    assert said.AHEAD_MISSES[True] in site["score.html"].decode()
    doubt = "in week 2 ahead 9 failures where 2.5 were said (0 to 7 in keeping)"
    pages = [page.decode() for name, page in site.items() if name.endswith(".html")]
    assert all(doubt in page for page in pages)
    assert not any(doubt in line for line in small_fleet().report().model_doubts)


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


def test_a_long_list_of_warnings_shows_the_latest_and_says_so() -> None:
    scored = history(40, followed_d=90)
    many = replace(scored, warnings=pl.concat([scored.warnings] * 20))

    context = score_context(many, SETTINGS)

    assert len(context["warnings"]) == SHOWN_ROWS
    assert context["n_warnings"] == 400
