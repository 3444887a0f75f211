import hashlib
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.basis.errors import LoggerFileError, TimeError
from monitor.basis.times import HOUR, MINUTE, in_zone, ms_of, parse_time
from monitor.basis.values import Quantity
from monitor.intake.hold import propose_hold
from monitor.intake.loggerfile import check, read
from monitor.intake.loggerguess import Columns, guess
from monitor.intake.loggertimes import ISO, utc_of

T, H = Quantity.AIR_TEMPERATURE, Quantity.AIR_HUMIDITY
UTC_ZONE, NEW_YORK = ZoneInfo("UTC"), ZoneInfo("America/New_York")
NAMED = {"time": ("ts",), "temperature": "t", "humidity": "h"}


@pytest.fixture
def log(tmp_path):
    """A file with this content: a text, lines or bytes."""

    def write(content, encoding="utf-8"):
        if not isinstance(content, bytes | str):
            content = "".join(f"{line}\n" for line in content)
        path = tmp_path / "log.csv"
        path.write_bytes(content if isinstance(content, bytes) else content.encode(encoding))
        return path

    return write


def series(path, **columns):
    """Every reading of a file: quantity -> [(time as text, value)]."""
    found = {}
    for chunk in read(path, guess(path, Columns(**(NAMED | columns)))):
        for quantity, (t, value) in chunk.series.items():
            stamps = [datetime.fromtimestamp(at / 1000, UTC).isoformat() for at in t.tolist()]
            found.setdefault(quantity, []).extend(zip(stamps, value.tolist(), strict=True))
    return found


def refusal(path, **columns):
    """The message, with the file's path written as FILE."""
    with pytest.raises(LoggerFileError) as caught:
        check(path, guess(path, Columns(**(NAMED | columns))))
    return str(caught.value).replace(str(path), "FILE")


# --- layouts


@pytest.mark.parametrize(
    "lines",
    [
        ["ts,t,h", "2026-01-05 06:40:00,21.5,45"],
        ["ts;t;h", "2026-01-05 06:40;21.5;45.0"],
        ["ts\tt\th", "2026-01-05T06:40\t21.5\t45"],
        ["ts|t|h", "2026-01-05T06:40|21.5|45"],
        ["ts;t;h", "2026-01-05 06:40;21,5;45,0"],
        ['ts,t,h', '2026-01-05 06:40,"21,5","45,0"'],
        ["# ts t h", "2026-01-05T06:40 21.5  45"],
        ["#ts   t h", "  2026-01-05T06:40\t21.5 45 "],
        ["#ts,t,h", "2026-01-05 06:40,21.5,45"],
        [' "ts", t ,"h"', ' 2026-01-05 06:40 , "21.5", 45 '],
        ['"ts","t","h"', '"17","2026-01-05 06:40",21.5,45'],
        ["ts,t,h", "2026-01-05 06:40,21.5,45,", "2026-01-05 06:40,21.5,45,,"],
        ["h,other,t,ts", "45,x,21.5,2026-01-05 06:40"],
        ["Serial number 7", "", "Made by nobody, in no place", "ts,t,h", "2026-01-05 06:40,21.5,45"],
        ["ts,t,h", "", "2026-01-05 06:40,21.5,45", ",,", "", " "],
    ],
)  # fmt: skip
def test_a_layout_is_found(log, lines):
    path = log(lines)
    assert {quantity: set(found) for quantity, found in series(path).items()} == {
        T: {("2026-01-05T06:40:00+00:00", 21.5)},
        H: {("2026-01-05T06:40:00+00:00", 45.0)},
    }


@pytest.mark.parametrize(
    ("encoding", "found"), [("utf-8", "utf-8"), ("utf-8-sig", "utf-8-sig"), ("cp1252", "cp1252"), ("utf-16", "utf-16")]
)
def test_an_encoding_is_found(log, encoding, found):
    path = log("ts,t °C,h\r\n2026-01-05 06:40,21.5,45\r\n", encoding)
    columns = Columns(**(NAMED | {"temperature": "t °C"}))
    assert guess(path, columns).encoding == found
    assert check(path, guess(path, columns)).readings == {T: 1, H: 1}


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_any_line_end_will_do_and_the_last_may_be_missing(log, end):
    path = log(end.join(["ts,t,h", "2026-01-05 06:40,21.5,45", "2026-01-05 06:41,21.6,46"]))
    assert check(path, guess(path, Columns(**NAMED))).rows == 2


