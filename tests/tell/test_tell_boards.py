"""Every sentence about boxes, boards and rows, in both systems of units."""

import re

import invented_den as den
import pytest

from monitor.basis.times import DAY, HOUR, zone_of
from monitor.climate.wood import Range
from monitor.rules.assessment import Now
from monitor.rules.board.consequences import Effect, Season
from monitor.rules.board.cores import Evening
from monitor.rules.board.estimates import BoardReading, Bounds, CoreReading, Extreme
from monitor.rules.board.movement import Movement, Outlook, Row
from monitor.rules.frame import Stack
from monitor.tell import boards
from monitor.tell.words import Display, when

US, SI = Display(zone_of("America/New_York"), "us"), Display(zone_of("America/New_York"), "si")
ALONG, ACROSS = Row(False, 4.8768, (0.0047625, 0.0047625), 3), Row(True, 2.4384, (0.0047625, 0.0047625), 12)
BOARD = den.PROFILE.board
VINYL = BOARD._replace(core="PVC or mineral")
LIMIT = 3 / 1.8
TEN_DAYS, ONE_DAY = Evening(7 * DAY, 10 * DAY, 13 * DAY), Evening(20 * HOUR, 24 * HOUR, 30 * HOUR)


def growth(low: float, high: float, when="now", row: Row = ALONG) -> Movement:
    return Movement(row, when, Range(low, high))


# --- boxes ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("evening", "told"),
    [
        (TEN_DAYS, "about 10 days (7 to 13)"),
        (ONE_DAY, "about 24 h (20 to 30)"),
        (Evening(47 * HOUR, 48 * HOUR, 49 * HOUR), "about 2 days (1 to 3)"),
        (Evening(round(4.05 * HOUR), round(4.1 * HOUR), round(4.15 * HOUR)), "about 4 h (4 to 5)"),
        (Evening(40 * HOUR, 48 * HOUR - 1, 60 * HOUR), "about 48 h (40 to 60)"),
        (Evening(60_000, 60_000, 60_000), "about 1 h"),
        (Evening(0, 0, 0), "about 1 h"),
    ],
)
def test_a_time_is_told_in_days_or_hours_with_its_range(evening, told):
    assert boards.about(evening) == told


@pytest.mark.parametrize(
    ("stack", "us", "si"),
    [
        (Stack(spacers=True), "in single layers of 2 1/2 in on spacers", "in single layers of 64 mm on spacers"),
        (Stack(height=0.5), "1 ft 7 11/16 in high, on the floor", "500 mm high, on the floor"),
        (
            Stack(height=1.2, width=0.4, floor_c=12.0),
            "3 ft 11 1/4 in high, 1 ft 3 3/4 in wide, on a cold floor",
            "1.200 m high, 400 mm wide, on a cold floor",
        ),
        (Stack(), "nobody said how high", "nobody said how high"),
    ],
)
def test_how_boxes_lie(stack, us, si):
    assert (boards.lying(stack, BOARD, "us"), boards.lying(stack, BOARD, "si")) == (us, si)


def even(stack: Stack, stacked: Evening | None = TEN_DAYS, apart: float | None = None, **more):
    single = ONE_DAY if apart is None or apart > LIMIT else Evening(0, 0, 0)
    told = {"board": BOARD, "units": "us", "limit": LIMIT, "hours": 48, **more}
    return boards.evening_out(stack, told.pop("board"), stacked, single, apart=apart, **told)


SLOWER = "That is at least: cardboard, film and air gaps are left out, and make it slower."


WARMTH = (
    "That is warmth. Moisture takes weeks, and wrapped boxes hardly exchange vapour: 48 h even out the temperature, "
    "not the moisture of the boards."
)


def test_boxes_of_which_all_is_known():
    # 0.5 m is 19 11/16 in; 10 K apart
    assert even(Stack(height=0.5, box_c=10.0), apart=10.0) == [
        "Estimate: as stacked (1 ft 7 11/16 in high, on the floor) about 10 days (7 to 13) until the core is within "
        "3.0 degF of the room's 24 h mean; in single layers on spacers about 24 h (20 to 30). " + SLOWER,
        WARMTH,
    ]
    assert even(Stack(height=0.5, box_c=10.0), apart=10.0, units="si")[0] == (
        "Estimate: as stacked (500 mm high, on the floor) about 10 days (7 to 13) until the core is within 1.7 K of "
        "the room's 24 h mean; in single layers on spacers about 24 h (20 to 30). " + SLOWER
    )


