"""How a run of tests spreads over the cores, and what it makes once for all of them."""

import gc
import os
import sys
from collections.abc import Iterator
from functools import partial
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from tests.built_once import BuiltOnce, build_once

MOST = 4
"""A process takes up to 1.3 GB."""
FEW_FILES = 4
"""A run of so few files is over before a second process has imported what they need."""

HEAVY = (
    "pipelines/test_demo_week.py",
    "pages/test_one_state_property.py",
    "pipelines/dockside/test_forms_browser.py",
    "intake/test_plain_csv.py",
    "pipelines/dockside/test_journal.py",
    "test_house_rules.py",
    "pages/test_report_access.py",
    "pipelines/test_job_commands.py",
    "pages/test_report_browser.py",
    "pages/test_what_if_browser.py",
    "pipelines/test_warehouse_care.py",
    "pipelines/test_raw_trust.py",
    "pipelines/test_replacing.py",
    "pipelines/test_retention.py",
    "pages/test_big_fleet_browser.py",
    "pipelines/test_restated_weeks.py",
    "pipelines/test_restated_papers.py",
    "pipelines/test_shop_week.py",
)
"""The files that take longest: begun first, so that none of them is left for one core alone."""

DEMO = (
    "pipelines/test_demo_pages.py",
    "pipelines/test_definitions.py",
    "pipelines/test_hull_papers.py",
    "pipelines/test_demo_open_items.py",
    "pipelines/test_operator_week.py",
    "pipelines/test_settings_read.py",
    "pipelines/test_site_sizes.py",
)
"""The files that read the demo's home: begun last, so that no process waits for another's."""

# The same examples on every run, and none that fails because the machine is busy.
settings.register_profile(
    "held", derandomize=True, deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("held")

if "PYTEST_XDIST_WORKER" in os.environ:
    # The processes share the cores already; threads within them would only wait for each other.
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "POLARS_MAX_THREADS"):
        os.environ.setdefault(name, "1")
# Programs that tests start find what was compiled for the one before.
sys.dont_write_bytecode = False
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)


def pytest_xdist_auto_num_workers(config: pytest.Config) -> int:
    """One process a core; none for a few files, for what is timed and for what is watched."""
    option = config.option
    is_watched = option.capture == "no" or option.usepdb
    is_timed = option.markexpr.strip() in ("benchmark", "study")
    if is_watched or is_timed or n_files(config) <= FEW_FILES:
        return 0
    return min(os.cpu_count() or 1, MOST)


def n_files(config: pytest.Config) -> int:
    """How many files of tests the command line names, itself or by their folders."""
    named = [config.invocation_params.dir / arg.split("::")[0] for arg in config.args]
    return sum(len(list(at.rglob("test_*.py"))) if at.is_dir() else 1 for at in set(named))


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """What takes long first, what reads the demo last; the rest between, as collected."""
    tests = Path(__file__).parent
    place = {name: at - len(HEAVY) for at, name in enumerate(HEAVY)}
    place |= {name: at + 1 for at, name in enumerate(DEMO)}
    items.sort(key=lambda item: place.get(item.path.relative_to(tests).as_posix(), 0))


def pytest_collection_finish() -> None:
    """What was imported and collected lives to the end: not to be searched for garbage again.

    What comes after is searched seldom: cycles are few beside the frames that a test makes.
    """
    gc.collect()
    gc.freeze()
    gc.set_threshold(50_000, 20, 20)


@pytest.fixture(scope="session")
def built_once(tmp_path_factory: pytest.TempPathFactory) -> BuiltOnce:
    """Makes a folder once for the run, whichever of its processes asks first."""
    own = tmp_path_factory.getbasetemp()
    return partial(build_once, own.parent if "PYTEST_XDIST_WORKER" in os.environ else own)


if ON := os.environ.get("RINGLAND_TESTS_ON"):

    @pytest.fixture(scope="session", autouse=True)
    def on_a_cluster() -> Iterator[None]:
        """Weeks are worked out by the workers that RINGLAND_TESTS_ON names, e.g. 'local:1'."""
        from tests.on_a_cluster import SENT, worked_out_on  # noqa: PLC0415 - only where asked for

        with worked_out_on(ON):
            yield
        sys.stderr.write(
            f"\nworked out on {ON}: {sum(SENT.values())} {dict(sorted(SENT.items()))}\n"
        )
