"""wallclime takeoff: the walls that tests/rules/test_takeoff.py works by hand, by the command line, and a job's own."""

from __future__ import annotations

import pytest
from homes import Home

INCH, FOOT = 0.0254, 0.3048
FOUR_FEET = 'name = "four feet"\n[board]\nface_width = "6 in"\nlengths = [{}]\n'.format(", ".join(['"4 ft"'] * 6))
METRE = """name = "metre"
[wall]
edge_gap = "5 mm"
stagger_least = "20 cm"
stagger_usual = ["20 cm", "30 cm"]
[take_off]
kerf = "3 mm"
[board]
face_width = "20 cm"
lengths = ["1 m", "1 m", "1 m", "1 m", "1 m", "1 m"]
"""
LENGTHS = 'Write it like "3/16 in", "16 ft 4 in" or "4.2 m"'


def unwrapped(text: str) -> list[str]:
    """The lines as they were before they were wrapped."""
    return text.replace("\n    ", " ").splitlines()


def numbers(home: Home, *args: object) -> dict:
    return home.done("takeoff", *args, "--json").json()


# --- the hand-worked walls --------------------------------------------------------------------------------------------


def test_the_wall_in_feet_and_inches_by_hand(wallclime: Home):
    # 12 ft x 8 ft of 6 in x 4 ft planks: 96 x 1.1 / 12 = 8.8 boxes, 48 x 1.05 / 6 = 8.4; nine and one for repairs
    four_feet = wallclime.file("four.toml", FOUR_FEET)
    said = unwrapped(wallclime.done("takeoff", "--length", "12 ft", "--height", "8 ft", "--profile", four_feet).out)
    assert said[:16] == [
        "Take-off by the profile four feet. The figures are the profile's; "
        "the maker's own instructions and local code come first.",
        "",
        "Wall: 12 ft x 8 ft = 96.0 sq ft",
        "Net height: 8 ft - 2 x 3/16 in gap = 7 ft 11 5/8 in",
        "Rows: 7 ft 11 5/8 in / 6 in = 15 full and 5 5/8 in left: 16 rows, the last ripped to 5 5/8 in",
        "Stagger: joints of neighbouring rows are 8 in apart or more, none stands over one two rows before, "
        "end pieces are 8 in or more (8 in asked)",
        "Cut list: 58 pieces 191 ft 6 in + saw cuts 3 1/4 in + scrap 2 3/4 in = 48 x 4 ft planks = 192 ft",
        "Boxes by area: 96.0 sq ft + 10% extra, / 12.0 sq ft a box = 8.800",
        "Boxes by cut list: 48 planks / 6 a box + 5% for damage = 8.400",
        "Boxes: the larger, rounded up = 9; spare 12.0 sq ft, or 6 planks of the cut list; "
        "1 more kept for repairs: order 10",
        "Adhesive: 96.0 sq ft / 1 ft 4 in between beads = 72 ft of 1/4 in bead = 1 cartridge of 828 ml",
        "Fasteners: at both ends of each piece and at studs 1 ft 4 in apart = 207",
        "Trim: 40 ft + 10% extra, / 8 ft = 6 sticks",
        "",
        "Cut list, lowest row first:",
        "Row 1, 6 in wide, from 3/16 in: 4 ft + 4 ft + 3 ft 11 5/8 in (of a plank of 4 ft)",
    ]
    assert len(said) == 15 + 16


def test_the_metric_wall_by_hand(wallclime: Home):
    # 3.0 m x 2.4 m of 0.2 m x 1 m planks: 7.2 x 1.1 / 1.2 = 6.6 boxes, 36 x 1.05 / 6 = 6.3
    metre = wallclime.file("metre.toml", METRE)
    wall = ("--length", "3.0 m", "--height", "240 cm", "--profile", metre)
    found = numbers(wallclime, *wall)
    by_hand = [[1, 1, 0.99], [0.79, 1, 1, 0.2], [0.59, 1, 1, 0.4], [1, 1, 0.99]]
    rows = [[one["length_m"] for one in found["pieces"] if one["row"] == row] for row in range(1, 5)]
    assert rows == [pytest.approx(row) for row in by_hand]
    assert (found["planks"], found["boxes_needed"], found["boxes_to_order"]) == ([{"length_m": 1.0, "count": 36}], 7, 8)
    assert (found["boxes_by_area"], found["boxes_by_cut_list"]) == (pytest.approx(6.6), pytest.approx(6.3))
    assert (found["saw_cuts_m"], found["scrap_m"]) == (pytest.approx(0.06), pytest.approx(0.06))
    assert found["supplies"]["fasteners"] == 152
    assert "Wall: 3.000 m x 2.400 m = 7.20 m2" in unwrapped(wallclime.done("takeoff", *wall).out)


