"""The dictionary says of every column what the contract says, and nothing else."""

from html.parser import HTMLParser

from ringland.contracts.data_dictionary import data_dictionary, dictionary_html, row_rules
from ringland.contracts.record_kinds import ALL_KINDS


def test_every_column_of_every_kind_stands_there_once_with_its_meaning() -> None:
    rows = data_dictionary()

    expected = [(k.name, c) for k in ALL_KINDS.values() for c in k.schema.column_names()]
    assert rows.select("kind", "column").rows() == expected
    assert rows.filter(rows["about"] == "").is_empty()


def test_a_column_is_described_with_unit_bounds_key_and_reference() -> None:
    rows = {(row["kind"], row["column"]): row for row in data_dictionary().to_dicts()}

    volume = rows["fills", "volume_l"]
    assert (volume["unit"], volume["allowed"], volume["may_be_empty"]) == ("l", "0.1 to 400", False)
    assert rows["fills", "hull_id"]["refers_to"] == "hulls"
    assert rows["fills", "filled_at"]["is_in_key"]
    assert rows["sessions", "ended_at"]["known_from"]
    assert "ring_land_fracture" in rows["failures", "mode"]["allowed"]
    assert rows["fills", "filled_at"]["allowed"] == "1990-01-01 to 2100-01-01"


def test_the_rules_between_columns_are_told() -> None:
    assert "Source is 'dock' but source_dock_id is empty." in row_rules(ALL_KINDS["fills"])
    assert row_rules(ALL_KINDS["costs"]) == []


class Tags(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.sections: list[str] = []
        self.cells = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.open.append(tag)
        self.cells += tag == "td"
        if tag == "section":
            self.sections.append(str(dict(attrs)["id"]))

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag


def test_the_page_is_whole_and_links_only_to_itself() -> None:
    page = dictionary_html()
    tags = Tags()
    tags.feed(page)

    assert tags.open == []
    assert tags.sections == list(ALL_KINDS)
    assert tags.cells == 5 * data_dictionary().height
    assert "http" not in page
    assert "<script" not in page
    assert page == dictionary_html()
