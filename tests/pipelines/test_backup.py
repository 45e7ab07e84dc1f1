"""A laptop can be lost: a backup brings back every page, table, paper and photo, or nothing."""

import json
import os
import shutil
import zipfile
from datetime import UTC, datetime
from pathlib import Path

import pytest
from click.testing import CliRunner

from pipelines.backup import MANIFEST, back_up, read_manifest
from pipelines.command_line import main
from pipelines.dockside.journal import SECOND, Journal
from pipelines.dockside.people import People
from pipelines.dockside.taking_in import journal_faults, take_journal_in
from pipelines.duckdb_warehouse import WarehouseError, warehouse_at
from pipelines.home import JOURNAL, SESSIONS, Home
from pipelines.kept_backups import keep_backup
from pipelines.taken_list import NAMES, taken_in
from pipelines.warehouse_care import check_warehouse, record_tables
from pipelines.weekly.store import WeekKey, WeekStore
from tests.dockside.small_shop import entry, stamped
from tests.pipelines.demo_run import DEMO_WEEK
from tests.pipelines.dockside.shop_home import open_dockside

NOW = datetime(2026, 8, 17, 9, tzinfo=UTC)
FIXTURES = Path(__file__).parents[1] / "intake" / "fixtures"
PAPER = f"papers/{DEMO_WEEK}/handed-out.pdf"


@pytest.fixture
def home(few_week: Home, tmp_path: Path) -> Home:
    """A home of its own with a week, and all that only this home holds."""
    home = Home(Path(shutil.copytree(few_week.folder, tmp_path / "shop")))
    for name, content in {
        "photos/piston 3.jpg": b"not really a picture",
        "drop/fills late.csv": b"hull_id,filled_at",
        "mappings/dock_log.toml": (FIXTURES / "dock_log.toml").read_bytes(),
        PAPER: b"%PDF as it was given to the customer",
        "whatever-a-later-ringland-keeps.json": b"{}",
        "site/2020-01-06/index.html": b"a page of an older ringland, kept nowhere else",
    }.items():
        path = home.folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    return home


def run(home: Home, *arguments: str) -> str:
    done = CliRunner().invoke(main, ["--home", str(home.folder), *arguments])
    assert done.exit_code == 0, done.output
    return done.output


def contents(home: Home) -> dict[str, bytes]:
    """Every file but Dagster's log, the warehouse and the library all sites share."""
    return {
        name: path.read_bytes()
        for path in home.folder.rglob("*")
        if path.is_file() and (name := path.relative_to(home.folder).as_posix())
        if not name.startswith(("dagster/", "ringland.duckdb", "site/shared/"))
    }


def wrong(home: Home) -> list[str]:
    return [line for finding in check_warehouse(home) for line in finding.wrong]


def test_a_lost_laptop_comes_back_whole_at_another_place(home: Home, tmp_path: Path) -> None:
    hull = WeekStore(home.weeks).listed(WeekKey(DEMO_WEEK))
    assert hull.outputs
    before, tables = contents(home), record_tables(warehouse_at(home.database))
    file = tmp_path / "backup.zip"
    assert "read back" in run(home, "backup", str(file))
    shutil.rmtree(home.folder)
    elsewhere = Home(tmp_path / "new laptop" / "home")

    said = run(elsewhere, "restore", str(file))

    assert contents(elsewhere) == before
    after = record_tables(warehouse_at(elsewhere.database))
    assert all(rows.equals(tables[table]) for table, rows in after.items())
    assert wrong(elsewhere) == []
    assert "photos: 1 file\n" in said


def test_a_lost_laptops_dockside_comes_back_for_its_owner_alone(home: Home, tmp_path: Path) -> None:
    """Its keys were readable by everybody on the new laptop, and nobody was told they were in."""
    open_dockside(home, NOW)
    before, members = contents(home), People(home.dockside).members
    file, elsewhere = tmp_path / "backup.zip", Home(tmp_path / "new laptop" / "home")

    assert "private keys of your dockside server" in run(home, "backup", str(file))
    shutil.rmtree(home.folder)
    assert "look through 'ringland dockside-people list'" in run(elsewhere, "restore", str(file))

    after = contents(elsewhere)
    left_out = {name for name in before if name.endswith(".lock")} | {f"dockside/{SESSIONS}"}
    assert before.keys() - after.keys() == left_out
    assert all(content == before[name] for name, content in after.items())
    assert People(elsewhere.dockside).members == members
    if os.name == "posix":
        assert file.stat().st_mode & 0o077 == 0
        assert elsewhere.dockside.stat().st_mode & 0o077 == 0
    take_journal_in(elsewhere)
    assert journal_faults(elsewhere) == []
    assert warehouse_at(elsewhere.database).read(
        "from shop_records.fills where volume_l = 5 and filled_at::date = '2026-08-16'"
    ).height == 2  # fmt: skip


