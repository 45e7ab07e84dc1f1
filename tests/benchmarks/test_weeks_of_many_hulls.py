"""Two weeks of 500 hulls with three years of records, by CPU against loading the same records.

    pytest -m benchmark tests/benchmarks/test_weeks_of_many_hulls.py -s

CPU seconds of this process, so that a busy machine lends the clock alone.  The second week sees
one week of new records; the fit, which grows with the draws and not with the hulls alone, is
told apart.  Peak memory is Linux's own high-water mark of the whole run.
"""

import resource
import time
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from pathlib import Path

import pytest

from pipelines.graph_run import run_graph
from pipelines.home import Home
from synthetic_data.fleet_simulator import simulate_fleet
from synthetic_data.record_files import write_records
from synthetic_data.scenario import Scenario
from synthetic_data.write_demo import DEMO_SEED
from tests.benchmarks.test_site_speed import N_HULLS, SPARE_ENGINES
from tests.pipelines.demo_run import DEMO_WEEK

FIT = "risk__fleet_fits"
FIRST_WEEK_LOADS, NEXT_WEEK_LOADS = 4.0, 2.0

pytestmark = pytest.mark.benchmark


@dataclass
class StepCpu:
    """CPU seconds of each step of a run, from the run's own events, and of all of it."""

    took_s: dict[str, float] = field(default_factory=dict)
    began: dict[str, float] = field(default_factory=dict)

    def __call__(self, key: str, what: str) -> None:
        if what == "started":
            self.began[key] = time.process_time()
        else:
            self.took_s[key] = time.process_time() - self.began[key]

    def longest(self) -> str:
        steps = sorted(self.took_s.items(), key=lambda step: -step[1])[:9]
        return ", ".join(f"{key} {took:.1f}" for key, took in steps)


def cpu_of(home: Home, job: str, **given: object) -> tuple[float, StepCpu]:
    """CPU seconds of a job, and by step."""
    steps = StepCpu()
    before = time.process_time()
    run_graph(home, job, listener=steps, **given)  # type: ignore[arg-type]
    return time.process_time() - before, steps


def test_a_week_costs_a_few_loads_of_its_records(tmp_path: Path) -> None:
    """Asked: the first week without the fit at most 4 loads, the next at most 2."""
    records = tmp_path / "records"
    records.mkdir()
    scenario = replace(Scenario(), hulls=N_HULLS, spare_engines=SPARE_ENGINES)
    write_records(simulate_fleet(scenario, DEMO_SEED), records)
    home = Home(tmp_path / "home").prepare()
    home.mark_as_demo()
    before = date.fromisoformat(DEMO_WEEK) - timedelta(days=7)

    load_s, _ = cpu_of(home, "load_records", records_folder=records)
    first_s, first = cpu_of(home, "week_report", partition_key=str(before))
    next_s, following = cpu_of(home, "week_report", partition_key=DEMO_WEEK)

    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    without_fit = first_s - first.took_s[FIT]
    print(
        f"\nload {load_s:.1f} s of CPU; first week {first_s:.1f} ({first.longest()}), without the "
        f"fit {without_fit / load_s:.1f} loads; next week {next_s:.1f} ({following.longest()}), "
        f"{next_s / load_s:.1f} loads; peak memory {peak_mb:.0f} MB"
    )
    assert without_fit <= FIRST_WEEK_LOADS * load_s
    assert next_s <= NEXT_WEEK_LOADS * load_s
