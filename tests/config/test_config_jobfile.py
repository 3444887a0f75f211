"""What a job is opened with: a file and options, checked alike, every fault of both at once."""

import tomllib
from pathlib import Path

import pytest

from monitor.basis.errors import RecordError
from monitor.config.jobfile import KEYS, OpeningTold, example_text, option, read_told

FOOT, INCH = 0.3048, 0.0254
LENGTHS = 'Write it like "3/16 in", "16 ft 4 in" or "4.2 m"'
CORNER = 'Write how far along the wall and how high, like "12 ft, 8 ft" or "3.6 m, 2.4 m"'
OPENING = 'Write it like "door 36 in x 80 in", or with its lower left corner, "window 3 ft x 4 ft @ 5 ft, 3 ft"'
DATE = 'Write it like "2026-01-05", or "no" while it is not so'


def faults(options, path=None, **more):
    with pytest.raises(RecordError) as refused:
        read_told(options, path, **more)
    return str(refused.value).splitlines()


def written(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "den.toml"
    path.write_text(text, encoding="utf-8")
    return path


# --- openings and corners ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("door 36 in x 80 in", OpeningTold("door", 36 * INCH, 80 * INCH, None)),
        ("door 36 in x 80 in @ 2 ft, 0", OpeningTold("door", 36 * INCH, 80 * INCH, (2 * FOOT, 0.0))),
        ("window 1.2 m × 0.9 m @ 1 m, 1.1 m", OpeningTold("window", 1.2, 0.9, (1.0, 1.1))),
        ("window 2: 1.2 m x .9 m", OpeningTold("window 2", 1.2, 0.9, None)),
        ("box window 3 ft 2 in x 4 ft@9 ft,3 ft", OpeningTold("box window", 38 * INCH, 4 * FOOT, (9 * FOOT, 3 * FOOT))),
        ("1 m x 2 m", OpeningTold("opening", 1.0, 2.0, None)),
    ],
)
def test_an_opening_is_a_name_a_width_a_height_and_a_place_if_it_was_measured(text, told):
    (found,) = read_told({"openings": [text]}).values["openings"]
    assert found.name == told.name
    assert (found.width, found.height) == pytest.approx((told.width, told.height))
    assert found.corner == (None if told.corner is None else pytest.approx(told.corner))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("door", f"'door' is not an opening. {OPENING}"),
        ("door 36 in", f"'door 36 in' is not an opening. {OPENING}"),
        ("door 1 m x 2 m x 3 m", f"'1 m x 2 m' is not a length. {LENGTHS}"),
        ("door 36 x 80", f"'36' is not a length. {LENGTHS}"),
        ("window 2 36 in x 80 in", f"'2 36 in' is not a length. {LENGTHS}"),
        ("door 1 m x 2 m @ 3 m", f"' 3 m' is not a corner. {CORNER}"),
        ("door 1 m x 2 m @ 3 m, up", f"' up' is not a length. {LENGTHS}"),
    ],
)
def test_an_opening_that_cant_be_read_is_named(text, said):
    assert faults({"openings": [text]}) == [f"--opening: {said}"]


def test_a_corner_is_how_far_along_and_how_high():
    corners = ["0,0", "12 ft, 0", "12 ft,8 ft 6 in", "0 , 8 ft"]
    found = read_told({"corners": corners}).values["corners"]
    assert found == tuple(
        pytest.approx(corner) for corner in ((0, 0), (12 * FOOT, 0), (12 * FOOT, 8.5 * FOOT), (0, 8 * FOOT))
    )


def test_a_corner_that_cant_be_read_is_named():
    assert faults({"corners": ["12 ft"]}) == [f"--corner: '12 ft' is not a corner. {CORNER}"]
    assert faults({"corners": ["0, 0", "12, 0"]}) == [f"--corner: '12' is not a length. {LENGTHS}"]


# --- units ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("options", "units"),
    [
        ({"length": "16 ft", "height": "2.4 m"}, "us"),
        ({"length": "192 in", "height": "2.4 m"}, "us"),
        ({"length": "16'", "height": "2.4 m"}, "us"),
        ({"length": '192"', "height": "2.4 m"}, "us"),
        ({"length": "4.2 m", "height": "8 ft"}, "si"),
        ({"length": "420 cm", "height": "8 ft"}, "si"),
        ({"length": "4200 mm", "height": "8 ft"}, "si"),
        ({"corners": ["0, 0", "12 ft, 0", "0, 8 ft"]}, "us"),
        ({"corners": ["0, 0", "4 m, 0", "0, 2 m"]}, "si"),
        ({"length": "16 ft", "height": "8 ft", "units": "si"}, "si"),
        ({"height": "8 ft"}, "us"),
        ({"lay": "vertical"}, None),
    ],
)
def test_units_are_as_the_wall_is_measured_unless_they_are_said(options, units):
    assert read_told(options).units == units


# --- the file ---------------------------------------------------------------------------------------------------------


def test_the_example_has_every_key_and_no_fault(tmp_path):
    text = example_text()
    every = "\n".join(
        line.removeprefix("# ") if line.startswith("# ") and line[2:].partition(" = ")[0] in KEYS else line
        for line in text.splitlines()
        if not line.startswith("# corners")
    )
    assert set(tomllib.loads(every)) == set(KEYS) - {"corners"}
    assert "# corners = " in text
    told = read_told({}, written(tmp_path, every), needed=("name", "zone", "length", "height"))
    assert set(told.values) == set(KEYS) - {"corners"}
    assert told.near == tmp_path


def test_the_corners_of_the_example_are_a_wall(tmp_path):
    lines = example_text().splitlines()
    corners = next(line.removeprefix("# ") for line in lines if line.startswith("# corners = "))
    assert len(read_told({}, written(tmp_path, corners)).values["corners"]) == 5


