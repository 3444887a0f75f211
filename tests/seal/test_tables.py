"""Readings as CSV and as SenML."""

import csv
import io
import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.basis.segment import from_readings
from monitor.basis.values import LIVE, Origin, OriginKind, Quantity, Reading
from monitor.seal.tables import COLUMNS, Row, csv_of, rows_of, senml_of

MONDAY = 1_767_571_200_000
RH, C = Quantity.AIR_HUMIDITY, Quantity.AIR_TEMPERATURE


def row(value=45.5, quantity=RH, unit="%", stream="hall", t=MONDAY, leaf: int | None = 7, origin=LIVE) -> Row:
    return Row(Reading(stream, quantity, t, value, unit, t + 1234, origin), leaf)


def read(data: bytes) -> list[list[str]]:
    return list(csv.reader(io.StringIO(data.decode("utf-8-sig"), newline="")))


def test_a_table_is_what_a_spreadsheet_opens():
    # RFC 4180: a heading, rows ended by CR LF; the byte order mark is what spreadsheets take UTF-8 by (common practice)
    assert csv_of([row()]) == (
        b"\xef\xbb\xbftime,time_ms,sensor,quantity,value,unit,arrival,arrival_ms,origin,origin_detail,record\r\n"
        b"2026-01-05T00:00:00.000Z,1767571200000,hall,air_humidity,45.5,%,2026-01-05T00:00:01.234Z,1767571201234,live,,7\r\n"
    )


def test_a_reading_that_is_not_sealed_has_no_record():
    assert read(csv_of([row(leaf=None)]))[1][-1] == ""


@pytest.mark.parametrize("stream", ["=1+1", "+1", "-1", "@x", "\tx", "\r=x", "\n=x", "'quoted", '=HYPERLINK("x"),y'])
def test_a_text_that_a_spreadsheet_would_compute_is_guarded_and_comes_back(stream):
    cell = read(csv_of([row(stream=stream)]))[1][2]
    assert cell == "'" + stream


@given(st.text(st.characters(codec="utf-8", exclude_characters="\r\n\0"), max_size=12))
def test_any_name_comes_back_by_taking_one_apostrophe_away(stream):
    cell = read(csv_of([row(stream=stream)]))[1][2]
    assert cell.removeprefix("'") == stream
    assert not cell.startswith(("=", "+", "-", "@"))


def test_a_number_below_zero_stays_a_number():
    assert read(csv_of([row(-3.2, C, "degC")]))[1][4] == "-3.2"


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_every_value_reads_back_as_the_same_double(value):
    assert repr(float(read(csv_of([row(value, C, "degC")]))[1][COLUMNS.index("value")])) == repr(value)


def test_rows_stand_in_order_of_time_quantity_and_unit():
    late = from_readings("hall", MONDAY, [row(t=MONDAY + 5).reading])
    day = from_readings("hall", MONDAY, [row(20.0, C, "degC", t=MONDAY + 5).reading, row(t=MONDAY + 9).reading])
    rows = rows_of([(3, day), (8, late)])
    assert [(one.reading.t - MONDAY, one.reading.quantity, one.leaf) for one in rows] == [
        (5, RH, 8),
        (5, C, 3),
        (9, RH, 3),
    ]


def test_the_file_that_readings_came_from_stands_beside_them():
    origin = Origin(OriginKind.FILE, "ab" * 32)
    assert read(csv_of([row(origin=origin)]))[1][8:10] == ["file", "ab" * 32]


# --- SenML ------------------------------------------------------------------------------------------------------------


def resolved(data: bytes) -> list[dict]:
    """RFC 8428, 4.6: base name before the name; no base time, unit or value here."""
    base, found = "", []
    for record in json.loads(data):
        base = record.pop("bn", base)
        found.append({**record, "n": base + record["n"]})
    return found


def test_a_pack_is_senml_with_its_registered_units():
    # RFC 8428, 4.3 (n, u, v, t in seconds, above 2**28 absolute) and 12.1 (Cel, %RH, %EL, "/")
    rows = [
        row(),
        row(68.0, C, "degF"),
        row(12.5, Quantity.WALL_MOISTURE),
        row(87.0, Quantity.BATTERY),
        row(0.455, RH, "1"),
        row(293.15, C, "K"),
    ]
    assert resolved(senml_of(rows, "sensor001")) == [
        {"n": "sensor001/air_humidity", "u": "%RH", "t": 1767571200.0, "v": 45.5},
        {"n": "sensor001/air_temperature", "u": "Cel", "t": 1767571200.0, "v": 20.0},
        {"n": "sensor001/wall_moisture", "u": "/", "t": 1767571200.0, "v": 0.125},
        {"n": "sensor001/battery", "u": "%EL", "t": 1767571200.0, "v": 87.0},
        {"n": "sensor001/air_humidity", "u": "%RH", "t": 1767571200.0, "v": 45.5},
        {"n": "sensor001/air_temperature", "u": "Cel", "t": 1767571200.0, "v": 20.0},
    ]


def test_milliseconds_come_back_from_seconds():
    for t in range(MONDAY, MONDAY + 50):
        (record,) = resolved(senml_of([row(t=t)], "s"))
        assert round(record["t"] * 1000) == t


def test_a_pack_has_a_record_a_line():
    assert senml_of([row(), row()], "s").count(b"\n") == 2
    assert json.loads(senml_of([], "s")) == []