def test_columns_may_be_numbers_with_or_without_a_header(log):
    numbers = {"time": ("#1",), "temperature": "#3", "humidity": "#2"}
    want = {T: [("2026-01-05T06:40:00+00:00", 21.5)], H: [("2026-01-05T06:40:00+00:00", 45.0)]}
    with_header = log(["made,by,nobody", "ts,h,t", "time,%,degC", "2026-01-05 06:40,45,21.5"])
    assert series(with_header, **numbers) == want
    assert guess(with_header, Columns(**numbers)).header == 3
    without = log(["2026-01-05 06:40,45,21.5"])
    assert series(without, **numbers) == want
    assert guess(without, Columns(**numbers)).header is None


def test_a_number_counts_the_fields_of_a_row_also_where_a_row_number_has_no_name(log):
    path = log(["ts,t", "1,2026-01-05 06:40,21.5"])
    assert series(path, temperature="#3", humidity=None) == {T: [("2026-01-05T06:40:00+00:00", 21.5)]}


def test_a_date_and_a_time_of_day_may_stand_in_two_columns(log):
    path = log(["d,c,t", "4/04/2005,0:00:00,21.5", "13/04/2005,13:05:00,21.6"])
    assert series(path, time=("d", "c"), humidity=None) == {
        T: [("2005-04-04T00:00:00+00:00", 21.5), ("2005-04-13T13:05:00+00:00", 21.6)]
    }


def test_lines_above_the_header_are_left_out_when_they_are_counted(log):
    path = log(["ts,t,h", "old,old,old", "ts,t,h", "2026-01-05 06:40,21.5,45"])
    assert refusal(path).startswith("FILE, row 2, column ts: the form of the time 'old' is unknown")
    assert series(path, skip_rows=2)[T] == [("2026-01-05T06:40:00+00:00", 21.5)]


def test_a_cell_in_quotes_may_have_several_lines_and_the_row_is_still_named_by_its_line(log):
    path = log(["ts,t,h,note", '2026-01-05 06:40,21.5,45,"two', 'lines"', "2026-01-05 06:41,x,45,"])
    assert refusal(path).startswith("FILE, row 4, column t: 'x' is not a number.")


def test_what_was_found_is_told_in_words(log):
    path = log(["Logger 7", "ts;t;h", "2026-01-05 06:40;21,5;45"])
    found = guess(path, Columns(**NAMED, zone=NEW_YORK, dst="later", missing=("-200", "NA")))
    assert found.words() == [
        "encoding utf-8, delimiter semicolon, decimal mark ',', header in row 2; no readings: '-200', 'NA'",
        "times ISO 8601, without an offset in America/New_York, of two by a clock change the later",
        "first row (3): ts = '2026-01-05 06:40', t = '21,5' degC, h = '45' %",
    ]


def test_the_unit_is_the_one_that_was_said(log):
    found = guess(log(["ts,t,h", "2026-01-05 06:40,70,45"]), Columns(**NAMED, temperature_unit="degF"))
    assert (found.unit(T), found.unit(H)) == ("degF", "%")


def test_a_fraction_is_shown_as_one(log):
    found = guess(
        log(["ts,t,h", "2026-01-05 06:40,294,0.45"]), Columns(**NAMED, temperature_unit="K", humidity_unit="1")
    )
    assert found.words()[-1] == "first row (2): ts = '2026-01-05 06:40', t = '294' K, h = '0.45' fraction"


def test_the_median_and_the_highest_value_are_of_the_values_as_sent(log):
    path = log(["ts,t,h", "2026-01-05 06:40,70,", "2026-01-05 06:50,68,nan", "2026-01-05 07:00,90,"])
    found = check(path, guess(path, Columns(**NAMED, temperature_unit="degF")))
    assert (found.median, found.highest) == ({T: 70.0}, {T: 90.0})


