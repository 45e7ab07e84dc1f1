"""A job of a list stays open until a record answers it, by hand."""

from datetime import datetime, timedelta
from typing import Any

import polars as pl
import pytest

from ringland.bench.standing_tests import standing_failures, with_releases
from ringland.contracts.decision_tables import HullJobs
from ringland.contracts.fuel_tables import FuelAtHand
from ringland.contracts.record_columns import REBUILD_SHEET
from ringland.contracts.record_tables import OpenSheets, StandingFailures
from ringland.decision.actions.action_terms import FAILED, FOUND_OUT, is_meant_for
from ringland.decision.jobs.bench_lines import bench_warnings
from ringland.decision.jobs.hull_state import Week
from ringland.decision.jobs.job_answers import (
    Done,
    answered_since,
    done_rows,
    other_jobs,
    release_rows,
    takeover_rows,
    the_job,
)
from ringland.decision.jobs.job_doubts import job_doubts
from ringland.decision.jobs.job_results import JobError, Shop, Told, own_needs
from ringland.decision.jobs.new_jobs import Asker, job_state_text, must_look, next_look
from ringland.decision.jobs.open_jobs import StandsNow, asked_jobs
from ringland.decision.jobs.reason_lines import reason_text
from ringland.decision.value.last_tests import with_failed_tests
from tests.bench.test_standing_tests import PASSED, SHOP, bench, reading
from tests.decision.plan_cases import PRICES
from tests.decision.small_fleet import AS_OF, CATALOGUE, TABLE_ROW, frame
from tests.history.record_rows import records

ASKED = AS_OF - timedelta(days=7)
LISTED = [{"hull_id": "H1"}, {"hull_id": "H2"}]


def ago(days: float) -> datetime:
    return AS_OF - timedelta(days=days)


def job(what: str, because: str = "cost", **more: Any) -> dict[str, Any]:
    usual = {
        "job_id": f"H1/{what}/2026-07-27", "hull_id": "H1", "engine_id": "E1", "what": what,
        "because": because, "why": "It pays.", "is_must": because != "cost", "asked_at": ASKED,
        "due_at": ASKED + timedelta(days=5), "price": 180.0, "state": "open",
    }  # fmt: skip
    return usual | more


def lists(*jobs: dict[str, Any], is_given_out: bool = True, at: datetime = ASKED) -> pl.DataFrame:
    """The jobs as an earlier list held them."""
    return frame(HullJobs, list(jobs)).with_columns(
        as_of=pl.lit(at).cast(pl.Datetime("us", "UTC")), is_given_out=pl.lit(is_given_out)
    )


def answered(
    *jobs: dict[str, Any],
    tests: tuple[list[dict[str, Any]], ...] = (),
    sheets: tuple[dict[str, Any], ...] = (),
    at_hand: dict[str, Any] | None = None,
    said: pl.DataFrame | None = None,
    **rows: Any,
) -> dict[str, Any]:
    """What became of the (last) job by the week after."""
    known = records(**(SHOP | {"hulls": LISTED} | rows))
    verdicts = bench(*tests)
    open_sheets = with_releases(
        frame(OpenSheets, list(sheets)), known, AS_OF, since="rebuilt_at",
        what=pl.lit(REBUILD_SHEET),
    )  # fmt: skip
    own = frame(FuelAtHand, [] if at_hand is None else [TABLE_ROW | at_hand])
    stands = StandsNow(standing_failures(verdicts, known, AS_OF), open_sheets, own)
    found = asked_jobs(
        lists(*jobs) if said is None else said, known, verdicts, stands,
        catalogue=CATALOGUE, as_of=AS_OF,
    )  # fmt: skip
    return found.row(-1, named=True)