def test_boxes_on_spacers_are_not_stacked():
    assert even(Stack(spacers=True, box_c=10.0), ONE_DAY, apart=10.0)[0] == (
        "Estimate: in single layers on spacers about 24 h (20 to 30) until the core is within 3.0 degF of the room's "
        "24 h mean. " + SLOWER
    )


def test_boxes_of_which_nobody_said_how_high_they_are_stacked():
    assert even(Stack(box_c=10.0), None, apart=10.0)[0] == (
        "Estimate: in single layers on spacers about 24 h (20 to 30) until the core is within 3.0 degF of the room's "
        f"24 h mean. {SLOWER} How long it takes as they are stacked nobody can say: give --stack-height, or --spacers "
        "if they lie apart."
    )


def test_without_a_box_temperature_it_is_the_time_for_nine_tenths():
    assert even(Stack(spacers=True), ONE_DAY)[:2] == [
        "Estimate: in single layers on spacers about 24 h (20 to 30) until nine tenths of the difference are evened "
        "out. " + SLOWER,
        "No box temperature was told (--box-temperature), so how far they have to go is not known.",
    ]


def test_with_a_box_temperature_and_no_room_it_is_the_room_that_is_not_known():
    assert even(Stack(spacers=True, box_c=4.0), ONE_DAY)[1] == (
        "The room is not heard yet, so how far they have to go is not known."
    )


def test_of_boxes_that_came_days_ago_the_room_was_not_heard_then():
    assert even(Stack(spacers=True, box_c=4.0), ONE_DAY, past=True)[1] == (
        "The room was not heard then, so how far they have to go is not known."
    )


COLD = Stack(height=0.5, floor_c=10.0, box_c=5.0)


def test_boxes_that_a_cold_floor_keeps_from_the_room_are_to_be_put_on_spacers():
    assert even(COLD, None, apart=15.0, stays=14.9, units="si")[0] == (
        "Estimate: as stacked (500 mm high, on a cold floor) the core never comes within 1.7 K of the room's 24 h "
        "mean; on this floor the core stays at about 14.9 degC: put the boxes on spacers. In single layers on spacers "
        "about 24 h (20 to 30) until the core is within 1.7 K of the room's 24 h mean. " + SLOWER
    )


def test_boxes_as_warm_as_the_room_on_a_cold_floor_are_not_said_to_be_near_it():
    assert even(COLD, None, apart=0.5, stays=14.9, units="si")[0] == (
        "Estimate: as stacked (500 mm high, on a cold floor) the core never comes within 1.7 K of the room's 24 h "
        "mean; on this floor the core stays at about 14.9 degC: put the boxes on spacers."
    )
    assert even(COLD._replace(height=None), None, apart=0.5, units="si")[0] == (
        "The boxes came 0.5 K from the room, but lie on a cold floor: give --stack-height, or --spacers if they lie "
        "apart."
    )
    assert even(COLD, TEN_DAYS, apart=0.5, units="si")[0] == (
        "Estimate: as stacked (500 mm high, on a cold floor) about 10 days (7 to 13) until the core is within 1.7 K "
        "of the room's 24 h mean; in single layers on spacers at once. " + SLOWER
    )


@pytest.mark.parametrize(
    ("stack", "stacked"), [(COLD, Evening(0, 0, 0)), (Stack(spacers=True, floor_c=10.0), Evening(0, 0, 0))]
)
def test_boxes_on_a_cool_floor_or_on_spacers_over_a_cold_one_may_be_near_the_room(stack, stacked):
    assert (
        even(stack, stacked, apart=0.5, units="si")[0] == "The boxes came 0.5 K from the room: their core is near it."
    )


def test_of_a_cold_floor_in_a_room_not_heard_it_is_said_what_it_may_do():
    assert even(COLD)[1] == "On a cold floor the core stays between floor and room, and may never come near it."


@pytest.mark.parametrize("said", [("opened",), ("unwrapped",), ("on end", "unwrapped")])
def test_open_planks_take_up_moisture(said):
    assert even(Stack(height=0.5), said=said)[-1] == (
        "That is warmth. Moisture takes weeks, but open planks already take up moisture: 48 h even out the "
        "temperature, not the moisture of the boards."
    )
    assert even(Stack(height=0.5), said=("on end",))[-1] == WARMTH


