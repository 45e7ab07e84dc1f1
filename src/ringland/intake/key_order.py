"""Whether a record's instants rise hull by hull: then no key stands twice, without a hash."""

from __future__ import annotations

import numpy as np
import polars as pl
from numba import b1, i8, njit, types, u4

_CODES, _INSTANTS = (types.Array(kind, 1, "C", readonly=True) for kind in (u4, i8))


def rises_within(names: pl.Series, instants: pl.Series) -> bool:
    """Whether each row's instant lies after that of the row before with the same name.

    Neither column may hold nulls.
    """
    known = names.unique()
    codes = names.cast(pl.Enum(known)).to_physical().cast(pl.UInt32).to_numpy()
    return bool(_rises(codes, instants.to_physical().to_numpy(), len(known)))


@njit(b1(_CODES, _INSTANTS, i8), cache=True, nogil=True)
def _rises(codes, instants, count):  # type: ignore[no-untyped-def]  # numba types it
    last = np.full(count, np.iinfo(np.int64).min)
    for i in range(len(codes)):
        if instants[i] <= last[codes[i]]:
            return False
        last[codes[i]] = instants[i]
    return True