CHECK = job("leak_down_check")
DONE = {"job_id": CHECK["job_id"], "done_at": ago(3), "done_by": "R. Vane", "result": "passed"}
RELEASE = {"released_at": ago(2), "released_by": "H. Quist", "why": "sold on Friday"}
BY_JOB = RELEASE | {"what": "job", "job_id": CHECK["job_id"]}
BUILT = {"engine_id": "E1", "rebuilt_at": ago(1), "scope": "full"}
SHEET = {"engine_id": "E1", "rebuilt_at": ago(90), "open_lines": 2, "first_open": "a gap"}
FAILED_OLD = reading(40, "pass", "fail", "pass")


def test_a_job_nothing_answers_is_open_with_its_id_and_its_days() -> None:
    """A check asked for on one Monday and not done was gone from the next list."""
    found = answered(CHECK)

    assert (found["state"], found["job_id"]) == ("open", CHECK["job_id"])
    assert (found["asked_at"], found["due_at"]) == (CHECK["asked_at"], CHECK["due_at"])
    assert job_state_text(found, AS_OF) == "open: 2 days overdue"
    assert reason_text([found], None, {}, Week(AS_OF, CATALOGUE)) == (
        "Asked for by the list of Mon 27 Jul 2026, due Sat 1 Aug 2026, not done on record: 2 days "
        "overdue. It pays."
    )


@pytest.mark.parametrize(
    ("asked", "records_of", "state", "answer"),
    [
        (CHECK, {"jobs_done": [DONE]}, "done", "done on Fri 31 Jul 2026 by R. Vane, and passed"),
        (CHECK, {"tests": (reading(2, *PASSED),)}, "passed",
         "a complete test passed on Sat 1 Aug 2026"),
        (CHECK, {"tests": (reading(2, "pass", "fail", "pass"),)}, "done",
         "tested on Sat 1 Aug 2026, and failed"),
        (CHECK, {"rebuilds": [BUILT]}, "done",
         "rebuilt, or a piston set fitted, on Sun 2 Aug 2026"),
        (CHECK, {"releases": [BY_JOB]}, "released",
         "released on Sat 1 Aug 2026 by H. Quist: sold on Friday"),
        (CHECK, {"releases": [RELEASE | {"what": "all_open"}]}, "released",
         "released on Sat 1 Aug 2026 by H. Quist: sold on Friday"),
        (CHECK, {"hulls": [{"hull_id": "H1", "out_of_service_at": ago(3)}]}, "overtaken",
         "the hull left service on Fri 31 Jul 2026"),
        (job("repair", "open_failure"), {"rebuilds": [BUILT]}, "done",
         "rebuilt, or a piston set fitted, on Sun 2 Aug 2026"),
        (job("mild_calibration"),
         {"calibrations": [{"engine_id": "E1", "in_force_at": ago(2), "calibration": "stock"}]},
         "done", "its calibration of Sat 1 Aug 2026 is on record"),
        (job("drain_refill", "own_fuel", engine_id=None),
         {"drains": [{"hull_id": "H1", "drained_at": ago(4)}]}, "done",
         "drained on Thu 30 Jul 2026"),
        (job("drain_refill", "own_fuel", engine_id=None), {"at_hand": {}}, "overtaken",
         "the fuel in its tank will do now"),
        (job("drain_refill", "own_fuel", engine_id=None),
         {"at_hand": {"is_own_short": True, "own_way": "throttle"}}, "overtaken",
         "the fuel in its tank will do as its state says"),
        (job("test_fuel"), {"fuel_tests": [{"hull_id": "H1", "tested_at": ago(4)}]}, "done",
         "its fuel was tested on Thu 30 Jul 2026"),
        (job("find_the_leak", "failed_test"), {"tests": (FAILED_OLD, reading(2, *PASSED))},
         "passed", "nothing that failed stands against it any more"),
        (job("find_the_leak", "failed_test"),
         {"tests": (FAILED_OLD,),
          "releases": [RELEASE | {"what": "leak_down", "engine_id": "E1"}]},
         "released", "released on Sat 1 Aug 2026 by H. Quist: sold on Friday"),
        (job("rebuild_sheet", "open_sheet"), {}, "done",
         "nothing of its rebuild sheet is open any more"),
        (job("rebuild_sheet", "open_sheet"),
         {"sheets": (SHEET,), "releases": [RELEASE | {"what": "rebuild_sheet"}]},
         "released", "released on Sat 1 Aug 2026 by H. Quist: sold on Friday"),
    ],
)  # fmt: skip
def test_each_kind_of_record_that_answers_a_job_does(
    asked: dict[str, Any], records_of: dict[str, Any], state: str, answer: str
) -> None:
    found = answered(asked, **records_of)

    assert (found["state"], found["answer"]) == (state, answer)


