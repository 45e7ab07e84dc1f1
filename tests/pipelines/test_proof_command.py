"""`ringland proof` on the demo home, verified by programs that know nothing of ringland."""

from pathlib import Path

import page
import polars as pl
from click.testing import CliRunner

from pipelines.command_line import main
from pipelines.proof import free_folder, proof_records
from ringland.pages.causes.proof_bundle import MANIFEST
from ringland.reports.cause_report import cause_report, shop_memory
from tests.pages.test_proof_bundle import pdf_text, verified
from tests.pipelines.demo_run import DEMO_WEEK, DemoRun, the_week


def test_a_proof_of_the_demo_stands_by_itself(demo: DemoRun, tmp_path: Path) -> None:
    record = the_week(demo.home).value("cause_record")
    failure = record.records["failures"].sort("found_at").row(-1, named=True)
    engine = failure["engine_id"]
    home = tmp_path / "home"  # the demo's own is not to be written into
    home.mkdir()
    for entry in demo.home.folder.iterdir():
        (home / entry.name).symlink_to(entry)
    run = CliRunner().invoke(main, ["--home", str(home), "proof", engine, "--as-of", DEMO_WEEK])
    assert run.exit_code == 0, run.output
    folder = Path(run.output.splitlines()[0].strip())
    assert verified(folder, tmp_path / "scratch") == 0
    report = (folder / "report.pdf").read_bytes()
    assert page.validate_pdf_bytes(report, profile="2b").failures == []
    others = set(record.records["engines"]["engine_id"]) - {engine}
    for file in sorted(folder.rglob("*.*")):
        content = file.read_bytes()
        text = pdf_text(content) if file.suffix == ".pdf" else content.decode("latin-1")
        assert [one for one in others if one in text] == [], file.name
    assert written_once(folder, {"manifest.sha256": (folder / "manifest.sha256").read_bytes()})
    deliveries = pl.read_csv(folder / "records" / "deliveries.csv")
    assert deliveries.height > 0
    assert deliveries["source_sha256"].str.len_chars().unique().to_list() == [64]


def written_once(folder: Path, same: dict[str, bytes]) -> bool:
    return free_folder(folder, same) == folder


def test_a_bundle_that_was_signed_for_is_never_written_over(tmp_path: Path) -> None:
    """A second run wrote its files over those whose hash stood on the signed paper."""
    there = tmp_path / "E-1"
    assert free_folder(there, {MANIFEST: b"new"}) == there
    there.mkdir()
    (there / MANIFEST).write_bytes(b"signed for")
    assert free_folder(there, {MANIFEST: b"signed for"}) == there
    assert free_folder(there, {MANIFEST: b"new"}) == tmp_path / "E-1-2"


def test_what_was_put_right_since_goes_with_the_rows(demo: DemoRun) -> None:
    """A row showed the corrected figure beside a file and row that hold another."""
    record = the_week(demo.home).value("cause_record")
    failure = record.records["failures"].sort("found_at").row(-1, named=True)
    fixed = {"record_kind": "failures", "change": "corrected", "field": "complaint",
             "new_value": "knocked", "reason": "asked again"}  # fmt: skip
    keys = [f"{failure['engine_id']}; 2026-08-14T22:14:00Z", "E-OTHER; 2026-08-14T22:14:00Z"]
    rows = pl.DataFrame(
        [fixed | {"record_key": key} for key in keys],
        schema=record.records["corrections"].schema,
    )
    record.records["corrections"] = rows
    made = cause_report(record, failure, shop_memory(record))
    told = proof_records(record, made, demo.home.raw).rows["corrections"]
    assert told["record_key"].to_list() == keys[:1]
