"""A list of walls, as a spreadsheet saves it: read like files of their own, every fault with its line."""

from __future__ import annotations

from pathlib import Path

import pytest

from monitor.basis.errors import RecordError
from monitor.config.joblist import read_list, read_rows

NEEDED = ("name", "zone", "length", "height")
LENGTHS = 'Write it like "3/16 in", "16 ft 4 in" or "4.2 m"'


@pytest.fixture
def written(tmp_path):
    def write(text: str | bytes) -> Path:
        path = tmp_path / "walls.csv"
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return path

    return write


def faults(path: Path, **options: object) -> list[str]:
    with pytest.raises(RecordError) as refused:
        read_list(options, path, needed=NEEDED)
    return [line.removeprefix(f"{path}") for line in str(refused.value).splitlines()]


def test_each_row_is_read_like_a_file_of_its_own(written):
    text = (
        "name,zone,length,height,openings,indoors,building,up_since\n"
        'a,UTC,4 m,2.4 m,"door 0.9 m x 2 m; window 1 m x 1 m",yes,mill house,2026-05-12\n'
        "\n"
        "b,UTC,16 ft,8 ft,,no,,\n"
    )
    first, second = read_list({}, written(text), needed=NEEDED)
    assert [one.name for one in first.values["openings"]] == ["door", "window"]
    assert {key: first.values[key] for key in ("name", "indoors", "building", "up_since")} == {
        "name": "a", "indoors": True, "building": "mill house", "up_since": "2026-05-12",
    }  # fmt: skip
    assert (first.units, second.units) == ("si", "us")
    assert set(second.values) == {"name", "zone", "length", "height", "indoors"}  # an empty cell says nothing
    assert second.values["indoors"] is False


@pytest.mark.parametrize("sign", [",", ";", "\t"])
def test_cells_are_parted_by_what_parts_the_header(written, sign):
    path = written(f"name{sign}zone{sign}length{sign}height\na{sign}UTC{sign}4 m{sign}2 m\n")
    (found,) = read_list({}, path, needed=NEEDED)
    assert found.values["length"] == 4.0


def test_a_header_may_have_blanks_capitals_and_a_byte_order_mark(written):
    path = written(b"\xef\xbb\xbfName,Wall place,Length,Height\r\na,hall,4 m,2 m\r\n")
    (found,) = read_list({"zone": "UTC"}, path, needed=NEEDED)
    assert (found.values["name"], found.values["wall_place"], found.values["zone"]) == ("a", "hall", "UTC")


def test_an_option_holds_for_every_row_and_wins_over_its_column(written):
    path = written("name,zone,length,height\na,Mars,4 m,2 m\nb,,4 m,2 m\n")
    assert [one.values["zone"] for one in read_list({"zone": "UTC"}, path, needed=NEEDED)] == ["UTC", "UTC"]


def test_every_fault_of_every_row_is_a_line_with_its_number(written):
    path = written('name,zone,length,height\na,Mars,4 m,2 m\nb,UTC,"4",2 m\na,UTC,4 m,\n')
    assert faults(path) == [
        ', line 2: zone: there is no time zone \'Mars\'. Give an IANA name such as "UTC" or "America/New_York"',
        f", line 3: length: '4' is not a length. {LENGTHS}",
        ', line 4: height: no height is given. Write it like "8 ft" or "2.4 m", or give each corner of the wall',
        f", line 4: name: 'a' stands in {path}, line 2 already. Give each wall its own",
    ]


def test_a_fault_of_an_option_is_told_once_and_not_for_every_row(written):
    path = written("name,length,height\na,4 m,2 m\nb,4 m,2 m\n")
    assert faults(path, zone="Mars") == [
        '--zone: there is no time zone \'Mars\'. Give an IANA name such as "UTC" or "America/New_York"'
    ]


def test_a_column_that_is_not_known_or_there_twice_is_named_and_no_row_is_read(written):
    assert faults(written("name,hieght,name\na,4,b\n")) == [
        ": there is no column 'hieght'. Did you mean \"height\"?",
        ": the column 'name' is there twice. Keep one of the two",
    ]


def test_more_cells_than_the_header_has_are_told(written):
    path = written("name,zone\na,UTC,4 m\n")
    assert faults(path) == [", line 2: it has more cells than the header. Put a cell with a comma in quotes"]


def test_a_list_without_a_row_and_one_that_is_no_text_are_told(written):
    assert faults(written("name,zone\n")) == [": there is no row below the header. Write a row each"]
    assert faults(written(b"name\n\xff\n")) == [": byte 5 is not UTF-8. Save the file as UTF-8 text"]


def test_a_cell_that_is_too_large_to_be_one_is_told(written):
    with pytest.raises(RecordError) as refused:
        read_rows(written("name\n" + "a" * 200_000 + "\n"), ("name",))
    assert "line 2: it can't be read (field larger than field limit (131072)). Save it anew as CSV in UTF-8" in str(
        refused.value
    )
