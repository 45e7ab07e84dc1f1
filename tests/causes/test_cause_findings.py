from datetime import timedelta
from random import Random

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ringland.causes.cause_findings import engine_findings, opening_after
from ringland.causes.cause_table import (
    CauseTableError,
    default_cause_table,
    read_cause_table,
)
from ringland.contracts.record_kinds import RECORD_KINDS
from tests.causes.cause_rows import OPENED, teardown

TABLE = default_cause_table()


def test_mechanics_words_are_matched_without_case_or_spacing() -> None:
    found = engine_findings(teardown(["rod |  Bent   ROD."]), TABLE, "E1", 3)
    assert found.states["rod_bent"] == "seen"


def test_words_the_table_does_not_know_are_listed() -> None:
    found = engine_findings(teardown(["piston | purple haze"]), TABLE, "E1", 3)
    assert found.unmatched == ("piston: purple haze (seen)",)
    assert found.number_seen == 0


def test_not_looked_at_stays_not_looked_at() -> None:
    found = engine_findings(teardown(not_looked_at=["rod | bent rod"]), TABLE, "E1", 3)
    assert found.states["rod_bent"] == "not_looked_at"


def test_seen_in_one_cylinder_is_seen_in_the_engine() -> None:
    rows = teardown(
        ["2 | piston | second land broken down"], ["1 | piston | second land broken down"]
    )
    found = engine_findings(rows, TABLE, "E1", 3)
    assert found.states["second_land_down"] == "seen"
    assert found.seen_in["second_land_down"] == (2,)


def test_a_missing_cylinder_is_named_and_one_cylinder_only_is_not_claimed() -> None:
    rows = teardown(
        ["2 | piston | second land broken down"], ["1 | piston | second land broken down"]
    )
    found = engine_findings(rows, TABLE, "E1", 3)
    assert found.notes == ("Nothing entered for cylinder 3.",)
    assert found.states["one_cylinder_only"] == "not_looked_at"


def test_one_cylinder_only_needs_a_look_at_every_cylinder() -> None:
    rows = teardown(
        ["2 | piston | second land broken down"],
        ["1 | piston | second land broken down", "3 | piston | pitting at the crown edge"],
    )
    found = engine_findings(rows, TABLE, "E1", 3)
    assert found.states["one_cylinder_only"] == "seen"


def test_the_same_damage_twice_is_several_cylinders() -> None:
    rows = teardown([f"{n} | piston | pitting at the crown edge" for n in (1, 3)])
    found = engine_findings(rows, TABLE, "E1", 3)
    assert found.states["several_cylinders"] == "seen"
    assert found.seen_in["several_cylinders"] == (1, 3)


def test_findings_that_exclude_each_other_count_for_nothing_and_are_listed() -> None:
    found = engine_findings(teardown(["rod | bent rod", "rod | rods straight"]), TABLE, "E1", 3)
    assert found.states["rod_bent"] == found.states["rods_straight"] == "not_looked_at"
    assert len(found.contradictions) == 1
    assert "bent rod" in found.contradictions[0]


def test_seen_and_not_seen_in_one_place_is_a_contradiction() -> None:
    rows = teardown(["1 | piston | edge pitting"], ["1 | piston | crown edge pitted"])
    found = engine_findings(rows, TABLE, "E1", 3)
    assert found.states["edge_pitting"] == "not_looked_at"
    assert "both as seen and as not seen for cylinder 1" in found.contradictions[0]


def test_a_sound_state_beside_damage_elsewhere_says_nothing_of_the_engine() -> None:
    rows = teardown(["1 | bearing | bearings sound", "2 | bearing | bearings wiped or blue"])
    found = engine_findings(rows, TABLE, "E1", 3)
    assert found.contradictions == ()
    assert found.states["bearings_sound"] == "not_looked_at"
    assert found.states["bearings_wiped"] == "seen"


def test_a_state_of_the_damaged_cylinder_is_seen_though_the_others_do_not_show_it() -> None:
    words = "piston | no seizure marks beside the break"
    found = engine_findings(teardown([f"1 | {words}"], [f"2 | {words}"]), TABLE, "E1", 3)
    assert found.states["no_seizure_marks"] == "seen"


def test_a_cylinder_the_engine_does_not_have_is_named_and_its_row_kept() -> None:
    found = engine_findings(teardown(["5 | piston | edge pitting"]), TABLE, "E1", 3)
    assert found.seen_in["edge_pitting"] == (5,)
    assert any("Rows for cylinder 5 of an engine with 3" in note for note in found.notes)


@settings(derandomize=True, deadline=None, max_examples=40)
@given(st.randoms(use_true_random=False))
def test_the_order_of_the_rows_does_not_matter(random: Random) -> None:
    rows = teardown(
        ["rod | bent rod", "1 | piston | edge pitting", "2 | bearing | bearings wiped or blue",
         "1 | bearing | bearings sound", "1 | piston | no seizure marks", "flywheel | odd thing"],
        ["rod | rods straight", "1 | piston | crown edge pitted", "2 | piston | no seizure marks"],
        ["3 | piston | edge pitting"],
    )  # fmt: skip
    shuffled = rows[random.sample(range(rows.height), rows.height)]
    assert engine_findings(shuffled, TABLE, "E1", 3) == engine_findings(rows, TABLE, "E1", 3)


