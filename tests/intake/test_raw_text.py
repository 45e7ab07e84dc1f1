import csv
import io
import zipfile
from datetime import UTC, datetime

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ringland.intake.written.raw_text import RawFile, RecordFileError, read_raw


def cells(raw: RawFile) -> list[tuple[object, ...]]:
    return raw.frame.rows()


@pytest.mark.parametrize(
    "content",
    [
        b"hull_id,volume_l\nH01,40\nH02,30\n",
        b"hull_id;volume_l\nH01;40\nH02;30\n",
        b"hull_id\tvolume_l\nH01\t40\nH02\t30\n",
        b"\xef\xbb\xbfhull_id,volume_l\nH01,40\nH02,30\n",
        b"hull_id,volume_l\r\nH01,40\r\nH02,30\r\n",
        b"hull_id,volume_l\rH01,40\rH02,30\r",
        b" Hull_ID , VOLUME_L\nH01, 40 \nH02,30\n",
        b'"hull_id","volume_l"\n"H01","40"\n"H02","30"\n',
        "hull_id\tvolume_l\nH01\t40\nH02\t30\n".encode("utf-16"),
        b"hull_id,volume_l\nH01,40\nH02,30\n\n\n",
    ],
)
def test_every_usual_way_to_write_a_csv_gives_the_same_cells(content: bytes) -> None:
    raw = read_raw("fills.csv", content)

    assert raw.frame.columns == ["hull_id", "volume_l", "source_row"]
    assert cells(raw) == [("H01", "40", 2), ("H02", "30", 3)]
    assert raw.rows_in == 2


def test_empty_and_quoted_empty_cells_are_both_null() -> None:
    raw = read_raw("fills.csv", b'a,b,c\n1,,""\n2,   ,x\n')

    assert cells(raw) == [("1", None, None, 2), ("2", None, "x", 3)]


def test_blank_rows_are_counted_and_keep_their_place_in_the_row_numbers() -> None:
    raw = read_raw("fills.csv", b"a,b\n1,2\n\n,\n3,4\n")

    assert cells(raw) == [("1", "2", 2), ("3", "4", 5)]
    assert raw.blank_rows == 2


def test_a_row_too_short_or_too_long_is_kept_whole_and_the_rest_is_read() -> None:
    raw = read_raw("fills.csv", b"a,b,c\n1,2,3\n4,5\n6,7,8,9\n1,2,3\n")

    assert cells(raw) == [("1", "2", "3", 2), ("1", "2", "3", 5)]
    assert raw.torn["source_row"].to_list() == [3, 4]
    assert raw.torn["raw_row"].to_list() == ['["4", "5"]', '["6", "7", "8", "9"]']
    assert raw.torn["fault"][0] == "The row has 2 fields but the header has 3."
    assert raw.rows_in == 4


def test_a_short_row_is_found_though_a_quoted_delimiter_makes_up_the_count() -> None:
    raw = read_raw("fills.csv", b'a,b\n1,"2,3"\n4\n')

    assert cells(raw) == [("1", "2,3", 2)]
    assert raw.torn["source_row"].to_list() == [3]


def test_a_line_break_inside_quotes_belongs_to_its_cell() -> None:
    raw = read_raw("fills.csv", b'a,b\n"x\ny",2\n3,4\n')

    assert cells(raw) == [("x\ny", "2", 2), ("3", "4", 3)]


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "f.csv: The file is empty. Export it again."),
        (b" \n \n", "f.csv: The file is empty. Export it again."),
        (b"a,b\n1,\xe9\n", "f.csv, row 2: The bytes b'\\xe9' are not utf-8 text."),
        (b'a,b\n1,2\n3,"open\n5,6\n', "f.csv, row 3: The record that begins on line 3"),
        (b"a,A \n1,2\n", "f.csv, row 1, a: Columns 1 and 2 have the same name."),
        (b"a,,c\n1,2,3\n", "f.csv, row 1: Column 2 has no name."),
        (b"a,source_row\n1,2\n", "f.csv, row 1, source_row: The name is kept"),
        (b"PK\x03\x04broken", "f.csv: The workbook cannot be opened"),
        (b"PAR1broken", "f.csv: The Parquet file cannot be opened"),
        (b"\xd0\xcf\x11\xe0old", "f.csv: The workbook cannot be opened"),
    ],
)
def test_an_unreadable_file_is_refused_with_file_row_and_remedy(
    content: bytes, message: str
) -> None:
    with pytest.raises(RecordFileError) as refusal:
        read_raw("f.csv", content)

    assert str(refusal.value).startswith(message)
    assert refusal.value.remedy


@settings(derandomize=True, deadline=None)
@given(
    rows=st.lists(
        st.lists(st.text("ab,;\"\n\r é'", max_size=6), min_size=3, max_size=3), max_size=6
    ),
    quoting=st.sampled_from([csv.QUOTE_MINIMAL, csv.QUOTE_ALL]),
)
def test_cells_are_those_the_standard_library_wrote(rows: list[list[str]], quoting: int) -> None:
    buffer = io.StringIO(newline="")
    writer = csv.writer(buffer, quoting=quoting)  # type: ignore[arg-type]  # both are constants
    writer.writerows([["x", "y", "z"], *rows])

    raw = read_raw("f.csv", buffer.getvalue().encode())

    written = [[cell.strip() or None for cell in row] for row in rows]
    assert [list(row[:3]) for row in cells(raw)] == [row for row in written if any(row)]
    assert raw.torn.is_empty()