@pytest.mark.parametrize(
    ("asked", "records_of"),
    [
        (CHECK, {"tests": (reading(8, *PASSED),)}),  # before it was asked for
        (CHECK, {"tests": (reading(2, "pass", "pass"),)}),  # two cylinders of three
        (CHECK, {"releases": [BY_JOB | {"until": ago(1)}]}),
        (CHECK, {"releases": [RELEASE | {"what": "all_open", "released_at": ago(30)}]}),
        (CHECK, {"rebuilds": [BUILT | {"rebuilt_at": ago(30)}]}),
        (CHECK, {"jobs_done": [DONE | {"job_id": "another"}]}),
        (job("find_the_leak", "failed_test"), {"tests": (FAILED_OLD, reading(2, "pass", "pass"))}),
        (job("rebuild_sheet", "open_sheet"), {"sheets": (SHEET,)}),
        (job("drain_refill", "own_fuel", engine_id=None), {"at_hand": {"is_own_old": True}}),
    ],
)  # fmt: skip
def test_what_is_too_early_half_done_or_run_out_answers_nothing(
    asked: dict[str, Any], records_of: dict[str, Any]
) -> None:
    assert answered(asked, **records_of)["state"] == "open"


def test_only_lists_given_out_ask_for_anything() -> None:
    backfilled = asked_jobs(
        lists(CHECK, is_given_out=False), records(), bench(),
        StandsNow(*(frame(kind, []) for kind in (OpenSheets, OpenSheets, FuelAtHand))),
        catalogue=CATALOGUE, as_of=AS_OF,
    )  # fmt: skip

    assert backfilled.is_empty()


def test_a_job_goes_with_its_engine_into_another_hull() -> None:
    moved = [
        {"engine_id": "E1", "hull_id": "H2", "installed_at": ago(3)},
        {"engine_id": "E1", "hull_id": "H1", "installed_at": ago(90), "removed_at": ago(4)},
    ]

    assert answered(CHECK, installations=moved)["hull_id"] == "H2"
    drain = job("drain_refill", "own_fuel", engine_id=None)
    assert answered(drain, installations=moved)["hull_id"] == "H1"


def test_an_answer_taken_back_opens_the_job_again() -> None:
    later = lists(CHECK | {"state": "done", "answer": "done"}, at=ago(1))

    assert answered(said=later)["state"] == "open"
    assert answered(said=later, jobs_done=[DONE])["state"] == "done"


ASKER = Asker(Week(AS_OF, CATALOGUE), 5.0, PRICES, "take_out_of_use", 30.0)
ROW = {
    "hull_id": "H1", "engine_id": "E1", "found_at": None, "warning": None, "rule": None,
    "option": "nothing", "wanted": "nothing", "is_pinned": False, FAILED: [], FOUND_OUT: [],
    "sheet": None, "at_hand": TABLE_ROW,
}  # fmt: skip


def this_week(*earlier: dict[str, Any], **facts: Any) -> list[tuple[Any, ...]]:
    full = [dict.fromkeys(HullJobs.column_names()) | one for one in earlier]
    made = ASKER.jobs(ROW | facts, "It pays.", full)
    return [(one["job_id"], one["state"], one["is_must"]) for one in made]


def test_what_is_asked_for_again_keeps_its_id_and_the_rest_stays_open() -> None:
    borescope = job("borescope")

    assert this_week(CHECK, borescope, option="calibration_and_check") == [
        ("H1/borescope/2026-07-27", "open", False),
        ("H1/leak_down_check/2026-07-27", "open", False),
        ("H1/mild_calibration/2026-08-03", "open", False),
    ]