# --- layouts that are not there


def test_a_column_that_is_not_there_is_answered_with_those_that_are(log):
    path = log(["ts,temp_c,rh_pct", "2026-01-05 06:40,21.5,45"])
    assert refusal(path, temperature="temp", humidity="rh_pct") == (
        "FILE, row 1: there is no column 'temp'. Did you mean 'temp_c'? There are 'ts', 'temp_c', 'rh_pct'; "
        'a number such as "#3" names a column too'
    )
    assert refusal(log(["a b c", "1 2 3"])) == (
        "FILE, row 1: there is no column 'ts'. There are 'a', 'b', 'c'; a number such as \"#3\" names a column too"
    )


@pytest.mark.parametrize(
    ("content", "columns", "message"),
    [
        (["ts,t,t", "2026-01-05 06:40,1,2"], {"humidity": None},
         "FILE, row 1: the column 't' stands there twice. Give its number, such as \"#3\", in place of the name"),
        (["ts,t", "2026-01-05 06:40,1"], {"humidity": "#3"},
         "FILE, row 1: there are 2 columns, no #3. There are 'ts', 't'; a number such as \"#3\" names a column too"),
        (["ts,t", "2026-01-05 06:40,1"], {"temperature": None, "humidity": None},
         "FILE: no column of values is named. Name --temperature, --humidity or both"),
        ("", {}, "FILE: the file is empty. Check that it was copied whole"),
        ("ts,t,h\n", {}, "FILE: there is no row below the header. Check that it was copied whole"),
        (["ts,t,h", "2026-01-05 06:40,,nan"], {},
         "FILE: there is no reading in the file. Check the columns, and what --missing names"),
        (["a,b", "c,d"], {"time": ("#1",), "temperature": "#2", "humidity": None},
         "FILE: no row has a time and a value in #1, #2. Check the numbers, or give --delimiter and --time-format"),
        (["ts,t,h", "2026-01-05 06:40,1,2"], {"delimiter": "ab"},
         "--delimiter: 'ab' can't set columns apart. Give one sign, or one of semicolon, tab, bar, comma, blanks"),
        (["ts,t,h", "2026-01-05 06:40,1,2"], {"encoding": "nonsense"},
         "FILE: there is no encoding 'nonsense'. Give the right --encoding, such as utf-8, cp1252 or utf-16"),
        (b"ts,t,h\n2026-01-05 06:40,1,\xff\n", {"encoding": "utf-8"},
         "FILE: the file is not utf-8 text. Give the right --encoding, such as utf-8, cp1252 or utf-16"),
        (["ts,t,h", '2026-01-05 06:40,"1"x,2'], {},
         "FILE, row 2: the row can't be split: ',' expected after '\"'. "
         "Check the quotation marks there, or give --delimiter"),
        (["ts,t,h", '2026-01-05 06:40,"1,2'], {},
         "FILE, row 2: the row can't be split: unexpected end of data. "
         "Check the quotation marks there, or give --delimiter"),
    ],
)  # fmt: skip
def test_a_file_that_can_t_be_laid_out_is_refused(log, content, columns, message):
    assert refusal(log(content), **columns) == message


def test_a_file_that_is_not_there_is_named(tmp_path):
    path = tmp_path / "nowhere.csv"
    assert refusal(path) == "FILE: the file can't be read: No such file or directory. Check the path and its rights"
    assert refusal(tmp_path).endswith("the file can't be read: Is a directory. Check the path and its rights")


def test_a_file_that_is_not_there_is_named_before_its_columns_are_complained_of(tmp_path):
    said = refusal(tmp_path / "nowhere.csv", temperature=None, humidity=None)
    assert said == "FILE: the file can't be read: No such file or directory. Check the path and its rights"


