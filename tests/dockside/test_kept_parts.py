"""What an entry does not touch is not worked out again for it, and what it touches is."""

from datetime import timedelta

import polars as pl
import pytest

import ringland.dockside.alerts as alerts_module
from ringland.bench.bench_limits import default_bench_limits
from ringland.contracts.record_kinds import ALL_KINDS
from ringland.dockside.alerts import Alert, alerts
from ringland.dockside.entries import check_entries
from ringland.dockside.ground import Ground, in_place
from ringland.dockside.kept_parts import KeptParts
from ringland.dockside.since_then import told_since
from ringland.settings.assumptions import load_assumptions
from tests.dockside.small_shop import NOW, entry, shop, stamped

AT = "2026-08-18T09:00:00Z"
SINCE = NOW - timedelta(days=7)
FILL = ("fills", {"hull_id": "A1", "filled_at": AT, "volume_l": "30", "source": "outside"})
FAILED = ("inspections", {"engine_id": "E3", "inspected_at": AT, "measure": "leak_down",
                          "cylinder": "2", "state": "measured", "value": "40",
                          "unit": "%"})  # fmt: skip


def entered(ground: Ground, kind: str, cells: dict[str, str]) -> Ground:
    """The ground with an entry that waits."""
    checked = check_entries([stamped(entry(kind, cells))], ground)
    assert checked.faults == [[]]
    return ground.while_waiting({**ground.waiting, kind: checked.loaded})


def held(ground: Ground, kept: KeptParts | None) -> list[Alert]:
    return alerts(ground, SINCE, NOW, load_assumptions(), default_bench_limits(), kept=kept)


def test_a_fill_leaves_the_tests_as_they_were_judged_and_a_test_does_not(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    judged: list[int] = []
    judge = alerts_module.judge_bench_tests
    monkeypatch.setattr(
        alerts_module, "judge_bench_tests", lambda *told: judged.append(1) or judge(*told)
    )
    kept, ground = KeptParts(), entered(shop(), *FAILED)

    assert len(held(ground, kept)) == len(judged) == 1
    filled = entered(ground, *FILL)
    assert held(filled, kept) == held(ground, kept)
    assert len(judged) == 1
    passed = FAILED[1] | {"cylinder": "1", "inspected_at": "2026-08-18T10:00:00Z"}
    tested = entered(filled, "inspections", passed)
    assert held(tested, kept) == held(tested, None)
    assert len(judged) == 3


def test_kept_parts_say_what_fresh_ones_say_entry_by_entry() -> None:
    kept, ground = KeptParts(), shop()
    for kind, cells in (FILL, FAILED):
        ground = entered(ground, kind, cells)

        assert told_since(ground, SINCE, NOW, kept) == told_since(ground, SINCE, NOW)
        assert held(ground, kept) == held(ground, None)
    assert len(told_since(ground, SINCE, NOW, kept)) == 2


def test_a_correction_and_a_minute_work_everything_out_again() -> None:
    kept, ground, worked = KeptParts(), shop(), []

    def told(ground: Ground, seconds: float) -> None:
        now = NOW + timedelta(seconds=seconds)
        kept.of("fills", ground, ["fills"], now, lambda: worked.append(seconds))

    corrected = {"record_kind": "fills", "record_key": "A1; 2026-08-01T09:00:00Z", "reason": "read",
                 "change": "corrected", "field": "volume_l", "new_value": "31"}  # fmt: skip
    told(ground, 0)
    told(ground, 59)
    told(ground, 60)
    told(entered(ground, "corrections", corrected), 61)

    assert worked == [0, 60, 61]


def test_rows_come_in_place_as_the_whole_table_read_in_its_order_has_them() -> None:
    kind, fills = ALL_KINDS["fills"], shop().records["fills"]
    at = [timedelta(days=day) for day in (3, 0, 7)]
    table = pl.concat(
        [fills.with_columns(pl.col("filled_at") + one, hull_id=pl.lit(hull))
         for one in at for hull in ("A1", "A2", "B1")]
    ).sort(kind.key)  # fmt: skip
    changed = table[4].with_columns(volume_l=pl.lit(12.0))
    more = table[4].with_columns(pl.col("filled_at") + timedelta(days=1))

    assert in_place(kind, table[[0, 1, 3, 5, 6, 7, 8]], table[[2, 4]]).equals(table)
    whole = in_place(kind, table, pl.concat([more, changed]))
    assert whole.equals(pl.concat([table[:4], changed, more, table[5:]]).sort(kind.key))
    assert whole.height == table.height + 1
