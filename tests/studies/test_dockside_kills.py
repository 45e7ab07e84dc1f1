"""Fifty `kill -9` of the dockside server while four phones enter fills.

    pytest -m study tests/studies/test_dockside_kills.py -s

The server that ships runs in a process of its own on a home of its own.  After each kill it is
begun again and every phone sends anew what it was not told of, as phones do.  At the end every
acknowledged entry is in the journal once and in the warehouse once, nothing else is, and the
journal taken in a second time from its beginning changes nothing.  Moments of killing are drawn
from a seed: some fall into a take-in, some between writing and answering.
"""

import os
import signal
import threading
import time
from collections import Counter
from pathlib import Path

import numpy as np
import pytest

from pipelines.dockside.journal import read_journal
from pipelines.dockside.taking_in import TAKEN, journal_faults, take_journal_in
from pipelines.duckdb_warehouse import warehouse_at
from pipelines.home import JOURNAL, Home
from pipelines.warehouse_care import check_warehouse, record_tables
from tests.pipelines.dockside.shop_home import loaded_home
from tests.studies.dockside_phones import asked, begin, fill, free_port, token_of

pytestmark = pytest.mark.study
KILLS = int(os.environ.get("RINGLAND_KILLS", "50"))
PHONES, SEED = 4, 20
MOST_TOLD, LONGEST_LIFE_S, LONGEST_S = 16, 60, 0.5
"""A server is killed once it has acknowledged so many entries at most, or after so long, and then
up to the last at any moment: on a slow machine as many entries stand behind a kill."""
HULLS = ("A1", "A2", "B1")


class Phone:
    """Enters fills, and sends anew what no answer came for."""

    def __init__(self, number: int) -> None:
        self.number, self.count = number, 0
        self.rng = np.random.default_rng([SEED, number])
        self.told: Counter[str] = Counter()
        self.unsure: list[dict[str, object]] = []

    def work(self, port: int) -> None:
        try:
            token = token_of(port)
            while True:
                if not self.unsure:
                    self.unsure = [self.next() for _ in range(1 + self.count % 4)]
                status, answer = asked(port, "POST", "/entries", {"entries": self.unsure}, token)
                assert status == 200, answer
                for one in answer["answers"]:
                    assert one["outcome"] in ("kept", "known"), one
                    self.told[one["id"]] += 1
                self.unsure = []
        except (OSError, ValueError, EOFError):
            return  # out of reach: what was sent last stays unsure
        except Exception as error:
            if "http.client" in type(error).__module__:
                return
            raise

    def next(self) -> dict[str, object]:
        self.count += 1
        second = self.count * PHONES + self.number
        return fill(HULLS[self.count % len(HULLS)], second, self.rng)


def told_to(phones: list[Phone]) -> int:
    """How many acknowledgements the phones have got."""
    return sum(phone.told.total() for phone in phones)


def is_taking_in(home: Home) -> bool:
    """Whether a batch of the journal is on its way into the warehouse."""
    place = home.dockside / TAKEN
    return place.exists() and '"is_done": false' in place.read_text("utf-8")


def test_every_acknowledged_entry_outlives_fifty_kills(tmp_path: Path) -> None:
    home = loaded_home(tmp_path / "home")
    before = warehouse_at(home.database).read_records()["fills"].height
    moments = np.random.default_rng(SEED)
    phones = [Phone(number) for number in range(PHONES)]
    while_taking_in = 0
    for kill in range(KILLS):
        port = free_port()
        server = begin(home.folder, port)
        threads = [threading.Thread(target=phone.work, args=(port,)) for phone in phones]
        for thread in threads:
            thread.start()
        enough = told_to(phones) + int(moments.integers(1, MOST_TOLD))
        for _ in range(LONGEST_LIFE_S * 100):
            if told_to(phones) >= enough:
                break
            time.sleep(0.01)
        time.sleep(moments.uniform(0.0, LONGEST_S))
        for _ in range(LONGEST_LIFE_S * 500 * (kill % 2)):  # every second one in a take-in
            if is_taking_in(home):
                break
            time.sleep(0.002)
        server.send_signal(signal.SIGKILL)
        server.wait()
        for thread in threads:
            thread.join()
        while_taking_in += is_taking_in(home)

    take_journal_in(home)
    journal = Counter(one.entry.id for one in read_journal(home.dockside / JOURNAL))
    acknowledged = {name for phone in phones for name in phone.told}
    unsure = {str(one["id"]) for phone in phones for one in phone.unsure}
    rows = warehouse_at(home.database).read_records()["fills"]
    print(
        f"\n{KILLS} kills, {while_taking_in} while taking in: {len(acknowledged)} acknowledged, "
        f"{len(journal)} in the journal, {rows.height - before} in the warehouse"
    )
    assert len(acknowledged) > KILLS
    assert set(journal.values()) == {1}
    assert acknowledged <= journal.keys() <= acknowledged | unsure
    assert rows.height - before == len(journal)
    assert rows.select("hull_id", "filled_at").n_unique() == rows.height
    assert journal_faults(home) == []
    assert [one for one in check_warehouse(home) if one.wrong and "week" not in one.about] == []

    tables = record_tables(warehouse_at(home.database))
    (home.dockside / TAKEN).unlink()
    take_journal_in(home)
    again = record_tables(warehouse_at(home.database))
    changed = [
        name
        for name in tables
        if name != "shop_records.files" and not tables[name].equals(again[name])
    ]
    assert changed == []