@pytest.mark.parametrize(
    "content",
    [b"ts,t,h\n2026-01-05 06:40,1,\x81\n", b"ts,t,h\n" + b"2026-01-05 06:40,1,2\n" * 60_000 + b"\xff\n"],
    ids=["at its beginning", "far down"],
)
def test_text_of_an_encoding_that_nobody_named_is_not_said_to_be_another(log, content):
    assert refusal(log(content)) == (
        "FILE: its encoding can't be guessed. If it is a logger's text file, say its encoding: --encoding NAME"
    )


def test_a_delimiter_may_be_given_by_its_name(log):
    path = log(["ts\tt\th", "2026-01-05 06:40\t21.5\t45"])
    assert guess(path, Columns(**NAMED, delimiter="tab")).delimiter == "\t"


# --- values


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_values_are_bit_for_bit_what_python_reads(tmp_path_factory, value):
    path = tmp_path_factory.mktemp("log") / "log.csv"
    path.write_text(f"ts,t\n2026-01-05 06:40,{value!r}\n", encoding="ascii")
    assert series(path, humidity=None)[T][0][1] == value


@pytest.mark.parametrize("text", ["0.1", "1e-3", "+5", "-.5", "5.", "22.700000000000003", "1E2", "-0"])
def test_each_way_of_writing_a_number_is_read_as_python_reads_it(log, text):
    path = log(["ts,t", f"2026-01-05 06:40,{text}"])
    assert series(path, humidity=None)[T][0][1] == float(text)


@pytest.mark.parametrize("blank", ["", " ", "nan", "NaN", "NAN"])
def test_a_blank_or_nan_cell_is_no_reading(log, blank):
    path = log(["ts,t,h", f"2026-01-05 06:40,{blank},45", "2026-01-05 06:41,21.5,46"])
    found = series(path)
    assert [value for _, value in found[T]] == [21.5]
    assert [value for _, value in found[H]] == [45.0, 46.0]


def test_a_row_that_is_cut_short_has_no_reading_there(log):
    path = log(["ts,t,h", "2026-01-05 06:40,21.5,45", "2026-01-05 06:41,21.6", "2026-01-05 06:42"])
    assert check(path, guess(path, Columns(**NAMED))).readings == {T: 2, H: 1}


def test_a_text_that_is_named_missing_is_no_reading_and_no_other_is(log):
    path = log(["ts,t,h", "2026-01-05 06:40,-200,NA", "2026-01-05 06:41,-200.0,45"])
    assert series(path, missing=("-200", "NA")) == {
        T: [("2026-01-05T06:41:00+00:00", -200.0)],
        H: [("2026-01-05T06:41:00+00:00", 45.0)],
    }


@pytest.mark.parametrize(
    "text", ["NA", "21.5 C", "1_0", "٢١", "inf", "-Infinity", "1e999", "0x10", "1.234.5", "--", "21'5"]
)
def test_a_cell_that_can_t_be_read_is_named_with_row_column_and_text(log, text):
    path = log(["ts,t,h", "2026-01-05 06:40,21.5,45", "", f"2026-01-05 06:41,{text},45"])
    assert refusal(path) == (
        f"FILE, row 4, column t: {text!r} is not a number. If it stands for no reading, give --missing {text!r}"
    )


def test_a_comma_in_a_file_of_points_and_a_point_in_a_file_of_commas_are_refused(log):
    path = log(["ts;t", "2026-01-05 06:40;21.5", "2026-01-05 06:41;21,5"])
    assert refusal(path, humidity=None) == (
        "FILE, row 3, column t: '21,5' is not a number. "
        'Give --decimal "," if that is the decimal mark of the whole file'
    )
    path = log(["ts;t", "2026-01-05 06:40;21,5", "2026-01-05 06:41;1.021,5"])
    assert refusal(path, humidity=None, decimal=",") == (
        "FILE, row 3, column t: '1.021,5' is not a number. If it stands for no reading, give --missing '1.021,5'"
    )


def test_the_uppermost_cell_that_can_t_be_read_is_named_whatever_its_column(log):
    path = log(["ts,t,h", "2026-01-05 06:40,1,x", "soon,y,45"])
    assert refusal(path).startswith("FILE, row 2, column h: 'x'")


