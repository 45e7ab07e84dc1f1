"""Rewrites the committed demo records: `python -m synthetic_data.write_demo`."""

from __future__ import annotations

from pathlib import Path

from synthetic_data.fleet_simulator import Fleet, simulate_fleet
from synthetic_data.record_files import truth_json, write_records
from synthetic_data.scenario import Scenario

DEMO_SEED = 20260817
DEMO_FOLDER = Path(__file__).parent / "demo"


def demo_fleet() -> Fleet:
    """The fleet whose records are committed."""
    return simulate_fleet(Scenario(), DEMO_SEED)


def main() -> None:
    """Write the demo's CSVs and its truth."""
    fleet = demo_fleet()
    write_records(fleet, DEMO_FOLDER)
    (DEMO_FOLDER / "truth.json").write_text(truth_json(fleet), encoding="utf-8", newline="\n")
    for kind, frame in fleet.records.items():
        print(f"{kind}: {frame.height} rows")


if __name__ == "__main__":
    main()
