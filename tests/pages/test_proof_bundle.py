"""The proof bundle, verified by a script that knows nothing of this program."""

import io
import os
import subprocess
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import polars as pl
import pytest
from PIL import Image

from ringland.pages.causes.proof_bundle import (
    ProofRecords,
    captured_at,
    manifest,
    named_photos,
    proof_bundle,
)
from ringland.reports.cause_report import CauseReport, cause_reports
from tests.causes.cause_rows import OPENED, teardown
from tests.outside_tools import program
from tests.reports.test_cause_report import frame, shop

OTHER = "E-P1"
SCRIPT = """
set -eu
cd "$1"
sha256sum --check --strict --quiet manifest.sha256
find . -type f ! -name manifest.sha256 | sed 's|^\\./||' | LC_ALL=C sort > "$2/there"
sed 's/^[0-9a-f]*  //' manifest.sha256 | LC_ALL=C sort > "$2/listed"
cmp "$2/there" "$2/listed"
"""
"""Nothing but coreutils, findutils and sed: every file is listed, and every hash holds."""


def photo(taken: str | None = "2025:07:01 09:12:44") -> bytes:
    out, exif = io.BytesIO(), Image.Exif()
    if taken:
        exif.get_ifd(0x8769)[0x9003] = taken  # Exif.DateTimeOriginal
    Image.new("RGB", (40, 30), "red").save(out, format="JPEG", exif=exif)
    return out.getvalue()


def report() -> CauseReport:
    complaint = f"knocked like {OTHER} did last year"
    return cause_reports(shop(complaint=complaint, photo="crown.jpg"))[0]


def records() -> ProofRecords:
    opened = teardown(
        ["2 | piston | second land broken down", f"piston | worse than {OTHER}"], engine_id="E-P0"
    ).with_columns(photo_files=pl.lit("crown.jpg; lost.jpg"))
    evidence = frame(
        "evidence",
        {"engine_id": "E-P0", "taken_at": OPENED, "kind": "fuel_sample", "item": "FS-1",
         "seal": "S4101", "result": "89.5 AKI", "kept_where": "fuel cabinet",
         "taken_by": "R. Vane"},
    )  # fmt: skip
    rows = {
        name: rows.with_columns(
            source_file=pl.lit(f"{name} of {OTHER}.csv"), source_row=pl.int_range(2, 2 + pl.len())
        )
        for name, rows in {"teardowns": opened, "evidence": evidence}.items()
    }
    fuel = shop().exposure.filter(pl.col("engine_id") == "E-P0")
    hashes = {f"teardowns of {OTHER}.csv": "ab" * 32}
    return ProofRecords(
        rows, fuel, {"limits.toml": "[a]\n"}, {"crown.jpg": photo()}, hashes, {OTHER, "E-P2"}
    )


@pytest.fixture(scope="module")
def made() -> dict[str, bytes]:
    return proof_bundle(report(), records())


def written(files: dict[str, bytes], folder: Path) -> Path:
    for name, content in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    return folder


def verified(folder: Path, scratch: Path) -> int:
    scratch.mkdir(exist_ok=True)
    return subprocess.run(
        ["sh", "-c", SCRIPT, "sh", str(folder), str(scratch)],
        check=False,
        capture_output=True,
        env={"PATH": os.environ["PATH"]},
    ).returncode


def test_a_script_with_standard_tools_verifies_the_bundle(
    made: dict[str, bytes], tmp_path: Path
) -> None:
    assert verified(written(made, tmp_path / "proof"), tmp_path / "scratch") == 0


@pytest.mark.parametrize("name", ["report.pdf", "records/teardowns.csv", "photos/crown.jpg"])
def test_one_changed_byte_is_found(made: dict[str, bytes], tmp_path: Path, name: str) -> None:
    changed = bytearray(made[name])
    changed[len(changed) // 2] ^= 1
    folder = written(made | {name: bytes(changed)}, tmp_path / "proof")
    assert verified(folder, tmp_path / "scratch") != 0


def test_a_file_taken_out_or_put_in_is_found(made: dict[str, bytes], tmp_path: Path) -> None:
    fewer = {name: content for name, content in made.items() if name != "photos/crown.jpg"}
    assert verified(written(fewer, tmp_path / "fewer"), tmp_path / "scratch") != 0
    more = written(made | {"photos/another.jpg": photo()}, tmp_path / "more")
    assert verified(more, tmp_path / "scratch") != 0


def pdf_text(content: bytes) -> str:
    tool = program("pdftotext", "poppler-utils")
    run = subprocess.run([tool, "-", "-"], input=content, capture_output=True, check=True)
    return run.stdout.decode()


def test_no_other_engine_is_named_in_any_file(made: dict[str, bytes]) -> None:
    assert OTHER in report().complaint[0]  # the record's own words do name one
    for name, content in made.items():
        text = pdf_text(content) if name.endswith(".pdf") else content.decode("latin-1")
        assert OTHER not in text, name
        assert "E-P2" not in text, name
    assert "[another engine]" in pdf_text(made["report.pdf"])
    assert b"E-P0" in made["records/teardowns.csv"]


def test_every_row_names_its_file_its_row_and_the_files_hash(made: dict[str, bytes]) -> None:
    rows = pl.read_csv(made["records/teardowns.csv"])
    assert rows["source_sha256"].unique().to_list() == ["ab" * 32]
    assert rows["source_row"].to_list() == [2, 3]


def test_photos_are_tied_to_finding_cylinder_and_the_cameras_time(made: dict[str, bytes]) -> None:
    rows = {row["file"]: row for row in pl.read_csv(made["photos.csv"]).to_dicts()}
    shown = rows["crown.jpg"]
    assert "piston: second land broken down (cylinder 2)" in shown["shows"]
    assert shown["captured_at_by_the_camera"] == "2025:07:01 09:12:44"
    assert f"{shown['sha256']}  photos/crown.jpg" in made["manifest.sha256"].decode()
    assert rows["lost.jpg"]["captured_at_by_the_camera"] == "not given"
    assert "lost.jpg" in made["README.txt"].decode()


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (photo(None), "none written by the camera"),
        (b"<svg onload=alert(1)>", "not a readable picture"),
        (b"", "not a readable picture"),
    ],
)
def test_a_photo_without_a_time_says_so(content: bytes, said: str) -> None:
    assert captured_at(content) == said


