"""The morning's digest, the week's and the month's summary: every wall, the worst first, and once a period."""

from __future__ import annotations

from datetime import date

import pytest
from desks import T0, furnish, hear, opening, steady
from watching import every, humid, looks, messages, set_clock, told_desk

from monitor.basis.alarm import Priority
from monitor.basis.errors import RecordError
from monitor.basis.times import DAY, HOUR, MINUTE
from monitor.tell.alarm.digest import Rank
from monitor.watch.alarm_acts import acknowledge_alarms
from monitor.watch.job.installing import Installing, install
from monitor.watch.job.jobs import open_job
from monitor.watch.sensing.sensors import release_sensor
from monitor.watch.service import digest
from monitor.watch.service.digest import days_before, morning, tell_morning, tell_summary, works
from monitor.watch.service.schedule import Local, Schedule

MORNING = '[[contact]]\nname = "office"\nzone = "America/New_York"\ndigest = "07:00"\nweekly = true\nmonthly = true\n'
NOW = T0 + 32 * HOUR  # 2026-01-06T08:00Z, 03:00 in New York [ms]
MARCH = 1_772_841_600_000  # 2026-03-07T00:00Z, the day before clocks in New York go forward [ms]


@pytest.fixture
def home(tmp_path, sit_down):
    return tmp_path / "home"


@pytest.fixture
def desk(home, sit_down):
    """The den is too damp, the hall in band, the attic without a sensor; the loft of another house is silent."""
    told = told_desk(home, sit_down, MORNING)
    furnish(told)
    furnish(told, job="hall", sensor="rail")
    open_job(told, opening("attic", building="mill house"), who="robin")
    open_job(told, opening("loft", building="barn"), who="robin")
    furnish_loft(told)
    hear(told, steady(T0, 30))
    hear(told, humid(steady(T0 + 30 * HOUR, 2), 22.0))
    hear(told, steady(T0, 32), stream="site/rail/climate")
    looks(told, [NOW - HOUR, NOW])
    return told


def furnish_loft(desk):
    from monitor.watch.sensing.sensors import MAKER, add_sensor, assign_sensor

    add_sensor(desk, "beam", "site/beam/climate", hold=30 * MINUTE, uncertainty=MAKER, who="robin")
    assign_sensor(desk, "beam", "loft", at=T0, facts={}, who="robin")
    hear(desk, steady(T0, 20), stream="site/beam/climate")


def office(desk):
    return desk.settings.contacts[0]


# --- the morning -----------------------------------------------------------------------------------


def test_a_digest_tells_every_wall_the_worst_first(desk):
    told = tell_morning(desk, office(desk), "2026-01-06")
    assert told.subject == "Walls 2026-01-06: 1 in alarm, 1 not watched, 1 not known, 1 in band"
    assert told.jobs == ("attic", "den", "hall", "loft")
    lines = told.text.splitlines()
    assert lines[:2] == [
        "Walls 2026-01-06, of 2026-01-05 03:00 to 2026-01-06 03:00 -05:00.",
        "4 walls: 1 in alarm, 1 not watched, 1 not known, 1 in band.",
    ]
    walls = [line for line in lines if line.split(":")[0] in digest.telling.TAG.values()]
    assert walls == [
        "ALARM: den (not ready, 0.0 h of 48 h counted)",
        "IN BAND: hall (not ready, 32.0 h of 48 h counted)",
        "NOT WATCHED: attic (not ready, 0.0 h of 48 h counted)",
        "NOT KNOWN: loft (not ready, 0.0 h of 48 h counted)",
    ]
    assert [line for line in lines if line in ("no building named", "mill house", "barn")] == [
        "no building named", "mill house", "barn",
    ]  # fmt: skip


def test_a_wall_in_a_digest_says_its_room_its_share_and_what_stands(desk):
    text = tell_morning(desk, office(desk), "2026-01-06").text
    den = text[text.index("ALARM: den") : text.index("IN BAND: hall")].splitlines()
    assert den[1].startswith("  room OUT OF BAND since 2026-01-06 06:00 +00:00 (2 h); shelf 72.")
    assert den[2] == "  in band 91.6 % of the known time; 100.0 % of the time is known"  # 22 of 24 h, cut
    assert den[3].startswith("  alarm, high: air too damp, den, since 2026-01-06 06:00 +00:00: now 72.")
    assert den[4].startswith("    to do: Find where the damp comes from")


def test_what_nobody_hears_is_never_counted_as_good(desk):
    ranks = {wall.job: wall.rank(NOW) for wall in morning(desk, office(desk)).walls}
    assert ranks == {"den": Rank.ALARM, "hall": Rank.GOOD, "attic": Rank.NOT_WATCHED, "loft": Rank.NOT_KNOWN}
    text = tell_morning(desk, office(desk), "2026-01-06").text
    assert "  no sensor ever stood there: nobody knows how it is. Assign one: wallclime sensor assign\n" in text
    loft = text[text.index("NOT KNOWN: loft") :]
    assert "  in band 100.0 % of the known time; 51.3 % of the time is known\n" in loft  # 08:00 to 20:20 of 24 h


