"""Every word a reader sees comes from a page's words: no template holds one of its own."""

import re
from html.parser import HTMLParser
from importlib.resources import files
from pathlib import Path

import pytest
from jinja2 import Environment

TEMPLATES = {
    f"{path.parent.name}/{path.name}": path
    for path in sorted(Path(str(files("ringland"))).glob("pages/*/*.j2"))
}
READ_ALOUD = ("aria-label", "alt", "title", "placeholder", "data-label")
"""Attributes a reader sees or hears; `data-label` stands beside a cell on a narrow screen."""

ALLOWED = {"ringland"}
"""The project's own name is the same in every language."""

WORD = re.compile(r"[^\W\d_]{2,}")
PHRASE = re.compile(r"[^\W\d_]{2,}[,.;:]? [^\W\d_]{2,}")


class _Read(HTMLParser):
    """What of a page is read: its text and its spoken attributes, not its code."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.said: list[str] = []
        self._is_code = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._is_code = tag in ("script", "style")
        self.said += [value for name, value in attrs if name in READ_ALOUD and value]

    def handle_endtag(self, tag: str) -> None:
        self._is_code = False

    def handle_data(self, data: str) -> None:
        if not self._is_code:
            self.said.append(data)


def own_words(source: str) -> list[str]:
    """The words a template brings of its own: in its text, its attributes, its expressions.

    An expression may name a key or a class in one word; two words in a row are a phrase.
    """
    html, phrases = "", []
    for _, kind, value in Environment(autoescape=True).lex(source):
        if kind == "data":
            html += value
        elif kind == "string" and PHRASE.search(value):
            phrases.append(value)
    read = _Read()
    read.feed(html)
    read.close()
    words = [word for text in read.said for word in WORD.findall(text)]
    return [word for word in words if word not in ALLOWED] + phrases


@pytest.mark.parametrize("name", TEMPLATES)
def test_template_has_no_word_of_its_own(name):
    assert own_words(TEMPLATES[name].read_text(encoding="utf-8")) == []


def test_there_are_templates_to_look_at():
    rooms = {name.split("/")[0] for name in TEMPLATES}
    assert rooms > {"fleet", "hull", "causes", "frame"}


@pytest.mark.parametrize(
    ("source", "found"),
    [
        ("<p>{{ n }} hulls</p>", ["hulls"]),
        ("{% if a %}<td>{{ low }} to {{ high }}</td>{% endif %}", ["to"]),
        ('<nav aria-label="Pages{{ n }}">', ["Pages"]),
        ('<td data-label="Cost">', ["Cost"]),
        ('<input placeholder="Hull" title="Find">', ["Hull", "Find"]),
        ('<option value="x">all docks</option>', ["all", "docks"]),
        ('{{ chart("fleet", "Chance of failure") }}', ['"Chance of failure"']),
        ("<p>r&eacute;sum&eacute;</p>", ["r\u00e9sum\u00e9"]),
    ],
)
def test_planted_word_is_found(source, found):
    assert own_words(source) == found


@pytest.mark.parametrize(
    "source",
    [
        "<p class=\"quiet\" id='a'>{{ said.COST }} &minus; \u00b7 {{ x | number(1) }}</p>",
        "{# a note to whoever edits this #}<p>ringland {{ version }}</p>",
        "<script>var word = 1;</script><style>p { color: red }</style>",
        '{% if call.action == "nothing" %}<b class="spare">{{ x }}</b>{% endif %}',
    ],
)
def test_markup_code_and_notes_are_no_words(source):
    assert own_words(source) == []