def test_the_wall_with_a_door_and_two_windows_by_hand(wallclime: Home):
    # 13 - 0.9 x 2.1 - 1.2 x 1.0 = 9.91 m2, x 1.1 / 1.2 = 9.084; the window of 0.36 m2 is not taken off
    lengths = METRE.replace('"1 m", "1 m", "1 m", "1 m", "1 m", "1 m"', ", ".join(['"1.2 m"'] * 5))
    found = numbers(
        wallclime,
        *("--length", "5 m", "--height", "2.6 m", "--profile", wallclime.file("longer.toml", lengths)),
        *("--opening", "door 900 mm x 2.1 m @ 1 m, 0", "--opening", "window 1.2 m x 1 m @ 3 m, 1 m"),
        *("--opening", "window 0.6 m x 0.6 m @ 2.2 m, 1.2 m"),
    )
    assert (found["gross_m2"], found["net_m2"]) == (pytest.approx(13.0), pytest.approx(9.91))
    rows = [sum(one["length_m"] for one in found["pieces"] if one["row"] == row) for row in range(1, 14)]
    assert rows == pytest.approx([*[4.08] * 5, 2.87, 2.26, 2.26, 2.26, 2.87, *[4.99] * 3])
    assert found["boxes_by_area"] == pytest.approx(9.91 * 1.1 / 1.2)
    assert found["boxes_to_order"] == 11
    assert [one["name"] for one in found["openings"]] == ["door", "window 1", "window 2"]


def test_the_wall_91_inches_high_by_hand(wallclime: Home):
    # the built-in planks of 7 1/2 in: 90 5/8 = 12 x 7 1/2 + 5/8; (7 1/2 + 5/8) / 2 = 4 1/16. 39 x 1.05 / 8 = 5.119
    found = numbers(wallclime, "--length", "12 ft", "--height", "91 in")
    widths = [width / INCH for width in found["row_widths_m"][0]]
    assert widths == pytest.approx([4.0625, *[7.5] * 11, 4.0625])
    assert (found["rows"], found["boxes_needed"], found["boxes_to_order"]) == ([13], 6, 7)
    assert found["boxes_by_cut_list"] == pytest.approx(39 * 1.05 / 8)
    assert found["profile"] == "laminate planks, interior wall"


# --- other walls ------------------------------------------------------------------------------------------------------


def test_a_wall_over_the_limits_is_split_where_it_is_proposed(wallclime: Home):
    wall = ("--length", "50 ft", "--height", "12 ft")
    found = numbers(wallclime, *wall)
    assert found["splits_along_m"] == pytest.approx([25 * FOOT])
    assert found["splits_up_m"] == pytest.approx([6 * FOOT])
    assert len(found["rows"]) == 4
    said = unwrapped(wallclime.done("takeoff", *wall).out)
    assert said[3:5] == [
        "Split: 50 ft long is more than 40 ft, so part it with a transition profile at 25 ft from the left end: "
        "2 runs, each laid for itself",
        "Split: 12 ft high is more than 10 ft, so part it with a transition profile at 6 ft from the floor: "
        "2 runs, each laid for itself",
    ]


