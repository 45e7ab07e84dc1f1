"""Checked counting-process rows, with every time turned into an event slot."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike

from ringland.survival.cox.row_kernel import column_moments, slots_after
from ringland.survival.same_time import same_time_within
from ringland.survival.spell_checks import (
    Flags,
    Floats,
    Ints,
    Slots,
    SpellError,
    covariate_matrix,
    event_flags,
    label_codes,
    number_column,
    require_same_length,
    require_start_before_stop,
)


@dataclass(frozen=True)
class RiskSets:
    """Rows (start, stop] with covariates, and the event slots they are at risk in.

    A slot is one distinct event time of one stratum, in order of stratum and time; after
    the last of each stratum stands one empty slot (`slot_time` NaN).  Row i is at risk in
    the slots from `first[i]` up to, not including, `last[i]`.  An event row has its event
    in slot `last[i] - 1`.
    """

    names: tuple[str, ...]
    start: Floats = field(repr=False)
    stop: Floats = field(repr=False)
    event: Flags = field(repr=False)
    x: Floats = field(repr=False)
    weight: Floats = field(repr=False)
    stratum: Ints = field(repr=False)
    cluster: Ints | None = field(repr=False)
    stratum_labels: tuple[object, ...]
    centre: Floats = field(repr=False)
    spread: Floats = field(repr=False)
    reach: Floats = field(repr=False)
    first: Slots = field(repr=False)
    last: Slots = field(repr=False)
    event_rows: Ints = field(repr=False)
    slot_time: Floats = field(repr=False)
    slot_stratum: Ints = field(repr=False)
    opens_stratum: Flags = field(repr=False)

    @property
    def n_events(self) -> int:
        """Event rows, whatever their weight."""
        return len(self.event_rows)

    @property
    def n_clusters(self) -> int | None:
        """Distinct clusters, or None when none were given."""
        return None if self.cluster is None else int(self.cluster.max()) + 1


def build_risk_sets(
    start: ArrayLike,
    stop: ArrayLike,
    event: ArrayLike,
    x: ArrayLike,
    *,
    names: Sequence[str],
    weights: ArrayLike | None = None,
    strata: ArrayLike | None = None,
    cluster: ArrayLike | None = None,
) -> RiskSets:
    """The rows, checked, with the slots each is at risk in.

    A row whose start equals an event time is not at risk at it.

    Args:
        start: entry of each row, shape (n,), in the unit of `stop`.
        stop: end of each row, shape (n,); later than `start`.
        event: whether the row ends in the event; only 0, 1, False or True.
        x: covariates held over the row, shape (n, p).
        names: one name per column of `x`; errors name it.
        weights: case weights above zero; None is one each.
        strata: any labels; each has its own baseline hazard.
        cluster: any labels; rows that are not independent of each other, such as a hull's.

    Raises:
        SpellError: wrong shape, a missing or infinite value, start not before stop, a
            weight that is not above zero, an event that is not 0 or 1.
    """
    start, stop = number_column("start", start), number_column("stop", stop)
    n = len(start)
    if n == 0:
        raise SpellError("No rows: give at least one (start, stop] row.")
    x = covariate_matrix(x, n, names)
    event = event_flags(event)
    weight = np.ones(n) if weights is None else number_column("weights", weights)
    require_same_length(start=start, stop=stop, event=event, weights=weight)
    require_start_before_stop(start, stop)
    apart = same_time_within(start, stop)
    if (bad := np.flatnonzero(event & (stop - start <= apart))).size:
        i = bad[0]
        raise SpellError(
            f"Row {i}: the failure at {stop[i]:g} ends a row only {stop[i] - start[i]:.2g} long, "
            f"which counts as no time: it would miss its own risk set. Join it to the row before."
        )
    if (bad := np.flatnonzero(weight <= 0)).size:
        i = bad[0]
        raise SpellError(f"Row {i}: weight {weight[i]:g}; give weights above zero.")
    stratum, stratum_labels = label_codes("strata", strata, n)
    clusters = None if cluster is None else label_codes("cluster", cluster, n)[0]
    if clusters is not None and not clusters.any():
        raise SpellError(
            "cluster: all rows are one cluster, from which no spread can be told. Leave it out."
        )
    centre, spread, reach = column_moments(x, weight)
    slots = _slots(start, stop, event, stratum, len(stratum_labels))
    return RiskSets(
        tuple(names),
        start,
        stop,
        event,
        x,
        weight,
        stratum,
        clusters,
        stratum_labels,
        centre,
        spread,
        reach,
        *slots,
    )


def _slots(
    start: Floats, stop: Floats, event: Flags, stratum: Ints, n_strata: int
) -> tuple[Slots, Slots, Ints, Floats, Ints, Flags]:
    apart = same_time_within(start, stop)
    event_rows = np.flatnonzero(event)
    event_stop = stop[event_rows]
    first, last = np.empty(len(start), dtype=np.int32), np.empty(len(start), dtype=np.int32)
    slot_times, owners, opens = [], [], []
    offset = 0
    for s in range(n_strata):
        rows: slice | Ints = slice(None) if n_strata == 1 else np.flatnonzero(stratum == s)
        at = np.unique(event_stop if n_strata == 1 else event_stop[stratum[event_rows] == s])
        at = at[np.diff(at, prepend=-np.inf) > apart]
        for times, slots in ((start, first), (stop, last)):
            slots[rows] = slots_after(times[rows], at - apart)
            if offset:
                slots[rows] += offset
        slot_times.append(np.append(at, np.nan))
        owners.append(np.full(len(at) + 1, s, dtype=np.int64))
        opens.append(np.arange(len(at) + 1) == 0)
        offset += len(at) + 1
    return (
        first,
        last,
        event_rows,
        np.concatenate(slot_times),
        np.concatenate(owners),
        np.concatenate(opens),
    )
