"""What broke first and what followed."""

from ringland.causes.cause_chains import chain_lines
from ringland.causes.cause_differential import rank_causes
from ringland.causes.cause_findings import engine_findings
from ringland.causes.cause_table import default_cause_table
from tests.causes.cause_rows import teardown

TABLE = default_cause_table()
CLUTCH = "intake | blower clutch or wheel damaged"
PUMP, SHELLS = "oil pump | oil pump scored", "bearing | bearings wiped or blue"


def chance_of(cause: str, seen: list[str]) -> float:
    ranked = rank_causes(engine_findings(teardown(seen), TABLE, "E1", 3), TABLE)
    return float(dict(ranked.chances.select("cause", "chance").iter_rows())[cause])


def test_wiped_bearings_after_a_broken_clutch_are_no_sign_of_lacking_oil() -> None:
    alone = chance_of("no_oil", [PUMP, SHELLS])
    after = chance_of("no_oil", [CLUTCH, "oil | hard debris in oil or filter", PUMP, SHELLS])
    assert after < alone / 3


def test_the_order_of_events_names_what_was_seen_and_what_was_not_looked_at_between() -> None:
    found = engine_findings(teardown([CLUTCH, SHELLS]), TABLE, "E1", 3)
    (line,) = chain_lines(found, TABLE)
    assert line.startswith(
        "An order of events that fits: blower clutch or wheel damaged, then bearings wiped or blue."
    )
    assert "not looked at: hard debris in oil or filter; oil pump scored" in line


def test_one_link_alone_is_no_chain() -> None:
    assert chain_lines(engine_findings(teardown([CLUTCH]), TABLE, "E1", 3), TABLE) == ()


def test_every_follower_is_a_later_link_of_its_chain() -> None:
    for chain in TABLE.chains.values():
        assert set(chain.followers) <= set(chain.links[1:])
