"""The sheet for the people who live with the wall."""

from __future__ import annotations

from typing import Any

import invented_den as den
import pytest
from read_page import read_page

from monitor.basis.times import DAY, HOUR, zone_of
from monitor.basis.values import Kind, OriginKind
from monitor.rules.assessment import Coverage
from monitor.rules.cautions import CAUTIONS, at_step
from monitor.rules.install.care import Item
from monitor.rules.install.makers import Document, Span
from monitor.tell.makers import warnings
from monitor.tell.pages.handover import HandoverPage, SensorHere, render_handover
from monitor.tell.words import Display

FINISH = den.DELIVERED + 80 * HOUR
WRITTEN = den.AS_OF
INSTALL = {
    "finish": FINISH,
    "lots": ["A"],
    "who_installed": "two fitters",
    "fastening": "adhesive",
    "adhesive": "for panels",
    "offcut": "behind the boiler",
}
ENTRIES = (
    *den.ENTRIES[:3],
    den.entry(5, Kind.INSTALL, FINISH - 8 * HOUR, INSTALL, later=3 * DAY),
    den.entry(6, Kind.CARE, FINISH + HOUR, {"did": "dust", "text": ""})._replace(who="K. Example"),
    den.entry(7, Kind.COMPLETION, FINISH, {"delivery": 2})._replace(who="wallclime"),
    den.entry(8, Kind.PHOTO, FINISH, {}),
)
ITEMS = (
    Item("dust", FINISH + DAY, WRITTEN - 1, FINISH + HOUR),
    Item("wipe", WRITTEN + 30 * DAY, WRITTEN + 30 * DAY),
    Item("inspection, first summer", FINISH, FINISH, FINISH + HOUR, over=True),
)
ASSESSMENT = den.ASSESSMENT._replace(phase="after", after=Coverage(28 * HOUR, 28 * HOUR, 28 * HOUR))
SENSORS = (SensorHere("den-1", "den", den.DELIVERED, None), SensorHere("den-2", "den", den.DELIVERED, FINISH))
APART = (
    *SENSORS,
    SensorHere("eaves", "porch", den.DELIVERED, None, "outdoors"),
    SensorHere("probe", "den", den.DELIVERED, FINISH, "box"),
    SensorHere("disc", "den", FINISH, None, "surface"),
)
MAKER = Document(7, den.DELIVERED, "Hall planks", "3", "2025-11", "x", "00", {"humidity": Span(40.0, 60.0)})


def sheet(**changes: Any) -> str:
    page = HandoverPage(
        assessment=ASSESSMENT,
        facts=den.FACTS,
        profile=den.PROFILE,
        items=ITEMS,
        sensors=SENSORS,
        entries=ENTRIES,
        written_at=WRITTEN,
        software="wallclime 0.1.0",
    )
    return render_handover(page._replace(**changes))


def full() -> str:
    """As much as a real job brings along: every kind of sensor, a stricter maker, the whole plan of care."""
    looser = warnings([MAKER], den.PROFILE, Display(zone_of("UTC"), "us"))
    more = (
        Item("look", WRITTEN + 90 * DAY, WRITTEN + 91 * DAY),
        Item("inspection, first winter", FINISH, WRITTEN + DAY),
    )
    return sheet(sensors=APART, items=(*ITEMS, *more), facts=den.FACTS._replace(looser=tuple(looser)))


@pytest.fixture(scope="module")
def read():
    return read_page(sheet())


def squeezed(text: str) -> str:
    return " ".join(text.split())


def test_the_band_of_the_walls_life_stands_large_in_the_jobs_units(read):
    assert squeezed(read.texts["air"]) == "35 % to 65 %relative humidity60 °F to 85 °Ftemperature"


def test_whole_degrees_are_never_wider_than_the_band():
    # 60 degF is 15.6 degC and 85 degF 29.4 degC: 16 to 29 lie inside
    metric = den.FACTS._replace(units="si")
    assert "16 °C to 29 °C" in read_page(sheet(facts=metric)).texts["air"]


def test_the_life_band_is_shown_and_not_that_of_the_installation():
    life = den.PROFILE.life._replace(humidity=(30.2, 59.8))
    assert "31 % to 59 %" in read_page(sheet(profile=den.PROFILE._replace(life=life))).texts["air"]


def test_the_plan_has_dates_and_says_what_is_overdue_and_what_is_done(read):
    assert read.tables["plan"] == [
        ["what", "how often", "next by", "last"],
        ["dust it", "every 14 days", "overdue since 2026-01-09", "2026-01-08"],
        ["wipe it", "every 90 days", "2026-02-08", "never yet"],
        ["inspection, first summer", "once", "done", "2026-01-08"],
    ]


