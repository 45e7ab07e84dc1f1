"""Records put right or taken back later, with what was known when.

A correction does not touch the record: it stands beside it with its own `recorded_at`, so
that the record as it was known at any instant can be had again.  Corrections of one cell
go by `recorded_at`, the last one known holds; a record once withdrawn stays withdrawn.  A
correction names a record by the key it was loaded with, even if that was corrected since.
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping

import polars as pl

from ringland.contracts.record_kinds import RECORD_KINDS, RecordKind
from ringland.intake.row_faults import reference_faults, rule_faults, shown
from ringland.intake.written.raw_file import SOURCE_ROW
from ringland.intake.written.text_cast import FAULT_SCHEMA, cast_instants, cast_text, faults
from ringland.words.plain_words import sentence

_KEY, _PLACE = "_record_key", "_place"


def key_text(kind: RecordKind, rows: pl.DataFrame) -> pl.Series:
    """What tells each record, as a user writes it: 'H01; 2025-07-04T14:30:00Z'."""
    parts = [shown(name, rows.schema[name]) for name in kind.key]
    return rows.select(pl.concat_str(parts, separator="; ").alias(_KEY)).to_series()


def as_key_text(kind: RecordKind, written: pl.Series) -> pl.Series:
    """A key as a user wrote it in the form of `key_text`: spaces and offsets do not matter."""
    parts = written.str.split(";").list.eval(pl.element().str.strip_chars())
    columns = kind.schema.columns()
    texts = []
    for place, name in enumerate(kind.key):
        part = parts.list.get(place, null_on_oob=True)
        if isinstance(columns[name].dtype, pl.Datetime):
            part = cast_instants(part).dt.strftime("%Y-%m-%dT%H:%M:%SZ").fill_null(part)
        texts.append(part.alias(name))
    frame = pl.DataFrame(texts).with_columns(whole=parts.list.len() == len(kind.key))
    joined = pl.concat_str([pl.col(name) for name in kind.key], separator="; ")
    return frame.select(pl.when("whole").then(joined)).to_series()


def with_corrections(
    records: Mapping[str, pl.DataFrame], corrections: pl.DataFrame
) -> dict[str, pl.DataFrame]:
    """The records with these corrections carried out, whenever they were written down.

    Withdrawn records are gone; a corrected cell holds the new value.  A correction that
    fits no record, or whose value cannot be read, does nothing: `correction_faults` keeps
    such from being loaded.
    """
    corrected = dict(records)
    for name in corrections["record_kind"].unique().sort():
        if name in RECORD_KINDS and name in corrected:
            mine = corrections.filter(pl.col("record_kind") == name)
            corrected[name] = _correct(RECORD_KINDS[name], corrected[name], mine)
    return corrected


def _correct(kind: RecordKind, rows: pl.DataFrame, corrections: pl.DataFrame) -> pl.DataFrame:
    """Carry corrections of one kind out; rows that cannot bear a key of theirs are passed by."""
    order = rows.columns
    mine = corrections.with_columns(as_key_text(kind, corrections["record_key"]).alias(_KEY))
    first = mine[_KEY].str.split(";").list.first().unique().implode()
    may_be = rows.select(shown(kind.key[0], rows.schema[kind.key[0]]).is_in(first)).to_series()
    numbered = rows.with_row_index(_PLACE)
    named = may_be.fill_null(value=False)
    touched = _corrected(kind, numbered.filter(named), mine)
    return pl.concat([numbered.filter(~named), touched]).sort(_PLACE).select(order)


def _corrected(kind: RecordKind, rows: pl.DataFrame, mine: pl.DataFrame) -> pl.DataFrame:
    columns = rows.columns
    rows = rows.with_columns(key_text(kind, rows))
    withdrawn = mine.filter(pl.col("change") == "withdrawn")
    rows = rows.join(withdrawn, on=_KEY, how="anti", maintain_order="left")
    told = mine.filter(pl.col("change") == "corrected").sort("recorded_at", maintain_order=True)
    for (field,), part in told.group_by("field", maintain_order=True):
        if field not in kind.schema.columns():
            continue
        last = part.unique(_KEY, keep="last", maintain_order=True)
        text = pl.DataFrame([last["new_value"].alias(str(field)), _row_numbers(last)])
        typed, _ = cast_text(kind.schema, text)
        new = last.select(_KEY, _is_corrected=pl.lit(value=True)).with_columns(
            typed[str(field)].alias("_new")
        )
        rows = (
            rows.join(new, on=_KEY, how="left", maintain_order="left")
            .with_columns(pl.when("_is_corrected").then("_new").otherwise(field).alias(str(field)))
            .drop("_new", "_is_corrected")
        )
    return rows.select(columns)


def _row_numbers(rows: pl.DataFrame) -> pl.Series:
    return pl.Series(SOURCE_ROW, range(rows.height), dtype=pl.Int64)


def correction_faults(
    corrections: pl.DataFrame, records: Mapping[str, pl.DataFrame]
) -> pl.DataFrame:
    """What keeps corrections from being carried out, as `text_cast.FAULT_SCHEMA`.

    Args:
        corrections: typed rows of one file with `source_row`; nulls are not judged here.
        records: the records with all corrections loaded so far carried out.
    """
    found = [pl.DataFrame(schema=FAULT_SCHEMA)]
    known = {name: records[name][kind.key[0]].to_list() for name, kind in RECORD_KINDS.items()}
    for row_kind in corrections["record_kind"].drop_nulls().unique().sort():
        mine = corrections.filter(pl.col("record_kind") == row_kind)
        if row_kind not in RECORD_KINDS:
            words = sentence("'{}' is not a kind of record.", "record_kind")
            remedy = f"Write one of: {', '.join(RECORD_KINDS)}."
            found.append(faults(mine, "record_kind", words, pl.lit(remedy)))
            continue
        kind = RECORD_KINDS[row_kind]
        found += _of_kind(kind, mine, records[row_kind], known)
    return pl.concat(found)


def _of_kind(
    kind: RecordKind,
    mine: pl.DataFrame,
    rows: pl.DataFrame,
    known: Mapping[str, list[str]],
) -> list[pl.DataFrame]:
    mine = mine.with_columns(as_key_text(kind, mine["record_key"]).alias(_KEY))
    keys = key_text(kind, rows)
    stray = mine.filter(
        pl.col("record_key").is_not_null()
        & (pl.col(_KEY).is_null() | ~pl.col(_KEY).is_in(keys.implode()))
    )
    form = "; ".join(kind.key)
    strange = mine.filter(
        (pl.col("change") == "corrected")
        & ~pl.col("field").is_in(kind.schema.column_names())
        & pl.col("field").is_not_null()
    )
    found = [
        faults(
            stray,
            "record_key",
            sentence(f"No record of {kind.name} has the key '{{}}'.", "record_key"),
            pl.lit(
                pl.Series([_nearest_key(key, keys) for key in stray["record_key"]], dtype=pl.String)
            )
            + f"Write {form} as the record has them, parted by ';'.",
        ),
        faults(
            strange,
            "field",
            sentence(f"{kind.name} have no column '{{}}'.", "field"),
            pl.lit(f"Write one of: {', '.join(kind.schema.column_names())}."),
        ),
    ]
    sound = mine.join(pl.concat(found), on=SOURCE_ROW, how="anti").filter(
        pl.col("change") == "corrected", pl.col("field").is_not_null()
    )
    found.append(_unreadable(kind, sound))
    sound = sound.join(found[-1], on=SOURCE_ROW, how="anti")
    found.append(_breaking_rules(kind, sound, rows.with_columns(keys), known))
    return found


_COMPARED_KEYS = 2000
"""Keys of one hull or engine that are compared with a stray one: comparing takes time."""


def _nearest_key(written: str, keys: pl.Series) -> str:
    """The key that was probably meant, as a question; empty if none is near."""
    begins = written.split(";", maxsplit=1)[0].strip() + ";"
    alike = keys.filter(keys.str.starts_with(begins)).head(_COMPARED_KEYS).to_list()
    near = difflib.get_close_matches(written, alike, n=1, cutoff=0.7)
    return f"Did you mean '{near[0]}'? " if near else ""


def _unreadable(kind: RecordKind, corrections: pl.DataFrame) -> pl.DataFrame:
    found = [pl.DataFrame(schema=FAULT_SCHEMA)]
    for (field,), part in corrections.group_by("field", maintain_order=True):
        text = part.select(pl.col("new_value").alias(str(field)), SOURCE_ROW)
        found.append(cast_text(kind.schema, text)[1].with_columns(field=pl.lit("new_value")))
    return pl.concat(found)


def _breaking_rules(
    kind: RecordKind,
    corrections: pl.DataFrame,
    rows: pl.DataFrame,
    known: Mapping[str, list[str]],
) -> pl.DataFrame:
    """Corrections after which their record would not be valid, all of one file together."""
    touched = rows.join(corrections, on=_KEY, how="semi", maintain_order="left")
    if touched.is_empty():
        return pl.DataFrame(schema=FAULT_SCHEMA)
    corrected = _correct(kind, touched.drop(_KEY), corrections)
    corrected = corrected.select(kind.schema.column_names()).with_columns(_row_numbers(corrected))
    broken = pl.concat([rule_faults(kind, corrected), reference_faults(kind, corrected, known)])
    keys = touched.select(_KEY).with_columns(_row_numbers(touched))
    broken = broken.join(keys, on=SOURCE_ROW, how="left").drop(SOURCE_ROW)
    met = corrections.select(SOURCE_ROW, _KEY, "new_value", _named="field").join(
        broken, on=_KEY, maintain_order="left"
    )
    is_named = pl.col("field").str.split(", ").list.contains(pl.col("_named"))
    return met.filter(is_named).select(
        SOURCE_ROW,
        pl.lit("new_value").alias("field"),
        sentence("So corrected, the record would not hold: {}", "fault").alias("fault"),
        "remedy",
        pl.col("new_value").alias("value"),
    )