def test_a_bigger_job_overtakes_a_smaller_one_and_what_must_be_done_stays_a_must() -> None:
    must = job("leak_down_check", "chance_30d")

    assert this_week(must, option="planned_top_end") == [
        ("H1/planned_top_end/2026-08-03", "open", True),
        ("H1/leak_down_check/2026-07-27", "overtaken", True),
    ]
    assert this_week(must, found_at=AS_OF)[0][0] == "H1/repair/2026-08-03"


def test_a_job_asked_for_again_beside_one_that_would_overtake_it_stands_once() -> None:
    """In the eleventh of twelve weeks a drain overtook a job the plan asked for again: both had
    its id, and the week failed."""
    stock = job("mild_calibration", "own_fuel")
    old = TABLE_ROW | {
        "is_own_short": True, "own_standing": "misses", "own_octane_aki": 91.2,
        "own_octane_low_aki": 91.0, "own_octane_high_aki": 91.4, "own_fuel_age_d": 5.0,
        "own_way": "stock", "is_own_old": True,
    }  # fmt: skip

    assert this_week(stock, at_hand=old, option="mild_calibration") == [
        ("H1/mild_calibration/2026-07-27", "open", True),
        ("H1/drain_refill/2026-08-03", "open", True),
    ]


def test_a_must_that_nobody_did_binds_though_its_reason_went() -> None:
    """A check asked for on 17 August was not done; on the 24th the hull read 'Rent as normal'."""
    must = job("leak_down_check", "chance_30d")

    assert this_week(must) == [("H1/leak_down_check/2026-07-27", "open", True)]
    assert must_look(frame(HullJobs, [must, job("borescope")]), CATALOGUE) == ["H1"]


def test_after_a_failed_test_comes_one_that_tells_more_and_never_the_same_again() -> None:
    """A hull that failed a leak-down twice was told to do the same leak-down every week."""
    failed = ["leak_down"]

    assert next_look(failed, [], CATALOGUE) == "find_the_leak"
    assert next_look(failed, ["find_the_leak"], CATALOGUE) == "planned_top_end"
    assert next_look(["oil_iron"], [], CATALOGUE) == "leak_down_check"
    assert next_look([], [], CATALOGUE) == "leak_down_check"
    # a leak-down that passed after bad oil was asked for again, the week it was done
    assert next_look(["oil_iron"], ["leak_down_check"], CATALOGUE) == "borescope"
    both = ["leak_down_check", "borescope"]
    assert next_look(["oil_iron"], both, CATALOGUE) == "planned_top_end"


@pytest.mark.parametrize("state", ["done", "passed"])
def test_what_was_done_since_a_test_failed_is_planned_no_more(state: str) -> None:
    """A check that passed after a failed oil reading was planned again every week."""
    standing = frame(StandingFailures, [{"engine_id": "E1", "measure": "oil_iron",
                                         "failed_at": ago(40), "reason": "iron"}])  # fmt: skip
    told = pl.DataFrame({"hull_id": ["H1"], "engine_id": ["E1"]})
    jobs = frame(HullJobs, [CHECK | {"state": state, "answered_at": ago(3)}])
    warned = bench_warnings(standing)
    seen = with_failed_tests(told, warned, standing, jobs)
    let_go = with_failed_tests(told, warned.clear(), standing, jobs)
    check = [CATALOGUE.actions["leak_down_check"]]

    assert seen[FOUND_OUT].to_list() == [["leak_down_check"]]
    assert is_meant_for(check, seen).to_list() == [False]
    assert is_meant_for([CATALOGUE.actions["borescope"]], seen).to_list() == [True]
    assert is_meant_for(check, let_go).to_list() == [True]


def test_of_two_engines_same_jobs_on_one_hull_one_goes_on() -> None:
    other = CHECK | {"job_id": "H2/leak_down_check/2026-07-20"}
    assert this_week(CHECK, other, option="leak_down_check") == [
        ("H2/leak_down_check/2026-07-20", "open", False),
        ("H1/leak_down_check/2026-07-27", "overtaken", False),
    ]