def test_a_silent_sensor_stands_under_the_sensors(desk):
    text = tell_morning(desk, office(desk), "2026-01-06").text
    part = text[text.index("Sensors and this wallclime") :]
    assert "  alarm, low: sensor silent, sensor beam in loft, since 2026-01-05 14:50 -05:00" in part


def told_of(desk, at):
    """The digest of a time. [ms]"""
    set_clock(desk, at)
    return tell_morning(desk, office(desk), "2026-01-07").text


def test_what_is_over_is_no_alarm_of_a_wall_and_is_told_for_a_day_with_nothing_to_do(desk):
    hear(desk, steady(NOW, 26))
    looks(desk, every(NOW + 10 * MINUTE, NOW + 2 * HOUR))
    [damp] = [one for one in desk.store.alarms() if one.what == "humidity high"]
    assert not damp.standing.active
    for seen in (False, True):  # whether somebody acknowledges it or not
        if seen:
            acknowledge_alarms(desk, [damp.id], "robin")
        text = told_of(desk, NOW + 2 * HOUR + seen)
        assert "ALARM: den" not in text
        den = text[text.index("IN BAND: den") :].split("\n\n")[0]
        told = den[den.index("  over in the last 24 h:\n") :].splitlines()
        assert told[1].startswith("    high: air too damp, den, 2026-01-06 06:00 to ")
        assert "to do" not in told[1] + "".join(told[2:3])
    [den] = [wall for wall in morning(desk, office(desk)).walls if wall.job == "den"]
    assert den.rank(NOW + 2 * HOUR) is Rank.GOOD
    hear(desk, steady(NOW + 26 * HOUR, 1))
    assert "air too damp" not in told_of(desk, NOW + 27 * HOUR)


def test_a_digest_is_known_by_its_day(desk):
    first = tell_morning(desk, office(desk), "2026-01-06")
    assert tell_morning(desk, office(desk), "2026-01-06").id == first.id
    assert tell_morning(desk, office(desk), "2026-01-07").id != first.id
    assert [one.subject for one in messages(desk) if one.kind == "digest"] == [first.subject] * 2


def test_care_that_is_due_stands_in_the_digest_of_a_wall(desk):
    set_clock(desk, NOW)
    install(desk, "hall", Installing(NOW - 2 * HOUR, NOW - HOUR, not_ready=True, reason="guests"), who="robin")
    set_clock(desk, NOW + 40 * DAY)
    hear(desk, steady(NOW + 40 * DAY - HOUR, 1), stream="site/rail/climate")
    [hall] = [wall for wall in morning(desk, office(desk)).walls if wall.job == "hall"]
    assert hall.rank(NOW + 40 * DAY) is Rank.CARE
    text = tell_morning(desk, office(desk), "2026-02-15").text
    assert "CARE DUE: hall (the wall is up)\n" in text
    assert "  care: dust it by " in text


def test_a_wall_that_cannot_be_judged_stops_no_digest(desk, monkeypatch):
    judge = digest.assess

    def breaks(at, job):
        if job == "hall":
            raise RecordError("it contradicts itself", where="log of hall", mend="Correct it")
        return judge(at, job)

    monkeypatch.setattr(digest, "assess", breaks)
    text = tell_morning(desk, office(desk), "2026-01-06").text
    assert "CAN'T BE JUDGED: hall\n  log of hall: it contradicts itself. Correct it\n" in text


def test_a_wall_that_cannot_be_read_stops_no_digest(desk, monkeypatch):
    monkeypatch.setattr(digest, "assess", lambda _at, job: {}[job])
    text = tell_morning(desk, office(desk), "2026-01-06").text
    assert "CAN'T BE JUDGED: hall\n  'hall'\n" in text


def test_a_contact_of_a_building_hears_of_its_walls_alone(home, sit_down):
    desk = told_desk(home, sit_down, MORNING + 'buildings = ["mill house"]\nleast = "medium"\n')
    furnish(desk)
    open_job(desk, opening("attic", building="mill house"), who="robin")
    assert office(desk).least is Priority.MEDIUM
    assert [wall.job for wall in morning(desk, office(desk)).walls] == ["attic"]


def test_where_nobody_named_a_building_none_is_headed(home, sit_down):
    desk = told_desk(home, sit_down, MORNING)
    furnish(desk)
    set_clock(desk, T0 + 7 * DAY)
    texts = [
        tell_morning(desk, office(desk), "2026-01-12").text,
        tell_summary(desk, office(desk), "week", "2026-W03").text,
    ]
    assert ["no building named" in text for text in texts] == [False, False]


def test_without_a_wall_a_digest_says_so(home, sit_down):
    desk = told_desk(home, sit_down, MORNING)
    told = tell_morning(desk, office(desk), "2026-01-05")
    assert told.subject == "Walls 2026-01-04: none is open"  # 2026-01-05T00:00Z is 19:00 of the day before there