def test_a_cell_of_several_lines_is_no_number(log):
    path = log('ts,t\n2026-01-05 06:40,"21.5\n22.5"\n')
    assert refusal(path, humidity=None).startswith("FILE, row 3, column t: '21.5\\n22.5' is not a number.")


def test_a_row_of_more_fields_than_the_header_is_refused(log):
    path = log(["ts,t,h", "2026-01-05 06:40,21.5,45", "2026-01-05 06:41,21,6,45,1"])
    assert refusal(path) == ("FILE, row 3: the row has 5 fields, not 3. Check it, or give --delimiter or --decimal")


def test_a_row_of_more_fields_is_named_below_one_of_fewer(log):
    path = log(["ts,t,h", "2026-01-05 06:40,21.5", "2026-01-05 06:41,21,6,45,1"])
    assert refusal(path) == ("FILE, row 3: the row has 5 fields, not 3. Check it, or give --delimiter or --decimal")


# --- times


@pytest.mark.parametrize(
    ("text", "at"),
    [
        ("2026-01-05 06:40", "2026-01-05T06:40:00+00:00"),
        ("2026-01-05 6:40:01", "2026-01-05T06:40:01+00:00"),
        ("2026-01-05T06:40:00.1239", "2026-01-05T06:40:00.123000+00:00"),
        ("2026-01-05T06:40:00,123456789", "2026-01-05T06:40:00.123000+00:00"),
        ("2026-01-05", "2026-01-05T00:00:00+00:00"),
        ("2026-01-05t06:40z", "2026-01-05T06:40:00+00:00"),
        ("2026-01-05 08:40:00 +02:00", "2026-01-05T06:40:00+00:00"),
        ("2026-01-05T01:10:00-0530", "2026-01-05T06:40:00+00:00"),
        ("2026/1/5 06:40:00", "2026-01-05T06:40:00+00:00"),
        ("2026.01.05 6:40", "2026-01-05T06:40:00+00:00"),
        ("2026-1-5", "2026-01-05T00:00:00+00:00"),
        ("13/01/2026 06:40", "2026-01-13T06:40:00+00:00"),
        ("01/13/2026 06:40:05 PM", "2026-01-13T18:40:05+00:00"),
        ("1/13/2026 12:40am", "2026-01-13T00:40:00+00:00"),
        ("13.1.2026 6:40:00.1239", "2026-01-13T06:40:00.123000+00:00"),
        ("13.01.2026 06:40:00,5", "2026-01-13T06:40:00.500000+00:00"),
        ("13-01-2026", "2026-01-13T00:00:00+00:00"),
    ],
)
def test_the_form_of_a_time_is_found(log, text, at):
    path = log(["ts;t", f"{text};21.5"])
    assert series(path, humidity=None) == {T: [(at, 21.5)]}


@pytest.mark.parametrize(
    ("form", "text"),
    [
        ("%d.%m.%y %H:%M", "05.01.26 06:40"),
        ("%m/%d/%Y %I:%M %p", "01/05/2026 06:40 AM"),
        ("%H:%M %d %b %Y", "06:40 5 Jan 2026"),
        ("%Y%m%d%H%M", "202601050640"),
        ("%d/%m/%Y %H:%M %z", "05/01/2026 08:40 +0200"),
    ],
)
def test_a_form_of_a_time_may_be_given(log, form, text):
    path = log(["ts;t", f"{text};21.5"])
    assert series(path, humidity=None, time_format=form) == {T: [("2026-01-05T06:40:00+00:00", 21.5)]}


def test_the_day_comes_first_where_any_row_proves_it_and_the_month_likewise(log):
    rows = [f"{n:02}/01/2026 06:40,21.5" for n in range(1, 14)]
    assert guess(log(["ts,t", *rows]), Columns(("ts",), "t")).time_format == "%d/%m/%Y %H:%M"
    rows = [f"01/{n:02}/2026 06:40,21.5" for n in range(1, 14)]
    assert guess(log(["ts,t", *rows]), Columns(("ts",), "t")).time_format == "%m/%d/%Y %H:%M"


