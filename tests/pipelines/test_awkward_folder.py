"""A folder with files nobody can read: the command says which and what to do, in words."""

from pathlib import Path

from click.testing import CliRunner

from pipelines.command_line import main


def load(tmp_path: Path, **files: bytes) -> str:
    records = tmp_path / "records"
    records.mkdir()
    for name, content in files.items():
        (records / name.replace("__", ".")).write_bytes(content)
    run = CliRunner().invoke(main, ["--home", str(tmp_path / "home"), "load", str(records)])
    assert run.exception is None or isinstance(run.exception, SystemExit), run.exception
    return run.output


def test_a_torn_workbook_ends_the_load_with_file_and_remedy_alone(tmp_path: Path) -> None:
    """Found in use: the spreadsheet library's own words came out, without file or remedy."""
    said = load(tmp_path, fills__xlsx=b"PK\x03\x04 torn")

    assert "Error: fills.xlsx: The workbook cannot be opened" in said
    assert "save it again as .xlsx or CSV." in said
    assert "RecordFileError" not in said
    assert "Traceback" not in said


def test_a_spreadsheet_in_a_format_that_is_not_read_is_named(tmp_path: Path) -> None:
    """Found in use: a folder with one old spreadsheet loaded nothing and said nothing."""
    said = " ".join(load(tmp_path, fills__xls=b"<html><table>").split())

    assert "fills.xls" in said
    assert "save it as .xlsx or CSV" in said