def test_boxes_that_came_as_warm_as_the_room_need_no_time():
    assert even(Stack(box_c=20.0), None, apart=1.0) == [
        "The boxes came 1.8 degF from the room: their core is near it.",
        WARMTH,
    ]


def test_of_a_core_that_moisture_does_not_move_moisture_is_not_spoken_of():
    assert not any("oisture" in line for line in even(Stack(height=0.5), board=VINYL))


def test_boxes_that_are_missing():
    assert boards.missing(9, 7) == ["7 of the 9 boxes that the take-off asks for have come: 2 missing."]
    assert boards.missing(9, 9) == ["9 boxes have come; the take-off asks for 9."]
    assert boards.missing(1, 1) == ["1 box has come; the take-off asks for 1."]
    assert boards.missing(2, 1) == ["1 of the 2 boxes that the take-off asks for has come: 1 missing."]
    assert boards.missing(1, 0) == ["0 of the 1 box that the take-off asks for have come: 1 missing."]
    assert boards.missing(None, 9) == boards.missing(9, None) == []


CORE = CoreReading(20.0, 21.0, None, 20.5, den.DELIVERED)


def test_the_core_is_told_in_the_zone_of_the_job():
    verdict, said = boards.core_said(CORE, LIMIT, US)
    assert verdict == "pass"
    assert said == (
        "within 3.0 degF of the room's 24 h mean, 68.9 degF, since 2026-01-05 08:40 -05:00: estimated 68.0 degF to "
        "69.8 degF"
    )
    assert boards.boxes_status(CORE, LIMIT, US) == f"core {said}"


def test_a_core_that_is_not_near_is_left_to_the_conditions_unless_sensor_and_estimate_disagree():
    far = CoreReading(10.0, 11.0, None, 20.5, None)
    assert boards.boxes_status(None, LIMIT, US) == ""
    assert boards.boxes_status(far, LIMIT, US) == ""
    assert boards.boxes_status(far._replace(measured=15.0), LIMIT, SI) == (
        "core not within 1.7 K of the room's 24 h mean, 20.5 degC: measured 15.0 degC, 4.0 K beyond the estimated "
        "10.0 degC to 11.0 degC"
    )


# --- rows and gaps ----------------------------------------------------------------------------------------------------


def test_rows_and_gaps_have_names():
    assert boards.row_named(ALONG, "us") == "a row of 16 ft"
    assert boards.row_named(ACROSS, "si") == "the width of all rows, 2.438 m,"
    assert (boards.gap_named(0.0047625, "us"), boards.gap_named(0.0047625, "si")) == ("3/16 in (4.8 mm)", "4.8 mm")


@pytest.mark.parametrize(
    ("low", "high", "told"),
    [
        (1.0, 2.54, "grows 1.0 to 2.5 mm"),
        (0.0, 0.0, "grows 0.0 mm"),
        (-2.54, -1.0, "shrinks 1.0 to 2.5 mm"),
        (-1.0, 2.0, "moves -1.0 to +2.0 mm"),
        (-1.0, 0.0, "shrinks 0.0 to 1.0 mm"),
    ],
)
def test_movements_are_told_in_millimetres(low, high, told):
    assert boards.grows(Range(low, high)) == told


@pytest.mark.parametrize(
    ("low", "high", "told"),
    [
        (66.6, 73.4, "at 67 to 73 %"),
        (95.2, float("inf"), "at 95 % at the earliest"),
        (float("inf"), float("inf"), "never"),
    ],
)
def test_humidities_that_close_a_gap(low, high, told):
    assert boards.humidities(Range(low, high)) == told


CLOSING = {"pinned": Range(66.0, 72.0), "free": Range(81.0, 87.0)}
OUTLOOK = Outlook(
    row=ALONG, from_rh=50.0, growth=Range(1.9, 2.5), shrinkage=Range(1.3, 1.7), gap=0.0025, length=9.0, least_rh=35.0,
    closing=CLOSING,
)  # fmt: skip


