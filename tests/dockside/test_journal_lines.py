"""Files made of entries, and which rows came by them."""

from datetime import timedelta

import polars as pl

from ringland.contracts.record_kinds import ALL_KINDS
from ringland.dockside.journal_lines import files_of, known_or_entered
from ringland.intake.intake import take_in_file
from tests.dockside.small_shop import NOW, entry, shop, stamped


def test_what_was_entered_stays_though_it_was_not_known_then() -> None:
    """The demo's board in November told of months of fills after its list of August."""
    ground = shop()
    late = entry("fills", {"hull_id": "A2", "filled_at": "2026-08-18T09:00:00Z", "volume_l": "20",
                           "source": "outside", "octane_aki": "91"})  # fmt: skip
    ((name, text),) = files_of([stamped(late)], 1).items()
    kind = ALL_KINDS["fills"]
    known = {one: set(ground.records[one][ALL_KINDS[one].key[0]])
             for one in kind.refers_to.values()}  # fmt: skip
    at_dock, by_file = (
        take_in_file(kind, file, text.encode(), known).loaded for file in (name, "fills.csv")
    )

    def hulls_filled(rows: pl.DataFrame) -> set[str]:
        both = pl.concat([ground.records["fills"], rows])
        kept = known_or_entered({"fills": both}, NOW - timedelta(days=3))
        return set(kept["fills"]["hull_id"])

    assert hulls_filled(at_dock) == {"A1", "A2"}
    assert hulls_filled(by_file) == {"A1"}