def test_a_date_that_may_be_either_is_asked_for_and_never_guessed(log):
    path = log(["ts,t", "05/01/2026 06:40,21.5", "06/01/2026 06:40,21.5"])
    assert refusal(path, humidity=None) == (
        "FILE, row 2, column ts: '05/01/2026 06:40' may have the day first or the month first, and no row tells which. "
        'Give --time-format "%d/%m/%Y %H:%M" or "%m/%d/%Y %H:%M"'
    )


@pytest.mark.parametrize("text", ["05/01/26 06:40", "1767595200", "soon", "06:40", "2026-01-05 06:40 CET"])
def test_a_form_that_is_unknown_is_asked_for(log, text):
    path = log(["ts,t", f"{text},21.5"])
    assert refusal(path, humidity=None) == (
        f"FILE, row 2, column ts: the form of the time {text!r} is unknown. "
        'Give --time-format, such as "%d.%m.%y %H:%M"'
    )


@pytest.mark.parametrize(
    "text",
    ["2026-02-30 06:40", "2026-01-05 24:00", "05.01.2026 06:40", "", "now", "2026-01-05 06:40\n2026-01-05 06:41"],
)
def test_a_time_of_another_form_further_down_is_named_with_its_row(log, text):
    path = log(f'ts,t\n2026-01-05 06:39,21.5\n"{text}\t",21.6\n')
    assert refusal(path, humidity=None) == (
        f"FILE, row {3 + text.count(chr(10))}, column ts: {text.strip()!r} is not a time of the form ISO 8601. "
        'Give the right --time-format, such as "%d.%m.%Y %H:%M"'
    )


@pytest.mark.parametrize("text", ["31.02.2026 06:40", "5.1.2026", "", "now", "today", "NaT"])
def test_a_time_that_does_not_fit_its_format_is_named_with_its_row(log, text):
    path = log(["ts,t", "13.01.2026 06:40,21.5", f"{text},21.6"])
    assert refusal(path, humidity=None) == (
        f"FILE, row 3, column ts: {text!r} is not a time of the form %d.%m.%Y %H:%M. "
        'Give the right --time-format, such as "%d.%m.%Y %H:%M"'
    )


@pytest.mark.parametrize("form", ["%d.%q", "%d %", "%d.%d"])
def test_a_format_that_is_none_is_refused(log, form):
    path = log(["ts,t", "2026-01-05 06:40,21.5"])
    message = refusal(path, humidity=None, time_format=form)
    assert message.startswith(f"--time-format: {form!r} is no form of a time: ")
    assert message.endswith('. Use the signs of strptime, such as "%d.%m.%Y %H:%M"')


@pytest.mark.parametrize(
    "text", ["1999-12-31 23:59:59.999", "2100-01-01 00:00", "0001-01-01 00:00+14:00", "9999-12-31 23:59"]
)
def test_a_time_outside_2000_to_2099_is_an_unset_clock(log, text):
    path = log(["ts,t", "2000-01-01 00:00,21.5", "2099-12-31 23:59:59.999,21.5", f"{text},21.5"])
    assert refusal(path, humidity=None) == (
        f"FILE, row 4, column ts: {text!r} is outside the years 2000 to 2099. Check the logger's clock"
    )


def test_the_year_2000_begins_in_utc_not_in_the_zone_of_the_file(log):
    # midnight of 2000 in Helsinki, UTC+2 in winter, is 22:00 of 1999 in UTC
    path = log(["ts,t", "2000-01-01 02:00,21.5", "2000-01-01 01:59,21.5"])
    assert "row 3" in refusal(path, humidity=None, zone=ZoneInfo("Europe/Helsinki"))


