"""Characters that act on whatever shows them, and so may stand in no text that is shown."""

import re

CONTROLS = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069\u200e\u200f]")
"""C0 and C1 but tab and line feed, and what turns the direction of text about."""
