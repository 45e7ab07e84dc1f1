"""A week of three small operators: here, in two processes, and with a worker killed."""

import hashlib
import shutil
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from click.testing import CliRunner
from polars.testing import assert_frame_equal

from pipelines.command_line import main
from pipelines.home import Home
from pipelines.network.network_week import Asked, hand_in_records, network_week
from pipelines.network.own_folder import own_tables
from pipelines.network.store import NetworkStore
from pipelines.network.view import network_report
from pipelines.weekly.store import StoreError
from ringland.bench.bench_limits import load_bench_limits
from ringland.network.bucket_sums import COUNTED, GROUPED
from ringland.network.buckets import OpenBucketError, cut_by_operator
from ringland.network.operator_week import TURNED, operator_week
from ringland.pages.network import network_words as words
from ringland.pages.network.network_page import network_site
from ringland.settings.assumptions import load_assumptions
from ringland.words.fixed_words import DEMO_LABEL, NEVER_CLEARANCE
from tests.network.two_operators import AS_OF, OPERATORS, added, two_operators, with_a_third
from tests.pipelines.demo_run import DEMO_WEEK, week_table
from tests.pipelines.network.watched_workers import work_out_and_die_once, work_out_and_list_reads

ASKED = Asked("2026-07-06", AS_OF, load_assumptions(), load_bench_limits())
AT_WORK = {"on": "local:2", "memory": "2GB"}


def files_of(network: Path) -> dict[str, str]:
    return {
        path.relative_to(network).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(network.rglob("*"))
        if path.is_file()
    }


