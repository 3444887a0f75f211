"""The life of a wall: what is due over all jobs, which episode a cause speaks of, where the winter is."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from desks import NOW, T0, clock, furnish, hear, kinds, opening, steady

from monitor.basis.errors import RecordError
from monitor.basis.times import DAY, HOUR
from monitor.basis.values import Kind
from monitor.watch.desk import Desk, open_desk
from monitor.watch.job.diary import correct
from monitor.watch.job.installing import Installing, install
from monitor.watch.job.jobs import close_job, open_job
from monitor.watch.job.life import care, cause, due, event, inspect, is_southern

FINISH = T0 + 4 * DAY


def finish(desk: Desk, job: str = "den", at: int = FINISH) -> None:
    install(desk, job, Installing(at - HOUR, at, not_ready=True, reason="guests"), who="robin")


def put_up(desk: Desk) -> Desk:
    """The den with a finished wall, and a humid time of 3 h before and another after."""
    furnish(desk)
    hear(desk, [row._replace(humidity=71.0 if row.t < T0 + 3 * HOUR else row.humidity) for row in steady(T0, 60)])
    hear(desk, steady(T0 + 5 * DAY, 2, humidity=75.0))
    finish(desk)
    return desk


@pytest.fixture
def wall(desk: Desk) -> Desk:
    """A desk with the den."""
    return put_up(desk)


@pytest.fixture(scope="module")
def standing(tmp_path_factory: pytest.TempPathFactory, empty: Path) -> Iterator[Desk]:
    """As `wall`, to be looked at and not to be changed."""
    home = tmp_path_factory.mktemp("standing") / "home"
    shutil.copytree(empty, home)
    with open_desk(home, environ={}, clock=clock()) as desk:
        put_up(desk)
        number = len(kinds(desk))
        yield desk
        assert len(kinds(desk)) == number


def refused(call: Any, *args: Any, **more: Any) -> str:
    with pytest.raises(RecordError) as found:
        call(*args, **more)
    return str(found.value)


# --- care and inspection ----------------------------------------------------------------------------------------------


def test_a_wall_that_is_not_finished_is_not_cared_for(desk: Desk):
    furnish(desk)
    said = (
        "job den: the wall is not finished by the log. "
        "Enter it first: wallclime log install den --start TIME --finish TIME"
    )
    assert refused(care, desk, "den", "dust", "", at=None, who="robin") == said
    assert refused(inspect, desk, "den", {"A3": 0.0005}, "", at=None, who="robin") == said


def test_care_begins_in_the_instant_of_the_finish(wall: Desk):
    assert refused(care, wall, "den", "dust", "", at=FINISH - 1, who="robin") == (
        "log care: 2026-01-08T23:59:59.999Z is before the finish, 2026-01-09T00:00:00Z. Check the date, or correct it"
    )
    assert care(wall, "den", "dust", "", at=FINISH, who="robin").body == {"did": "dust", "text": ""}


@pytest.mark.parametrize(
    ("call", "args", "said"),
    [
        (care, ("scrub", ""), "log care: 'scrub' is not understood. Use dust or wipe or look or repair"),
        (care, ("repair", " "), "log care: nothing is said of the repair. Say what was done: --text TEXT"),
        (
            inspect,
            ({}, ""),
            'log inspect: nothing was looked at. Give --joint "NAME=GAP" of each marked joint, or --text',
        ),
        (
            inspect,
            ({" A3": 0.0005}, ""),
            "--joint: ' A3' can't be a name. Use 1 to 120 printable characters without blanks around",
        ),
        (inspect, ({"A3": 0.11}, ""), "--joint: the gap of A3, 0.11 m can't be. Measure again: 0 to 0.1 m"),
    ],
)
def test_what_is_no_care_and_no_inspection_is_refused(standing: Desk, call, args, said):
    assert refused(call, standing, "den", *args, at=None, who="robin") == said
    assert refused(call, standing, "den", *args, at=NOW + 1, who="robin").endswith(
        "is in the future. The log holds what has happened; check the date"
    )


def test_an_inspection_answers_its_joints_beside_the_last(wall: Desk):
    inspect(wall, "den", {"A3": 0.0005}, "", at=FINISH, who="robin")
    entry, (a3, b1) = inspect(wall, "den", {"A3": 0.0007, "B1": 0.0}, "sound", at=None, who="kim")
    assert entry.body == {"joints_m": {"A3": 0.0007, "B1": 0.0}, "text": "sound"}
    assert (a3.before, a3.before_at, b1.before) == (0.0005, FINISH, None)


# --- events and causes ------------------------------------------------------------------------------------------------


def test_an_event_has_its_time_and_perhaps_an_end(wall: Desk):
    leak = event(wall, "den", "leak", "a hose", start=T0, end=T0 + HOUR, who="robin")
    assert (leak.at, leak.body) == (T0, {"what": "leak", "text": "a hose", "until": T0 + HOUR})
    now = event(wall, "den", "other", "a party", start=None, end=None, who="robin")
    assert (now.at, now.body["until"]) == (NOW, None)


@pytest.mark.parametrize(
    ("what", "text", "start", "end", "said"),
    [
        (
            "flood", "x", None, None,
            "log event: 'flood' is not understood. "
            "Use leak or heating-out or works-next-door or tenant-change or other",
        ),
        ("leak", " ", None, None, "log event: nothing is said. Write it, or leave it out"),
        ("leak", "x", T0, T0 - 1, "log of den: the event ends before it begins. Check the two times"),
        (
            "leak", "x", NOW + 1, None,
            "log event --from: 2026-01-17T00:00:00.001Z is in the future. The log holds what has happened; "
            "check the date",
        ),
        (
            "leak", "x", None, NOW + 1,
            "log event --to: 2026-01-17T00:00:00.001Z is in the future. The log holds what has happened; "
            "check the date",
        ),
    ],
)  # fmt: skip
def test_what_is_no_event_is_refused(standing: Desk, what, text, start, end, said):
    assert refused(event, standing, "den", what, text, start=start, end=end, who="robin") == said


def test_an_end_that_is_corrected_to_before_the_beginning_is_refused(wall: Desk):
    leak = event(wall, "den", "leak", "a hose", start=T0, end=None, who="robin")
    said = refused(correct, wall, "den", leak.number, instead={"until": T0 - 1}, reason="x", who="robin")
    assert said == "log of den: the event ends before it begins. Check the two times"
    done = correct(wall, "den", leak.number, instead={"until": T0 + HOUR}, reason="over now", who="robin")
    assert done.before.episodes == done.after.episodes


# the room is humid [T0, T0 + 3 h), which the next reading ends, and again from T0 + 5 d for 2 h; the last reading is of
# 110 min and speaks 30 min long
EPISODES = [(T0, T0 + 3 * HOUR), (T0 + 5 * DAY, T0 + 5 * DAY + 2 * HOUR + 20 * 60_000)]


def test_a_cause_speaks_of_the_whole_episode_whatever_names_it(wall: Desk):
    for number, at, which in ((1, None, 0), (2, None, 1), (None, T0 + HOUR, 0), (None, EPISODES[1][1], 1)):
        entry, _ = cause(wall, "den", number=number, at=at, cause="wet plaster", remedy="door shut", who="robin")
        start, end = EPISODES[which]
        assert (entry.kind, entry.at) == (Kind.CAUSE, start)
        assert entry.body == {"cause": "wet plaster", "remedy": "door shut", "until": end}


NAMED = "Episodes are 1: 2026-01-05T00:00:00Z to 2026-01-05T03:00:00Z, 2: 2026-01-10T00:00:00Z to 2026-01-10T02:20:00Z"


@pytest.mark.parametrize(
    ("number", "at", "why", "said"),
    [
        (None, None, "x", "log cause: it is not clear of what. Give --episode NUMBER or --at TIME"),
        (1, T0, "x", "log cause: it is not clear of what. Give --episode NUMBER or --at TIME"),
        (0, None, "x", f"job den: there is no episode 0. {NAMED}"),
        (3, None, "x", f"job den: there is no episode 3. {NAMED}"),
        (None, T0 + DAY, "x", f"job den: the room was in no episode 2026-01-06T00:00:00Z. {NAMED}"),
        (1, None, "", "--cause: nothing is said. Write it, or leave it out"),
    ],
)
def test_a_cause_of_nothing_is_refused(standing: Desk, number, at, why, said):
    assert refused(cause, standing, "den", number=number, at=at, cause=why, remedy="", who="robin") == said


def test_a_room_that_never_left_the_band_has_nothing_to_explain(desk: Desk):
    furnish(desk)
    hear(desk, steady(T0, 10))
    said = refused(cause, desk, "den", number=1, at=None, cause="x", remedy="", who="robin")
    assert said == "job den: the room never left the band. There is no episode to explain"


def test_of_many_episodes_the_last_five_are_named(desk: Desk):
    furnish(desk)
    for k in range(6):
        hear(desk, steady(T0 + k * DAY, 1, humidity=75.0))
    said = refused(cause, desk, "den", number=7, at=None, cause="x", remedy="", who="robin")
    assert said.startswith("job den: there is no episode 7. The last episodes are 2: 2026-01-06T00:00:00Z to ")
    assert said.count("Z to ") == 5


def test_a_cause_removes_nothing_and_changes_no_verdict(wall: Desk):
    from monitor.watch.judging import assess

    before = assess(wall, "den")
    cause(wall, "den", number=1, at=None, cause="wet plaster", remedy="", who="robin")
    assert assess(wall, "den") == before
    assert kinds(wall)[-1] == "cause"


# --- what is due ------------------------------------------------------------------------------------------------------


def test_walls_that_are_finished_and_open_are_asked_and_no_others(wall: Desk):
    for job in ("attic", "cellar", "hall"):
        open_job(wall, opening(job), who="robin")
    for job in ("attic", "cellar"):
        finish(wall, job)
    close_job(wall, "cellar", at=None, reason="sold", who="robin")
    care(wall, "attic", "dust", "", at=FINISH + DAY, who="robin")
    wall.clock.at_ms = FINISH + 15 * DAY  # type: ignore[attr-defined]
    found = due(wall)
    assert [(job, item.what, item.due) for job, item in found.items] == [
        ("den", "dust", FINISH + 14 * DAY),
        ("attic", "dust", FINISH + 15 * DAY),
    ]
    assert found.never == ("den",)
    assert found.zones == {"attic": "UTC", "den": "UTC"}


def test_a_year_ahead_all_is_listed_and_the_inspections_are_those_of_the_zones_half_of_the_earth(desk: Desk):
    for job, zone in (("north", "Europe/Helsinki"), ("south", "Africa/Johannesburg")):
        open_job(desk, opening(job, zone=zone), who="robin")
        finish(desk, job)
    names = {(job, item.what) for job, item in due(desk, within=365 * DAY).items}
    # the middle of the first inspection's time is 121.5 days after 9 January: 10 May
    first = [(job, item.what) for job, item in due(desk, within=100 * DAY).items if "inspection" in item.what]
    assert first == [("north", "inspection, first summer"), ("south", "inspection, first winter")]
    assert len(names) == 10


# latitudes by zone.tab of the tz database; ACT and NZ are other names of zones, UTC and Etc have no place
@pytest.mark.parametrize(
    ("zone", "south"),
    [
        ("America/New_York", False),
        ("Europe/Helsinki", False),
        ("Asia/Singapore", False),
        ("Africa/Nairobi", True),
        ("Australia/Sydney", True),
        ("Australia/ACT", True),
        ("America/Argentina/Ushuaia", True),
        ("NZ", True),
        ("UTC", False),
        ("Etc/GMT-10", False),
    ],
)
def test_a_zones_half_of_the_earth_is_that_of_its_chief_place(zone: str, south: bool):
    assert is_southern(zone) is south
