"""200 phones, 20,000 entries, while a week is worked out: none lost, none doubled, how slow.

    pytest -m benchmark tests/benchmarks/test_dockside_load.py -s

The server that ships, on the demo; every phone asks on a connection of its own, one entry a
request, all at once.  First the same entries are only checked, then they are kept; a week of the
demo is worked out beside each.  The figure is the 95th percentile of answers that keep to that of
answers that check, in one run on one machine.  Takes some minutes.
"""

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest

from pipelines.dockside.journal import read_journal
from pipelines.dockside.taking_in import take_journal_in
from pipelines.duckdb_warehouse import warehouse_at
from pipelines.home import JOURNAL, Home
from tests.studies.dockside_phones import fill, free_port, server, token_of

pytestmark = pytest.mark.benchmark
CLIENTS, ENTRIES = 200, int(os.environ.get("RINGLAND_ENTRIES", "20000"))
MOST_TIMES = 3.0
WEEK = "2026-08-24"
RINGLAND = str(Path(sys.executable).with_name("ringland"))


@pytest.fixture
def demo_home(tmp_path: Path) -> Home:
    """The demo, made now or copied from where RINGLAND_DEMO names one."""
    made = os.environ.get("RINGLAND_DEMO")
    if made:
        return Home(Path(shutil.copytree(made, tmp_path / "demo")))
    subprocess.run([RINGLAND, "--home", str(tmp_path), "demo"], check=True)
    return Home(tmp_path / "demo")


@contextmanager
def week_beside(home: Home) -> Iterator[None]:
    """A week that is worked out again and again until the block ends."""
    loop = f"while '{RINGLAND}' --home '{home.folder}' week --as-of {WEEK}; do :; done"
    beside = subprocess.Popen(["sh", "-c", f"{loop} >/dev/null"], start_new_session=True)
    try:
        yield
    finally:
        assert beside.poll() is None, "the week beside could not be worked out"
        os.killpg(beside.pid, 15)
        beside.wait()


def ask(port: int, path: str, token: Path, bodies: Path) -> tuple[np.ndarray, dict[str, int]]:
    module = "tests.benchmarks.dockside_clients"
    told = subprocess.run(
        [sys.executable, "-m", module, str(port), path, str(token), str(bodies), str(CLIENTS)],
        check=True, capture_output=True, text=True,
    ).stdout  # fmt: skip
    read = json.loads(told)
    return np.array(read["took"]), read["told"]


def test_keeping_entries_is_at_most_three_times_as_slow_as_checking_them(
    demo_home: Home, tmp_path: Path
) -> None:
    home = demo_home
    hulls = warehouse_at(home.database).read_records()["hulls"]["hull_id"].to_list()
    before = warehouse_at(home.database).read_records()["fills"].height
    rng = np.random.default_rng(20)
    entries = [fill(hulls[n % len(hulls)], n, rng) for n in range(ENTRIES)]
    bodies = tmp_path / "bodies.jsonl"
    bodies.write_text("".join(json.dumps({"entries": [one]}) + "\n" for one in entries), "utf-8")
    port, token = free_port(), tmp_path / "token"

    with server(home.folder, port):
        token.write_text(token_of(port), "ascii")
        with week_beside(home):
            checked, _ = ask(port, "/check", token, bodies)
            kept, told = ask(port, "/entries", token, bodies)
        _, again = ask(port, "/entries", token, bodies)

    take_journal_in(home)
    journal = [one.entry.id for one in read_journal(home.dockside / JOURNAL)]
    rows = warehouse_at(home.database).read_records()["fills"].height
    p95 = [float(np.quantile(took, 0.95)) for took in (checked, kept)]
    print(
        f"\n{CLIENTS} phones, {ENTRIES} entries, p95 checked {p95[0]:.3f} s, kept {p95[1]:.3f} s: "
        f"{p95[1] / p95[0]:.2f} times (asked: {MOST_TIMES}); told {told}, again {again}"
    )
    assert told == {"kept": ENTRIES}
    assert again == {"known": ENTRIES}
    assert sorted(journal) == sorted(one["id"] for one in entries)
    assert rows - before == ENTRIES
    assert p95[1] <= MOST_TIMES * p95[0]
