import polars as pl

from ringland.causes.cause_table import default_cause_table
from ringland.causes.unknown_words import questions_on_words
from tests.causes.cause_rows import teardown


def test_loading_asks_about_words_it_does_not_know_with_file_row_and_suggestion() -> None:
    """Six of eight cases in a mechanic's own words matched nothing, and loading said nothing."""
    rows = teardown(
        ["rod | bent rod", "rod | con rod kinked", "1 | piston | purple haze",
         "2 | piston | purple haze"]
    ).with_columns(source_file=pl.lit("t.csv"), source_row=pl.int_range(2, 6))  # fmt: skip
    asked = questions_on_words(rows, default_cause_table())
    assert asked == (
        "t.csv, row 3: 'rod': 'con rod kinked' is no finding of the cause table, so it counts for "
        "no cause. Did it mean 'bent rod'?",
        "t.csv, row 4: 'piston': 'purple haze' is no finding of the cause table, so it counts for "
        "no cause. Add its words to the cause table, or enter one it knows.",
    )