def test_an_option_wins_over_its_key(tmp_path):
    path = written(tmp_path, 'name = "den"\nlength = "16 ft"\nheight = "8 ft"\nindoors = true\n')
    told = read_told({"name": "attic", "length": "4.2 m", "indoors": False, "kind": None}, path)
    assert told.values == {"name": "attic", "length": 4.2, "height": 8 * FOOT, "indoors": False}
    assert told.units == "si"


def test_an_option_wins_over_a_key_that_is_at_fault(tmp_path):
    assert read_told({"length": "4.2 m"}, written(tmp_path, "length = 16\n")).values == {"length": 4.2}


def test_corners_in_an_option_are_the_wall_instead_of_the_files_and_the_other_way_about(tmp_path):
    sides = written(tmp_path, 'length = "16 ft"\nheight = "8 ft"\n')
    assert set(read_told({"corners": ("0, 0", "4 m, 0", "0, 2 m")}, sides).values) == {"corners"}
    corners = written(tmp_path, 'corners = ["0, 0", "4 m, 0", "0, 2 m"]\n')
    assert set(read_told({"length": "4 m", "height": "2 m"}, corners).values) == {"length", "height"}


def test_a_profile_of_the_file_is_looked_for_beside_it_and_one_of_an_option_is_not(tmp_path):
    path = written(tmp_path, 'profile = "oak.toml"\n')
    assert read_told({}, path).near == tmp_path
    assert read_told({"profile": "oak.toml"}, path).near is None


@pytest.mark.parametrize(
    ("written_as", "date"),
    [("2026-01-02", "2026-01-02"), ('"2026-01-02"', "2026-01-02"), ('"no"', False), ("false", False)],
)
def test_a_date_is_written_as_one_or_as_a_text_or_as_no(tmp_path, written_as, date):
    assert read_told({}, written(tmp_path, f"climate_since = {written_as}\n")).values == {"climate_since": date}


def test_every_fault_of_options_and_file_is_a_line(tmp_path):
    path = written(
        tmp_path,
        'zone = "Midland/Town"\nlength = 16\nheigth = "8 ft"\nopenings = "door"\nlay = "up"\nsplit = "yes"\n'
        'kind = "brick"\nsurface = 1\nclimate_since = 2026-01-02T08:00:00\nclosed_in_since = "soon"\n'
        "wet_trades_done = true\nboxes_place = 3\n[wall]\nmax_length = 3\n",
    )
    zone = 'there is no time zone \'Midland/Town\'. Give an IANA name such as "UTC" or "America/New_York"'
    assert faults({"units": "yards"}, path, needed=("name", "zone", "length", "height")) == [
        "--units: 'yards' is not known. Known here: us, si",
        f"{path}: zone: {zone}",
        f"{path}: length: 16 is not a text. Write it in quotes",
        f'{path}: heigth: there is no such key. Did you mean "height"?',
        f"{path}: openings: 'door' is not a list. Write one value or more in brackets",
        f"{path}: lay: 'up' is not known. Known here: horizontal, vertical",
        f"{path}: split: 'yes' is neither true nor false. Write true or false, without quotes",
        f"{path}: kind: 'brick' is not known. Known here: partition, outside, below-grade, masonry",
        f"{path}: surface: 1 is not known. Known here: wall, ceiling, counter, splash-back",
        f"{path}: climate_since: '2026-01-02 08:00:00' is not a date. {DATE}",
        f"{path}: closed_in_since: 'soon' is not a date. {DATE}",
        f"{path}: wet_trades_done: 'True' is not a date. {DATE}",
        f"{path}: boxes_place: 3 is not a text. Write it in quotes",
        f"{path}: wall.max_length: there is no such key. Known here: {', '.join(KEYS)}",
        "NAME: no name is given. Write it after the command, or as a key of the file",
        '--height: no height is given. Write it like "8 ft" or "2.4 m", or give each corner of the wall',
    ]


def test_what_is_needed_and_nobody_gives_is_a_line_each():
    assert faults({}, needed=("name", "zone", "length", "height")) == [
        "NAME: no name is given. Write it after the command, or as a key of the file",
        '--zone: no zone is given. Give one, such as "America/New_York"',
        '--length: no length is given. Write it like "16 ft" or "4.2 m", or give each corner of the wall',
        '--height: no height is given. Write it like "8 ft" or "2.4 m", or give each corner of the wall',
    ]
    assert set(read_told({"corners": ["0,0", "1 m,0", "0,1 m"]}, needed=("length", "height")).values) == {"corners"}


def test_a_wall_that_is_given_twice_is_refused(tmp_path):
    said = ["--corner: the wall is given twice. Give its corners, or its length and height"]
    assert faults({"corners": ["0,0", "1 m,0", "0,1 m"], "length": "1 m"}) == said
    path = written(tmp_path, 'corners = ["0,0", "1 m,0", "0,1 m"]\nheight = "1 m"\n')
    assert faults({}, path) == said


def test_a_file_that_is_no_toml_or_not_there_is_named(tmp_path):
    path = written(tmp_path, "length = 16 ft\n")
    (said,) = faults({}, path)
    assert said.startswith(f"{path}: this is not TOML: ")
    missing = tmp_path / "none.toml"
    assert faults({}, missing) == [
        f"{missing}: the file can't be read: No such file or directory. Check the path and its rights"
    ]


def test_a_key_names_its_option():
    assert [option(key) for key in ("name", "corners", "openings", "wet_trades_done", "lay")] == [
        "NAME",
        "--corner",
        "--opening",
        "--wet-trades-done",
        "--lay",
    ]