def test_a_wall_time_that_happened_twice_is_named_with_the_choice(log):
    # 1 November 2026: New York goes from UTC-4 to UTC-5 at 02:00 (IANA tz database), so 01:30 is 05:30Z and 06:30Z
    path = log(["ts,t", "2026-11-01 00:59,21.5", "2026-11-01 01:30,21.5", "2026-11-01 02:00,21.5"])
    assert refusal(path, humidity=None, zone=NEW_YORK) == (
        "FILE, row 3, column ts: 2026-11-01 01:30:00 happened twice in America/New_York, "
        "where the clocks were changed. "
        'Give the time with its offset, such as "+01:00", or choose --dst earlier or --dst later'
    )
    for dst, hour in (("earlier", 5), ("later", 6)):
        found = series(path, humidity=None, zone=NEW_YORK, dst=dst)
        assert [at for at, _ in found[T]] == [
            "2026-11-01T04:59:00+00:00",
            f"2026-11-01T0{hour}:30:00+00:00",
            "2026-11-01T07:00:00+00:00",
        ]


def test_a_wall_time_that_never_happened_is_named_too(log):
    path = log(["ts,t", "2026-03-08 01:59,21.5", "2026-03-08 02:30,21.5"])
    assert refusal(path, humidity=None, zone=NEW_YORK).startswith(
        "FILE, row 3, column ts: 2026-03-08 02:30:00 does not exist in America/New_York"
    )


def test_times_with_their_offset_need_no_choice(log):
    path = log(["ts,t", "2026-11-01 01:30-04:00,21.5", "2026-11-01 01:30-05:00,21.5", "2026-11-01 12:00,21.5"])
    assert [at[11:16] for at, _ in series(path, humidity=None, zone=NEW_YORK)[T]] == ["05:30", "06:30", "17:00"]


# zones whose clocks change by half an hour, at a minute past midnight, by a whole day, or at midnight
ZONES = ["America/New_York", "Australia/Lord_Howe", "America/St_Johns", "Pacific/Apia", "America/Havana", "Asia/Tehran"]


@given(
    zone=st.sampled_from(ZONES).map(ZoneInfo),
    start=st.datetimes(datetime(2000, 1, 3), datetime(2037, 1, 1)),
    step=st.integers(1, 7_200),
    dst=st.sampled_from([None, "earlier", "later"]),
    changes=st.booleans(),
)
def test_a_column_of_wall_times_is_read_as_each_alone(zone, start, step, dst, changes):
    if changes:  # begin shortly before a change of the clocks
        start = _next_change(start, zone) - timedelta(hours=30)
    local = [start.replace(second=0, microsecond=0) + timedelta(seconds=step * 37 * n) for n in range(60)]
    texts = [f"{moment:%Y-%m-%d %H:%M:%S}" for moment in local]
    at, unread = utc_of(texts, ISO, zone, dst)
    alone, fault = [], None
    for moment in local:
        try:
            alone.append(in_zone(moment, zone, where="here", dst=dst))
        except TimeError as exc:
            fault = (len(alone), exc.faults[0].what, f"{exc.faults[0].mend}, or choose --dst earlier or --dst later")
            break
    assert unread == fault
    assert at.tolist()[: len(alone)] == alone


def _next_change(start, zone):
    """The first hour after `start` at which the offset of a zone is another, within two years."""
    hours = (start + timedelta(hours=n) for n in range(2 * 366 * 24))
    return next(
        (h for h in hours if h.replace(tzinfo=zone).utcoffset() != start.replace(tzinfo=zone).utcoffset()), start
    )


@given(
    moment=st.datetimes(datetime(2000, 1, 2), datetime(2099, 12, 30)),
    shape=st.sampled_from(
        ["%Y-%m-%d %H:%M:%S.%f", "%Y-%m-%dT%H:%M:%S", "%Y-%m-%d", "%Y-%m-%d %H:%M", "%Y-%m-%dT%H:%MZ"]
    ),
)
def test_a_column_of_iso_times_is_read_as_the_options_of_the_command_line_are(moment, shape):
    text = moment.strftime(shape)
    at, unread = utc_of([text], ISO, UTC_ZONE, None)
    assert unread is None
    assert at.tolist() == [parse_time(text, UTC_ZONE, where="here")]


# --- the whole file


