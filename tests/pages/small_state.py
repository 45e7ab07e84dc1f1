"""The small fleet's records as the record pages get them, with something of every kind."""

import polars as pl

from ringland.contracts.record_tables import OctaneScaleChances, RecordFlags
from ringland.history.hour_line import hour_line
from ringland.history.record_flags import record_flags
from ringland.pages.week.week_records import WeekRecords, left_out_readings
from tests.decision.small_fleet import AS_OF, SmallFleet
from tests.history.record_rows import at, records

READINGS = [
    {"hull_id": "H01", "meter_id": "M1", "read_at": at("06-01 08:00"), "meter_h": 100.0},
    {"hull_id": "H01", "meter_id": "M1", "read_at": at("06-08 08:00"), "meter_h": 1100.0},
    {"hull_id": "H01", "meter_id": "M1", "read_at": at("06-15 08:00"), "meter_h": 120.0},
    {"hull_id": "H01", "meter_id": "M2", "read_at": at("06-22 08:00"), "meter_h": 0.5},
]
KNOWN = records(hour_readings=READINGS)


def set_aside(*rows: dict[str, object]) -> pl.DataFrame:
    """Rows set aside, one per fault."""
    names = ["kind", "source_file", "field", "fault", "remedy", "value", "hull_id"]
    schema = dict.fromkeys(names, pl.String()) | {"source_row": pl.Int64()}
    return pl.DataFrame(list(rows), schema=schema)


def bad(row: int, fault: str, hull_id: str = "H03", remedy: str = "Mend it.") -> dict[str, object]:
    """One fault of fills.csv."""
    place = {"kind": "fills", "source_file": "fills.csv", "source_row": row}
    return place | {"field": "volume_l", "fault": fault, "remedy": remedy, "hull_id": hull_id}


def state(
    quality: pl.DataFrame,
    rows: pl.DataFrame | None = None,
    doubts: pl.DataFrame | None = None,
    scales: pl.DataFrame | None = None,
) -> WeekRecords:
    """The state with these parts; the hours are of H01: one reading awry, then a new meter."""
    line = hour_line(KNOWN)
    return WeekRecords(
        set_aside=set_aside() if rows is None else rows,
        doubts=RecordFlags.create_empty() if doubts is None else doubts,
        hour_line=line,
        left_out=left_out_readings(KNOWN["hour_readings"], line),
        octane_scales=OctaneScaleChances.create_empty() if scales is None else scales,
        quality=quality,
    )


def small_state(fleet: SmallFleet, words: str = "a fill of 300 l") -> WeekRecords:
    """A row to mend, a doubt and an octane number without its scale."""
    rows = pl.DataFrame({"hull_id": [fleet.quality["hull_id"][5]], "at": [AS_OF]}).with_columns(
        pl.col("at").dt.cast_time_unit("us")
    )
    doubts = record_flags(rows, "fill_above_tank", "at", pl.lit(words))
    aside = set_aside(bad(2, f"volume_l is '{words}', which is not a number."))
    scales = pl.DataFrame(
        [("fills", "H01", "north", AS_OF, 91.0, 0.97, 0.03, 0.0)],
        schema=OctaneScaleChances.create_empty().schema,
        orient="row",
    )
    return state(fleet.quality, aside, doubts, scales=scales)
