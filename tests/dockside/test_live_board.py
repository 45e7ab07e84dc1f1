"""The board says what the list says, and is more careful where a record of late asks for it."""

from dataclasses import replace
from datetime import timedelta

import polars as pl

from ringland.contracts.decision_tables import OPEN
from ringland.dockside.alerts import Alert
from ringland.dockside.live_board import Listed, Looked, board_page, live_board
from ringland.dockside.roles import DOCK_HAND, MECHANIC, OPERATOR, Person, scope_of
from tests.dockside.small_shop import NOW, shop

MIA = Person("1", "Mia", MECHANIC)
US = Person("2", "Us", OPERATOR, operator="us")
NILS = Person("3", "Nils", DOCK_HAND, dock="south")
CALLS = pl.DataFrame(
    {
        "hull_id": ["A1", "A2", "B1"],
        "call": ["no_open_job", "rent_only", "do_not_rent"],
        "says": ["No open job known", "Rent only with 93 AKI or better", "Do not rent until x"],
    }
)
JOBS = pl.DataFrame(
    {
        "job_id": ["A2/check/2026-08-10", "B1/check/2026-08-10", "A1/check/2026-08-10"],
        "hull_id": ["A2", "B1", "A1"],
        "due_at": [NOW - timedelta(days=3), NOW + timedelta(days=2), NOW],
        "state": [OPEN, OPEN, "done"],
    }
)
LISTED = Listed("2026-08-17", CALLS, JOBS, NOW - timedelta(days=1))
OIL = Alert("test; E3; hull_oil", NOW, "A1", "Oil in the hull failed. <b>Do not rent it.</b>")


def test_an_alert_keeps_a_hull_from_rent_whatever_the_list_said() -> None:
    board = live_board(shop(), scope_of(MIA, shop()), Looked(LISTED, (OIL,)), NOW)

    assert [(one.hull_id, one.call, one.is_alerted) for one in board.hulls] == [
        ("A1", "do_not_rent", True), ("B1", "do_not_rent", False), ("A2", "rent_only", False),
    ]  # fmt: skip
    assert board.hulls[0].says == f"{OIL.words} The list says: No open job known."
    assert [one.says for one in live_board(shop(), scope_of(MIA, shop()), Looked(LISTED), NOW).hulls
            if one.hull_id == "A1"] == ["No open job known"]  # fmt: skip


def test_a_list_of_an_earlier_week_says_how_old_it_is() -> None:
    """The demo's list of August stood in November like this week's."""
    for days, is_said in ((1, False), (7, False), (8, True)):
        listed = replace(LISTED, as_of=NOW - timedelta(days=days))
        board = live_board(shop(), scope_of(MIA, shop()), Looked(listed), NOW)
        page = board_page(board, MIA, "", is_invented=False)
        assert (f"That list is {days} days old" in page) == is_said


def test_open_jobs_stand_by_their_day_with_how_late_they_are() -> None:
    board = live_board(shop(), scope_of(MIA, shop()), Looked(LISTED), NOW)

    assert [(one.job_id[:2], one.overdue_d) for one in board.jobs] == [("A2", 3), ("B1", 0)]


def test_nobody_sees_more_than_their_scope() -> None:
    for person, own in ((US, {"A1", "A2"}), (NILS, {"B1"})):
        board = live_board(shop(), scope_of(person, shop()), Looked(LISTED, (OIL,)), NOW)
        page = board_page(board, person, "", is_invented=False)
        assert {one.hull_id for one in board.hulls} == own
        assert {one.hull_id for one in (*board.jobs, *board.alerts)} <= own
        assert not any(f"/hull/{other}" in page for other in {"A1", "A2", "B1"} - own)
        assert "/week/" not in page


def test_without_a_list_nothing_is_called_fit() -> None:
    board = live_board(shop(), scope_of(MIA, shop()), Looked(), NOW)

    assert {one.call for one in board.hulls} == {"not_enough_record"}
    assert "No list is worked out yet." in board_page(board, MIA, "", is_invented=False)


def test_hostile_text_stays_text_and_invented_hulls_say_so() -> None:
    board = live_board(shop(), scope_of(MIA, shop()), Looked(LISTED, (OIL,)), NOW)

    page = board_page(board, MIA, "<i>", is_invented=True)

    assert "<b>" not in page
    assert "<i>" not in page
    assert "&lt;b&gt;" in page
    assert "Invented demo data" in page
    assert "never clearance to run" in page
