"""A sentence with links in its places: its own words and the records' stay inert."""

import pytest
from markupsafe import Markup

from ringland.words.filled_sentence import filled

LINK = Markup('<a href="#sure">sure</a>')


def test_link_stays_a_link_wherever_the_sentence_puts_it():
    assert filled("How {link}?", link=LINK) == 'How <a href="#sure">sure</a>?'
    assert filled("{link}: how", link=LINK) == '<a href="#sure">sure</a>: how'


def test_text_of_the_records_is_escaped():
    hostile = '<script>alert("{0.__class__}")</script>'

    said = filled("At {dock}.", dock=hostile)

    assert said == "At &lt;script&gt;alert(&#34;{0.__class__}&#34;)&lt;/script&gt;."
    assert filled("{link} at {dock}", link=LINK, dock="<b>").endswith("at &lt;b&gt;")


def test_words_of_the_sentence_are_no_markup():
    assert filled("under < 5 & more {n}", n=1) == "under &lt; 5 &amp; more 1"


def test_place_without_a_part_is_an_error():
    with pytest.raises(KeyError, match="link"):
        filled("How {link}?")
