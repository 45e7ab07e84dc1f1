"""The limits of the bench tests: the project's own, and a shop's laid over them."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

from ringland.settings.assumptions import Assumptions, laid_over, read_assumptions

BENCH_LIMITS_FILE = "bench_limits.toml"


def default_bench_limits() -> Assumptions:
    """The project's own limits."""
    text = files("ringland.bench").joinpath(BENCH_LIMITS_FILE).read_text(encoding="utf-8")
    return read_assumptions(BENCH_LIMITS_FILE, text)


def load_bench_limits(own_file: Path | None = None) -> Assumptions:
    """The project's limits with a shop's own file laid over them.

    They judge the weekly tests.  None of them passes a new build, which is held against the
    maker's figures alone (`build_lines`).

    Raises:
        AssumptionError: as `settings.assumptions.laid_over`.
    """
    default = default_bench_limits()
    if own_file is None:
        return default
    return laid_over(default, str(own_file), own_file.read_text(encoding="utf-8"))