def test_a_backup_puts_back_what_the_dockside_has_lost(home: Home, tmp_path: Path) -> None:
    """The check said so of the journal, and nothing was put back."""
    open_dockside(home, NOW)
    file = back_up(home, tmp_path / "b.zip", NOW).file
    journal, people = home.dockside / JOURNAL, home.dockside / "people.json"
    said = journal.read_bytes()
    for path in (journal, journal.with_name(SECOND)):
        path.write_bytes(said.replace(b'"volume_l": "5"', b'"volume_l": "9"', 1))
    members = People(home.dockside).members
    people.write_bytes(people.read_bytes().replace(b"mechanic", b"me_hanic"))
    key = home.dockside / "authority" / "authority.key"
    key.unlink()
    with Journal(home.dockside) as kept:  # an entry made since
        kept.append([stamped(entry("fills", {"hull_id": "H", "volume_l": "7"}))])
    since = journal.read_bytes()[len(said) :]
    assert any("--mend" in line for line in journal_faults(home))
    assert sum(name in line for line in wrong(home) for name in (str(people), str(key))) == 2

    put_back = run(home, "restore", str(file), "--mend")

    assert f"Put back: dockside/{JOURNAL}" in put_back
    assert "Put back: dockside/people.json" in put_back
    assert journal.read_bytes() == said + since
    assert People(home.dockside).members == members
    (left,) = wrong(home)
    assert left.endswith("run 'ringland load'")


def test_a_paper_made_after_a_restore_is_the_paper_made_before(home: Home, tmp_path: Path) -> None:
    folder = home.folder / "papers" / DEMO_WEEK
    run(home, "hull-sheet", "--all")
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    assert len(before) > 1
    for name in before:
        if name != Path(PAPER).name:
            (folder / name).unlink()
    made = back_up(home, tmp_path / "b.zip", NOW)
    restored = Home(tmp_path / "restored")
    run(restored, "restore", str(made.file))

    run(restored, "hull-sheet", "--all")

    again = restored.folder / "papers" / DEMO_WEEK
    assert {path.name: path.read_bytes() for path in again.iterdir()} == before


def test_a_damaged_backup_changes_nothing(home: Home, tmp_path: Path) -> None:
    made = back_up(home, tmp_path / "b.zip", NOW)
    name = next(name for name in read_manifest(made.file).files if name.startswith("raw/"))
    with zipfile.ZipFile(made.file) as backup:
        at = backup.getinfo(name).header_offset + 200
    content = bytearray(made.file.read_bytes())
    content[at] ^= 0xFF
    made.file.write_bytes(content)
    before = contents(home)

    done = CliRunner().invoke(main, ["--home", str(home.folder), "restore", str(made.file)])

    assert done.exit_code == 1
    assert "Nothing was changed" in done.output
    assert name in done.output
    assert contents(home) == before


def test_a_home_that_stands_there_is_moved_aside_whole(home: Home, tmp_path: Path) -> None:
    made = back_up(home, tmp_path / "b.zip", NOW)
    (home.folder / "photos" / "since.jpg").write_bytes(b"taken since")
    before = contents(home)

    said = run(home, "restore", str(made.file))

    (aside,) = [path for path in tmp_path.iterdir() if "-before-" in path.name]
    assert str(aside) in said
    assert contents(Home(aside)) == before
    assert wrong(home) == []
    assert not (home.folder / "photos" / "since.jpg").exists()


def test_a_backup_puts_back_what_is_lost_and_leaves_the_rest(home: Home, tmp_path: Path) -> None:
    file = back_up(home, tmp_path / "b.zip", NOW).file
    before = contents(home)
    store, key = WeekStore(home.weeks), WeekKey(DEMO_WEEK)
    (home.weeks / DEMO_WEEK / "week.json").write_text("{}")
    calls = next(name for name in before if name.endswith("week_decisions.calls.parquet"))
    (home.folder / calls).write_bytes(b"PAR1")
    (home.raw / f"{next(iter(taken_in(home.raw))).content_sha256}.csv").unlink()
    for name in NAMES:
        (home.raw / name).unlink()
    (home.folder / "actions.toml").write_text("# written since\n")
    assert len(wrong(home)) > 2

    run(home, "restore", str(file), "--mend")

    after = {name: content for name, content in contents(home).items() if "set-apart" not in name}
    assert after == before | {"actions.toml": b"# written since\n"}
    assert store.has_pages(key)
    assert wrong(home) == []


