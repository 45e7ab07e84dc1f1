"""Sentences about rows, filled in from their columns."""

from __future__ import annotations

from collections.abc import Iterator

import polars as pl


def sentence(template: str, *parts: pl.Expr | str) -> pl.Expr:
    """The template with each {} filled by the next part, an expression or a column's name.

    A null part makes the sentence null.  Not `polars.format`, which in Polars 2.1.0 panics
    on a column with an empty chunk, as the rows picked out of a large CSV have.
    """
    pieces = template.split("{}")
    if len(pieces) != len(parts) + 1:
        raise ValueError(f"'{template}' has {len(pieces) - 1} places for {len(parts)} parts.")
    return pl.concat_str(list(_interleaved(pieces, parts)))


def _interleaved(pieces: list[str], parts: tuple[pl.Expr | str, ...]) -> Iterator[pl.Expr]:
    for piece, part in zip(pieces, (*parts, None), strict=True):
        if piece:
            yield pl.lit(piece)
        if part is not None:
            yield (pl.col(part) if isinstance(part, str) else part).cast(pl.String)