def test_an_outlook_of_a_row_that_fits_even_pinned():
    assert boards.outlook_lines(OUTLOOK, "us") == [
        "Estimate: a row of 16 ft grows 1.9 to 2.5 mm should boards in balance with 50 % settle at the damp edge of "
        "the band, and shrinks 1.3 to 1.7 mm at the dry edge.",
        "A gap of 3/16 in (4.8 mm) at each end has room for it even where something pins the row at one end; humidity "
        "that lasts for weeks closes it at 66 to 72 % (pinned), at 81 to 87 % (free).",
    ]


def test_an_outlook_of_a_row_that_must_slide_says_what_else_would_do():
    tight = OUTLOOK._replace(growth=Range(4.0, 6.4), gap=0.00635, length=3.6576, least_rh=55.0)
    assert boards.outlook_lines(tight, "us")[1:] == [
        "A gap of 3/16 in (4.8 mm) at each end has room for it only while the row is free to slide; pinned at one end, "
        "not; humidity that lasts for weeks closes it at 66 to 72 % (pinned), at 81 to 87 % (free).",
        "What would do: a gap of 1/4 in (6.3 mm) at each end; or a transition profile every 12 ft; or boards in "
        "balance with 55 % or more when they go up.",
    ]
    assert boards.outlook_lines(tight, "si")[2] == (
        "What would do: a gap of 6.4 mm at each end; or a transition profile every 3.657 m; or boards in balance with "
        "55 % or more when they go up."
    )


def test_what_would_do_is_rounded_to_the_safe_side():
    # 6.5 mm is more than 8/32 in (6.35 mm): 9/32; 3.67 m is 144.49 in: 144 in, which is 12 ft
    tight = OUTLOOK._replace(growth=Range(4.0, 6.5), gap=0.0065, length=3.67)
    assert boards.outlook_lines(tight, "us")[2].startswith(
        "What would do: a gap of 9/32 in (7.1 mm) at each end; or a transition profile every 12 ft; or"
    )
    finer = tight._replace(gap=0.00651, length=3.6706)
    assert boards.outlook_lines(finer, "si")[2].startswith(
        "What would do: a gap of 6.6 mm at each end; or a transition profile every 3.670 m; or"
    )


def test_an_outlook_of_a_row_for_which_nothing_else_in_the_band_would_do():
    hopeless = OUTLOOK._replace(row=ACROSS, growth=Range(4.0, 30.0), gap=0.030, length=0.4, least_rh=None)
    lines = boards.outlook_lines(hopeless, "si")
    assert lines[0].startswith("Estimate: the width of all rows, 2.438 m, grows 4.0 to 30.0 mm should")
    assert lines[1].startswith(
        "A gap of 4.8 mm at each end has no room for it, not even for a row that is free to slide;"
    )
    assert lines[2] == "What would do: a gap of 30.0 mm at each end; or a transition profile every 400.0 mm."


def test_an_outlook_by_warmth():
    cold, warm = (
        growth(-4.1, -0.5, "at the cold edge of the band"),
        growth(0.5, 4.9, "at the warm edge of the band"),
    )
    assert boards.warmth_lines(cold, warm, "us") == [
        "Estimate: a row of 16 ft of PVC or mineral grows 0.5 to 4.9 mm from the middle of the band to its warm edge, "
        "and shrinks 0.5 to 4.1 mm to its cold edge; moisture does not move it. The range is from mineral to rigid "
        "PVC: ask the maker which it is.",
        "A gap of 3/16 in (4.8 mm) at each end has room for it only while the row is free to slide; pinned at one end, "
        "not.",
    ]


def test_what_the_installation_starts_from():
    assert boards.starts_from(46.4, 50.0) == (
        "The room had 46 % over the last 24 h (measured). Boards straight out of closed boxes may still be as they "
        "came, in balance with about 50 %."
    )
    assert boards.starts_from(None, 50.0) == (
        "Too little is known of the room's last 24 h: boards are taken to be in balance with 50 %."
    )


def test_boards_that_were_measured_start_from_what_they_came_with():
    assert boards.starts_from(46.4, 44.6, Bounds(8.0, 8.0, 8.0)) == (
        "The room had 46 % over the last 24 h (measured). Boards came with 8.0 % of dry mass (measured), in "
        "balance with about 45 %."
    )
    assert boards.starts_from(None, 44.6, Bounds(6.0, 7.5, 9.0)) == (
        "Too little is known of the room's last 24 h. Boards came with 7.5 % (6.0 to 9.0) of dry mass (measured), "
        "in balance with about 45 %."
    )


