"""wallclime log check, moisture, and cautions."""

from __future__ import annotations

import pytest
from homes import Home

from cli.log_site import check
from monitor.basis.units import FOOT, INCH
from monitor.rules.install.flatness import DIRECTIONS

BASIC = ("--surface", "drywall", "--finish", "painted", "--secure", "--clean", "--dry", "--no-stains")
AROUND = ("--windows", "tight", "--no-heat-source", "--one-home", "--no-stairs", "--no-corridor", "--old-paint", "no")
PLUMB = ("--plumb", "1/8 in over 8 ft at 4 ft")
LEVEL = ("--level", "0,0", "--level", "8 ft,1/16 in", "--level", "16 ft,0")
EXTENTS = {"along": 16.0, "across": 8.0, "rising diagonal": 17.85, "falling diagonal": 17.85}  # hypot(16, 8) = 17.89
LENGTHS = 'Write it like "3/16 in", "16 ft 4 in" or "4.2 m"'
MIND = (
    "mind: Switch the power off and prove each outlet and switch dead before you open\n"
    "      it.\n"
    "mind: Stand the ladder on firm level ground, and climb down rather than reach.\n"
    "mind: Local code and the makers' instructions come first; leave gas, mains\n"
    "      wiring and water pipes to licensed trades.\n"
    "in full: wallclime cautions check\n"
)


def wall(bump: float = 0.0) -> str:
    """A file of points a foot apart over the whole den, a triangular hump of `bump` inches 4 ft wide along it."""
    rows = ["direction,line,position [ft],deviation [in]"]
    for direction in DIRECTIONS:
        for k in range(int(EXTENTS[direction]) + 1):
            deviation = bump * max(0.0, 1 - abs(k - 8) / 4) if direction == "along" else 0.0
            rows.append(f"{direction},,{k},{deviation}")
    return "\n".join(rows) + "\n"


def readiness(home: Home, name: str) -> tuple[str, str]:
    """Verdict and evidence of a condition."""
    (found,) = [one for one in home.assess()["readiness"] if one["condition"] == name]
    return found["verdict"], found["evidence"]


def body(home: Home) -> dict:
    return home.log()[-1]["body"]


# --- check ------------------------------------------------------------------------------------------------------------


def test_a_wall_that_was_wholly_looked_at_and_measured_passes(den: Home):
    said = den.done("log", "check", "den", *BASIC, *AROUND, *PLUMB, *LEVEL, "--points", den.file("wall.csv", wall()))
    number = den.log()[-1]["number"]
    assert (said.out, said.err) == (
        "",
        f"entry {number}: site check\n"
        "pass     surface: drywall\n"
        "pass     finish: painted\n"
        "pass     secure: secure\n"
        "pass     clean: clean\n"
        "pass     dry: dry\n"
        "pass     stains: no stains\n"
        "pass     windows: tight windows\n"
        "pass     heat sources: no heat source near\n"
        "pass     flame-spread class: no stairs, no corridor, one home\n"
        "pass     old paint: no old paint or texture\n"
        "pass     flatness: 4 lines, hump 0 in at most, hollow 0 in at most\n"
        "pass     plumb: at 4 ft it leans 1/8 in towards the room (at most 1/4 in over 8 ft)\n"
        "pass     first row level: the first row rises 1/16 in from 0 in to 8 ft (at most 1/8 in over the run)\n"
        "pass     the site check as a whole\n" + MIND,
    )
    assert readiness(den, "site check")[0] == "pass"


