"""Boxes, boards and rows at the desk: what screens and pages are given, and what is told while it can be acted on."""

from __future__ import annotations

from datetime import UTC
from pathlib import Path

import pytest
from desks import NOW, T0, Row, furnish, hear, opening, steady

from monitor.basis.times import DAY, HOUR
from monitor.basis.values import LIVE, Quantity, Reading
from monitor.rules.assessment import Assessment
from monitor.tell.pages.board_page import sections
from monitor.tell.screen import status_text
from monitor.tell.views import BoardView
from monitor.tell.words import Display
from monitor.watch.desk import Desk
from monitor.watch.job.delivery import deliver
from monitor.watch.job.installing import Installing, install
from monitor.watch.job.jobs import open_job
from monitor.watch.judging import assess
from monitor.watch.papers import boards
from monitor.watch.papers.pages import report_page
from monitor.watch.papers.screens import status_view, view_of
from monitor.watch.sensing.sensors import MAKER, add_sensor, assign_sensor

WHY = {"not_ready": True, "reason": "guests"}
START = T0 + 3 * DAY
GAP = pytest.approx(0.0047625)  # 3/16 in, of the built-in profile [m]


def begin(desk: Desk, start: int = START, **facts):
    return install(desk, "den", Installing(start, start + 6 * HOUR, **WHY, facts=facts), who="robin")


def dry(start: int, days: int, humidity: float) -> list[Row]:
    return [row._replace(humidity=humidity + row.humidity - 50.0) for row in steady(start, days * 24)]


@pytest.fixture
def den(desk: Desk) -> Desk:
    """The den: three days in band, installed, then four days of 28 % and two in band."""
    furnish(desk)
    hear(desk, [*steady(T0, 72), *dry(START, 4, 28.0), *steady(START + 4 * DAY, 48)])
    return desk


def view(desk: Desk) -> BoardView:
    found = view_of(desk, assess(desk, "den")).board
    assert found is not None
    return found


# --- before the planks are there --------------------------------------------------------------------------------------


def test_at_the_opening_the_rows_are_told_by_the_size_of_the_wall_and_the_profile(desk: Desk):
    open_job(desk, opening("den", length=14.0, height=2.4), who="robin")
    told = boards.planned(desk, "den")
    assert told[0].startswith("Estimate: a row of 7.000 m grows ")  # beyond 40 ft it will be split
    assert "should boards in balance with 50 % settle" in told[0]
    assert told[2].startswith("Estimate: the width of all rows, 2.400 m, grows ")


def test_planks_that_are_to_stand_have_rows_as_high_as_the_wall(desk: Desk):
    open_job(desk, opening("den", lay="vertical"), who="robin")
    told = boards.planned(desk, "den")
    assert told[0].startswith("Estimate: a row of 2.400 m grows ")
    assert told[2].startswith("Estimate: the width of all rows, 4.000 m, grows ")


def test_of_a_core_that_moisture_does_not_move_the_warmth_is_told(desk: Desk, tmp_path: Path):
    profile = tmp_path / "vinyl.toml"
    profile.write_text('name = "invented vinyl planks"\n[board]\ncore = "PVC or mineral"\n')
    open_job(desk, opening("den", profile=str(profile)), who="robin")
    told = boards.planned(desk, "den")
    assert told[0].startswith("Estimate: a row of 4.000 m of PVC or mineral grows ")
    assert told[2].startswith("Estimate: the width of all rows, 2.400 m, of PVC or mineral grows ")
    deliver(desk, "den", at=T0, lot=None, place=None, boxes=None, facts={}, who="robin")
    entry = begin(desk)
    assert boards.told_at_installation(desk, entry) == told
    found = report_page(desk, "den").board
    assert (found.closing, found.effects) == ((), ())


# --- at the installation ----------------------------------------------------------------------------------------------


def test_an_installation_starts_from_the_rooms_last_24_hours(den: Desk):
    # 50.0 to 50.8 % in turn: 50.4 %
    told = boards.told_at_installation(den, begin(den))
    assert told[0] == (
        "The room had 50 % over the last 24 h (measured). Boards straight out of closed boxes may still be as they "
        "came, in balance with about 50 %."
    )
    assert "should boards in balance with 50 % settle" in told[1]


