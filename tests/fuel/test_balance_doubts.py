"""Which hulls' litres do not add up over the days compared, by hand."""

from ringland.fuel.balance_doubts import balance_doubts
from ringland.fuel.session_fuel import session_fuel
from tests.exposure.test_fuel_view import ASSUMPTIONS
from tests.fuel.small_records import (
    day,
    drain,
    engine_sessions,
    hull,
    outside_fill,
    records,
    session,
)

RIDES = [session(i, name, burned_l=20.0) for i in range(2, 12) for name in ("H1", "H2")]


def doubts(*fills: dict[str, object]) -> list[dict[str, object]]:
    known = records(hulls=[hull("H1"), hull("H2")], fills=list(fills))
    ledger = session_fuel(known, engine_sessions(*RIDES), ASSUMPTIONS, day(20))
    return balance_doubts(ledger.balance, day(20), ASSUMPTIONS).to_dicts()


def test_a_hull_whose_fills_fall_short_of_its_burns_by_over_a_quarter_is_doubted() -> None:
    """Ten rides of 20 l each; H1 took 160 l (20 % short: in order), H2 took 140 l (30 %)."""
    (found,) = doubts(
        *(outside_fill(i + 0.5, 20, octane_aki=91.0) for i in range(1, 9)),
        *(outside_fill(i + 0.5, 20, "H2", octane_aki=91.0) for i in range(1, 8)),
    )

    assert (found["flag"], found["hull_id"]) == ("fuel_balance_off", "H2")
    assert found["sentence"] == (
        "Hull H2 took 140 l and had 0 l drained in the last 30 days, and burned about 200 l: more "
        "than 25 % apart. What it burned then rests on fuel that is not on record."
    )
    assert str(found["remedy"]).startswith("Look for fills, drains or rentals of these days")


def test_hulls_whose_litres_add_up_are_not_doubted() -> None:
    fills = [outside_fill(i + 0.5, 20, octane_aki=91.0) for i in range(1, 11)]

    assert doubts(*fills, *(fill | {"hull_id": "H2"} for fill in fills)) == []


def test_litres_drained_are_neither_burned_nor_missing() -> None:
    """H1 took 300 l, burned 200 l and had 100 l drained: in order; without the drains 50 % off.

    Found as a mutation no test noticed: drains left out of the balance.
    """
    fills = [outside_fill(i + 0.5, 30, "H1", octane_aki=91.0) for i in range(1, 11)]
    fills += [outside_fill(i + 0.5, 20, "H2", octane_aki=91.0) for i in range(1, 11)]
    drains = [drain(i + 0.75, 10.0) for i in range(1, 11)]
    known = records(hulls=[hull("H1"), hull("H2")], fills=fills, drains=drains)
    ledger = session_fuel(known, engine_sessions(*RIDES), ASSUMPTIONS, day(20))
    account = ledger.balance.filter(tank="H1").row(0, named=True)

    assert (account["in_recent_l"], account["drained_recent_l"]) == (300.0, 100.0)
    assert account["drained_l"] == 100.0
    assert account["off_l"] == 0.0
    assert account["is_balance_off"] is False
    assert balance_doubts(ledger.balance, day(20), ASSUMPTIONS).is_empty()