def test_a_hump_says_where_it_is_how_much_and_where_to_sand(den: Home):
    # a triangle of 1/4 in at 8 ft, 4 ft to either side: the points from 7 to 9 ft stand 3/16 in off the flat wall on
    # both sides, at most 10 ft apart, only the one at 8 ft more; a rise of 1/16 in a foot is no step beyond the limit
    said = den.done("log", "check", "den", "--points", den.file("wall.csv", wall(0.25)))
    (line,) = [line for line in said.err.splitlines() if "flatness" in line]
    assert line == (
        "fail     flatness: along: hump of 1/4 in at 8 ft, between 2 ft and 12 ft: more than 3/16 in over 10 ft; "
        "along: sand at 8 ft, 1/16 in beyond the limit"
    )
    assert readiness(den, "site check") == (
        "fail",
        line.removeprefix("fail     flatness: ").replace("along: hump", "flatness, along: hump", 1)
        + "; not said: surface, finish, secure, clean, dry, stains, windows, heat sources, a house of several homes, "
        "old paint, plumb, first row level",
    )


def test_a_check_cautions_of_what_the_wall_calls_for(den: Home):
    bumpy = den.file("wall.csv", wall(0.25))
    said = den.done("log", "check", "den", "--stairs", "--old-paint", "unknown", "--points", bumpy).err
    minded = [line.removeprefix("mind: ") for line in said.splitlines() if line.startswith("mind: ")]
    assert [line.split()[0] for line in minded] == ["Have", "Cut", "Switch", "Planks", "Stand", "By", "Local"]
    said = den.done("log", "check", "den", "--no-stairs", "--old-paint", "tested", "--no-heat-source").err
    minded = [line.removeprefix("mind: ") for line in said.splitlines() if line.startswith("mind: ")]
    assert [line.split()[0] for line in minded] == ["Cut", "Switch", "Stand", "Local"]  # the wall is as bumpy still


def test_a_later_check_adds_to_an_earlier_one(den: Home):
    den.done("log", "check", "den", *BASIC, *PLUMB, *LEVEL, "--points", den.file("wall.csv", wall()), "--dirty")
    assert readiness(den, "site check")[0] == "fail"
    den.done("log", "check", "den", *AROUND, "--clean", "--by", "kim")
    assert readiness(den, "site check")[0] == "pass"


def test_what_is_kept_is_in_si_with_plain_keys(den: Home):
    den.done(
        "log", "check", "den", "--finish", "bare", "--heat-source", "wood stove 36 in", "--heat-source", "flue 0.9 m",
        "--heat-as-code", "--stairs", "--flame-spread", "B", "--point", "along/low:1 ft,-1/8 in",
        "--point", "Along/low: 2 , 0.125", "--point", "falling diagonal:0,0", "--position-unit", "ft",
        "--deviation-unit", "in", "--straightedge", "6 ft", "--uncertainty", "1/32 in",
        "--plumb", "-3 mm over 2.4 m", "--level", "4 ft,1/16 in", "--note", "by the door", "--at", "2026-01-12T06:00",
    )  # fmt: skip
    told = den.log()[-1]
    assert (told["kind"], told["at"]) == ("site check", "2026-01-12T11:00:00Z")
    kept = told["body"]
    flatness = kept.pop("flatness")
    assert kept == {
        "finish": "bare",
        "heat_sources": [
            {"what": "wood stove", "distance_m": pytest.approx(36 * INCH)},
            {"what": "flue", "distance_m": 0.9},
        ],
        "heat_as_code": True,
        "stairs": True,
        "flame_spread": "B",
        "plumb": [{"offset_m": pytest.approx(-0.003), "over_m": 2.4}],
        "level": [[pytest.approx(4 * FOOT), pytest.approx(INCH / 16)]],
        "uncertainty_m": pytest.approx(INCH / 32),
        "note": "by the door",
    }
    assert [(line["direction"], line.get("name"), line["straightedge_m"]) for line in flatness] == [
        ("along", "low", pytest.approx(6 * FOOT)),
        ("falling diagonal", None, pytest.approx(6 * FOOT)),
    ]
    assert flatness[0]["points"] == [
        [pytest.approx(FOOT), pytest.approx(-INCH / 8)],
        [pytest.approx(2 * FOOT), pytest.approx(INCH / 8)],
    ]