def test_only_the_last_24_hours_count_and_no_later_one(den: Desk):
    told = boards.told_at_installation(den, begin(den, START + 36 * HOUR))
    assert told[0].startswith("The room had 28 % over the last 24 h (measured).")
    assert "should boards in balance with 28 % settle" in told[1]


@pytest.mark.parametrize(("hours", "known"), [(12, True), (11, False)])
def test_of_less_than_twelve_hours_no_mean_is_made(desk: Desk, hours, known):
    furnish(desk)
    hear(desk, steady(START - hours * HOUR, hours))
    told = boards.told_at_installation(desk, begin(desk))
    assert told[0].startswith("The room had 50 %" if known else "Too little is known of the room's last 24 h: boards ")


def test_gaps_that_are_recorded_with_the_start_are_those_that_are_told(den: Desk):
    told = boards.told_at_installation(den, begin(den, gaps_m={"left": 0.002, "right": 0.008}))
    assert told[2].startswith("A gap of 2.0 mm at each end ")


def test_a_later_entry_of_neither_gaps_nor_a_pin_tells_nothing(den: Desk):
    begin(den)
    later = install(den, "den", Installing(START, facts={"offcut": "shed"}), who="robin")
    assert boards.told_at_installation(den, later) == []


def test_gaps_that_are_recorded_later_are_told_again_with_what_they_have_room_for(den: Desk):
    begin(den)
    later = install(den, "den", Installing(START, facts={"gaps_m": {"left": 0.002, "right": 0.008}}), who="robin")
    told = boards.told_at_installation(den, later)
    assert told[0].startswith("The room had 50 % over the last 24 h (measured).")
    assert told[2].startswith("A gap of 2.0 mm at each end ")


def test_what_pins_a_row_comes_first_and_then_the_row_that_has_least_room_for_it(den: Desk):
    begin(den)
    later = install(
        den, "den", Installing(START, facts={"pinned": "a shelf", "gaps_m": {"bottom": 0.0, "top": 0.0}}), who="robin"
    )
    told = boards.told_at_installation(den, later)
    assert told[0] == ('Recorded as pinning a row: a shelf. The gap at its other end has to take all: read "pinned".')
    assert told[2].startswith("Estimate: the width of all rows, 2.400 m, grows ")
    assert told[5].startswith("Estimate: a row of 4.000 m grows ")


def starts(desk: Desk, *moistures: float) -> list[str]:
    """The sentence about the starts, and the humidity of each outlook of the first row."""
    for number, moisture in enumerate(moistures):
        facts = {"moisture": moisture}
        deliver(desk, "den", at=T0, lot=f"m{number}", place=None, boxes=None, facts=facts, who="robin")
    told = boards.told_at_installation(desk, begin(desk))
    return [told[0], *(line for line in told if line.startswith("Estimate: a row of 4.000 m "))]


def test_boards_that_were_measured_start_from_that_and_beside_it_from_the_room(den: Desk):
    # 8 % is below HDF in balance with 50 %: those boards grow more, so they come first
    said, worse, other = starts(den, 8.0)
    assert said == (
        "The room had 50 % over the last 24 h (measured). Boards came with 8.0 % of dry mass (measured), in balance "
        "with about 45 %."
    )
    assert "should boards in balance with 45 % settle" in worse
    assert "should boards in balance with 50 % settle" in other


def test_boards_that_came_damper_than_the_room_come_after_it(den: Desk):
    _, worse, other = starts(den, 11.0)
    assert "should boards in balance with 50 % settle" in worse
    assert other.startswith("Estimate: a row of 4.000 m shrinks ")  # damper than the damp edge


def test_boards_that_nobody_measured_start_from_the_profile_too_where_the_room_was_another(den: Desk):
    told = boards.told_at_installation(den, begin(den, START + 36 * HOUR))
    heads = [line for line in told if line.startswith("Estimate: a row of 4.000 m grows")]
    assert "should boards in balance with 28 % settle" in heads[0]
    assert "should boards in balance with 50 % settle" in heads[1]


# --- for screens and pages --------------------------------------------------------------------------------------------


def test_before_the_installation_the_rows_have_the_edges_of_the_band_only(den: Desk):
    found = view(den)
    assert {movement.when for movement in found.movements} == {
        "at the dry edge of the band",
        "at the damp edge of the band",
    }
    assert (found.pinned, found.effects, found.season) == ("", (), None)


