"""What else could be done on a hull and why its chance moved, as its page tells it."""

from dataclasses import replace

from ringland.pages.hull.hull_choices import changed_line, changed_rows, choice_rows
from ringland.pages.site.report_page import build_site
from tests.decision.small_fleet import small_fleet

REPORT = small_fleet().report()
PARTS = (
    {"hull_id": "H03", "part": "refit", "by": 0.004, "chance_then": 0.05, "chance_now": 0.076},
    {"hull_id": "H03", "part": "fuel", "by": 0.022, "chance_then": 0.05, "chance_now": 0.076},
    {"hull_id": "H03", "part": "season", "by": -0.0001, "chance_then": 0.05, "chance_now": 0.076},
)


def test_the_choices_of_a_hull_are_the_best_sets_and_leaving_it_last() -> None:
    sheet = next(sheet for sheet in REPORT.hulls if sheet.hull_id == "H03")
    sets = REPORT.decisions.sets.filter(hull_id="H03")
    rows = choice_rows(sheet, REPORT)

    assert len(rows) == sets.height > 1
    assert rows[-1][0] == "Leave it as it is"
    assert sum("(this week's plan)" in row[0] for row in rows) == int(
        (sets["is_planned"] & (sets["place"] > 0)).sum()
    )


def test_what_moved_a_chance_stands_largest_first_and_what_hardly_did_not_at_all() -> None:
    sheet = replace(REPORT.hulls[0], changed=PARTS)

    assert changed_rows(sheet) == [
        ("fuel it burned", "+2.2"),
        ("what the whole fleet's record taught since", "+0.4"),
    ]
    assert changed_line(sheet) == "Chance in 30 days 7.6 %, last week 5.0 %."
    assert changed_line(replace(sheet, changed=())) == ""


def test_the_page_shows_both_and_a_customers_copy_no_prices() -> None:
    hulls = tuple(replace(sheet, changed=PARTS) for sheet in REPORT.hulls)
    page = build_site(replace(REPORT, hulls=hulls))["hulls/H03.html"].decode()

    assert "What can be done, and what each leaves" in page
    assert "Why its chance is another than last week" in page
    copy = build_site(replace(REPORT, hulls=hulls, is_customer_copy=True))[
        "hulls/H03.html"
    ].decode()
    assert "What can be done, and what each leaves" not in copy