def test_the_first_row_may_stand_in_a_file(den: Home):
    path = den.file("row.CSV", "position [ft],height [mm]\n0,0\n15.5,2\n")
    den.done("log", "check", "den", "--level", path)
    assert body(den)["level"] == [[0.0, 0.0], [pytest.approx(15.5 * FOOT), pytest.approx(0.002)]]


UNIT = 'has no unit. Write it like "1/8 in" or "3 mm", or name the unit'
FAULTS = [
    (
        ("--surface", "brick"),
        "site check: surface: 'brick' is not known. Known here: drywall, plaster, wood, masonry, other",
    ),
    (("--windows", "tigt"), "site check: windows: 'tigt' is not known. Did you mean \"tight\"?"),
    ((), "site check: nothing is answered. Answer a question, or more: --help lists them"),
    (
        ("--heat-source", "stove"),
        "--heat-source: 'stove' does not say what and how near. Write it like \"stove 36 in\"",
    ),
    (("--heat-source", "stove 3 yd"), f"--heat-source: '3 yd' is not a length. {LENGTHS}"),
    (
        ("--heat-source", "stove 3 ft", "--no-heat-source"),
        "--no-heat-source: a heat source is named as well. Leave one of the two out",
    ),
    (
        ("--point", "4 ft,0"),
        "--point: '4 ft,0' names no direction. Begin with along, across, rising diagonal, falling diagonal",
    ),
    (("--point", "along:4 ft"), "--point: '4 ft' is not a pair. Write position and measure like \"4 ft,1/16 in\""),
    (("--point", "along:4,0"), f"--point: '4' {UNIT}"),
    (
        ("--point", "along:1 ft,0", "--point", "along:1 ft,1 in"),
        "flatness, along: the position 0.3048 m is given twice. Leave one of the two out",
    ),
    (
        ("--point", "across:9 ft,0"),
        "flatness, across: the position 2.7432 m is outside the line's 2.4384 m. "
        "Measure from the line's start, and check the unit",
    ),
    (
        ("--plumb", "1/8 in"),
        '--plumb: \'1/8 in\' is no plumb line. Write it like "1/8 in over 8 ft" or with "at 4 ft"',
    ),
    (("--level", "low"), "--level: 'low' is not a pair. Write position and measure like \"4 ft,1/16 in\""),
    (("--clean", "--uncertainty", "little"), f"--uncertainty: 'little' is not a length. {LENGTHS}"),
    (
        ("--clean", "--at", "2026-01-13"),
        "site check: 2026-01-13T05:00:00Z is in the future. The log holds what has happened; check the date",
    ),
]


@pytest.mark.parametrize(("said", "message"), FAULTS)
def test_a_check_that_cant_be_is_refused(den: Home, said, message):
    refused = den("log", "check", "den", *said)
    assert (refused.code, refused.out, refused.err) == (2, "", message + "\n")


def test_every_bad_cell_of_a_file_is_listed(den: Home):
    path = den.file("wall.csv", "direction,position,deviation\nalong,1 ft,2\nup,1 yd,1 mm\n")
    refused = den("log", "check", "den", "--points", path)
    assert (refused.code, refused.err.splitlines()) == (
        2,
        [
            f"{path}, row 2, deviation: '2' {UNIT}",
            f"{path}, row 3, direction: 'up' is no direction. Use {', '.join(DIRECTIONS)}",
            f"{path}, row 3, position: '1 yd' is not a length. {LENGTHS}",
        ],
    )


def test_a_check_is_set_right_or_withdrawn_like_any_entry_and_nonsense_is_refused(den: Home):
    den.done("log", "check", "den", "--finish", "wallpaper")
    number = den.log()[-1]["number"]
    refused = den("log", "correct", "den", number, "--set", "finish=silk", "--reason", "x")
    assert (refused.code, refused.err) == (
        2,
        "site check: finish: 'silk' is not known. Known here: bare, primed, painted, wallpaper, panelling\n",
    )
    den.done("log", "correct", "den", number, "--set", "finish=painted", "--reason", "looked again")
    assert readiness(den, "site check")[1].startswith("not said: surface, secure")
    den.done("log", "correct", "den", number, "--withdraw", "--reason", "another wall")
    assert readiness(den, "site check") == ("unknown", "no site check is recorded")


