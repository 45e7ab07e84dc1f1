"""Pictures that many pages share: their form stands once in a script, the points in each page.

A sketch is a Plotly figure whose traces name columns instead of holding points.  A trace's
`bind` says of which table its points are (`of`), which rows of it (`where`, a column and a
value), and which columns are x, y, customdata and text; two columns for y give two points a
row, one below the other.  Rows without x or y are left out.  `charts.js` puts both together.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from ringland.pages.frame.packed_columns import Column

Sketch = Mapping[str, Any]


@dataclass(frozen=True)
class Points:
    """What one page adds to a sketch: tables of packed columns by name."""

    sketch: str
    tables: Mapping[str, Mapping[str, Column]]
    height: int


def bind(of: str, y: str | list[str], **more: object) -> dict[str, object]:
    """Where a trace's points come from; x is the column `at`."""
    return {"of": of, "x": "at", "y": y, **more}


def sketches_script(sketches: Mapping[str, Sketch]) -> bytes:
    """The script that holds every sketch by name."""
    text = json.dumps(sketches, sort_keys=True, separators=(",", ":"))
    return f'"use strict";\nwindow.RINGLAND_SKETCHES = {text};\n'.encode()