@pytest.fixture(scope="module")
def worked_here(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A network of three whose week was worked out in this process.  Not to be changed."""
    network = tmp_path_factory.mktemp("here") / "network"
    hand_in_records(str(network), with_a_third(two_operators()), "home")
    network_week(str(network), ASKED)
    return network


def test_two_processes_one_of_them_killed_while_it_writes_leave_the_same_bytes_and_no_orphan(
    worked_here: Path, tmp_path: Path
) -> None:
    network = tmp_path / "network"
    hand_in_records(str(network), with_a_third(two_operators()), "home")

    found = network_week(str(network), replace(ASKED, **AT_WORK), task=work_out_and_die_once)

    assert (tmp_path / "network.died").exists(), "no worker was killed"
    assert any(name.endswith(".partial") for name in found.swept)
    assert files_of(network) == files_of(worked_here)
    assert found.operators["operator"].to_list() == ["alder", "birch", "cedar"]


def test_what_the_network_wrote_is_the_operators_week(worked_here: Path) -> None:
    store = NetworkStore(str(worked_here))
    told = store.week("2026-07-06")["operators"]
    for one, records in cut_by_operator(with_a_third(two_operators()), "home").items():
        wanted = operator_week(records, ASKED.settings, AS_OF)
        written = {**told[one]["lasting"]["tables"], **told[one]["turning"]}
        assert written.keys() == wanted.keys()
        for name, (file, rows, _) in written.items():
            frame = pl.read_parquet(worked_here / file)
            assert frame.height == rows
            assert_frame_equal(frame, wanted[name], check_exact=True)


def test_an_operator_who_wrote_nothing_down_is_not_worked_out_again(
    tmp_path: Path,
) -> None:
    """What it still costs is counted: the few small tables that are read, none of the records."""
    network = tmp_path / "network"
    hand_in_records(str(network), with_a_third(two_operators()), "home")
    network_week(str(network), ASKED)
    later = replace(ASKED, monday="2026-07-13", as_of=datetime(2026, 7, 13, tzinfo=UTC))
    ride = {"hull_id": "b1", "started_at": AS_OF, "ended_at": AS_OF.replace(hour=2),
            "running_h": 1.5}  # fmt: skip
    hand_in_records(str(network), added(with_a_third(two_operators()), "sessions", **ride), "home")

    found = network_week(str(network), later, task=work_out_and_list_reads)

    read = {one: (tmp_path / f"network.{one}.read").read_text().split() for one in OPERATORS}
    assert sorted(read["alder"]) == sorted(TURNED)
    assert {"records.sessions", *TURNED} < set(read["birch"])
    assert "tank_events" not in TURNED
    reused = dict(found.operators.select("operator", "is_reused").iter_rows())
    assert reused == {"alder": True, "birch": False, "cedar": True}
    store = NetworkStore(str(network))
    first, second = (store.week(monday)["operators"]["alder"] for monday in store.weeks())
    assert first["lasting"] == second["lasting"]
    assert first["turning"] != second["turning"]
    afresh = tmp_path / "afresh"
    hand_in_records(str(afresh), added(with_a_third(two_operators()), "sessions", **ride), "home")
    network_week(str(afresh), later)
    assert NetworkStore(str(afresh)).week("2026-07-13") == store.week("2026-07-13")


def test_a_week_reused_from_a_damaged_file_is_worked_out_again(tmp_path: Path) -> None:
    network = tmp_path / "network"
    hand_in_records(str(network), two_operators(), "home")
    network_week(str(network), ASKED)
    whole = files_of(network)
    (spells,) = network.glob("operators/alder/spells-*.parquet")
    spells.write_bytes(b"something else")

    found = network_week(str(network), ASKED)

    assert found.operators["is_reused"].to_list() == [False, True]
    assert files_of(network) == whole


def test_a_damaged_record_file_is_named(tmp_path: Path) -> None:
    network = tmp_path / "network"
    hand_in_records(str(network), two_operators(), "home")
    (fills,) = network.glob("operators/birch/records.fills-*.parquet")
    fills.unlink()

    with pytest.raises(StoreError, match=r"operators/birch/records.fills.*hand-in"):
        network_week(str(network), ASKED)


def test_a_network_in_memory_instead_of_a_folder_holds_the_same(worked_here: Path) -> None:
    """Any address fsspec knows: object stores too, of which memory stands for one here."""
    address = "memory://a-network"
    hand_in_records(address, with_a_third(two_operators()), "home")
    network_week(address, ASKED)

    store = NetworkStore(address)
    assert store.week("2026-07-06") == NetworkStore(str(worked_here)).week("2026-07-06")
    assert store.sweep() == []


def test_an_engine_swapped_between_operators_is_refused_and_nothing_is_written(
    tmp_path: Path,
) -> None:
    swapped = added(
        two_operators(), "installations", engine_id="ea1", hull_id="b1", installed_at=AS_OF
    )

    with pytest.raises(OpenBucketError, match="engine ea1 of alder with hull b1 of birch"):
        hand_in_records(str(tmp_path / "network"), swapped, "home")

    assert not (tmp_path / "network").exists()


def test_an_engine_that_another_operator_handed_in_is_refused(tmp_path: Path) -> None:
    network = str(tmp_path / "network")
    cut = cut_by_operator(two_operators(), "home")
    hand_in_records(network, cut["alder"], "home")
    theirs = added(
        cut["birch"], "engines", engine_id="ea1", family="S3", induction="supercharged",
        cylinders=3, first_recorded_at=AS_OF, first_recorded_engine_h=9.0,
    )  # fmt: skip
    theirs = added(theirs, "installations", engine_id="ea1", hull_id="b1", installed_at=AS_OF)

    with pytest.raises(OpenBucketError, match=r"engine ea1 .* alder and of birch"):
        hand_in_records(network, theirs, "home")

    assert list(NetworkStore(network).handed_in()) == ["alder"]


@pytest.mark.parametrize("on", ["local", "local:x", "dask://", "two"])
def test_a_place_to_work_that_means_nothing_is_refused_with_what_may_be_said(
    worked_here: Path, on: str
) -> None:
    before = files_of(worked_here)
    with pytest.raises(StoreError, match="local:2"):
        network_week(str(worked_here), replace(ASKED, on=on))
    assert files_of(worked_here) == before


@pytest.fixture(scope="module")
def few_network(few_week: Home, tmp_path_factory: pytest.TempPathFactory) -> tuple[str, str, str]:
    """A network of one home, its week worked out by commands, and what they said."""
    network = str(tmp_path_factory.mktemp("few") / "network")
    at_home = ["--home", str(few_week.folder), "network"]
    put = CliRunner().invoke(main, [*at_home, "hand-in", network])
    ran = CliRunner().invoke(main, [*at_home, "week", network, "--as-of", DEMO_WEEK])
    assert put.exit_code == 0, put.output
    assert ran.exit_code == 0, ran.output
    return network, put.output, ran.output


def test_the_commands_hand_a_home_in_and_say_what_all_add_up_to(
    few_week: Home, few_network: tuple[str, str, str]
) -> None:
    """And each table is the one that step of the home's own week made.

    But for the last digit of sums: Polars adds up groups in an order of its own.
    """
    network, put, ran = few_network
    assert "our fleet: " in put
    assert "our fleet: 9 hulls" in ran
    store = NetworkStore(network)
    made = store.week(DEMO_WEEK)["operators"]["our fleet"]
    told = {**made["lasting"]["tables"], **made["turning"]}
    steps = {
        "engine_sessions": ("engine_sessions", "sessions"),
        "session_flags": ("engine_sessions", "flags"),
        "piston_lives": ("piston_lives", "rows"),
        "session_fuel": ("session_fuel", "sessions"),
        "tanks": ("session_fuel", "tanks"),
        "tank_balance": ("session_fuel", "balance"),
        "ledger_doubts": ("session_fuel", "doubts"),
        "session_exposure": ("session_exposure", "rows"),
        "spells": ("spells", "rows"),
        "current_exposure": ("current_exposure", "rows"),
        "record_quality": ("record_quality", "rows"),
        "bench_verdicts": ("bench_verdicts", "rows"),
    }
    for name, (step, place) in steps.items():
        frame = pl.read_parquet(Path(network) / told[name][0])
        assert_frame_equal(frame, week_table(few_week, step, place), rel_tol=1e-12, abs_tol=1e-12,
                           check_column_order=False)  # fmt: skip


def test_operators_kits_and_seasons_stand_side_by_side_with_all_that_left_in_the_list(
    worked_here: Path, tmp_path: Path
) -> None:
    command = ["--home", str(tmp_path / "home"), "network", "view", str(worked_here)]
    rows = tmp_path / "rows.csv"

    ran = CliRunner().invoke(main, [*command, "--as-of", "2026-07-20", "--csv", str(rows)])

    assert ran.exit_code == 0, ran.output
    assert "Week of 2026-07-06" in ran.output
    assert "  alder: 0.00 (0.00 to " in ran.output
    assert "  cedar: no running on record" in ran.output
    seen = pl.read_csv(rows)
    by = {(kind, name): row for kind, name, *row in seen.iter_rows()}
    assert list(by) == [("operator", "alder"), ("operator", "birch"), ("operator", "cedar"),
                        ("kit", "cast, original"), ("season", "2026")]  # fmt: skip
    both = np.add(by["operator", "alder"][:4], by["operator", "birch"][:4])
    assert by["kit", "cast, original"][:4] == pytest.approx(both)
    left = pl.read_csv(worked_here / "operators/alder/left-2026-07-06.csv")
    assert left["round"].unique().to_list() == ["week"]
    names = [*COUNTED, *(f"{group}: {name}" for group in ("kit cast, original", "season 2026")
                         for name in GROUPED)]  # fmt: skip
    assert left["sum"].to_list() == names
    told = NetworkStore(str(worked_here)).week("2026-07-06")["operators"]["alder"]["lasting"]
    assert left["value"].to_list() == [
        *told["counts"],
        *(x for of in told["grouped"].values() for x in of),
    ]
    early = CliRunner().invoke(main, [*command, "--as-of", "2026-06-01"])
    assert early.exit_code == 1
    assert "network week" in early.output


def test_what_a_home_agrees_to_show_stands_on_the_networks_page_and_in_the_list_of_what_left(
    few_week: Home, few_network: tuple[str, str, str], tmp_path: Path
) -> None:
    network, at_home = few_network[0], ["--home", str(few_week.folder), "network"]
    day = ["--as-of", DEMO_WEEK]

    def page() -> str:
        folder = tmp_path / "page"
        ran = CliRunner().invoke(main, [*at_home, "view", network, *day, "--page", str(folder)])
        assert ran.exit_code == 0, ran.output
        assert {path.name for path in folder.iterdir()} == {
            "index.html",
            "ringland.css",
            "folds.js",
        }
        return (folder / "index.html").read_text(encoding="utf-8")

    before = page()
    shown = CliRunner().invoke(main, [*at_home, "share", network, *day, "--states", "--docks"])
    with_both = page()
    again = page()
    store = NetworkStore(network)
    told, swept = store.share("our fleet"), store.sweep()
    none = CliRunner().invoke(main, [*at_home, "share", network, *day, "--nothing"])

    docks = week_table(few_week, "dock_comparison", "rows")
    calls = week_table(few_week, "week_decisions", "calls")
    assert shown.exit_code == 0, shown.output
    assert f"our fleet shows: {docks.height} docks and the states of 9 hulls" in shown.output
    assert words.NO_STATES in before
    assert words.NO_DOCKS in before
    assert "Nothing but counts is shown by: our fleet." in before
    assert words.NO_STATES not in with_both
    assert again == with_both, "the same bytes"
    assert swept == []
    assert {state: n for state, n in told["states"].items() if n} == dict(
        calls["call"].value_counts().iter_rows()
    )
    assert sum(told["states"].values()) == 9
    for dock, rate in docks.select("dock_id", "rate").iter_rows():
        assert f">{dock}<" in with_both
        assert f"{rate:.2f} (" in with_both
        assert f">{dock}<" not in before
    left = pl.read_csv(Path(network) / f"operators/our fleet/left-{DEMO_WEEK}.csv")
    numbers = left.filter(round="share")
    assert numbers.height == len(told["states"]) + sum(
        value is not None for of in told["docks"].values() for value in of.values()
    )
    assert not {path.stem for path in few_week.weeks.iterdir()} & {*left["sum"]}
    assert none.exit_code == 0, none.output
    assert page() == before
    silent = CliRunner().invoke(main, [*at_home, "share", network, *day])
    assert silent.exit_code == 2


def test_one_operators_folder_is_read_alone_and_tells_nothing_of_the_others(
    worked_here: Path, tmp_path: Path
) -> None:
    folder = Path(shutil.copytree(worked_here / "operators" / "alder", tmp_path / "mine"))

    monday, tables = own_tables(str(folder), "2026-07-20")
    ran = CliRunner().invoke(
        main,
        ["--home", str(tmp_path / "home"), "network", "own", str(folder), "--as-of", "2026-07-20",
         "--csv", str(tmp_path / "csv")],
    )  # fmt: skip

    records = cut_by_operator(with_a_third(two_operators()), "home")["alder"]
    wanted = operator_week(records, ASKED.settings, AS_OF)
    assert monday == ASKED.monday
    for name, frame in wanted.items():
        assert_frame_equal(tables[name], frame, check_exact=True)
    for kind, rows in records.items():
        if rows.height:
            assert_frame_equal(tables[f"records.{kind}"], rows)
    assert ran.exit_code == 0, ran.output
    assert (tmp_path / "csv" / "spells.csv").exists()
    for path in folder.iterdir():
        content = path.read_bytes()
        held = (
            repr(pl.read_parquet(path).to_dict(as_series=False))
            if path.suffix == ".parquet"
            else ""
        )
        for other in ("birch", "cedar"):
            assert other.encode() not in content
            assert other not in held
    (spells,) = folder.glob("spells-*.parquet")
    spells.write_bytes(b"something else")
    with pytest.raises(StoreError, match=r"spells-.* is lost or was changed"):
        own_tables(str(folder), "2026-07-20")
    with pytest.raises(StoreError, match="one operator's folder"):
        own_tables(str(worked_here), "2026-07-20")


def test_the_page_of_an_invented_network_says_so(tmp_path: Path) -> None:
    network = str(tmp_path / "network")
    hand_in_records(network, two_operators(), "home", is_invented=True)
    network_week(network, ASKED)

    pages = [
        network_site(network_report(network, ASKED.monday, 0.95))["index.html"].decode()
        for _ in range(2)
    ]

    assert DEMO_LABEL in pages[0]
    assert pages[0] == pages[1]
    assert NEVER_CLEARANCE in pages[0]
    assert NetworkStore(network).sweep() == []