def test_a_home_with_a_damaged_warehouse_is_backed_up_and_rebuilt(
    home: Home, tmp_path: Path
) -> None:
    tables = record_tables(warehouse_at(home.database))
    home.database.write_bytes(b"no database" * 1000)

    made = back_up(home, tmp_path / "b.zip", NOW)

    assert made.damaged == ("ringland.duckdb is damaged and was left out",)
    restored = Home(tmp_path / "restored")
    run(restored, "restore", str(made.file))
    after = record_tables(warehouse_at(restored.database))
    assert all(rows.equals(tables[table]) for table, rows in after.items())


@pytest.mark.parametrize(
    ("target", "said"),
    [("shop/b.zip", "would be lost with it"), ("there.zip", "is there already"),
     ("no folder/b.zip", "There is no folder")],
)  # fmt: skip
def test_a_backup_that_would_be_none_is_refused(
    home: Home, tmp_path: Path, target: str, said: str
) -> None:
    (tmp_path / "there.zip").touch()

    with pytest.raises(WarehouseError, match=said):
        back_up(home, tmp_path / target, NOW)


@pytest.mark.parametrize("command", [("check",), ("backup", "b.zip"), ("rebuild",), ("retention",)])
def test_a_home_that_is_not_there_is_told_and_none_is_made(
    tmp_path: Path, command: tuple[str, ...]
) -> None:
    """A wrong --home gave a backup of no file, 'read back', and a rebuild made an empty home."""
    arguments = [str(tmp_path / one) if one.endswith(".zip") else one for one in command]

    done = CliRunner().invoke(main, ["--home", str(tmp_path / "none"), *arguments])

    assert done.exit_code == 1
    assert f"There is no home at {tmp_path / 'none'}" in done.output
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("name", ["../outside", "/etc/outside", "C:/outside", "a\\b"])
def test_a_backup_that_names_a_place_outside_the_home_is_refused(tmp_path: Path, name: str) -> None:
    file = tmp_path / "b.zip"
    told = {"form": 1, "ringland": "0", "made_at": "", "open_weeks": [], "files": {name: "00"}}
    with zipfile.ZipFile(file, "w") as backup:
        backup.writestr(MANIFEST, json.dumps(told))

    with pytest.raises(WarehouseError, match="lies in no home"):
        read_manifest(file)


def test_the_newest_backups_stay_in_the_folder_the_shop_names(home: Home, tmp_path: Path) -> None:
    stick = tmp_path / "stick"
    facts = home.own_file.read_text().replace("backup_folder = ''", f"backup_folder = '{stick}'")
    home.own_file.write_text(facts.replace("backups_kept = 8", "backups_kept = 2"))
    assert "there is no folder" in (keep_backup(home, NOW) or "")
    stick.mkdir()

    said = [keep_backup(home, NOW.replace(hour=hour)) for hour in (10, 11, 12)]

    assert all(one and one.startswith("Backup: ") for one in said)
    assert [path.name for path in sorted(stick.iterdir())] == [
        "ringland-shop-20260817-110000.zip",
        "ringland-shop-20260817-120000.zip",
    ]
    (home.raw / f"{next(iter(taken_in(home.raw))).content_sha256}.csv").write_text("damaged")
    keep_backup(home, NOW.replace(hour=13))
    assert len(list(stick.iterdir())) == 3  # the last whole ones stay


def test_no_backup_is_made_where_none_is_asked_for(home: Home) -> None:
    assert keep_backup(home, NOW) is None


def test_a_restore_cut_off_between_two_renames_is_told_with_what_to_do(tmp_path: Path) -> None:
    """The home was gone, and the check said to load some records."""
    home = Home(tmp_path / "home")
    (tmp_path / "home-before-20260817-080000").mkdir()

    (told,) = wrong(home)

    assert "Run 'ringland restore BACKUP' again, or rename" in told
    assert "home-before-20260817-080000, which is whole, to home" in told


def test_what_a_cut_off_backup_left_beside_its_place_is_gone_with_the_next(tmp_path: Path) -> None:
    """Each of them left a file as large as the home on the stick, for good."""
    home = Home(tmp_path / "home").prepare()
    stick = tmp_path / "a[1]"
    stick.mkdir()
    for left in ("b.zip.123.partial", "b.zip.123.partial.duckdb.partial"):
        (stick / left).write_bytes(b"cut off")

    back_up(home, stick / "b.zip", NOW)

    assert [path.name for path in stick.iterdir()] == ["b.zip"]
