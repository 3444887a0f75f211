"""wallclime log deliver: what is told at once, and what is refused."""

from __future__ import annotations

import pytest
from homes import COLUMNS, DELIVERED, NOON, Home, csv_of, steady

from monitor.basis.times import HOUR

CAUTIONS = "mind: Lift boxes in twos.\n"
WARMTH = (
    "That is warmth. Moisture takes weeks, and wrapped boxes hardly exchange vapour: 48 h even out the temperature, "
    "not the moisture of the boards.\n"
)
UNTOLD = "No box temperature was told (--box-temperature), so how far they have to go is not known.\n"


def said(home: Home, *more: object) -> str:
    """What a delivery says before the cautions."""
    err = home.done("log", "deliver", "den", *more).err
    assert CAUTIONS in err
    return err.partition(CAUTIONS)[0]


def test_a_delivery_of_which_little_is_known_says_what_would_help(den: Home):
    told = said(den, "--lot", "B7", "--boxes", "12").splitlines()
    assert told[:2] == [
        "entry 4: deliver, B7, 12 boxes at 'den'",
        "12 boxes have come; the take-off asks for 9.",
    ]
    assert told[2].startswith("Estimate: in single layers on spacers about ")
    assert told[2].endswith(
        " until nine tenths of the difference are evened out. That is at least: cardboard, film and air gaps are left "
        "out, and make it slower. How long it takes as they are stacked nobody can say: give --stack-height, or "
        "--spacers if they lie apart."
    )
    assert [line + "\n" for line in told[3:]] == [UNTOLD, WARMTH]


def test_a_stack_in_a_room_that_is_heard_is_told_in_the_units_of_the_job(den: Home):
    den.done("log", "deliver", "den", "--at", "2026-01-12T05:00", "--lot", "early", "--boxes", "2")
    file = den.file("den.csv", csv_of(steady(NOON - 2 * HOUR, 2)))
    den.done("import", "den", file, "--sensor", "shelf", *COLUMNS)
    told = said(
        den, "--boxes", "3", "--stack-height", "20 in", "--stack-width", "16 in", "--box-temperature", "40 degF"
    )
    lines = told.splitlines()
    assert lines[1] == "5 of the 9 boxes that the take-off asks for have come: 4 missing."
    assert lines[2].startswith("Estimate: as stacked (1 ft 8 in high, 1 ft 4 in wide, on the floor) about ")
    assert " until the core is within 3.0 degF of the room's 24 h mean; in single layers on spacers about " in lines[2]
    assert lines[3] + "\n" == WARMTH
    assert len(lines) == 4


def test_a_box_as_warm_as_the_room_needs_no_time(den: Home):
    den.done("log", "deliver", "den", "--at", "2026-01-12T05:00", "--lot", "early")
    # the last row but none before now: 21.0 + 0.1 x (11 mod 7) = 21.4 degC, 70.52 degF
    file = den.file("den.csv", csv_of(steady(NOON - 2 * HOUR, 2)))
    den.done("import", "den", file, "--sensor", "shelf", *COLUMNS)
    told = said(den, "--spacers", "--box-temperature", "69.52 degF").splitlines()
    assert told[1] == "The boxes came 1.0 degF from the room: their core is near it."


def test_all_that_can_be_said_of_boxes_stands_in_the_log_in_base_units(den: Home):
    said(
        den, "--at", "2026-01-05T08:00", "--place", "den", "--lot-number", "7", "--lot-number", "8", "--unopened",
        "--flat", "--wrapped", "--stacked", "--stack-height", "0.5 m", "--stack-width", "400 mm",
        "--box-temperature", "50 degF", "--floor-temperature", "41 degF", "--moisture", "7.5 %",
        "--stored-before", "a van",
    )  # fmt: skip
    body = den.log()[3]["body"]
    assert body == {
        "lot": "lot 1", "place": "den", "boxes": None, "lot_numbers": ["7", "8"], "unopened": True, "flat": True,
        "wrapped": True, "spacers": False, "stack_height_m": 0.5, "stack_width_m": 0.4, "moisture": 7.5,
        "box_temperature": pytest.approx(10.0), "floor_temperature": pytest.approx(5.0), "stored_before": "a van",
    }  # fmt: skip


def test_a_cold_floor_is_told(den: Home):
    told = said(den, "--stack-height", "20 in", "--floor-temperature", "50 degF")
    assert "Estimate: as stacked (1 ft 8 in high, on a cold floor) about " in told
    assert "On a cold floor the core stays between floor and room, and may never come near it.\n" in told