def test_a_wall_whose_sensor_was_taken_away_is_told_as_one_whose_record_ended(desk):
    release_sensor(desk, "rail", at=NOW - HOUR, who="robin")
    told = tell_morning(desk, office(desk), "2026-01-06")
    lines = told.text.splitlines()
    assert ", 1 record ended, " in lines[1]
    at = lines.index("RECORD ENDED 2026-01-06: hall (not ready, 31.0 h of 48 h counted)")
    assert lines[at + 1 : at + 3] == [
        "  no sensor stands there since 2026-01-06 07:00 +00:00: nobody knows how it is.",
        "  Assign one: wallclime sensor assign. Or import a logger's file",
    ]


# --- a week, a month -------------------------------------------------------------------------------


def test_a_summary_is_of_the_days_before_its_period():
    assert days_before("week", "2026-W02") == (date(2025, 12, 29), date(2026, 1, 5))
    assert days_before("month", "2026-01") == (date(2025, 12, 1), date(2026, 1, 1))
    assert days_before("month", "2026-03") == (date(2026, 2, 1), date(2026, 3, 1))


def test_a_summary_of_the_week_tells_every_wall_of_each_building(desk):
    set_clock(desk, T0 + 7 * DAY + 12 * HOUR)
    told = tell_summary(desk, office(desk), "week", "2026-W03")
    assert told.subject == "Walls, 2026-01-05 to 2026-01-11: 4 walls, 1 left the band, 1 not wa..."
    lines = told.text.splitlines()
    assert lines[:2] == ["Walls, 2026-01-05 to 2026-01-11.", "4 walls, 1 left the band, 1 not watched."]
    assert lines[3] == "What stands now"
    den = lines.index("den (NOT READY)")
    assert lines[den + 1] == (
        # by hand: 30 h in band of 32 h 20 min known, of 168 h; 100 % less 2 h 20 min of 168 h
        "  in band: 92.7 % of known time; 17.8 % to 98.6 % of elapsed time; known: 19.2 % of 7 d"
    )
    assert lines[den + 2].startswith("  out of band: humidity above 65.0 %, at worst 72.8 %")
    assert lines[den + 3] == "  alarms: 1 alarm: air too damp"
    assert lines[den + 4] == "  care done: nothing; to be done: nothing"
    assert "attic (NOT READY; NOT WATCHED: no sensor was there)" in lines


def test_a_summary_is_known_by_its_period_and_its_length(desk):
    set_clock(desk, T0 + 30 * DAY)
    weeks = {tell_summary(desk, office(desk), "week", each).id for each in ("2026-W03", "2026-W03", "2026-W04")}
    month = tell_summary(desk, office(desk), "month", "2026-02")
    assert len(weeks | {month.id}) == 3
    assert month.subject.startswith("Walls, January 2026: 4 walls")


# --- when ------------------------------------------------------------------------------------------


def test_each_contact_has_the_works_that_it_asks_for(home, sit_down):
    desk = told_desk(home, sit_down, MORNING + '[[contact]]\nname = "site"\nmonthly = true\nzone = "UTC"\n')
    assert [(one.name, one.trigger.once, one.trigger.at.isoformat("minutes")) for one in works(desk)] == [
        ("digest for office", "day", "07:00"),
        ("week for office", "week", "07:00"),
        ("month for office", "month", "07:00"),
        ("month for site", "month", "07:00"),
    ]
    assert all(isinstance(one.trigger, Local) for one in works(desk))


def begun(desk):
    """The schedule of a daemon that was started now."""
    schedule = Schedule(desk)
    schedule.take(list(works(desk)))
    return schedule


def test_over_the_change_of_the_clocks_each_morning_is_told_once(home, sit_down):
    desk = told_desk(home, sit_down, MORNING.replace("weekly = true\nmonthly = true\n", ""), at=MARCH)
    schedule = begun(desk)
    for at in range(MARCH, MARCH + 4 * DAY, HOUR):
        set_clock(desk, at)
        schedule.turn("digest for office")
        if at % DAY == 13 * HOUR:  # it is started anew, and the clock is put back by two hours
            set_clock(desk, at - 2 * HOUR)
            schedule = begun(desk)
            schedule.turn("digest for office")
    made = desk.store.outbox_made(0)["office"]
    assert made == [MARCH + 12 * HOUR, *(MARCH + day * DAY + 11 * HOUR for day in (1, 2, 3))]  # 07:00 EST, then EDT
    days = [f"2026-03-{day:02d}" for day in (6, 7, 8, 9, 10)]  # the first was over when it began: left out
    assert sorted(desk.store.periods_of("digest for office")) == days


def test_walls_of_one_room_that_have_the_same_to_say_are_told_once(home, sit_down):
    desk = told_desk(home, sit_down, MORNING)
    furnish(desk)
    open_job(desk, opening("wall beside it", wall_place="den", boxes_place="den"), who="robin")
    hear(desk, steady(T0, 30))
    set_clock(desk, T0 + 30 * HOUR)
    lines = tell_morning(desk, office(desk), "2026-01-06").text.splitlines()
    assert "IN BAND: den, wall beside it (not ready, 30.0 h of 48 h counted)" in lines
    assert sum(line.startswith("  room in band") for line in lines) == 1
