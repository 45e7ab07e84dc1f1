"""Files and folders put in place whole, also where another program has one of them open."""

from collections.abc import Callable
from pathlib import Path

import pytest

from pipelines.whole_files import (
    InUseError,
    move,
    put_folder,
    put_in_place,
    set_apart,
    swap_folder,
    write_whole,
)


def in_use(name: str, rename: Callable[..., Path]) -> Callable[..., Path]:
    """As Windows does it: what another program has open cannot be renamed."""

    def renamed(path: Path, target: Path) -> Path:
        if path.name == name:
            raise PermissionError(13, "being used by another process", str(path))
        return rename(path, target)

    return renamed


@pytest.fixture
def site(tmp_path: Path) -> Path:
    """Last week's pages in their place, and this week's beside them."""
    for name in ("week", "week.new"):
        (tmp_path / name).mkdir()
        (tmp_path / name / "index.html").write_text(name)
    return tmp_path


def as_it_lies(folder: Path) -> dict[str, str]:
    return {str(p.relative_to(folder)): p.read_text() for p in folder.rglob("*") if p.is_file()}


def test_a_folder_takes_the_place_of_an_older_one_and_of_what_a_cut_off_swap_left(
    site: Path,
) -> None:
    (site / "week.gone").mkdir()

    swap_folder(site / "week.new", site / "week")

    assert as_it_lies(site) == {"week/index.html": "week.new"}
    assert [path.name for path in site.iterdir()] == ["week"]


@pytest.mark.parametrize("open_there", ["week", "week.new"])
def test_with_a_page_in_use_both_weeks_stay_as_they_were(
    site: Path, monkeypatch: pytest.MonkeyPatch, open_there: str
) -> None:
    """With one page open the old week was deleted but for it, and the new one left unnamed."""
    before = as_it_lies(site)
    monkeypatch.setattr(Path, "rename", in_use(open_there, Path.rename))

    with pytest.raises(InUseError, match="another program has it open"):
        swap_folder(site / "week.new", site / "week")

    assert as_it_lies(site) == before


def test_a_file_in_use_stays_as_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = tmp_path / "week.json"
    file.write_text("old")
    (tmp_path / "partial").write_text("new")
    monkeypatch.setattr(Path, "replace", in_use("partial", Path.replace))

    with pytest.raises(InUseError, match="it is as it was"):
        put_in_place(tmp_path / "partial", file)

    assert file.read_text() == "old"


def test_a_file_written_whole_leaves_nothing_beside_it(tmp_path: Path) -> None:
    file = tmp_path / "a.json"
    write_whole(file, b"old")
    write_whole(file, b"new")
    apart = set_apart(file)

    assert apart.read_bytes() == b"new"
    assert as_it_lies(tmp_path) == {"set-apart/a.json": "new"}


def test_a_folder_is_written_beside_its_place_and_takes_it_whole(tmp_path: Path) -> None:
    (tmp_path / "proof.new").mkdir()
    (tmp_path / "proof.new" / "half").write_text("of a run that was cut off")

    put_folder(tmp_path / "proof", {"a.csv": b"a", "photos/b.jpg": b"b"})

    assert as_it_lies(tmp_path) == {
        str(Path("proof", "a.csv")): "a",
        str(Path("proof", "photos", "b.jpg")): "b",
    }


def test_a_restored_home_that_is_being_read_waits_until_it_can_be_moved(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A virus scanner reads each new file for a moment: the rename after a restore failed by it."""
    (tmp_path / "fresh").mkdir()
    tries, rename = [], Path.rename

    def busy_once(path: Path, to: Path) -> Path:
        tries.append(path.name)
        if len(tries) == 1:
            raise PermissionError(13, "being used by another process", str(path))
        return rename(path, to)

    monkeypatch.setattr(Path, "rename", busy_once)
    monkeypatch.setattr("pipelines.whole_files.os", OnWindows())
    monkeypatch.setattr("pipelines.whole_files._PAUSE_S", 0.0)

    move(tmp_path / "fresh", tmp_path / "home")

    assert tries == ["fresh", "fresh"]
    assert (tmp_path / "home").is_dir()


class OnWindows:
    """What the patience asks of the system."""

    name = "nt"
