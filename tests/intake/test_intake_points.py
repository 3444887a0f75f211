"""Points along a wall from a CSV file: units, blanks, and every bad cell with its row."""

from __future__ import annotations

from pathlib import Path

import pytest

from monitor.basis.errors import QuantityError
from monitor.basis.units import FOOT, INCH
from monitor.intake.points import Point, read_heights, read_points, signed_length

DIRECTIONS = ("along", "across")
LIKE = 'Write it like "3/16 in", "16 ft 4 in" or "4.2 m"'


def file(folder: Path, text: str) -> Path:
    path = folder / "wall.csv"
    path.write_bytes(text.encode("utf-8"))
    return path


def points(folder: Path, text: str, **units: str) -> list[Point]:
    return read_points(file(folder, text), DIRECTIONS, units)


def refused(folder: Path, text: str, **units: str) -> list[str]:
    with pytest.raises(QuantityError) as error:
        points(folder, text, **units)
    return str(error.value).replace(str(folder / "wall.csv"), "wall.csv").splitlines()


def test_feet_and_inches_metres_and_millimetres(tmp_path):
    assert points(
        tmp_path, "direction,line,position,deviation\nalong,low,4 ft 6 in,-1/8 in\nAcross,,1.2 m,+3 mm\nalong,,0,0\n"
    ) == [
        Point("along", "low", pytest.approx(4.5 * FOOT), pytest.approx(-INCH / 8)),
        Point("across", "", 1.2, pytest.approx(0.003)),
        Point("along", "", 0.0, 0.0),
    ]


@pytest.mark.parametrize("head", ["deviation [mm]", "deviation (mm)", "deviation_mm", "Deviation mm", "deviation/mm"])
def test_the_unit_of_bare_numbers_stands_in_the_header(tmp_path, head):
    assert points(tmp_path, f"direction,position (ft),{head}\nalong,2.5,-4\n") == [
        Point("along", "", pytest.approx(2.5 * FOOT), pytest.approx(-0.004))
    ]


def test_the_unit_of_bare_numbers_may_be_given_and_that_of_the_header_comes_first(tmp_path):
    text = "direction,position,deviation [mm]\nalong,2,4\n"
    assert points(tmp_path, text, position="ft", deviation="in") == [
        Point("along", "", pytest.approx(2 * FOOT), pytest.approx(0.004))
    ]


def test_a_cell_with_a_unit_of_its_own_keeps_it(tmp_path):
    assert points(tmp_path, "direction,position [ft],deviation [mm]\nalong,24 in,1/8 in\n") == [
        Point("along", "", pytest.approx(2 * FOOT), pytest.approx(INCH / 8))
    ]


@pytest.mark.parametrize("delimiter", [";", "\t"])
def test_semicolons_and_tabs_and_decimal_commas(tmp_path, delimiter):
    head, row = (
        delimiter.join(cells) for cells in (("direction", "position m", "deviation mm"), ("along", "1,5", "-2,5"))
    )
    assert points(tmp_path, f"{head}\n{row}\n") == [Point("along", "", 1.5, pytest.approx(-0.0025))]


def test_a_byte_order_mark_blank_rows_other_columns_and_quotes_are_no_fault(tmp_path):
    text = '\ufeffposition,note,direction,deviation\n"1 ft","sun, low",along,0 in\n\n,,,\n'
    assert points(tmp_path, text) == [Point("along", "", pytest.approx(FOOT), 0.0)]


def test_every_bad_cell_is_named_with_its_row(tmp_path):
    text = "direction,position,deviation\nalong,1 ft,2\nup,1 yd,1 mm\n\nalong,,1/8 in\nalong,1 ft\nacross,2 ft,flat\n"
    assert refused(tmp_path, text) == [
        "wall.csv, row 6: it has 2 cells, the header 3. Put a cell that holds a delimiter in quotes",
        'wall.csv, row 2, deviation: \'2\' has no unit. Write it like "1/8 in" or "3 mm", or name the unit',
        "wall.csv, row 3, direction: 'up' is no direction. Use along, across",
        f"wall.csv, row 3, position: '1 yd' is not a length. {LIKE}",
        f"wall.csv, row 5, position: '' is not a length. {LIKE}",
        f"wall.csv, row 7, deviation: 'flat' is not a length. {LIKE}",
    ]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            "direction,position\nalong,1 ft\n",
            "wall.csv: there is no column 'deviation'. "
            "Name the columns in the first row: direction, position, deviation",
        ),
        (
            "direction,position,deviation,deviation\n",
            "wall.csv: there is more than one column 'deviation'. "
            "Name the columns in the first row: direction, position, deviation",
        ),
        (
            "",
            "wall.csv: there is no column 'direction'. "
            "Name the columns in the first row: direction, position, deviation",
        ),
        ("direction,position,deviation\n", "wall.csv: there is no row below the header. Write one a point"),
    ],
)
def test_a_file_that_is_no_table_of_points(tmp_path, text, message):
    assert refused(tmp_path, text) == [message]


def test_a_file_that_is_not_there_and_one_that_is_no_text(tmp_path):
    path = tmp_path / "wall.csv"
    with pytest.raises(QuantityError) as error:
        read_points(path, DIRECTIONS, {})
    assert str(error.value) == f"{path}: it can't be read (No such file or directory). Name a CSV file"
    path.write_bytes(b"direction\xff")
    with pytest.raises(QuantityError) as error:
        read_points(path, DIRECTIONS, {})
    assert str(error.value) == f"{path}: byte 9 is not UTF-8. Save it as UTF-8 text"


def test_heights_of_the_first_row(tmp_path):
    path = file(tmp_path, "position,height [mm]\n0,0\n2.4 m,-1.5\n")
    assert read_heights(path, {}) == [(0.0, 0.0), (2.4, pytest.approx(-0.0015))]
    path = file(tmp_path, "position,height\n1 m,low\n")
    with pytest.raises(QuantityError) as error:
        read_heights(path, {})
    assert str(error.value) == f"{path}, row 2, height: 'low' is not a length. {LIKE}"


@pytest.mark.parametrize(
    ("text", "unit", "metres"),
    [
        ("-1/8 in", "", -INCH / 8),
        ("\u22121/8 in", "", -INCH / 8),
        (" + 3 mm ", "", 0.003),
        ("3", "mm", 0.003),
        ("-.5", "in", -INCH / 2),
        ("0", "", 0.0),
        ("-0.0", "", 0.0),
        ("4", "ft", 4 * FOOT),
        ("4 in", "ft", 4 * INCH),
    ],
)
def test_a_length_with_a_sign(text, unit, metres):
    assert signed_length(text, where="x", unit=unit) == pytest.approx(metres)


@pytest.mark.parametrize("text", ["--3 mm", "3/0 in", "", "1e999 m"])
def test_what_is_no_length_is_refused(text):
    with pytest.raises(QuantityError):
        signed_length(text, where="x")