def test_what_pins_a_row():
    assert boards.pinned_line("a shelf\u202e") == (
        'Recorded as pinning a row: a shelf\\u202e. The gap at its other end has to take all: read "pinned".'
    )
    assert boards.pinned_line("") == (
        "Nobody recorded what pins a row. A nail, a bead of glue, a heavy shelf or a pipe does it unseen: where there "
        'is one, read "pinned", the worse; else "free".'
    )


def test_the_humidity_that_closes_the_gaps_of_a_row():
    assert boards.closing_line(ALONG, CLOSING, "si") == (
        "Estimate: humidity that lasts for weeks closes the gaps of a row of 4.877 m at 66 to 72 % (pinned), at 81 to "
        "87 % (free)."
    )


def test_a_movement_as_a_row_of_a_table():
    assert boards.movement_row(growth(1.0, 5.0)) == ("now", "grows 1.0 to 5.0 mm", "may close", "fits", "-", "-")
    assert boards.movement_row(growth(-3.0, -1.5)) == (
        "now", "shrinks 1.5 to 3.0 mm", "fits", "fits", "7.8 mm", "0.5 to 3.0 mm",
    )  # fmt: skip
    one_piece = growth(-3.0, -1.5, row=ALONG._replace(joints=0))
    assert boards.movement_row(one_piece)[-1] == "-"


# --- boards -----------------------------------------------------------------------------------------------------------

