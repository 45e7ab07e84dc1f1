"""How big the pages of three years of records are, and that 500 such hulls keep to 60 MB.

The limits are the owner's for a marina laptop: a hull's page under 200 KB beside the shared
script, 500 hulls under 60 MB in all.  `tests/benchmarks/test_site_speed.py` makes the 500;
here the demo's 46 are measured, so that a page that grows is noticed at every test run.
"""

import io
import zipfile
from collections import defaultdict
from pathlib import Path

from pipelines.week_site import whole_bundle
from pipelines.weekly.store import WeekKey
from ringland.settings.assumptions import load_assumptions
from tests.pipelines.demo_run import DemoRun

ROOMY = 1.5
"""Times today's size at which a page is called grown: 2026-11-25, hull 24 to 34 kB, tank 9 to
12 kB, cause report 29 to 48 kB and its PDF 250 kB."""


def sizes_by_kind(site: Path) -> dict[str, list[int]]:
    kinds = defaultdict(list)
    for path in site.rglob("*.*"):
        of = path.relative_to(site)
        is_one_of_many = of.parent.name in ("hulls", "causes") and any(
            letter.isdigit() for letter in of.stem
        )
        kinds[f"{of.parent}/*{of.suffix}" if is_one_of_many else str(of)].append(
            path.stat().st_size
        )
    return dict(kinds)


def test_no_page_has_grown(demo: DemoRun) -> None:
    kinds = sizes_by_kind(demo.site)

    assert len(kinds["hulls/*.html"]) == 46
    # with its tank and its records, which were pages of 12 and 10 kB of their own
    assert max(kinds["hulls/*.html"]) < ROOMY * 50_000 < 200_000
    assert max(kinds["causes/*.html"]) < ROOMY * 48_000
    assert max(kinds["causes/*.pdf"]) < ROOMY * 250_000


def test_five_hundred_such_hulls_would_keep_to_sixty_megabytes(demo: DemoRun) -> None:
    """Pages of hulls and failures, lists and tables grow with the hulls; the shared scripts and
    the PDFs, of which the newest `report.cause_files` are made, do not.  The bundle,
    the same files in one, lies beside the folder."""
    kinds = sizes_by_kind(demo.site)
    times = 500 / len(kinds["hulls/*.html"])
    newest = load_assumptions().number("report.cause_files")
    files = sum(sum(kinds[kind]) / len(kinds[kind]) * newest
                for kind in ("causes/*.pdf", "causes/*.xlsx"))  # fmt: skip
    counted_apart = ("causes/*.pdf", "causes/*.xlsx")
    grown = sum(
        sum(sizes) * (1.0 if kind.endswith((".js", ".css")) else times)
        for kind, sizes in kinds.items()
        if kind not in counted_apart
    )

    assert grown + files < 60e6


def test_the_bundle_holds_every_file_and_the_drawing_library(demo: DemoRun) -> None:
    bundle = whole_bundle(demo.home, WeekKey(demo.site.name))
    with zipfile.ZipFile(io.BytesIO(bundle)) as archive:
        held = {name: archive.getinfo(name).file_size for name in archive.namelist()}
    there = {
        path.relative_to(demo.home.site).as_posix(): path.stat().st_size
        for folder in (demo.site, demo.home.site / "shared")
        for path in folder.rglob("*.*")
    }

    assert held == there
    assert len(bundle) < sum(there.values())