def test_a_planned_calibration_or_throttle_stop_answers_for_fuel_it_makes_do() -> None:
    short = TABLE_ROW | {
        "is_own_short": True, "own_standing": "misses", "own_octane_aki": 91.2,
        "own_octane_low_aki": 91.0, "own_octane_high_aki": 91.4, "own_fuel_age_d": 5.0,
    }  # fmt: skip
    stock = short | {"own_way": "stock"}

    assert this_week(at_hand=short) == [("H1/drain_refill/2026-08-03", "open", True)]
    assert this_week(at_hand=stock, option="mild_calibration") == [
        ("H1/mild_calibration/2026-08-03", "open", True)
    ]
    assert this_week(at_hand=short | {"own_way": "throttle"}) == []
    assert this_week(at_hand=short | {"own_fill_aki": 92.0}) == []
    old = stock | {"is_own_old": True}
    assert this_week(at_hand=old, option="mild_calibration")[0][0] == "H1/drain_refill/2026-08-03"


def test_the_command_finds_a_job_by_enough_of_its_id_or_says_which_there_are() -> None:
    jobs = frame(HullJobs, [CHECK, job("borescope"), job("repair", hull_id="H2", job_id="H2/r/1")])

    assert the_job(jobs, "H1/leak")["job_id"] == CHECK["job_id"]
    assert the_job(jobs, "H2")["job_id"] == "H2/r/1"
    with pytest.raises(JobError, match="'H1' may mean H1/borescope"):
        the_job(jobs, "H1")
    with pytest.raises(JobError, match="Did you mean H1/borescope"):
        the_job(jobs, "H1/boroscope/2026-07-27")


def test_an_answer_is_a_row_of_a_record_kind_and_a_release_lets_go_what_is_behind_it() -> None:
    failed = job("find_the_leak", "failed_test")

    assert said_done(CHECK, readings=("leak_down=5,6,5",), result="passed")["jobs_done"][0] == {
        "job_id": CHECK["job_id"], "done_at": "2026-08-03T06:00:00Z", "done_by": "R. Vane",
        "result": "passed", "note": "", "recorded_at": "2026-08-03T07:00:00Z",
    }  # fmt: skip
    let_go = release_rows(failed, AS_OF, "H. Quist", why="seen", failed=["leak_down", "oil_iron"])
    assert [row["what"] for row in let_go["releases"]] == ["job", "leak_down", "oil_iron"]
    assert takeover_rows(AS_OF, "H. Quist", "day one")["releases"][0]["what"] == "all_open"


def test_a_restated_week_says_which_jobs_it_would_have_changed() -> None:
    said = frame(HullJobs, [CHECK, job("borescope")])
    told = frame(HullJobs, [CHECK, job("test_fuel"), job("borescope") | {"state": "done"}])

    assert other_jobs(said, told) == (["H1/test_fuel/2026-07-27"], ["H1/borescope/2026-07-27"])
    assert other_jobs(said, said) == ([], [])


def test_what_was_written_down_since_the_list_shows_at_once() -> None:
    jobs = frame(HullJobs, [CHECK, job("borescope")])
    known = records(jobs_done=[DONE], releases=[BY_JOB | {"job_id": job("borescope")["job_id"]}])
    now = answered_since(jobs, known, CATALOGUE)

    assert dict(now.select("what", "state").iter_rows()) == {
        "leak_down_check": "done", "borescope": "released",
    }  # fmt: skip


HOUR = timedelta(hours=1)
PUT_BACK = job("mild_calibration")
SHOP_TELLS = Shop(CATALOGUE, {"stock": 91.0, "raised": 93.0}, "north")


def said_done(asked: dict[str, Any], result: str = "done", **told: Any) -> dict[str, Any]:
    return done_rows(asked, Done(AS_OF, "R. Vane", AS_OF + HOUR, result), Told(**told), SHOP_TELLS)