def test_standing_planks_have_their_rows_along_the_wall(wallclime: Home):
    metre = wallclime.file("metre.toml", METRE)
    wall = ("--length", "3 m", "--height", "2.4 m", "--profile", metre, "--lay", "vertical")
    found = numbers(wallclime, *wall)
    assert found["rows"] == [15]  # 2.99 m / 0.2 m: 14 and 0.19 m
    assert sum(one["length_m"] for one in found["pieces"] if one["row"] == 1) == pytest.approx(2.39)
    said = unwrapped(wallclime.done("takeoff", *wall).out)
    assert "Net length: 3.000 m - 2 x 5.0 mm gap = 2.990 m" in said
    assert "Cut list, row at the left first, each from the floor up:" in said


def test_a_gable_is_given_by_its_corners(wallclime: Home):
    metre = wallclime.file("metre.toml", METRE)
    corners = [word for corner in ("0,0", "4 m,0", "4 m,2 m", "2 m,3 m", "0,2 m") for word in ("--corner", corner)]
    found = numbers(wallclime, *corners, "--profile", metre)
    assert (found["gross_m2"], found["length_m"], found["height_m"]) == (pytest.approx(10.0), 4.0, 3.0)
    rows = [sum(one["length_m"] for one in found["pieces"] if one["row"] == row) for row in range(1, 16)]
    assert rows == pytest.approx([*[3.99] * 10, 3.97, 3.17, 2.37, 1.57, 0.77])  # by hand: tests/rules/test_takeoff.py
    assert "Wall: outline of 5 corners = 10.00 m2" in wallclime.done("takeoff", *corners, "--profile", metre).out


def test_boxes_of_random_lengths_are_counted_by_the_length_that_runs_out_first(wallclime: Home):
    lengths = METRE.replace('"1 m", "1 m", "1 m", "1 m", "1 m", "1 m"', '"1.2 m", "90 cm", "60 cm"')
    found = numbers(wallclime, "--length", "4.2 m", "--height", "2.5 m", "--profile", wallclime.file("r.toml", lengths))
    most = max(one["count"] for one in found["planks"])
    assert [one["length_m"] for one in found["planks"]] == [1.2, 0.9, 0.6]
    assert found["boxes_by_cut_list"] == pytest.approx(most * 1.05)


def test_units_are_the_walls_or_as_they_are_asked_for(wallclime: Home):
    wall = ("--length", "3 m", "--height", "8 ft")
    assert "Wall: 3.000 m x 2.438 m" in wallclime.done("takeoff", *wall).out
    assert "Wall: 9 ft 10 1/8 in x 8 ft" in wallclime.done("takeoff", *wall, "--units", "us").out


def test_a_wall_where_the_stagger_can_not_be_kept_is_ordered_by_its_area(wallclime: Home):
    wide = METRE.replace('"20 cm"\nstagger_usual = ["20 cm", "30 cm"]', '"50 cm"\nstagger_usual = ["50 cm", "60 cm"]')
    result = wallclime.done(
        "takeoff", "--length", "1.1 m", "--height", "2.4 m", "--profile", wallclime.file("w.toml", wide)
    )
    assert "Boxes by cut list: there is none, the area alone decides" in result.out.splitlines()
    assert "Cut list, " not in result.out
    assert unwrapped(result.out)[5].startswith(
        "Stagger: no layout was found that keeps every joint 500.0 mm from all joints of the row before"
    )


def test_no_line_is_longer_than_80_and_names_can_not_dress_up_the_page(tmp_path):
    home = Home(tmp_path / "home", encoding="ascii")
    opening = "T\u00fcr\u202e 0.9 m x 2.1 m"
    result = home.done("takeoff", "--length", "5 m", "--height", "2.6 m", "--opening", opening)
    assert max(len(line) for line in result.out.splitlines()) <= 80
    assert "Opening T\\xfcr\\u202e: " in result.out


