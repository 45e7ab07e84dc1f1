"""What is installed to run ringland, by the packages' own lists of files."""

import re
from importlib.metadata import PackageNotFoundError, files
from pathlib import Path

PINS = Path(__file__).parents[1] / ".pins" / "run.txt"
MOST_MB = 1_100


def size_mb(package: str) -> float:
    """What a package takes; one for another system than this takes nothing here."""
    try:
        return sum(one.size or 0 for one in files(package) or ()) / 1e6
    except PackageNotFoundError:
        return 0.0


def test_what_is_installed_to_run_takes_no_more_than_was_asked() -> None:
    packages = set(re.findall(r"^([\w.-]+)==", PINS.read_text(), re.MULTILINE))
    sizes = {package: size_mb(package) for package in packages}

    assert sizes["polars-runtime-32"] > 100, "the lists of files say no sizes"
    assert sum(sizes.values()) <= MOST_MB
