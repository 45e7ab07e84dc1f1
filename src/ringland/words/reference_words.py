"""What the pages one looks things up on say: the settings, and the dictionary of the records."""

from __future__ import annotations

SETTINGS_TITLE = "Every number we chose"
SETTINGS_LEAD = (
    "Nothing else in this report is chosen: value, unit, how sure we are of it, and where it "
    "comes from. A shop lays its own {file} in the home folder over it."
)
SETTING_HEADINGS = ("Setting", "Value", "Mark", "What and whence")
SETTING_LABELS = ("Setting", "Value", "Mark", "What")
"""The same headings where each stands beside its figure on a narrow screen."""

DICTIONARY_TITLE = "What the records may say"
DICTIONARY_LEAD = (
    "Every kind of record, its columns with their units and limits, and when a row is set aside. "
    "Made from the contracts that the files are checked against."
)
DICTIONARY_REGION = "Record kinds and their columns"