@pytest.mark.parametrize(
    ("args", "said"),
    [
        (
            (),
            '--length: no length is given. Write it like "16 ft" or "4.2 m", or give each corner of the wall\n'
            '--height: no height is given. Write it like "8 ft" or "2.4 m", or give each corner of the wall',
        ),
        (("--length", "4", "--height", "tall"), f"--length: '4' is not a length. {LENGTHS}\n"
            f"--height: 'tall' is not a length. {LENGTHS}"),
        (
            ("--length", "0 m", "--height", "2 m"),
            '--length: 0 m is not a wall\'s. Write it like "16 ft 4 in" or "4.2 m"',
        ),
        (
            ("--corner", "0,0", "--corner", "2 km,0", "--corner", "0,2 m"),
            f"--corner: '2 km' is not a length. {LENGTHS}",
        ),
        (
            ("--corner", "0,0", "--corner", "2000 m,0", "--corner", "0,2 m"),
            '--corner: 2000 m is not a wall\'s. Write it like "16 ft 4 in" or "4.2 m"',
        ),
        (
            ("--corner", "0,0", "--corner", "2 m,0"),
            "wall: it needs three corners or more. Give each as x, y in order",
        ),
        (
            ("--length", "4 m", "--height", "2 m", "--opening", "door 1 m x 3 m @ 0,0"),
            "opening door: it is not wholly inside the wall. "
            "Measure its lower left corner from the wall's left end and the floor",
        ),
        (
            ("--length", "4 m", "--height", "2 m", "--opening", "door 0 m x 1 m"),
            "opening door: the width is 0 m. Measure it again; it is more than 0",
        ),
        (("--length", "4 m", "--height", "5 mm"), "wall: nothing of it is left between the gaps. "
            "Check the measures and the gap"),
        (
            ("--length", "900 m", "--height", "9 m"),
            "wall: it would be 222 unbroken parts. Check the units of its measures, or take it off part by part",
        ),
        (("--length", "4 m", "--height", "2 m", "--lay", "up"), "--lay: 'up' is not known. "
            "Known here: horizontal, vertical"),
        (
            ("--length", "4 m", "--height", "2 m", "--enter"),
            "--enter: there is no job to write it into. Name the JOB, or leave it out",
        ),
        (
            ("--length", "4 m", "--height", "2 m", "--profile", "oak"),
            "oak: there is no such profile. Give the path of a .toml file or a built-in name. "
            "Known here: laminate-planks",
        ),
        (("attic",), "job attic: there is no job 'attic'. wallclime job list shows the jobs there are"),
    ],
)  # fmt: skip
def test_what_a_take_off_refuses(wallclime: Home, args, said):
    result = wallclime("takeoff", *args)
    assert (result.code, result.out, result.err) == (2, "", said + "\n")


# --- a job's ----------------------------------------------------------------------------------------------------------


def test_the_take_off_of_a_job_is_that_of_the_same_wall_alone(den: Home):
    alone = numbers(den, "--length", "16 ft", "--height", "8 ft")
    assert numbers(den, "den") == alone
    said = den.done("takeoff", "den")
    assert unwrapped(said.out)[2] == "Wall: 16 ft x 8 ft = 128.0 sq ft"
    assert said.out.splitlines()[-1] == "Delivered by the log: 0 of 9 boxes, 9 missing"
    assert said.err == ""
    assert den.kinds() == ["job", "profile", "take-off"]


def test_the_entry_of_the_opening_says_what_was_taken_off(den: Home):
    found = numbers(den, "den")
    entry = den.log()[2]
    assert (entry["kind"], entry["who"], entry["at"]) == ("take-off", "robin", "2026-01-12T12:00:00Z")
    assert entry["body"] == {key: found[key] for key in entry["body"]}
    assert entry["body"]["boxes_to_order"] == 9
    assert entry["body"]["profile_sha256"] == den.log()[1]["body"]["sha256"]


@pytest.mark.parametrize(
    ("counts", "said"),
    [
        ((5,), "Delivered by the log: 5 of 9 boxes, 4 missing"),
        ((5, 4), "Delivered by the log: 9 of 9 boxes"),
        ((12,), "Delivered by the log: 12 of 9 boxes"),
        ((5, None), None),
    ],
)
def test_deliveries_are_held_against_it(den: Home, counts, said):
    for number, count in enumerate(counts):
        boxes = () if count is None else ("--boxes", count)
        den.done("log", "deliver", "den", "--lot", f"B{number}", *boxes)
    lines = [line for line in den.done("takeoff", "den").out.splitlines() if line.startswith("Delivered")]
    assert lines == ([] if said is None else [said])