def workbook(sheet_rows: str) -> bytes:
    """A workbook written by hand, as small as the format allows (ECMA-376 part 1)."""
    main = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
    office = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
    package = "http://schemas.openxmlformats.org/package/2006"
    kind = "application/vnd.openxmlformats-officedocument.spreadsheetml"
    parts = {
        "[Content_Types].xml": f'<Types xmlns="{package}/content-types">'
        '<Default Extension="rels" '
        'ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
        f'<Override PartName="/xl/workbook.xml" ContentType="{kind}.sheet.main+xml"/>'
        f'<Override PartName="/xl/styles.xml" ContentType="{kind}.styles+xml"/>'
        f'<Override PartName="/xl/worksheets/sheet1.xml" ContentType="{kind}.worksheet+xml"/>'
        "</Types>",
        "_rels/.rels": f'<Relationships xmlns="{package}/relationships"><Relationship Id="r1" '
        f'Type="{office}/officeDocument" Target="xl/workbook.xml"/></Relationships>',
        "xl/workbook.xml": f'<workbook xmlns="{main}" xmlns:r="{office}"><sheets>'
        '<sheet name="Fills" sheetId="1" r:id="r1"/></sheets></workbook>',
        "xl/_rels/workbook.xml.rels": f'<Relationships xmlns="{package}/relationships">'
        f'<Relationship Id="r1" Type="{office}/worksheet" Target="worksheets/sheet1.xml"/>'
        f'<Relationship Id="r2" Type="{office}/styles" Target="styles.xml"/></Relationships>',
        "xl/styles.xml": f'<styleSheet xmlns="{main}"><fonts count="1"><font/></fonts>'
        '<fills count="1"><fill/></fills><borders count="1"><border/></borders>'
        '<cellStyleXfs count="1"><xf/></cellStyleXfs>'
        '<cellXfs count="2"><xf/><xf numFmtId="22" applyNumberFormat="1"/></cellXfs></styleSheet>',
        "xl/worksheets/sheet1.xml": f'<worksheet xmlns="{main}"><sheetData>{sheet_rows}'
        "</sheetData></worksheet>",
    }
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        for name, text in parts.items():
            archive.writestr(name, text)
    return buffer.getvalue()


def text_cell(place: str, text: str) -> str:
    return f'<c r="{place}" t="inlineStr"><is><t>{text}</t></is></c>'


def test_a_workbook_gives_its_first_sheet_as_text_with_the_sheets_row_numbers() -> None:
    raw = read_raw(
        "fills.xlsx",
        workbook(
            f'<row r="2">{text_cell("A2", "Hull_ID")}{text_cell("B2", "volume_l")}'
            f"{text_cell('C2', 'filled_at')}</row>"
            f'<row r="3">{text_cell("A3", "H01")}<c r="B3"><v>40.5</v></c>'
            # serial date 45792.5 is 2025-05-15 12:00 (days since 1899-12-30)
            f'<c r="C3" s="1"><v>45792.5</v></c></row>'
            f'<row r="5">{text_cell("A5", "H02")}<c r="B5"><v>30</v></c></row>'
        ),
    )

    assert raw.frame.columns == ["hull_id", "volume_l", "filled_at", "source_row"]
    assert cells(raw) == [
        ("H01", "40.5", "2025-05-15 12:00:00", 3),
        ("H02", "30", None, 5),
    ]
    assert raw.blank_rows == 1


def test_an_empty_first_sheet_is_refused() -> None:
    with pytest.raises(RecordFileError, match="first sheet is empty"):
        read_raw("fills.xlsx", workbook(""))


def test_parquet_is_written_out_with_offsets_where_it_has_them() -> None:
    buffer = io.BytesIO()
    noon = datetime(2025, 5, 15, 12, tzinfo=UTC)
    pl.DataFrame(
        {
            "Hull_ID": ["H01", None],
            "filled_at": [noon, None],
            "read_at": [noon.replace(tzinfo=None), None],
            "volume_l": [40.5, None],
            "is_warm": [True, None],
        }
    ).write_parquet(buffer)

    raw = read_raw("fills.parquet", buffer.getvalue())

    assert cells(raw) == [("H01", "2025-05-15T12:00:00Z", "2025-05-15T12:00:00", "40.5", "true", 2)]


def test_a_nested_parquet_column_is_refused_by_name() -> None:
    buffer = io.BytesIO()
    pl.DataFrame({"hull_id": ["H01"], "octanes": [[91.0, 93.0]]}).write_parquet(buffer)

    with pytest.raises(RecordFileError, match="octanes: The column is of type List"):
        read_raw("fills.parquet", buffer.getvalue())
