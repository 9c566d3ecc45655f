"""A sheet as a workbook: read like text, never reckoned, and safe against files made to do harm."""

import io
import zipfile
from datetime import date, time

import pytest
from openpyxl import Workbook, load_workbook

from apps.sheets import giving, services
from apps.sheets.cells import COLUMNS
from apps.sheets.figures import Asked
from apps.sheets.wrong import SheetRefused
from tests.sheets.support import as_csv, calculate, of_text, rows, wrong

pytestmark = pytest.mark.once

PLAIN = of_text("X 1 length 1 0 35 cm\nX 1 length 1 1 32 cm")
SAID = [("X", "length", 1, 1, 1, "-8.5714", "", "-8.6")]


def as_workbook(lines, head=COLUMNS, formats=None, more_sheets=()) -> bytes:
    book = Workbook()
    sheet = book.active
    sheet.title = "Readings"
    for line in [head, *lines]:
        sheet.append(list(line))
    for place, shown in (formats or {}).items():
        sheet[place].number_format = shown
    for name in more_sheets:
        book.create_sheet(name)
    return saved(book)


def saved(book: Workbook) -> bytes:
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def numbers(lines) -> list[list]:
    """As a spreadsheet has them: figures as numbers."""
    return [
        [sample, int(one), way, int(pair), int(stage), float(value), unit]
        for sample, one, way, pair, stage, value, unit in lines
    ]


