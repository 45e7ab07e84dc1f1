"""Past calls: what changed since the last report, and what came of each, by hand."""

from datetime import UTC, datetime, timedelta

import polars as pl

from ringland.decision.actions.catalogue_file import default_catalogue
from ringland.pages.fleet.fleet_page import change_title
from ringland.pages.week.past_calls import PastCalls, call_history, change_since
from ringland.settings.assumptions import load_assumptions

NOW = datetime(2026, 8, 3, 6, tzinfo=UTC)
SETTINGS = load_assumptions()
CATALOGUE = default_catalogue(SETTINGS)


def past(*rows: tuple[int, str, str, str | None, float | None]) -> pl.DataFrame:
    """Rows of (weeks ago, hull, call, action, chance in 30 days)."""
    return PastCalls.validate(
        pl.DataFrame(
            [
                {
                    "as_of": NOW - timedelta(weeks=weeks),
                    "hull_id": hull,
                    "call": call,
                    "action": action,
                    "chance_30d": chance,
                    "is_given_out": True,
                }
                for weeks, hull, call, action, chance in rows
            ],
            schema={name: column.dtype for name, column in PastCalls.columns().items()},
        )
    )


def now(hull: str, call: str, action: str | None, chance: float | None) -> dict[str, object]:
    return {"hull_id": hull, "call": call, "action": action, "chance_30d": chance}


def test_a_week_worked_out_afterwards_is_told_as_such() -> None:
    said = past((1, "A", "rent_as_normal", "nothing", 0.02))
    afterwards = said.with_columns(is_given_out=pl.lit(value=False))
    none = pl.DataFrame(schema={"at": pl.Datetime("us", "UTC"), "text": pl.String})

    weeks = [
        call_history(rows, "A", none, NOW, catalogue=CATALOGUE, n_weeks=3)[0]["week"]
        for rows in (said, afterwards)
    ]
    kept = [change_since(rows, [], NOW, CATALOGUE, SETTINGS) for rows in (said, afterwards)]

    assert weeks[1] == f"{weeks[0]} (worked out afterwards from what was known then)"
    assert [change_title(change) for change in kept] == [
        f"Changed since the list given out on {weeks[0]}: 1 hull.",
        f"Changed since {weeks[1]}: 1 hull.",
    ]


def test_changes_are_told_against_the_latest_earlier_week_only() -> None:
    before = past(
        (2, "A", "keep_off", "repair", None),
        (1, "A", "rent_as_normal", "nothing", 0.02),
        (1, "B", "rent_as_normal", "nothing", 0.02),
        (1, "C", "rent_as_normal", "nothing", 0.02),
        (1, "D", "rent_as_normal", "drain_refill", 0.02),
        (1, "GONE", "rent_as_normal", "nothing", 0.02),
    )
    change = change_since(
        before,
        [
            now("A", "do_not_rent", "check", 0.12),
            now("B", "rent_as_normal", "nothing", 0.029),  # 1.45 times: not worth telling
            now("C", "rent_as_normal", "nothing", 0.03),  # 1.5 times
            now("D", "rent_as_normal", "nothing", None),
            now("NEW", "not_enough_record", None, None),
        ],
        NOW,
        CATALOGUE,
        SETTINGS,
    )

    assert change.since == NOW - timedelta(weeks=1)
    assert change.lines == (
        (
            "A",
            "from 'rent as normal' to 'do not rent'; chance in 30 days 2.0 % before, 12 % now",
        ),
        ("C", "chance in 30 days 2.0 % before, 3.0 % now"),
        ("D", "nothing instead of drain and refill"),
        ("NEW", "new on the list"),
        ("GONE", "no longer in service"),
    )


def test_without_an_earlier_week_nothing_is_said_to_have_changed() -> None:
    rows = [now("A", "book_check", "check", 0.12)]
    for kept in (None, past(), past((0, "A", "rent_as_normal", "nothing", 0.1))):
        change = change_since(kept, rows, NOW, CATALOGUE, SETTINGS)
        assert change.since is None
        assert change.lines == ()


def test_a_call_is_followed_for_its_thirty_days_and_no_longer() -> None:
    calls = past(
        (9, "A", "book_check", "check", 0.2),
        (6, "A", "rent_as_normal", "nothing", 0.1),
        (1, "A", "rent_as_normal", None, None),
        (1, "B", "rent_as_normal", "nothing", 0.1),
    )
    failed_at = NOW - timedelta(weeks=6) + timedelta(days=30)
    found = pl.DataFrame({"at": [failed_at], "text": ["Ring wear"]})
    rows = call_history(calls, "A", found, NOW, catalogue=CATALOGUE, n_weeks=8)

    assert [row["outcome"] for row in rows] == [
        "no failure found so far",
        "Ring wear found on Wed 22 Jul 2026",  # the last instant of its 30 days
        "no failure found in its 30 days",
    ]
    assert rows[0]["action"] == "none named"
    assert rows[0]["chance"] == "not known"
    assert len(call_history(calls, "A", found, NOW, catalogue=CATALOGUE, n_weeks=2)) == 2


def test_a_failure_before_the_call_is_not_its_outcome() -> None:
    calls = past((1, "A", "keep_off", "repair", None))
    found = pl.DataFrame({"at": [NOW - timedelta(weeks=1)], "text": ["Bearing"]})

    assert (
        call_history(calls, "A", found, NOW, catalogue=CATALOGUE, n_weeks=8)[0]["outcome"]
        == "no failure found so far"
    )
