"""Entries taken out of a mapping's TOML; every complaint names file, entry and remedy."""

from __future__ import annotations

from collections.abc import Mapping

ASKED = "?"
"""What a draft writes where only the user knows the answer."""


class MappingError(ValueError):
    """A mapping does not say what it must; the message names file, entry and remedy."""

    def __init__(self, file: str, entry: str, fault: str, remedy: str) -> None:
        self.file, self.entry, self.fault, self.remedy = file, entry, fault, remedy
        super().__init__(f"{file}, {entry}: {fault} {remedy}")


SEE_DRAFT = "Compare it with a draft made by 'ringland draft FILE'."


class EntryReader:
    """Takes entries out of a parsed TOML, with complaints that name them."""

    def __init__(self, file: str) -> None:
        self.file = file

    def fail(self, entry: str, fault: str, remedy: str) -> MappingError:
        """The complaint about an entry."""
        return MappingError(self.file, entry, fault, remedy)

    def no_others(self, entry: str, said: Mapping[str, object], known: set[str]) -> None:
        """No entry but these."""
        if unknown := sorted(set(said) - known):
            raise self.fail(
                entry, f"'{unknown[0]}' is not known here.", f"Use {', '.join(sorted(known))}."
            )

    def table(self, entry: str, said: object) -> dict[str, object]:
        """The entry as a table."""
        if not isinstance(said, dict):
            raise self.fail(entry, "It is not a table.", SEE_DRAFT)
        return said

    def text(self, entry: str, said: Mapping[str, object], name: str) -> str | None:
        """A text of the entry that is no open question; None where it is not there."""
        value = said.get(name)
        if value is None:
            return None
        if not isinstance(value, str):
            raise self.fail(f"{entry}.{name}", "It is not a text.", "Put it in quotation marks.")
        if value == ASKED:
            raise self.fail(
                f"{entry}.{name}",
                "The question is not answered yet.",
                "Write the answer in place of the '?'; the line above it says what is asked.",
            )
        return value

    def texts(self, entry: str, said: Mapping[str, object], name: str) -> tuple[str, ...]:
        """Texts of the entry, one or a list of them."""
        values = said.get(name, [])
        values = [values] if isinstance(values, str) else values
        if not isinstance(values, list) or not all(isinstance(value, str) for value in values):
            raise self.fail(f"{entry}.{name}", "It is not a list of texts.", 'Write ["a", "b"].')
        for value in values:
            self.text(entry, {name: value}, name)
        return tuple(values)

    def words(
        self, entry: str, said: Mapping[str, object], name: str
    ) -> dict[str, tuple[str, ...]]:
        """Headings in lower case with their words in lower case."""
        rows = self.table(f"{entry}.{name}", said.get(name, {}))
        return {
            heading.lower(): tuple(
                word.lower() for word in self.texts(f"{entry}.{name}", rows, heading)
            )
            for heading in rows
        }

    def codes(self, entry: str, said: object) -> dict[str, str]:
        """Words in lower case with what each stands for."""
        codes = self.table(entry, said)
        return {word.lower(): self.text(entry, codes, word) or "" for word in codes}

    def header_rows(self, entry: str, said: Mapping[str, object]) -> tuple[int, ...]:
        """The numbers of the rows with headings."""
        rows = said.get("header_rows", [])
        if (
            not isinstance(rows, list)
            or not all(isinstance(row, int) and row >= 1 for row in rows)
            or rows != sorted(set(rows))
        ):
            raise self.fail(
                f"{entry}.header_rows", "It is no list of rising row numbers.", "Write [2, 3]."
            )
        return tuple(rows)