def test_a_photos_name_leads_to_no_other_folder() -> None:
    behind = records()
    rows = behind.rows["teardowns"].with_columns(photo_files=pl.lit("../../evil.jpg"))
    behind = replace(
        behind, rows=behind.rows | {"teardowns": rows}, photos={"../../evil.jpg": photo()}
    )
    made = proof_bundle(report(), behind)
    assert "photos/evil.jpg" in made
    assert not [name for name in made if ".." in name or name.startswith("/")]
    assert named_photos(behind.rows) == ("../../evil.jpg",)


def test_two_photos_whose_names_come_out_alike_are_both_there() -> None:
    """Of 'cyl 1.jpg' and 'cyl-1.jpg' the second lay where the first had been."""
    behind = records()
    names = ("cyl 1.jpg", "cyl-1.jpg", "CYL-1.jpg")
    rows = behind.rows["teardowns"].with_columns(photo_files=pl.lit("; ".join(names)))
    photos = {name: photo(f"2025:07:0{at} 09:00:00") for at, name in enumerate(names, start=1)}
    made = proof_bundle(
        report(), replace(behind, rows=behind.rows | {"teardowns": rows}, photos=photos)
    )
    kept = {name: content for name, content in made.items() if name.startswith("photos/")}
    assert set(kept.values()) == set(photos.values())
    assert len({name.lower() for name in kept}) == 3
    told = pl.read_csv(made["photos.csv"])
    assert {f"photos/{name}" for name in told["file"]} == set(kept)


def test_a_serial_of_digits_alone_is_blacked_out_where_it_can_be_no_figure() -> None:
    """A shop whose serials are numbers handed over the number of another customer's engine."""
    behind = replace(records(), others={"104477", "12"})
    rows = behind.rows["teardowns"].with_columns(finding=pl.lit("worse than 104477, 12 h later"))
    made = proof_bundle(report(), replace(behind, rows=behind.rows | {"teardowns": rows}))
    told = made["records/teardowns.csv"].decode()
    assert "worse than [another engine], 12 h later" in told
    assert "Read the rows before you hand this over" in made["README.txt"].decode()
    assert "Read the rows before" not in proof_bundle(report(), records())["README.txt"].decode()


def test_the_same_records_give_the_same_bytes(made: dict[str, bytes]) -> None:
    assert proof_bundle(report(), records()) == made


def test_a_manifest_is_in_order_of_its_names() -> None:
    lines = manifest({"b": b"", "a": b""}).splitlines()
    # SHA-256 of nothing, FIPS 180-4 example
    empty = "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"
    assert lines == [f"{empty}  a", f"{empty}  b"]


def test_the_evidence_chain_is_on_the_report() -> None:
    of = shop(photo="crown.jpg")
    taken = datetime(2025, 7, 1, 9, tzinfo=UTC)
    rows = frame(
        "evidence",
        {"engine_id": "E-P0", "taken_at": taken, "kind": "fuel_sample", "item": "FS-1",
         "seal": "S4101", "result": "89.5 AKI", "kept_where": "fuel cabinet",
         "taken_by": "R. Vane"},
        {"engine_id": "E-P0", "taken_at": taken, "kind": "instrument", "item": "LT-04",
         "about": "leak_down", "calibrated_at": taken - timedelta(days=40)},
        {"engine_id": "E-P0", "taken_at": taken - timedelta(days=90), "kind": "part_kept",
         "item": "of the failure before"},
    )  # fmt: skip
    made = cause_reports(replace(of, records=of.records | {"evidence": rows}))[0]
    told = {row[0]: row for row in made.evidence}
    assert set(told) == {"Fuel sample", "Instrument"}
    assert told["Fuel sample"][3] == "seal S4101; 89.5 AKI"
    assert told["Instrument"][4].startswith("last calibrated ")
    assert told["Instrument"][5].startswith("no name, ")
    assert "No part is on record as kept." in made.evidence_lines
    assert len(made.signatures) == 2