def test_the_choices_that_help_shows_are_those_that_are_taken(den: Home):
    from monitor.rules.install.site import SAID

    shown = den.done("log", "check", "--help").out
    for key in ("surface", "finish", "windows", "old_paint"):
        (line,) = [line for line in shown.splitlines() if line.strip().startswith(f"--{key.replace('_', '-')} ")]
        assert set(line.split()[1].split("|")) == set(SAID[key])
    assert check.__doc__.splitlines()[0] in " ".join(shown.split())


# --- moisture ---------------------------------------------------------------------------------------------------------

METER = ("--meter", "pin meter", "--scale", "gypsum", "--material", "drywall")


def test_moisture_is_judged_by_its_difference(den: Home):
    said = den.done(
        "log", "moisture", "den", *METER, "--dry-reference", "0.3 %", "--point", "low left=0,4", "--point", "a=b=1.5"
    )
    sentence = "drywall: more than 1 point of the meter's scale above the dry reference of 0.3: a=b by 1.2"
    assert (said.out, said.err) == (
        "",
        f"entry {den.log()[-1]['number']}: wall moisture\nfail     wall moisture: {sentence}\n",
    )
    assert readiness(den, "wall moisture") == ("fail", sentence)
    assert body(den) == {
        "meter": "pin meter",
        "scale": "gypsum",
        "material": "drywall",
        "dry_reference": 0.3,
        "points": [{"where": "low left", "value": 0.4}, {"where": "a=b", "value": 1.5}],
    }


def test_a_bare_percentage_is_not_judged(den: Home):
    den.done("log", "moisture", "den", *METER, "--point", "low left=0.1")
    assert readiness(den, "wall moisture") == (
        "unknown",
        "drywall: no dry reference is recorded; a bare reading is not judged, as no published limit exists",
    )


@pytest.mark.parametrize(
    ("said", "message"),
    [
        (("--point", "low left"), "--point: 'low left' does not say where. Write it like \"low left=0.4\""),
        (("--point", "low=wet"), "--point: 'wet' is no reading of a meter. Write a number, as the meter shows it"),
        (
            ("--point", "low=1", "--dry-reference", "-1"),
            "--dry-reference: '-1' is no reading of a meter. Write a number, as the meter shows it",
        ),
        (("--point", "=1"), "wall moisture: points 1: where: '' is not a line of text. Write one line in quotes"),
    ],
)
def test_a_moisture_that_cant_be_is_refused(den: Home, said, message):
    refused = den("log", "moisture", "den", *METER, *said)
    assert (refused.code, refused.out, refused.err) == (2, "", message + "\n")


# --- cautions ---------------------------------------------------------------------------------------------------------


def test_the_cautions_of_a_step_come_with_their_sources(wallclime: Home):
    said = wallclime.done("cautions", "deliver")
    assert said.out.startswith(
        "Lift boxes in twos. Stack them low and flat on a floor that bears them, nothing\n"
        "leaning on a wall, and keep children off.\n"
        "  source: common practice, no published source\n\n"
    )
    assert said.err == ""


def test_all_cautions_are_shown_where_no_step_is_named(wallclime: Home):
    every = wallclime.done("cautions", "--json").json()
    assert len(every) > len(wallclime.done("cautions", "install", "--json").json()) > 0
    assert all(one["caution"] and one["text"] and one["source"] for one in every)


def test_a_step_that_there_is_not_is_refused(wallclime: Home):
    refused = wallclime("cautions", "paint")
    assert (refused.code, refused.err) == (
        2,
        "STEP: 'paint' is not understood. Use deliver or check or install or care or inspect or leak or "
        "heating-out or reading\n",
    )