def test_boxes_that_came_at_a_past_time_onto_a_cold_floor_are_told_of_with_the_room_of_then(den: Home):
    den.done("log", "deliver", "den", "--at", "2026-01-05T05:00", "--lot", "early")
    file = den.file("den.csv", csv_of(steady(DELIVERED - 2 * HOUR, 4)))
    den.done("import", "den", file, "--sensor", "shelf", *COLUMNS)
    stack = ("--stack-height", "20 in", "--floor-temperature", "50 degF", "--box-temperature", "41 degF")
    told = said(den, "--at", "2026-01-05T08:00", *stack, "--opened")
    assert "the core never comes within 3.0 degF of the room's 24 h mean; on this floor the core stays at " in told
    assert "but open planks already take up moisture" in told
    told = said(den, "--at", "2026-01-08T08:00", *stack)
    assert "The room was not heard then, so how far they have to go is not known.\n" in told


def test_boxes_of_pvc_or_mineral_say_nothing_of_moisture(wallclime: Home):
    profile = wallclime.file("vinyl.toml", 'name = "invented vinyl planks"\n[board]\ncore = "PVC or mineral"\n')
    wallclime.done("job", "open", "den", "--zone", "UTC", "--length", "4 m", "--height", "2 m", "--profile", profile)
    told = said(wallclime, "--stack-height", "0.5 m")
    assert "oisture" not in told
    assert "Estimate: as stacked (500 mm high, on the floor) about " in told


@pytest.mark.parametrize(
    ("args", "refusal"),
    [
        (("--stack-height", "6 m"), "--stack-height: 6 m can't be. Measure again: 0.01 to 5 m"),
        (
            ("--stack-height", "0.5"),
            '--stack-height: \'0.5\' is not a length. Write it like "3/16 in", "16 ft 4 in" or "4.2 m"',
        ),
        (("--box-temperature", "200 degF"), "--box-temperature: 93.3333 degC can't be. Measure again: -40 to 60 degC"),
        (("--moisture", "45 %"), "--moisture: 45 % can't be. Measure again: 0 to 30 %"),
        (("--stored-before", ""), "--stored-before: nothing is said. Write it, or leave it out"),
    ],
)
def test_what_cannot_be_exits_2_in_one_line_and_nothing_is_written(den: Home, args, refusal):
    result = den("log", "deliver", "den", *args)
    assert (result.code, result.out) == (2, "")
    assert result.err == f"{refusal}\n"
    assert den.kinds() == ["job", "profile", "take-off"]


def test_one_box_is_one_box(den: Home):
    told = said(den, "--lot", "B7", "--boxes", "1").splitlines()
    assert told[:2] == [
        "entry 4: deliver, B7, 1 box at 'den'",
        "1 of the 9 boxes that the take-off asks for has come: 8 missing.",
    ]


def test_how_boxes_lie_is_said_later_as_ready_advises(den: Home):
    den.done("log", "deliver", "den", "--lot", "B7", "--boxes", "12")
    hint = " ".join(den("ready", "den").out.split())
    assert "box core: nobody said how the boxes lie" in hint
    assert "Say it with the delivery: wallclime log deliver JOB --stack-height LENGTH." in hint
    number = den.log()[-1]["number"]
    den.done("log", "correct", "den", number, "--withdraw", "--reason", "does not say how they lie")
    den.done("log", "deliver", "den", "--lot", "B7", "--boxes", "12", "--stack-height", "1 ft")
    assert "nobody said how the boxes lie" not in " ".join(den("ready", "den").out.split())


def test_several_lots_come_in_one_delivery_each_with_its_count(den: Home):
    told = said(den, "--lot", "A7", "--boxes", "5", "--lot", "B2", "--boxes", "4", "--flat", "--unopened")
    assert told.splitlines()[:3] == [
        "entry 4: deliver, A7, 5 boxes at 'den'",
        "entry 5: deliver, B2, 4 boxes at 'den'",
        "9 boxes have come; the take-off asks for 9.",
    ]


@pytest.mark.parametrize(
    ("options", "fault"),
    [
        (("--lot", "A", "--lot", "B", "--boxes", "4"),
         "--boxes: 2 lots and 1 counts of boxes are given. Give one after each --lot, or none"),
        (("--boxes", "4", "--boxes", "5"),
         "--boxes: 0 lots and 2 counts of boxes are given. Give one after each --lot, or none"),
        (("--lot", "A", "--lot", "A"), "--lot: a lot is given twice. Give each lot once, with all its boxes"),
        (("--lot", "A", "--lot", "B", "--lot-number", "7"),
         "--lot-number: of which lot is not clear. Enter each lot by itself"),
    ],
)  # fmt: skip
def test_lots_and_counts_that_do_not_go_together_are_refused_and_nothing_is_entered(den: Home, options, fault):
    before = den.done("log", "list", "den").out
    result = den("log", "deliver", "den", *options)
    assert (result.code, result.err) == (2, f"{fault}\n")
    assert den.done("log", "list", "den").out == before


def test_what_was_not_said_of_how_the_boxes_lie_is_asked_for(den: Home):
    assert "not said: how the boxes lie (--flat or --on-end); whether they are closed (--unopened or --opened)\n" in (
        den.done("log", "deliver", "den").err
    )
    assert "not said" not in den.done("log", "deliver", "den", "--lot", "B", "--flat", "--unopened").err