def test_what_harms_it_and_how_to_care_are_the_profiles(read):
    assert den.PROFILE.care.how.strip() in read.body
    assert den.PROFILE.care.never.strip() in read.body
    assert f"Source: {den.PROFILE.sources.get('care.how', 'none given')}." in read.body


def test_who_put_it_up_with_what_and_what_was_entered_late(read):
    assert squeezed(read.texts["facts"]) == (
        "wall 16 ft x 8 ft, in den put up 2026-01-08 08:40 -05:00 (entered 3 d later) to 2026-01-08 16:40 -05:00 "
        "(entered 3 d later) by two fitters fixed with adhesive, for panels kept for repairs behind the boiler "
        "planks laminate planks, interior wall"
    )


def test_what_is_recorded_and_by_whom(read):
    assert squeezed(read.texts["recorded"]) == (
        "temperature and humidity of den-1 in den since 2026-01-05; den-2 in den since 2026-01-05, until "
        "2026-01-08 what people said 6 entries, by R. Example; K. Example kept with it 1 photo"
    )


def test_of_many_sensors_the_first_are_named_and_the_rest_counted():
    many = tuple(SensorHere(f"den-{k}", "den", den.DELIVERED, None) for k in range(1, 9))
    told = read_page(sheet(sensors=many)).texts["recorded"]
    assert "den-6 in den since 2026-01-05 and 2 more" in squeezed(told)
    assert "no room: there is no sensor" in read_page(sheet(sensors=())).texts["recorded"]


def test_sensors_are_told_apart_by_what_they_hear():
    assert squeezed(read_page(sheet(sensors=APART)).texts["recorded"]).startswith(
        "temperature and humidity of den-1 in den since 2026-01-05; den-2 in den since 2026-01-05, until 2026-01-08 "
        "the air outdoors, of eaves in porch since 2026-01-05 "
        "temperature inside boxes, of probe in den since 2026-01-05, until 2026-01-08 "
        "temperature on the wall, of disc in den since 2026-01-08 what people said"
    )


def test_what_the_program_entered_is_not_what_people_said():
    alarm = den.entry(9, Kind.ALARM, FINISH, {})
    own = (*ENTRIES, alarm._replace(who="wallclime"), alarm._replace(number=10, who="wallclime"))
    assert "what people said 6 entries, by R. Example; K. Example" in squeezed(
        read_page(sheet(entries=own)).texts["recorded"]
    )
    answered = (*ENTRIES, alarm._replace(who="L. Example"))
    assert "7 entries, by R. Example; K. Example; L. Example" in squeezed(
        read_page(sheet(entries=answered)).texts["recorded"]
    )


def test_the_band_of_the_maker_is_said_to_hold_until_the_wall_is_finished():
    told = squeezed(read_page(full()).texts["so-far"])
    assert "The maker asks for 40 to 60 %RH until the wall is finished; this profile allows 35 to 65 %RH" in told


def test_the_record_so_far_is_one_verdict(read):
    assert squeezed(read.texts["so-far"]).endswith("Since the finish the room was in band 100.0 % of known time; "
        "100.0 % to 100.0 % of elapsed time (unknown time counted out, and in), with 0 excursions.")  # fmt: skip


def test_the_cautions_of_care_stand_in_full(read):
    for caution in at_step("care"):
        assert CAUTIONS[caution].text in squeezed(read.texts["cautions"])


def test_nobody_is_named_to_be_called(read):
    cells = [cell for row in read.tables["calls"] for cell in row]
    assert cells[1::2] == ["", "", "", ""]
    assert all(cells[::2])


def test_a_simulated_room_is_a_training_job_here_too():
    training = ASSESSMENT._replace(origin_share={OriginKind.SIMULATED: 1.0})
    assert "TRAINING JOB" in sheet(assessment=training)
    assert "TRAINING JOB" not in sheet()


def test_names_cant_dress_up_the_sheet():
    nasty = '<script>document.title="taken"</script>\u202e'
    page = sheet(assessment=ASSESSMENT._replace(job=nasty), sensors=(SensorHere(nasty, nasty, 0, None),))
    assert "<script>" not in page
    assert "\u202e" not in page


def test_the_same_values_give_the_same_bytes_and_nothing_is_fetched():
    page = sheet()
    assert page == sheet()
    assert "script-src &#39;none&#39;" in page
    assert not [tag for tag, attrs in read_page(page).elements if tag in ("script", "link", "img") or "src" in attrs]