def test_a_job_done_brings_its_result_on_record_with_it() -> None:
    """A calibration written down as put back left the need at 93, and was asked for again."""
    back = said_done(PUT_BACK, calibration="stock")
    read = said_done(job("read_calibration"), calibration="raised")
    drain = job("drain_refill", "own_fuel", engine_id=None)
    refilled = said_done(drain, litres=60.0, grade_aki=93.0, source="outside")
    tested = said_done(CHECK, readings=("leak_down=5, 6,5", "compression=150,ok psi"), is_warm=True)
    fitted = {"pistons": "forged", "supplier": "original", "engine_h": 210.0}

    assert back["calibrations"] == [
        {"engine_id": "E1", "in_force_at": "2026-08-03T06:00:00Z", "calibration": "stock",
         "octane_need_aki": "91", "recorded_at": "2026-08-03T07:00:00Z"}
    ]  # fmt: skip
    assert read["calibrations"][0]["octane_need_aki"] == "93"
    assert refilled["drains"][0]["drained_at"] < refilled["fills"][0]["filled_at"]
    assert refilled["fills"][0]["octane_aki"] == "93"
    assert said_done(drain, litres=60.0, source="dock")["fills"][0]["source_dock_id"] == "north"
    assert "fills" not in said_done(drain, is_left_empty=True)
    found = [(row["measure"], row["cylinder"], row["state"]) for row in tested["inspections"]]
    assert found == [
        ("leak_down", "1", "measured"), ("leak_down", "2", "measured"),
        ("leak_down", "3", "measured"), ("compression", "1", "measured"),
        ("compression", "2", "stated_ok"),
    ]  # fmt: skip
    built = said_done(job("repair", "open_failure"), scope="full", **fitted)
    assert built["piston_sets"][0]["reason"] == "after_failure"
    assert said_done(job("planned_top_end"), **fitted)["rebuilds"][0]["scope"] == "top_end"
    assert set(said_done(job("borescope"))) == {"jobs_done"}


@pytest.mark.parametrize(
    ("asked", "told", "words"),
    [
        (PUT_BACK, {}, "give --calibration stock or mild"),
        (PUT_BACK, {"calibration": "raised"}, "while it is in the engine the job is open"),
        (PUT_BACK, {"calibration": "mild"}, "--needs AKI, what its mild calibration needs"),
        (job("drain_refill"), {},
         "--litres of the refill .or --left-empty. and --from dock or --from outside"),
        (job("drain_refill"), {"litres": 60.0, "source": "outside"}, "--grade AKI of the refill"),
        (CHECK, {}, "--reading leak_down=5,6,5 or compression"),
        (CHECK, {"readings": ("oil_iron=3 ppm",)}, "is no reading of this job"),
        (CHECK, {"readings": ("compression=150,152",)}, "has no unit"),
        (CHECK, {"readings": ("leak_down=good",)}, "no figure a cylinder"),
        (job("test_fuel"), {}, "--octane AKI or --water"),
        (job("repair"), {}, "--scope .* and --pistons .* and --supplier .* and --engine-hours"),
        (job("rebuild_sheet"), {}, "not done by a word"),
        (job("borescope"), {"litres": 3.0}, "asks for no result; leave out --litres"),
        (job("borescope"), {"readings": ("leak_down=5,6",), "is_warm": True},
         "leave out --reading, --warm or --cold"),
    ],
)  # fmt: skip
def test_what_lacks_of_a_result_is_asked_for_in_one_go(
    asked: dict[str, Any], told: dict[str, Any], words: str
) -> None:
    with pytest.raises(JobError, match=words):
        said_done(asked, **told)


def test_an_engines_own_record_says_what_its_calibrations_need() -> None:
    """A drain, which names no engine, was looked up with a warning of the table library."""
    mild = {"engine_id": "E1", "in_force_at": ago(90), "calibration": "mild",
            "octane_need_aki": 89.0}  # fmt: skip
    known = records(calibrations=[mild, mild | {"engine_id": "E2", "octane_need_aki": 88.0}])

    assert own_needs(known["calibrations"], "E1") == {"mild": 89.0}
    assert own_needs(known["calibrations"], None) == {}