def test_another_take_off_is_shown_beside_the_log_and_stands_once_it_is_entered(den: Home):
    door = ("takeoff", "den", "--opening", "door 36 in x 80 in @ 2 ft, 0")
    shown = den.done(*door)
    assert shown.err == "the log says otherwise: order 9; to write this one into it add --enter\n"
    assert "Net area: 128.0 sq ft - 20.0 sq ft = 108.0 sq ft" in shown.out.splitlines()
    assert len(den.log()) == 3
    assert den.done(*door, "--enter").err == "entry 4: take-off\n"
    assert den.log()[-1]["body"]["openings"] == [
        {"name": "door", "width_m": 36 * INCH, "height_m": 80 * INCH, "x_m": 2 * FOOT, "y_m": 0.0}
    ]
    assert den.done("takeoff", "den").err == ""
    upright = numbers(den, "den", "--lay", "vertical")
    assert (upright["lay"], len(upright["openings"])) == ("vertical", 1)
    longer = numbers(den, "den", "--length", "20 ft")
    assert (longer["length_m"], longer["height_m"]) == (pytest.approx(20 * FOOT), pytest.approx(8 * FOOT))
    assert len(longer["openings"]) == 1


def test_the_same_take_off_is_entered_once(den: Home):
    again = den("takeoff", "den", "--enter")
    assert (again.code, again.out) == (2, "")
    assert again.err == "log of den: entry 3 says so already. See wallclime takeoff den\n"


def test_a_take_off_that_is_withdrawn_leaves_the_jobs_own_wall(den: Home):
    den.done("log", "correct", "den", "3", "--withdraw", "--reason", "measured anew")
    shown = den.done("takeoff", "den")
    assert shown.err == "the log holds none yet; to write this one into it add --enter\n"
    assert unwrapped(shown.out)[2] == "Wall: 16 ft x 8 ft = 128.0 sq ft"


def test_a_jobs_wall_is_taken_off_by_its_own_profile(den: Home):
    refused = den("takeoff", "den", "--profile", "laminate-planks")
    assert (refused.code, refused.err) == (
        2,
        "--profile: a job's wall is taken off by the job's own profile. "
        "Leave it out, or change the job's: wallclime job profile\n",
    )
    den.done("job", "profile", "den", den.file("four.toml", FOUR_FEET), "--reason", "other planks")
    shown = den.done("takeoff", "den")
    # 16 ft of four 4 ft planks: 128 x 1.1 / 12 = 11.73, 64 x 1.05 / 6 = 11.2 at the least; and one for repairs
    assert unwrapped(shown.out)[0].startswith("Take-off by the profile four feet. ")
    assert shown.err == "the log says otherwise: order 9; to write this one into it add --enter\n"
    assert numbers(den, "den")["boxes_to_order"] >= 13


def test_a_wall_too_large_for_one_run_is_ready_in_its_size_once_it_is_to_be_split(wallclime: Home):
    opened = wallclime.done("job", "open", "long", "--zone", "UTC", "--length", "50 ft", "--height", "8 ft")
    assert opened.err.splitlines()[1:3] == [
        "take-off: 400.0 sq ft net, 26 rows; order 23 boxes, 1 of them kept for repairs",
        "too large for one unbroken run: split it with a transition profile at 25 ft from the left end, and say so: "
        "wallclime takeoff long --split --enter",
    ]
    assert size(wallclime) == (
        "fail",
        "too long for one unbroken run; split it with a transition profile at 25 ft from the left end",
    )
    wallclime.done("takeoff", "long", "--split", "--enter")
    assert size(wallclime) == (
        "pass",
        "split with a transition profile at 25 ft from the left end, each part inside the limits",
    )
    wallclime.clock.move(1)
    wallclime.done("takeoff", "long", "--no-split", "--enter")
    assert size(wallclime)[0] == "fail"


def size(home: Home) -> tuple[str, str]:
    (found,) = [one for one in home.assess(job="long")["readiness"] if one["condition"] == "wall size"]
    return found["verdict"], found["evidence"]
