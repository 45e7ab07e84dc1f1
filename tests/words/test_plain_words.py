import polars as pl
import pytest

from ringland.words.plain_words import sentence


def test_a_sentence_is_filled_in_from_columns_and_expressions() -> None:
    rows = pl.DataFrame({"hull_id": ["H1", "H2"], "running_h": [1.5, None]})

    words = rows.select(sentence("{} ran {} h.", "hull_id", pl.col("running_h"))).to_series()

    assert words.to_list() == ["H1 ran 1.5 h.", None]


def test_a_column_in_several_chunks_is_no_trouble() -> None:
    """The first demo fills file, read in four chunks, ended in a panic of `polars.format`."""
    cells = pl.Series("volume_l", ["40", "30"])
    cells.append(pl.Series("volume_l", ["n/a"]))
    rows = cells.to_frame().filter(cells == "n/a")

    words = rows.select(sentence("'{}'", pl.col("volume_l").str.slice(0, 60))).to_series()

    assert [len(chunk) for chunk in rows["volume_l"].get_chunks()] == [0, 1]
    assert words.to_list() == ["'n/a'"]


def test_places_and_parts_must_agree() -> None:
    with pytest.raises(ValueError, match="2 places for 1 parts"):
        sentence("{} and {}", "hull_id")
