from hypothesis import given
from hypothesis import strategies as st

from ringland.pages.causes.merged_cells import Cell, merged_cells

BORES = [
    ("measure", "Bore taper", "1", "at most 0.05 mm", "0.003 mm"),
    ("measure", "Bore taper", "2", "at most 0.05 mm", "0.018 mm"),
    ("measure", "Ring gap", "1", "at most 0.05 mm", "0.018 mm"),
]


def test_what_neighbours_share_is_written_once() -> None:
    first, second, third = merged_cells(BORES, together=2)

    assert first == [
        Cell(0, "measure", 2),
        Cell(1, "Bore taper", 2),
        Cell(2, "1"),
        Cell(3, "at most 0.05 mm", 2),
        Cell(4, "0.003 mm"),
    ]
    assert second == [Cell(2, "2"), Cell(4, "0.018 mm")]
    assert third == [Cell(column, text) for column, text in enumerate(BORES[2])]


@given(
    st.lists(st.tuples(*[st.sampled_from("ab")] * 4), max_size=12),
    st.integers(min_value=0, max_value=3),
)
def test_every_row_can_be_read_back(rows: list[tuple[str, ...]], together: int) -> None:
    """Laid out as a browser lays them out, the cells say every row in full."""
    laid: dict[tuple[int, int], str] = {}
    for line, cells in enumerate(merged_cells(rows, together)):
        for cell in cells:
            for below in range(line, line + cell.span):
                assert (below, cell.column) not in laid
                laid[below, cell.column] = cell.text

    assert laid == {
        (line, column): text for line, row in enumerate(rows) for column, text in enumerate(row)
    }