def test_an_engine_not_on_record_gets_a_clear_note_and_keeps_its_findings() -> None:
    found = engine_findings(teardown(["rod | bent rod"], engine_id="X9"), TABLE, "X9", None)
    assert found.states["rod_bent"] == "seen"
    assert any("X9 is not on record" in note for note in found.notes)


def test_an_engine_without_teardown_has_nothing_looked_at() -> None:
    found = engine_findings(teardown(), TABLE, "E1", 3)
    assert set(found.states.values()) == {"not_looked_at"}
    assert "No teardown is on record: nothing was looked at." in found.notes


def test_one_opening_may_take_several_days_and_several_hands() -> None:
    """A teardown over two days lost the first day."""
    first = teardown(["rod | bent rod"], not_looked_at=["oil | milky oil"])
    second = teardown(
        ["oil | milky oil"],
        not_looked_at=["rod | bent rod"],
        opened_at=OPENED + timedelta(days=1),
    )
    for days in (first.vstack(second), second.vstack(first)):
        found = engine_findings(days, TABLE, "E1", 3)
        assert found.states["rod_bent"] == "seen"
        assert found.states["oil_milky"] == "seen"
        assert found.contradictions == ()


def test_a_second_save_of_the_same_time_is_a_row_of_its_own_and_the_find_stands() -> None:
    """The key held no state, so the first save's 'not looked at' was kept over the find."""
    twice = teardown(["1 | rod | bent rod"], not_looked_at=["1 | rod | bent rod"])
    assert twice.select(RECORD_KINDS["teardowns"].key).is_unique().all()
    assert engine_findings(twice, TABLE, "E1", 3).states["rod_bent"] == "seen"


def test_an_opening_ends_with_the_rebuild_or_before_the_next_failure() -> None:
    days = pl.concat(
        [
            teardown(["rod | bent rod"], opened_at=OPENED + timedelta(days=after))
            for after in (-1, 0, 6, 30, 400)
        ]
    )
    found = [OPENED, OPENED + timedelta(days=400)]
    failures = pl.DataFrame({"engine_id": ["E1", "E1"], "found_at": found})
    rebuilds = pl.DataFrame({"engine_id": ["E1"], "rebuilt_at": [OPENED + timedelta(days=20)]})
    first = {"engine_id": "E1", "found_at": OPENED}
    whole = opening_after(days, failures, rebuilds, first)
    assert whole["opened_at"].to_list() == [OPENED + timedelta(days=d) for d in (-1, 0, 6)]
    until_next = opening_after(days, failures, rebuilds.clear(), first)
    assert until_next.height == 4


@pytest.mark.parametrize(
    ("words", "meant"),
    [
        ("ring land gone on number two", "second_land_down"),
        ("sprak too far advanced", "spark_advanced"),
        ("con rod kinked", "rod_bent"),
        ("oil like milk, milky", "oil_milky"),
        ("head gasket let go", "gasket_burnt"),
        ("piston scuffed all the way round", "scuff_all_round"),
        ("valve seat dropped out", "seat_loose"),
        ("scored oil pump body", "oil_pump_scored"),
        ("detonation pits on the crown edge", "edge_pitting"),
        ("ring stuck solid in groove", "rings_stuck"),
    ],
)
def test_a_mechanics_own_words_are_answered_with_what_they_may_have_meant(
    words: str, meant: str
) -> None:
    """Six of eight cases in a mechanic's own words matched nothing, and nothing was said."""
    assert TABLE.finding_for(words) is None
    assert meant in {finding.key for finding in TABLE.nearest(words)}


def test_words_that_mean_nothing_near_get_no_guess() -> None:
    assert TABLE.nearest("purple haze") == ()


SMALL = """
[model]
{model}
[group]
[cause.a]
name = "A"
mechanism = "m"
share = 1
ask = "x"
prevention = "y"
[finding.f]
part = "piston"
words = "crack"
mark = "{mark}"
source = "s"
weights = {{ {cause} = {weight} }}
"""


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"cause": "b"}, "unknown cause 'b'"),
        ({"weight": "3"}, "keep them from -2 to \\+2"),
        ({"mark": "Z"}, "use one of P, S, M, CP, A, C"),
    ],
)
def test_a_wrong_entry_in_a_shops_table_is_named(change: dict[str, str], message: str) -> None:
    fields = {"model": "", "cause": "a", "weight": "1", "mark": "A"} | change
    with pytest.raises(CauseTableError, match=f"own.toml: finding.f .*{message}"):
        read_cause_table(SMALL.format(**fields), "own.toml")


def test_two_findings_with_one_wording_are_refused() -> None:
    twice = SMALL + '[finding.g]\npart="p"\nwords="Crack"\nmark="A"\nsource="s"\nweights={{}}\n'
    with pytest.raises(CauseTableError, match="both answer to 'crack'"):
        read_cause_table(twice.format(model="", cause="a", weight="1", mark="A"), "own.toml")


def test_the_table_holds_the_causes_of_the_rubric_each_with_findings_for_and_against() -> None:
    assert len(TABLE.causes) == 26
    for cause in TABLE.causes:
        weights = [finding.weight(cause) for finding in TABLE.findings.values()]
        assert max(weights) == 2, cause
        assert min(weights) < 0, cause
