"""What was worked out of some kinds of records, as long as no row of those kinds came.

Most entries are of one kind: what a fill does not touch need not be worked out again for it.
"""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, TypeVar

from ringland.dockside.ground import Ground, Mark
from ringland.words.manner import Manner, manner

T = TypeVar("T")


@dataclass
class KeptParts:
    """Parts by name; each is worked out anew after a minute at the latest."""

    _kept: dict[str, tuple[Mark, datetime, Manner, Any]] = field(default_factory=dict)

    def of(
        self,
        name: str,
        ground: Ground,
        kinds: Collection[str],
        now: datetime,
        work: Callable[[], T],
    ) -> T:
        """The part of that name, worked out unless it is kept.

        Args:
            name: tells the part from others.
            ground: the records.
            kinds: of which record kinds it is worked out, corrections of them apart.
            now: the instant spoken of.
            work: works it out.
        """
        mark, minute = ground.mark(kinds), now.replace(second=0, microsecond=0)
        kept = self._kept.get(name)
        if kept and kept[0].is_as(mark) and kept[1:3] == (minute, manner()):
            told: T = kept[3]
            return told
        fresh = work()
        self._kept[name] = (mark, minute, manner(), fresh)
        return fresh
