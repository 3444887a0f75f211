"""The board: which wall is first, its words and numbers, and the page in a real browser."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import invented_den as den
import numpy as np
import pytest
from browser import Window
from read_page import read_page

from monitor.basis.alarm import HOUSE, Alarm, Priority, Standing
from monitor.basis.times import DAY, HOUR, zone_of
from monitor.rules.alarm import whats
from monitor.rules.assessment import Coverage, Now
from monitor.rules.install.care import Item
from monitor.tell.pages import marks, walls
from monitor.tell.pages.marks import BUCKETS, Week
from monitor.tell.pages.walls import Board, WallNow
from monitor.tell.pages.walls_page import render_board
from monitor.tell.words import Display

US = Display(zone_of("America/New_York"), "us")
NASTY = '<script>document.title="taken"</script>\u202e'
CALM = Week(np.full(BUCKETS, 44.0), np.full(BUCKETS, 47.0), (35.0, 65.0))
WARM = Week(np.full(BUCKETS, 20.0), np.full(BUCKETS, 21.0), (15.6, 29.4))
NONE = Week(np.full(BUCKETS, np.nan), np.full(BUCKETS, np.nan), (35.0, 65.0))


def wall(job: str = "north wall", state: str = "in", building: str = "mill house", **more: Any) -> WallNow:
    now = replace(den.ASSESSMENT.now, state="in" if state in ("in", "closed") else state.replace("blind", "unknown"))
    said: dict[str, Any] = {
        "assessment": den.ASSESSMENT._replace(job=job, now=now),
        "profile": den.PROFILE,
        "display": US,
        "building": building,
        "watched": state != "blind",
        "open_at_start": 0,
        "weeks": {den.RH: CALM, den.T: WARM},
        "days": ("in", "out", "unknown", "in"),
        "out": 0,
        "unknown": 0,
        "closed_at": den.AS_OF if state == "closed" else None,
        "report": f"{job}.html",
    }
    return WallNow(**{**said, **more})


def page(*found: WallNow, **more: Any) -> str:
    return render_board(Board(found, den.AS_OF, "wallclime 0.1.0", **more))


def alarm(what: str = whats.HUMIDITY_HIGH, priority: Priority = Priority.HIGH, **more: Any) -> Alarm:
    said = {"since": den.AS_OF - HOUR, "raised": den.AS_OF, "standing": Standing.UNACKNOWLEDGED, **more}
    return Alarm("ab12", what, "north wall", "den", priority=priority, **said)


def squeezed(text: str) -> str:
    return " ".join(text.split())


def order(*found: WallNow) -> list[str]:
    return [one.assessment.job for one in walls.worst_first(found)]


# --- what belongs to no wall ---


def test_sensors_that_fell_silent_together_are_a_line_and_all_is_in_the_zone_of_the_walls():
    silent = [replace(alarm(whats.SILENT, Priority.LOW), id=f"{n}", job=HOUSE, where=f"mill-{n}") for n in range(7)]
    later = replace(silent[0], where="yard", since=den.AS_OF)
    lines = walls.house((*silent, later), US)
    assert len(lines) == 2
    assert lines[0] == (
        "Mind: 7 sensors silent, since 2026-01-09 19:40 -05:00: mill-0, mill-1, mill-2, mill-3, mill-4 and 2 more; "
        "unacknowledged"
    )
    assert "sensor silent, sensor yard" in lines[1]
    over = walls.house([replace(one, returned=den.AS_OF, standing=Standing.RETURNED) for one in silent], US)
    assert "7 sensors silent, 2026-01-09 19:40 to 20:40 -05:00, over: mill-0" in over[0]


def test_pages_over_walls_of_several_zones_are_in_utc():
    other = wall("b")._replace(display=Display(zone_of("Europe/Helsinki"), "si"))
    assert "2026-01-10 01:40 UTC" in page(wall("a"), other)
    assert "2026-01-09 20:40 -05:00" in page(wall("a"))
    assert walls.words.shared([US, other.display]).zone.key == "UTC"
    assert walls.words.shared([US, US]) == US
    assert walls.words.shared([]).zone.key == "UTC"


def test_what_was_begun_before_its_record_is_not_said_to_be_begun_too_early():
    found = den.ASSESSMENT._replace(phase="after", before=None, during=None)
    assert walls.verdict(wall()._replace(assessment=found)).startswith("Begun before its record.")
    assert walls.words.verdict(found, US).startswith(
        "The wall was begun before its record: nothing here says how its planks were acclimated."
    )


# --- which is first ---------------------------------------------------------------------------------------------------


def test_the_state_decides_and_a_wall_without_a_sensor_comes_before_one_that_is_well():
    every = [wall(state, state) for state in ("closed", "in", "blind", "unknown", "out")]
    every.append(wall("ended", ended=den.AS_OF - DAY))
    assert order(*every) == ["out", "unknown", "blind", "ended", "in", "closed"]


def test_the_order_is_told_as_it_is():
    told = read_page(page(wall())).texts["mind"].split("; within")[0]
    places = [told.index(walls.NAMED[state].lower()) for state in walls.ORDER]
    assert places == sorted(places)


def test_not_watched_and_record_ended_are_two_things_and_both_are_explained():
    gone = wall(ended=den.AS_OF - DAY)
    assert (gone.state, walls.tag(gone)) == ("ended", "RECORD ENDED 2026-01-08")
    assert walls.to_do(gone)[0] == "Assign one: wallclime sensor assign. Or import a logger's file."
    html = page(gone, wall("b", "blind"))
    assert squeezed(read_page(html).texts["verdict"]) == "2 walls: 1 not watched, 1 record ended."
    assert "RECORD ENDED 2026-01-08" in html
    mind = squeezed(read_page(html).texts["mind"])
    assert "Not watched: no sensor ever was at the wall's air. Record ended: one was, until that day." in mind
    assert "nothing here says that it is well" in mind


def test_a_wall_without_a_sensor_is_never_in_band():
    told = wall(state="in", watched=False)
    assert (told.assessment.now.state, told.state, walls.NAMED[told.state]) == ("in", "blind", "NOT WATCHED")


def test_an_alarm_that_is_high_and_unseen_comes_before_any_state():
    seen = replace(alarm(), standing=Standing.ACKNOWLEDGED)
    low = alarm(priority=Priority.LOW)
    found = order(wall("a", "out"), wall("b", alarms=(low,)), wall("c", alarms=(seen,)), wall("d", alarms=(alarm(),)))
    assert found == ["d", "a", "b", "c"]


def test_within_a_state_the_longest_out_then_the_longest_not_known_then_the_name():
    found = [wall("a"), wall("b"), wall("c", unknown=HOUR), wall("d", out=1), wall("e", out=HOUR)]
    assert order(*found) == ["e", "d", "c", "a", "b"]


def test_the_building_with_the_worst_wall_is_first():
    html = page(wall("a", building=""), wall("b", building="gate"), wall("c", "out", building="gate"))
    heads = [squeezed(one) for one in read_page(html).headings]
    assert heads == [
        "gate 2 walls: 1 out of band, 1 in band",
        "no building named 1 wall: 1 in band",
        "How to read this",
    ]


# --- words ------------------------------------------------------------------------------------------------------------


def test_the_sentence_on_top_counts_every_state():
    found = [wall(state, state) for state in ("closed", "in", "blind", "unknown", "out")] + [wall("x")]
    assert squeezed(read_page(page(*found)).texts["verdict"]) == (
        "6 walls: 1 out of band, 1 not known, 1 not watched, 2 in band, 1 closed."
    )
    assert squeezed(read_page(page()).texts["verdict"]) == "No wall yet."


def test_the_room_is_told_with_what_its_sensors_say():
    assert walls.room(wall()) == (
        "Room in band since 2026-01-08 07:10 -05:00 (37 h 30 min); den-1 46.2 %, 68.7 degF; den-2 46.6 %, 69.1 degF."
    )
    assert walls.room(wall(state="closed")) == "The watch ended 2026-01-09 20:40 -05:00."


def test_before_the_start_the_verdict_is_the_reports():
    assert walls.verdict(wall()) == (
        "The installation may not start yet: 37.5 h of 48 h are counted, complete 2026-01-10 07:10 -05:00 "
        "if the room stays in band."
    )


def test_of_a_wall_that_is_up_it_says_how_it_was_begun_and_how_it_has_been():
    up = den.ASSESSMENT._replace(phase="after", after=Coverage(100 * HOUR, 90 * HOUR, 80 * HOUR))
    assert walls.verdict(wall(assessment=up, open_at_start=2)) == (
        "Begun before the acclimation was complete, 2 conditions open. "
        "Since the finish in band: 88.8 % of known time; 80.0 % to 90.0 % of elapsed time; 0 excursions."
    )
    assert walls.verdict(wall(assessment=up, thinned=40)).endswith("; 0 excursions; readings of 40 days were thinned.")
    begun = den.ASSESSMENT._replace(phase="during")
    assert walls.verdict(wall(assessment=begun)) == "Begun before the acclimation was complete."


def test_what_must_be_done_is_that_of_the_conditions_before_the_start():
    assert walls.to_do(wall()) == [
        "Leave the boxes closed and flat; keep the room in band.",
        "Walk along the wall, answer what is open: wallclime log check.",
        "Measure it beside a dry place of it: wallclime log moisture.",
    ]
    assert walls.to_do(wall(state="blind"))[0] == "Assign one: wallclime sensor assign. Or import a logger's file."
    assert walls.to_do(wall(state="closed")) == []


@pytest.mark.parametrize(
    ("state", "told"),
    [
        ("in", []),
        ("out", ["Heat, cool, humidify or dry the room until it is back in band."]),
        ("unknown", ["Let the room be heard: see that a sensor there sends."]),
        ("blind", ["Assign one: wallclime sensor assign. Or import a logger's file."]),
    ],
)
def test_what_must_be_done_for_a_wall_that_is_up(state: str, told: list[str]):
    up = wall(state=state).assessment._replace(phase="after")
    dust = Item("dust", den.AS_OF - 2 * DAY, den.AS_OF - 2 * DAY)
    found = wall(state=state, assessment=up, due=(dust,))
    assert walls.to_do(found) == [*told, "dust: overdue since 2026-01-07."]


def test_an_alarm_is_told_with_its_standing_and_what_to_do_first():
    told = wall(alarms=(alarm(shelved_until=den.AS_OF + HOUR),))
    assert walls.alarm(told.alarms[0], US) == (
        "URGENT: air too damp, north wall, den, since 2026-01-09 19:40 -05:00; unacknowledged, "
        "shelved until 2026-01-09 21:40 -05:00"
    )
    assert "URGENT: air too damp" in page(told)
    assert len(walls.to_do(told)) == 4


def test_the_week_and_the_days_are_in_words_beside_their_drawings():
    told = wall(weeks={den.RH: CALM, den.T: NONE}, out=3 * HOUR, unknown=HOUR)
    assert walls.week(told, den.RH) == "humidity 44.0 % to 47.0 %"
    assert walls.week(told, den.T) == "temperature not heard"
    assert walls.days(told) == "4 days: 2 in band, 1 out, 1 not known"
    assert walls.days(wall(days=())) == "no day yet"
    assert walls.lately(told) == "last 7 days: out of band 3 h, not known 1 h"
    assert walls.lately(wall()) == ""


def test_a_wall_shows_three_things_to_do_and_how_many_more():
    due = tuple(Item(what, 0, den.AS_OF - DAY) for what in ("dust", "wipe"))
    html = page(wall(due=due))
    assert "and 2 more" in html
    assert all(f"{what}: overdue since" in html for what in ("dust", "wipe"))


def test_names_cant_dress_up_the_page():
    nasty = wall(NASTY, building=NASTY, report="x.html", report_fault=NASTY, alarms=(replace(alarm(), where=NASTY),))
    html = page(nasty, unjudged=((NASTY, NASTY),), house=(replace(alarm(), job=HOUSE, where=NASTY),))
    assert "<script>document" not in html
    assert "\u202e" not in html


def test_a_simulated_wall_is_marked_and_the_page_says_so():
    training = wall(assessment=den.ASSESSMENT._replace(origin_share={den.OriginKind.SIMULATED: 1.0}))
    assert "north wall of the den (TRAINING)" in page(training)
    assert "TRAINING: readings of a wall marked so were simulated." in page(training)
    assert "TRAINING" not in page(wall())


# --- the small drawings -----------------------------------------------------------------------------------------------


def test_in_band_out_and_not_known_differ_by_shape():
    drawn = str(marks.strip(("in", "in", "out", "unknown")))
    # four days of the last 90: low and thick, through the whole height, a thin line at the foot
    assert '<path class="i" d="M86 8h2"/>' in drawn
    assert '<path class="o" d="M88 6h1"/>' in drawn
    assert '<path class="u" d="M89 11h1"/>' in drawn


def test_no_day_out_of_band_is_too_small_to_be_seen():
    drawn = str(marks.share_bar(Coverage(1000 * HOUR, 1000 * HOUR, 1000 * HOUR - 1)))
    assert '<path class="o" d="M118.5 0h1.5v12h-1.5z"/>' in drawn
    assert 'aria-label="over 99.9 % in band, under 0.1 % out of band"' in drawn


def test_a_week_draws_what_left_the_band_apart_and_keeps_every_extreme():
    high = CALM.high.copy()
    high[3] = 90.0
    drawn = str(marks.week(CALM._replace(high=high)))
    # from 35 - 4.5 to 90 on 32 px, the px numbered from the top: 90 is 1; 44 is 33 - 13.5 / 59.5 x 32 = 25.7
    assert '<path class="x" d="M3 1v25"/>' in drawn
    assert drawn.count("M") == 1 + BUCKETS  # the band's course, and a bar of each part


def test_where_nothing_was_heard_no_band_is_drawn_to_look_well_in():
    assert str(marks.week(NONE)).count("<path") == 1
    assert 'class="b"' not in str(marks.week(NONE))


def test_a_thousand_walls_take_about_two_megabytes():
    low = 44.0 + np.arange(BUCKETS) % 7
    weeks = {den.RH: Week(low, low + 20.1 + np.arange(BUCKETS) % 5, (35.0, 65.0)), den.T: WARM}
    days = (("in",) * 14 + ("out", "unknown", "in")) * 5
    found = [wall(f"wall {k} of some room", "out", f"house {k % 25}", weeks=weeks, days=days) for k in range(100)]
    head = len(page())
    assert head + 10 * (len(page(*found)) - head) < 2_500_000


# --- in a browser -----------------------------------------------------------------------------------------------------

FOUND = (
    wall("north wall", "out", "mill house", out=HOUR),
    wall("wall 10", "in", "gate house", unknown=3 * HOUR),
    wall("wall 9", "blind", "gate house", unknown=2 * HOUR, out=2 * HOUR),
    wall("Küche", "closed", ""),
)
SEEN = """() => [...document.querySelectorAll(".one")].filter((one) => one.checkVisibility())
  .map((one) => one.querySelector("h3").textContent)"""
HEADS = """() => [...document.querySelectorAll(".building")].filter((one) => one.checkVisibility())
  .map((one) => one.querySelector("h2").firstChild.textContent.trim())"""


@pytest.fixture(scope="module")
def board(window: Window):
    with window.open(page(*FOUND)) as opened:
        yield opened


@pytest.fixture
def fresh(board):
    board.run("() => { location.hash = ''; }")
    board.page.reload()
    return board


def test_walls_are_shown_by_building_worst_first(fresh):
    assert fresh.run(SEEN) == ["north wall", "wall 9", "wall 10", "Küche"]
    assert fresh.run(HEADS) == ["mill house", "gate house", "no building named"]
    assert fresh.page.locator("#shown").text_content() == "4 of 4 walls shown"
    assert fresh.console == []


@pytest.mark.parametrize(
    ("typed", "seen"),
    [
        ("gate", ["wall 9", "wall 10"]),
        ("GATE 10", ["wall 10"]),
        ("kuche", ["Küche"]),
        ("not watched", ["wall 9"]),
        ("nothing of the kind", []),
    ],
)
def test_what_is_typed_leaves_the_walls_that_have_every_word_of_it(fresh, typed: str, seen: list[str]):
    fresh.page.fill("#text", typed)
    assert fresh.run(SEEN) == seen
    assert fresh.page.locator("#shown").text_content() == f"{len(seen)} of 4 walls shown"


def test_a_building_and_states_are_chosen(fresh):
    fresh.page.select_option("#building", label="gate house")
    assert (fresh.run(SEEN), fresh.run(HEADS)) == (["wall 9", "wall 10"], ["gate house"])
    fresh.page.uncheck("input[value=blind]")
    assert fresh.run(SEEN) == ["wall 10"]


@pytest.mark.parametrize(
    ("order", "seen"),
    [
        ("rank", ["north wall", "wall 9", "wall 10", "Küche"]),
        ("out", ["wall 9", "north wall", "wall 10", "Küche"]),
        ("unknown", ["wall 10", "wall 9", "north wall", "Küche"]),
        ("name", ["Küche", "north wall", "wall 9", "wall 10"]),
    ],
)
def test_walls_are_sorted_over_all_buildings_and_back(fresh, order: str, seen: list[str]):
    fresh.page.select_option("#order", order)
    assert (fresh.run(SEEN), fresh.run(HEADS)) == (seen, [])
    fresh.page.select_option("#order", "building")
    assert fresh.run(HEADS) == ["mill house", "gate house", "no building named"]


def test_a_row_names_its_building_where_no_heading_does(fresh):
    named = "() => [...document.querySelectorAll('.in-building')].filter((one) => one.checkVisibility()).length"
    assert fresh.run(named) == 0
    fresh.page.select_option("#order", "rank")
    assert fresh.run(named) == 4
    assert fresh.page.locator(".in-building").first.text_content() == "mill house"


def test_what_else_must_be_done_can_be_opened(window: Window):
    due = tuple(Item(what, 0, den.AS_OF - DAY) for what in ("dust", "wipe"))
    with window.open(page(wall(due=due))) as opened:
        assert not opened.page.get_by_text("dust: overdue").is_visible()
        opened.page.get_by_text("and 2 more").click()
        assert opened.page.get_by_text("dust: overdue").is_visible()


@pytest.mark.parametrize("width", [360, 700, 1200])
def test_a_long_name_of_a_building_makes_no_page_wider_and_the_hint_is_read_whole(window: Window, width: int):
    long = wall(building="The " + "very long " * 11 + "house"), wall("b", building="x" * 120)
    with window.open(page(*long), width=width) as opened:
        for order in ("building", "rank"):
            opened.page.select_option("#order", order)
            assert opened.run("document.documentElement.scrollWidth") == width
            assert opened.run("document.querySelector('#find').scrollWidth") <= width
        hint = """() => { const box = document.getElementById("text"), style = getComputedStyle(box);
          const pen = document.createElement("canvas").getContext("2d"); pen.font = style.font;
          return pen.measureText(box.placeholder).width
            <= box.clientWidth - parseFloat(style.paddingLeft) - parseFloat(style.paddingRight); }"""
        assert opened.run(hint)


def test_what_was_chosen_stands_when_the_page_is_loaded_again(fresh):
    fresh.page.fill("#text", "wall")
    fresh.page.uncheck("input[value=out]")
    fresh.page.select_option("#order", "name")
    fresh.page.reload()
    assert fresh.run(SEEN) == ["wall 9", "wall 10"]
    assert fresh.page.locator("#order").input_value() == "name"


def test_the_keys_alone_reach_all_of_it(fresh):
    fresh.page.focus("#text")
    fresh.page.keyboard.type("wall")
    for _ in range(3):
        fresh.page.keyboard.press("Tab")
    assert fresh.run("document.activeElement.value") == "out"
    fresh.page.keyboard.press("Space")
    assert fresh.run(SEEN) == ["wall 9", "wall 10"]


def test_without_programs_the_board_is_whole_and_shows_no_form_that_does_nothing():
    read = read_page(page(*FOUND))
    assert "hidden" in next(attrs for tag, attrs in read.elements if tag == "form")
    assert (
        sum(attrs.get("class", "") is not None and "one " in (attrs.get("class") or "") for _, attrs in read.elements)
        == 4
    )


def test_a_wall_that_was_never_heard_says_so():
    told = wall(assessment=den.ASSESSMENT._replace(now=Now("unknown", None)))
    assert walls.room(told) == "Room not known: nothing heard yet."
