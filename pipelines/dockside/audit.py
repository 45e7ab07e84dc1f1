"""The audit list: who saw and wrote what, when and from where; a file that only grows."""

import json
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from threading import Lock
from typing import Any

AUDIT = "audit.jsonl"
SAME_FOR = timedelta(minutes=10)
"""The same page seen again by the same person within this is not noted again: a wall view asks
every few seconds."""
_MOST_HELD = 10_000


class Audit:
    """The list of a home."""

    def __init__(self, folder: Path) -> None:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        self._path, self._lock = folder / AUDIT, Lock()
        self._seen: dict[tuple[str, ...], datetime] = {}

    def note(self, at: datetime, who: str, device: str, did: str, what: str) -> None:
        """Note what somebody did."""
        mark = (who, device, did, what)
        with self._lock:
            if did == "saw":
                if at - self._seen.get(mark, at - SAME_FOR) < SAME_FOR:
                    return
                if len(self._seen) >= _MOST_HELD:
                    self._seen.clear()
                self._seen[mark] = at
            told = {"at": at.isoformat(), "who": who, "device": device, "did": did, "what": what}
            line = json.dumps(told, ensure_ascii=False).encode("utf-8", "replace") + b"\n"
            with self._path.open("ab") as file:
                file.write(line)


def read_audit(folder: Path) -> Iterator[dict[str, Any]]:
    """The list, oldest first."""
    path = folder / AUDIT
    if path.exists():
        with path.open(encoding="utf-8") as file:
            yield from (json.loads(line) for line in file if line.endswith("\n"))