def test_a_job_done_by_name_alone_stays_open_and_says_what_lacks() -> None:
    """A calibration written down as put back was asked for again as if nobody had said so."""
    named = {"job_id": PUT_BACK["job_id"], "done_at": ago(3), "done_by": "R. Vane",
             "result": "done"}  # fmt: skip
    stock = {"engine_id": "E1", "in_force_at": ago(3), "calibration": "stock"}
    alone = answered(PUT_BACK, jobs_done=[named])
    now = answered_since(frame(HullJobs, [PUT_BACK]), records(jobs_done=[named]), CATALOGUE)

    assert alone["state"] == "open"
    assert now["state"].to_list() == ["open"]
    assert "which calibration is in the engine since is not on record" in alone["answer"]
    assert "not on record" in reason_text([alone], None, {}, Week(AS_OF, CATALOGUE))
    assert "not on record" in job_state_text(now.row(0, named=True), AS_OF)
    assert answered(PUT_BACK, jobs_done=[named], calibrations=[stock])["state"] == "done"
    raised = stock | {"calibration": "raised"}
    assert answered(PUT_BACK, calibrations=[raised])["state"] == "open"
    assert answered(job("read_calibration"), calibrations=[raised])["state"] == "done"


def test_a_record_that_names_no_job_of_a_list_is_doubted_and_so_is_one_without_its_result() -> None:
    """A slip in an id answered nothing, and nobody was told."""
    slip = {"job_id": "H1/leakdown_check/2026-07-27", "done_at": ago(3), "done_by": "R. Vane",
            "result": "done"}  # fmt: skip
    named = slip | {"job_id": PUT_BACK["job_id"], "done_at": ago(2)}
    known = records(jobs_done=[slip, named, DONE], releases=[BY_JOB | {"job_id": "H9/x/1"}])
    found = job_doubts(known, lists(CHECK, PUT_BACK), CATALOGUE)

    assert found["flag"].to_list() == ["job_unknown", "job_unknown", "job_without_result"]
    assert "Was 'H1/leak_down_check/2026-07-27' meant?" in found["sentence"][0]
    assert found["record_key"].null_count() == 0
    assert (
        job_doubts(known, lists(CHECK, is_given_out=False), CATALOGUE)["flag"].to_list()
        == ["job_unknown"] * 4
    )


def test_two_jobs_that_share_a_reason_and_a_day_say_each_once() -> None:
    """Two jobs for the same fuel told their reason and their days twice in one hull's row."""
    drain = job("drain_refill", "own_fuel", answer=None)
    mild = job("mild_calibration", "cost", answer=None)

    said = reason_text([drain, mild], "It pays.", {}, Week(AS_OF, CATALOGUE))

    assert said == (
        "Asked for by the list of Mon 27 Jul 2026, due Sat 1 Aug 2026, not done on record: 2 days "
        "overdue. It pays."
    )


def test_jobs_asked_for_on_different_days_are_named_each_with_its_own() -> None:
    drain = job("drain_refill", "own_fuel", answer=None)
    new = drain | {"what": "mild_calibration", "asked_at": AS_OF, "why": "New."}

    said = reason_text([drain, new], None, {}, Week(AS_OF, CATALOGUE))

    assert said == (
        "Drain and refill: asked for by the list of Mon 27 Jul 2026, due Sat 1 Aug 2026, not done "
        "on record: 2 days overdue. It pays. New."
    )


def test_a_check_the_week_has_no_room_for_is_the_one_the_plan_wanted() -> None:
    bound = {"rule": "chance_30d", "option": "take_out_of_use"}

    assert this_week(**bound, wanted="borescope") == [("H1/borescope/2026-08-03", "open", True)]
    assert this_week(**bound, wanted=None) == [("H1/leak_down_check/2026-08-03", "open", True)]