def rewritten(workbook: bytes, change) -> bytes:
    """The workbook with parts changed: `change(name, data)` gives the new data."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(workbook)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            new.writestr(name, change(name, old.read(name)))
    return out.getvalue()


def in_sheet(workbook: bytes, old: bytes, new: bytes) -> bytes:
    def change(name: str, data: bytes) -> bytes:
        if name == "xl/worksheets/sheet1.xml":
            data = data.replace(b"<v></v>", b"<v />").replace(b"<v/>", b"<v />")  # openpyxl with lxml, and without
            assert old in data, data
            return data.replace(old, new)
        return data

    return rewritten(workbook, change)


def test_texts_and_numbers():
    assert rows(calculate(as_workbook(PLAIN))) == SAID
    assert rows(calculate(as_workbook(numbers(PLAIN)))) == SAID


def test_blank_rows_empty_columns_and_other_sheets():
    lines = [*numbers(PLAIN)[:1], [], [" "], *numbers(PLAIN)[1:], [None] * 30]
    results = calculate(
        as_workbook(
            [[*line, None, "dry"] for line in lines[:1]] + lines[1:], [*COLUMNS, None, "remark"], more_sheets=["Notes"]
        )
    )
    assert rows(results) == SAID
    assert results.notes == [
        "Not used: the column remark.",
        "Only the first sheet of the workbook was read, “Readings”.",
    ]


def test_figures_are_read_as_they_are_shown():
    """9.6 is stored as 9.5999999999999996 by some; what was reckoned carries the dust of floating point."""
    lines = [["X", 1, "length", 1, 0, 0.1 + 0.2, "in"], ["X", 1, "length", 1, 1, 0.3, "in"]]
    sheet = in_sheet(as_workbook(lines), b"<v>0.3</v>", b"<v>0.29999999999999999</v>")
    assert rows(calculate(sheet))[0][5:] == ("0.0000", "", "0.0")


def cell(place: int, value, formats=None) -> bytes:
    line = numbers(PLAIN)[1]
    line[place] = value
    return as_workbook([numbers(PLAIN)[0], line], formats=formats)


UNSTORED = "This formula has no stored value. Open the workbook, let it calculate, and save it again."
DATE = "The spreadsheet took this for a date. Format the cell as text and type it again."


@pytest.mark.parametrize(
    ("sheet", "sentence"),
    [
        (cell(5, None), "cell F3, value: This cell is empty."),
        (cell(5, "=1+1"), f"cell F3, value: {UNSTORED}"),
        (cell(0, "=1+1"), f"cell A3, sample: {UNSTORED}"),
        (cell(5, True), "cell F3, value: This is TRUE or FALSE, not a text or a number."),
        (cell(5, date(2026, 3, 8)), f"cell F3, value: {DATE}"),
        (cell(3, time(1, 2)), f"cell D3, pair: {DATE}"),
        (cell(5, "#N/A"), "cell F3, value: This cell holds the error #N/A."),
        (cell(5, -32), "cell F3, value: A length has no sign. Enter the digits only."),
        (cell(5, 1e300), 'cell F3, value: "1e+300" is no length in cm. Write it like 24.35.'),
        (cell(4, 1.5), 'cell E3, stage: "1.5" is no stage. Write 0 before washing, 1 after cycle 1, up to 999.'),
        (cell(6, "x" * 10_000), 'cell G3, unit: This is longer than 100 characters.'),
        (cell(4, 0), "cell F3, value: This pair was read at this stage in row 2 already."),
    ],
)  # fmt: skip
def test_names_the_wrong_cell(sheet, sentence):
    assert wrong(sheet) == [sentence]


def test_a_percentage_format_is_refused():
    """A cell that shows -2.5% holds -0.025."""
    lines = [["X", 1, "length", 1, 1, -0.025, "pct"], ["X", 1, "length", 2, 1, -2.5, "pct"]]
    assert wrong(as_workbook(lines, formats={"F2": "0.0%"})) == [
        "cell F2, value: This cell is formatted as a percentage. Format it as a number: -2.5 for 2.5 % of shrinkage."
    ]


def test_a_formula_with_its_stored_value_counts_as_that():
    sheet = in_sheet(cell(5, "=30+2"), b"<f>30+2</f><v />", b"<f>30+2</f><v>32</v>")
    assert rows(calculate(sheet)) == SAID


def test_a_row_of_formulas_without_values_is_not_taken_for_blank():
    formulas = [f"={place}2" for place in "ABCDEFG"]
    assert len(wrong(as_workbook([*numbers(PLAIN), formulas]))) == 7


def by_hand(sheet: bytes, texts: bytes) -> bytes:
    """A workbook as a spreadsheet writes it: its texts in a part of their own."""
    book = as_workbook([])
    kind = b"application/vnd.openxmlformats-officedocument.spreadsheetml.sharedStrings+xml"
    relation = b"http://schemas.openxmlformats.org/officeDocument/2006/relationships/sharedStrings"
    changes = {
        "[Content_Types].xml": (
            b"</Types>",
            b'<Override PartName="/xl/sharedStrings.xml" ContentType="%s"/></Types>' % kind,
        ),
        "xl/_rels/workbook.xml.rels": (
            b"</Relationships>",
            b'<Relationship Type="%s" Target="sharedStrings.xml" Id="rId99"/></Relationships>' % relation,
        ),
    }
    out = io.BytesIO(
        rewritten(book, lambda name, data: data.replace(*changes.get(name, (b"", b""))) if name in changes else data)
    )
    with zipfile.ZipFile(out, "a") as more:
        more.writestr("xl/sharedStrings.xml", texts)
    return in_sheet_data(out.getvalue(), sheet)


def in_sheet_data(workbook: bytes, rows: bytes) -> bytes:
    return rewritten(workbook, lambda name, data: SHEET % rows if name == "xl/worksheets/sheet1.xml" else data)


SHEET = b'<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>%s</sheetData></worksheet>'
TEXTS = b'<sst xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main">%s</sst>'


def test_shared_texts_and_rows_far_apart():
    shared = [*COLUMNS, "X", "length", "cm"]
    texts = TEXTS % b"".join(b"<si><t>%s</t></si>" % text.encode() for text in shared)
    head = b"".join(b'<c t="s"><v>%d</v></c>' % number for number in range(7))
    line = b'<c t="s"><v>7</v></c><c><v>1</v></c><c t="s"><v>8</v></c><c><v>1</v></c><c><v>%d</v></c><c><v>%d</v></c>'
    line += b'<c t="s"><v>9</v></c>'
    rows_ = b'<row r="3">%s</row><row r="5000">%s</row><row r="70000">%s</row>' % (head, line % (0, 35), line % (1, 32))
    assert rows(calculate(by_hand(rows_, texts))) == SAID
    assert wrong(by_hand(rows_.replace(b"<v>32</v>", b"<v>-32</v>"), texts)) == [
        "cell F70000, value: A length has no sign. Enter the digits only."
    ]


# Files made to do harm


def packed(parts: dict[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for name, data in parts.items():
            new.writestr(name, data)
    return out.getvalue()


def with_part(name: str, data: bytes) -> bytes:
    return rewritten(as_workbook(PLAIN), lambda part, old: data if part == name else old)


def renamed(sheet: bytes) -> bytes:
    """A workbook whose sheet is called as if it were a picture."""
    book = rewritten(
        as_workbook(PLAIN),
        lambda name, data: (
            data.replace(b"worksheets/sheet1.xml", b"media/image1.png") if name != "_rels/.rels" else data
        ),
    )
    out = io.BytesIO(book)
    with zipfile.ZipFile(out, "a", zipfile.ZIP_DEFLATED) as more:
        more.writestr("xl/media/image1.png", sheet)
    return out.getvalue()


def test_a_sheet_may_be_called_anything():
    with zipfile.ZipFile(io.BytesIO(as_workbook(PLAIN))) as parts:
        sheet = parts.read("xl/worksheets/sheet1.xml")
    assert rows(calculate(renamed(sheet))) == SAID


def test_a_picture_beside_the_sheet_is_of_no_matter():
    out = io.BytesIO(as_workbook(PLAIN))
    with zipfile.ZipFile(out, "a") as more:
        more.writestr("xl/media/image1.png", b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR<!DOCTYPE" + bytes(5000))
    assert rows(calculate(out.getvalue())) == SAID


ENTITIES = b'<!DOCTYPE x [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;">]>'
HOSTILE = {
    "a bomb": (with_part("xl/worksheets/sheet1.xml", b" " * (30 << 20)), "too_large"),
    "many parts": (packed({f"{number}.xml": b"" for number in range(2000)}), "too_large"),
    "entities": (with_part("xl/worksheets/sheet1.xml", ENTITIES + SHEET % b""), "hostile"),
    "hidden entities": (with_part("xl/styles.xml", ENTITIES.decode().encode("utf-16")), "hostile"),
    "one endless row": (in_sheet_data(as_workbook(PLAIN), (b"<row>" + b"<c/>" * 1_100_000)), "hostile"),
    "an endless sheet of another name": (renamed(SHEET % (b"<row>" + b"<c/>" * 1_100_000)), "hostile"),
    "entities under another name": (renamed(ENTITIES + SHEET % b""), "hostile"),
    "endless styles": (with_part("xl/styles.xml", b"<a>" + b"<b/>" * 1_100_000 + b"</a>"), "hostile"),
    "one endless text": (by_hand(b"", TEXTS % (b"<si>" + b"<r/>" * 1_100_000)), "hostile"),
    "endless blank rows": (in_sheet_data(as_workbook(PLAIN), (b"<row/>" * 60_000)), "too_long"),
    "no zip": (b"PK\3\4" + b"x" * 100, "no_workbook"),
    "half a workbook": (as_workbook(PLAIN)[:2000], "no_workbook"),
    "another zip": (packed({"hello.txt": b"hello"}), "no_workbook"),
    "broken markup": (with_part("xl/worksheets/sheet1.xml", b"<worksheet"), "no_workbook"),
    "deep markup": (in_sheet_data(as_workbook(PLAIN), (b"<a>" * 300_000)), "no_workbook"),
    "no shared text": (in_sheet_data(as_workbook(PLAIN), b'<row><c t="s"><v>9</v></c></row>'), "no_workbook"),
    "a bad address": (in_sheet_data(as_workbook(PLAIN), b'<row><c r="??"><v>9</v></c></row>'), "no_workbook"),
    "empty": (in_sheet_data(as_workbook(PLAIN), b""), "empty"),
    "far away": (in_sheet_data(as_workbook(PLAIN), b'<row r="99999999999"><c><v>1</v></c></row>'), "empty"),
    "another head": (as_workbook(PLAIN, [*COLUMNS[:-1], "units"]), "missing_columns"),
    "only the head": (as_workbook([]), "no_rows"),
    "too many rows": (as_workbook([[str(number), *PLAIN[0][1:]] for number in range(60)]), "too_long"),
}  # fmt: skip


@pytest.mark.parametrize("name", HOSTILE)
def test_is_refused_with_a_sentence(name):
    data, code = HOSTILE[name]
    with pytest.raises(SheetRefused) as caught:
        calculate(data, unpacked=20 << 20, workbook_rows=50)
    assert caught.value.code == code


def test_a_dimension_is_not_believed():
    """A file may say that it reaches to the last cell there is."""
    sheet = as_workbook(PLAIN)
    with zipfile.ZipFile(io.BytesIO(sheet)) as parts:
        said = parts.read("xl/worksheets/sheet1.xml")
    assert b'<dimension ref="A1:G3"' in said
    assert rows(calculate(in_sheet(sheet, b'ref="A1:G3"', b'ref="A1:XFD1048576"'))) == SAID
    assert rows(calculate(in_sheet(sheet, b'ref="A1:G3"', b'ref="A1:A1"'))) == SAID


@pytest.mark.parametrize("data", [b"", b"sample,specimen\n", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 600])
def test_what_is_no_workbook_is_told(data):
    with pytest.raises(SheetRefused):
        services.calculate(file=io.BytesIO(data), workbook=True, asked=Asked())


# Out again


def given(lines, **how) -> Workbook:
    out = io.BytesIO()
    giving.write_workbook(calculate(as_csv(lines), **how), out)
    return load_workbook(out)


def test_a_workbook_of_results_holds_numbers():
    book = given(PLAIN)
    head, line = book["Results"].iter_rows()
    assert tuple(cell.value for cell in head) == giving.COLUMNS
    assert [cell.value for cell in line] == ["X", "length", 1, 1, 1, -8.5714, None, -8.6]
    assert [line[place].number_format for place in (5, 7)] == ["0.0000", "0.0"]
    assert [cell.value for (cell,) in book["About"].iter_rows()] == [
        "Change in percent, minus is shrinkage: the change of the mean lengths (ratio_of_means).",
        "Reported to the nearest 0.1 %, a figure exactly between two to the even figure.",
        "sd is the sample standard deviation of the specimens' results, in percent.",
    ]


ATTACKS = ["=1+1", "+1", "-1", "@SUM(A1)", "=cmd|' /C calc'!A0", "\uff1d1+1", "#N/A", "TRUE", "1e5", "01", "'x"]


def test_names_are_never_formulas():
    lines = [[name, "1", "=length", "1", stage, "250", "mm"] for name in ATTACKS for stage in "01"]
    book = given(lines)
    expected = [f"'{name}" if name[0] in "=+-@\uff1d" else name for name in ATTACKS]
    cells = [row[0] for row in book["Results"].iter_rows(min_row=2)]
    assert [(cell.value, cell.data_type) for cell in cells] == [(text, "s") for text in expected]
    assert {row[1].value for row in book["Results"].iter_rows(min_row=2)} == {"'=length"}
    out = io.StringIO()
    giving.write_csv(calculate(as_csv(lines)), out)
    assert [line.split(",")[0].strip('"') for line in out.getvalue().splitlines()[1:]] == expected


def test_a_minus_is_no_attack():
    out = io.StringIO()
    giving.write_csv(calculate(as_csv(PLAIN)), out)
    assert out.getvalue().splitlines()[1] == "X,length,1,1,1,-8.5714,,-8.6"