def test_gaps_and_what_pins_a_row_come_from_the_entries_of_the_installation(den: Desk):
    begin(den, gaps_m={"left": 0.002, "top": 0.008}, pinned="a shelf")
    install(den, "den", Installing(START, facts={"pinned": "a pipe", "gaps_m": {"left": 0.003}}), who="robin")
    found = view(den)
    assert [row.gaps for row in found.rows] == [(0.003, GAP), (GAP, 0.008)]
    assert found.pinned == "a shelf; a pipe"


def test_an_installation_that_was_not_known_then_says_nothing_of_its_gaps(den: Desk):
    begin(den, gaps_m={"left": 0.002}, pinned="a shelf")
    page = report_page(den, "den", at=START - HOUR)
    assert page.board.rows[0].gaps == (GAP, GAP)
    assert page.board.pinned == ""


def test_each_lot_has_how_its_boxes_lie_in_the_order_of_the_assessment(den: Desk):
    deliver(den, "den", at=T0 - HOUR, lot="early", place=None, boxes=None, facts={"stack_height_m": 0.5}, who="robin")
    deliver(den, "den", at=T0 + HOUR, lot="late", place=None, boxes=None, facts={"spacers": True}, who="robin")
    found = assess(den, "den")
    assert [lot.name for lot in found.lots] == ["early", "lot 1", "late"]
    stacks = [(lying.stack.height, lying.stack.spacers, lying.evening is None) for lying in view(den).lying]
    assert stacks == [(0.5, False, False), (None, False, True), (None, True, False)]


def test_a_report_says_what_the_dry_days_did_and_a_status_does_not_work_it_out(den: Desk):
    begin(den)
    page = report_page(den, "den")
    found: Assessment = page.assessment
    (effect,) = page.board.effects
    assert found.excursions[effect.number].side == "low"
    assert effect.moved.high < 0
    assert found.board.driest.gained.central < 0
    assert status_view(den, "den").board.effects == ()
    assert page.board.movements == status_view(den, "den").board.movements


def test_a_sensor_at_the_wall_that_speaks_of_its_surface_measures_it(den: Desk):
    assert not view(den).surface_heard
    reading = Reading("site/shelf/climate", Quantity.SURFACE_TEMPERATURE, T0 + HOUR, 15.0, "degC", T0 + HOUR, LIVE)
    den.store.keep_readings([reading])
    assert view(den).surface_heard


def test_a_sensor_that_is_on_the_wall_measures_it_and_one_outdoors_does_not(desk: Desk):
    open_job(desk, opening("den", outdoor_place="yard"), who="robin")
    for name, place, role in (("porch", "yard", "air"), ("fence", "yard", "surface"), ("skin", "den", "surface")):
        add_sensor(desk, name, f"site/{name}/climate", hold=HOUR, uncertainty=MAKER, who="robin")
        assert not view(desk).surface_heard
        assign_sensor(desk, name, place, at=T0, facts={"role": role}, who="robin")
    assert view(desk).surface_heard


def test_after_a_long_silence_status_and_report_speak_of_the_last_reading_and_of_no_gap_that_fits(den: Desk):
    begin(den)
    den.clock.at_ms = NOW + 400 * DAY  # heard until nine days after T0
    last = "as of the last reading, 2026-01-13"
    boards_line = " ".join(status_text(status_view(den, "den")).split("\nboards ")[1].split())
    assert boards_line.startswith(f"estimated {last}: ")
    assert "fits" not in boards_line.split("Not heard")[0]
    page = report_page(den, "den")
    found = sections(page, None, Display(UTC, "si"))["boards"]
    assert found["said"][0].startswith(f"Board moisture, estimated {last}: ")
    assert found["moisture"].rows[1][0] == last
    assert [row[2] for row in found["rows"][0]["table"].rows if row[0] == last] == ["not known now"]


def test_a_season_ahead_takes_a_record_of_a_year(desk: Desk):
    long = 300
    furnish(desk, at=NOW - long * DAY)
    hear(desk, steady(NOW - long * DAY, long * 24, step=30))
    assert report_page(desk, "den").board.season is None


def test_every_entry_of_the_log_is_as_it_was(den: Desk):
    begin(den)
    before = [entry.link for entry in den.book.log("den")]
    report_page(den, "den")
    boards.planned(den, "den")
    assert [entry.link for entry in den.book.log("den")] == before