def many(rows):
    start = datetime(2026, 1, 5, tzinfo=UTC)
    stamps = [start + timedelta(minutes=n) for n in range(rows)]
    return ["ts,t,h", *(f"{stamp:%Y-%m-%d %H:%M},{n % 50 / 2},{n % 7}" for n, stamp in enumerate(stamps))]


def test_chunks_say_how_far_they_are_and_leave_nothing_out(log):
    path = log(many(1_000))
    chunks = list(read(path, guess(path, Columns(**NAMED)), chunk_rows=300))
    assert [chunk.rows for chunk in chunks] == [300, 600, 900, 1_000]
    shares = [chunk.share for chunk in chunks]
    assert shares == sorted(shares)
    assert shares[-1] == 1.0
    t = np.concatenate([chunk.series[T][0] for chunk in chunks])
    value = np.concatenate([chunk.series[H][1] for chunk in chunks])
    begin = ms_of(datetime(2026, 1, 5, tzinfo=UTC))
    assert t.tolist() == [begin + n * MINUTE for n in range(1_000)]
    assert value.tolist() == [n % 7 for n in range(1_000)]
    assert (t.dtype, value.dtype) == (np.int64, np.float64)


def test_a_cell_that_can_t_be_read_far_down_is_named_by_its_line(log):
    lines = many(50_000)
    lines[43_210] = lines[43_210].replace(",", ",x", 1)
    path = log(lines)
    assert refusal(path).startswith("FILE, row 43211, column t: 'x")


def test_a_summary_counts_and_hashes_the_file(log):
    path = log(["ts,t,h", "2026-01-05 06:40,21.5,", "2026-01-05 08:00,21.5,45", "2026-01-05 06:41,,46", ",,"])
    shares = []
    summary = check(path, guess(path, Columns(**NAMED)), progress=shares.append)
    at = ms_of(datetime(2026, 1, 5, 6, 40, tzinfo=UTC))
    assert (summary.rows, summary.first, summary.last) == (3, at, at + 80 * MINUTE)
    assert summary.readings == {T: 2, H: 2}
    assert summary.intervals.tolist() == [MINUTE, 79 * MINUTE]
    assert summary.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert shares == [1.0]


def test_the_order_of_rows_and_doubled_times_make_no_interval(log):
    path = log(["ts,t", *(f"2026-01-05 06:{minute},21.5" for minute in (42, 40, 41, 41, 40))])
    assert check(path, guess(path, Columns(("ts",), "t"))).intervals.tolist() == [MINUTE, MINUTE]


def test_a_gap_is_an_interval_longer_than_the_hold_that_the_file_proposes(log):
    # Intervals: 98 of 1 min, one of 30 min and one of 31 min. The 95th of a hundred is 1 min, the hold 30 min.
    start = datetime(2026, 1, 5, tzinfo=UTC)
    minutes = [*range(99), 98 + 30, 98 + 30 + 31]
    path = log(["ts,t", *(f"{start + timedelta(minutes=n):%Y-%m-%d %H:%M},21.5" for n in minutes)])
    summary = check(path, guess(path, Columns(("ts",), "t")))
    assert summary.gaps == ((ms_of(start) + 128 * MINUTE, ms_of(start) + 159 * MINUTE),)


# --- hold


@pytest.mark.parametrize(
    ("intervals", "proposed"),
    [
        ([], 30 * MINUTE),
        ([MINUTE], 30 * MINUTE),
        ([10 * MINUTE], 30 * MINUTE),
        ([10 * MINUTE + 1], 31 * MINUTE),  # 30 min and 3 ms, to the next whole minute
        ([15 * MINUTE], 45 * MINUTE),
        ([HOUR], 3 * HOUR),
        ([2 * HOUR], 4 * HOUR),
        ([MINUTE] * 95 + [HOUR] * 5, 30 * MINUTE),
        ([MINUTE] * 94 + [HOUR] * 6, 3 * HOUR),
    ],
)
def test_a_hold_is_three_times_the_95th_percentile_from_30_min_to_4_h(intervals, proposed):
    assert propose_hold(np.array(intervals, dtype=np.int64)) == proposed
    assert propose_hold(intervals) == proposed