READING = BoardReading(
    since=den.DELIVERED,
    came=Bounds(7.4, 8.4, 9.4),
    now=Bounds(6.9, 7.9, 8.9),
    gained=Bounds(-0.6, -0.5, -0.4),
    measured=False,
    sensor=0.4,
    driest=Extreme(den.DELIVERED // DAY * DAY, Bounds(-1.6, -1.5, -1.4)),
    dampest=Extreme(den.DELIVERED // DAY * DAY + DAY, Bounds(0.8, 1.2, 1.4)),
)


def test_the_boards_in_a_sentence():
    assert boards.board_line(READING, US) == (
        "Board moisture, estimated: 7.9 % (6.9 to 8.9) of dry mass, -0.5 points (-0.6 to -0.4) since the installation "
        "2026-01-05 08:40 -05:00 (what they came with was taken from the profile, nobody measured it); the sensors "
        "leave 0.4 % open."
    )
    assert "(what they came with was measured)" in boards.board_line(READING._replace(measured=True), US)


def test_the_boards_as_rows_each_says_how_it_is_known():
    assert boards.moisture_rows(READING, 50.0) == [
        ("at the installation", "8.4 % (7.4 to 9.4)", "", "the profile's figure: in balance with 50 %"),
        ("now", "7.9 % (6.9 to 8.9)", "-0.5 points (-0.6 to -0.4)", "estimated"),
        ("driest, 2026-01-05", "", "-1.5 points (-1.6 to -1.4)", "estimated"),
        ("dampest, 2026-01-06", "", "+1.2 points (+0.8 to +1.4)", "estimated"),
    ]
    short = boards.moisture_rows(READING._replace(measured=True, driest=None, dampest=None), 50.0)
    assert [row[3] for row in short] == ["measured on delivery", "estimated"]


def test_solid_wood_in_the_present_air_is_an_index_with_its_hysteresis():
    # kerfworks.org: 70 degF and 40 % give 7.7 %. From dry 0.8 of that from wet, half way between (from memory)
    assert boards.index_row((70.0 - 32.0) / 1.8, 40.0) == (
        "solid wood in the air of now",
        "7.7 % (6.8 from dry to 8.6 from wet)",
        "",
        "computed, an index of the climate: not the planks",
    )


def test_the_index_holds_where_a_sensor_says_more_than_the_air_can_be():
    assert boards.index_row(70.0, 104.0)[1] == boards.index_row(60.0, 100.0)[1]


EXCURSIONS = (
    den.EXCURSION,
    den.EXCURSION._replace(side="low", start=den.DELIVERED, dose=720.0),
    den.EXCURSION._replace(side="low", start=den.DELIVERED + DAY, dose=240.0),
)
EFFECTS = (Effect(2, Bounds(-0.4, -0.37, -0.2)), Effect(1, Bounds(-0.1, -0.1, -0.08)))


def test_excursions_by_what_they_did():
    # 4.8768 m x 0.25 x 0.2 % = 0.24 mm to x 0.33 x 0.4 % = 0.64 mm
    assert boards.effect_rows(EFFECTS, EXCURSIONS, ALONG, den.PROFILE, US)[0] == (
        "3",
        "humidity below 35.0 %",
        "2026-01-06 08:40 -05:00",
        "-0.37 points (-0.40 to -0.20)",
        "shrinks 0.2 to 0.6 mm",
        "240.0 %RH-hours",
    )


def test_the_excursion_that_did_most_and_where_its_dose_would_have_put_it():
    assert boards.effects_finding(EFFECTS, EXCURSIONS) == (
        "Estimate: excursion 3 moved the boards most, by -0.37 points (-0.40 to -0.20) of dry mass; by the air's dose "
        "it is number 2 of 2."
    )
    assert boards.effects_finding(EFFECTS[:1], EXCURSIONS).endswith(" of dry mass; by the air's dose too.")
    assert boards.effects_finding((), EXCURSIONS) == "No excursion moved the boards by as much as can be told."


def test_the_season_ahead():
    season = Season(den.DELIVERED // DAY * DAY, den.DELIVERED + 90 * DAY, 28.4, 61.6, 6.52, 8.44)
    assert boards.season_line(season) == (
        "The season ahead, as this room was measured a year ago: day means of 28 to 62 %RH in the 90 days from "
        "2026-01-05 on; the boards were then estimated at 6.5 to 8.4 %."
    )
    assert boards.season_line(season._replace(low=None, high=None)).endswith("90 days from 2026-01-05 on.")


def test_the_boards_in_a_line_of_a_status():
    moved = (growth(-1.0, 0.5, row=ACROSS), growth(1.0, 5.0), growth(9.0, 9.9, "dampest so far"))
    assert boards.board_status(READING, moved, "us") == (
        "estimated: 7.9 % (6.9 to 8.9) of dry mass; a row of 16 ft grows 1.0 to 5.0 mm: pinned may close, free fits"
    )
    assert boards.board_status(None, moved[:1], "si") == (
        "estimated: the width of all rows, 2.438 m moves -1.0 to +0.5 mm: pinned fits, free fits"
    )
    assert boards.board_status(None, (), "si") == ""


def test_after_a_silence_of_more_than_thirty_days_nothing_is_said_as_of_now():
    heard = Now("unknown", None, {}, den.DELIVERED)
    assert boards.last_said(heard, den.DELIVERED + 30 * DAY, US) == ""
    assert boards.last_said(Now("unknown", None, {}), den.DELIVERED + 31 * DAY, US) == ""
    last = boards.last_said(heard, den.DELIVERED + 30 * DAY + 1, US)
    assert last == f"as of the last reading, {when(den.DELIVERED, US)[:10]}"
    assert boards.board_status(READING, (growth(1.0, 5.0),), "us", last) == (
        f"estimated {last}: 7.9 % (6.9 to 8.9) of dry mass; a row of 16 ft grows 1.0 to 5.0 mm: not known now"
    )
    assert boards.board_line(READING, US, last).startswith(f"Board moisture, estimated {last}: 7.9 % (6.9 to 8.9) of")
    assert [row[0] for row in boards.moisture_rows(READING, 50.0, last)][1] == last
    assert boards.movement_row(growth(1.0, 5.0), last)[:4] == (
        last, "grows 1.0 to 5.0 mm", "not known now", "not known now",
    )  # fmt: skip
    assert boards.movement_row(growth(1.0, 5.0, "dampest so far"), last)[2] == "may close"


def test_no_sentence_of_the_boards_promises_or_frightens():
    said = " ".join([boards.INDEX, boards.pinned_line(""), *boards.outlook_lines(OUTLOOK, "us")])
    assert not re.search(r"guarantee|safe|certain|health|ill\b", said)


def test_what_did_not_move_has_no_sign_and_a_change_is_in_points():
    assert boards.gained(Bounds(-0.04, -0.01, 0.04)) == "0.0 points (0.0 to 0.0)"
    assert boards.gained(Bounds(-0.06, 0.0, 0.06)) == "0.0 points (-0.1 to +0.1)"
    assert boards.gained(Bounds(-0.004, 0.004, 0.006), 2) == "0.00 points (0.00 to +0.01)"
