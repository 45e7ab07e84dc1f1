"""Record files loaded week by week as the `load` command does, without a warehouse."""

from __future__ import annotations

from collections.abc import Mapping

import polars as pl

from ringland.contracts.record_kinds import RECORD_KINDS
from ringland.intake.intake import SOURCE_FILE, take_in_file
from ringland.intake.rows_on_record import now_ended, split_new
from ringland.intake.written.raw_text import SOURCE_ROW


class LoadedRecords:
    """Rows on record by kind, and how many were set aside."""

    def __init__(self) -> None:
        self.frames: dict[str, pl.DataFrame] = {
            name: kind.schema.create_empty().with_columns(
                pl.lit(None, pl.String).alias(SOURCE_FILE), pl.lit(None, pl.Int64).alias(SOURCE_ROW)
            )
            for name, kind in RECORD_KINDS.items()
        }
        self.rows_in = self.rows_set_aside = 0

    def load(self, files: Mapping[str, str], label: str) -> None:
        """Take in one file of each kind given, in the order in which kinds name each other."""
        for name, kind in RECORD_KINDS.items():
            if name not in files:
                continue
            known = {
                referred: self.frames[referred][RECORD_KINDS[referred].key[0]].to_list()
                for referred in set(kind.refers_to.values())
            }
            taken = take_in_file(kind, f"{name}_{label}.csv", files[name].encode(), known)
            there = self.frames[name]
            parts = split_new(kind, taken.loaded, there)
            ended = now_ended(kind, taken.loaded, there)
            if ended.height:
                there = there.join(ended, on=list(kind.key), how="anti", nulls_equal=True)
            self.frames[name] = pl.concat([there, ended, parts.new], how="vertical_relaxed")
            self.rows_in += taken.rows_in
            self.rows_set_aside += taken.rows_set_aside + parts.conflicts_set_aside.height
