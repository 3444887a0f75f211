"""The parts of several daemons: what each hears and does, and what is said of them."""

import threading
from dataclasses import replace
from unittest import mock

import pytest
from desks import NOW, furnish, hear, steady

from monitor.basis.errors import SettingsError, StoreError
from monitor.basis.times import DAY, HOUR, MINUTE, SECOND
from monitor.basis.values import Kind
from monitor.config.shares import Share
from monitor.intake.topics import filters_of_stream
from monitor.keep.rows import Part
from monitor.watch.evidence.silences import away, away_of
from monitor.watch.examine_service import unshared, worker
from monitor.watch.examining import IllError, UnknownError
from monitor.watch.service import parts, works
from monitor.watch.service.awake import daemon_trouble, worker_lines
from monitor.watch.service.parts import Lead, Role, checked_share, ears_of, part_of, unheard
from monitor.watch.service.schedule import Every, Schedule, Work
from monitor.watch.service.sight import Memory
from monitor.watch.service.vitals import house_of

NORTH, SOUTH = Share("north", ("site/shelf/#",)), Share("south", ("site/den/#", "site/attic/climate"))


@pytest.fixture
def desk(desk):
    """Of the sources of a new home the one that names its topic."""
    [source] = [one for one in desk.settings.sources if one.topic == "site/{sensor}/climate"]
    return desk._replace(settings=replace(desk.settings, sources=(source,)))


def with_shares(desk, *shares):
    """The same desk, where wallclime.toml has shares."""
    return desk._replace(settings=replace(desk.settings, shares=shares))


# --- what is heard ---


def test_a_daemon_of_a_share_hears_its_part_of_each_source_under_an_id_of_its_own(desk):
    settings = with_shares(desk, NORTH, SOUTH).settings
    [ear] = ears_of(settings, Role.INTAKE, SOUTH)
    assert ear.filters == ("site/den/climate", "site/attic/climate")
    assert ear.broker.client_id == f"{settings.broker.client_id}-south"
    assert part_of(Role.INTAKE, SOUTH, [ear]) == Part("intake", "south", ear.filters)


def test_one_that_does_all_hears_all_and_has_no_part(desk):
    ears = ears_of(desk.settings, Role.ALL, None)
    assert [(ear.broker, ear.filters) for ear in ears] == [(desk.settings.broker, ("site/+/climate",))]
    assert part_of(Role.ALL, None, ears) is None


def test_who_judges_or_leads_hears_nothing(desk):
    assert [ears_of(desk.settings, role, None) for role in (Role.JUDGE, Role.SCHEDULE)] == [[], []]


@pytest.mark.parametrize(
    ("role", "share", "shared", "told"),
    [
        (
            Role.JUDGE, None, False,
            "serve --role judge: an SQLite store has one daemon, which does all. Leave --role and --share out; several "
            "daemons need a PostgreSQL, see [store] url in wallclime.toml",
        ),
        (
            Role.ALL, "north", False,
            "serve --share north: an SQLite store has one daemon, which does all. Leave --role and --share out; "
            "several daemons need a PostgreSQL, see [store] url in wallclime.toml",
        ),
        (
            Role.JUDGE, "north", True,
            "serve --share north: a daemon of the role judge hears nothing. Leave --share out",
        ),
        (Role.INTAKE, "nort", True, "serve --share nort: there is no share 'nort'. Did you mean \"north\"?"),
    ],
)  # fmt: skip
def test_a_part_that_can_not_be_is_refused(desk, role, share, shared, told):
    with pytest.raises(SettingsError) as error:
        checked_share(with_shares(desk, NORTH).settings, role, share, shared=shared)
    assert str(error.value) == told


def test_where_there_are_no_shares_none_is_near(desk):
    with pytest.raises(
        SettingsError, match=r"there is no share 'x'\. Add a \[\[share\]\] of that name to wallclime.toml"
    ):
        checked_share(desk.settings, Role.INTAKE, "x", shared=True)


def test_of_a_source_that_no_share_hears_wholly_it_is_said_what_is_heard(desk):
    assert unheard(desk.settings) == {}
    assert unheard(with_shares(desk, Share("all", ("site/#",))).settings) == {}
    assert unheard(with_shares(desk, NORTH).settings) == {
        "site/{sensor}/climate": "the shares hear site/shelf/climate of it, and nothing else"
    }
    [said] = unheard(with_shares(desk, Share("bare", ("bare/#",))).settings).values()
    with pytest.raises(IllError, match="no share hears it"):
        unshared(said)


def test_the_topics_of_a_sensor_follow_from_its_address(desk):
    [source] = desk.settings.sources
    number = source._replace(topic="bare/{sensor}/{what}", stream="bare/{sensor}")
    senml = source._replace(topic="senml/{site}/up", stream="{site}/", format="senml")
    assert filters_of_stream([source, number, senml], "bare/7") == ["bare/7/+", "senml/bare/up"]
    assert filters_of_stream([source], "site/den/climate") == ["site/den/climate"]
    assert filters_of_stream([source], "file:logger") == []
    wide = source._replace(topic="flat7/#", stream="flat7/{sensor}", format="plain")
    assert filters_of_stream([wide], "flat7/hall/state") == ["flat7/hall/state"]
    assert filters_of_stream([wide], "flat8/hall/state") == []


# --- who does what ---


def done_by(desk, role):
    given = works.works_of(desk, lambda: None, {})
    return [work.name for work in parts.works_of_role(desk, role, given, {})]


def test_each_role_has_its_works(desk):
    assert done_by(desk, Role.INTAKE) == ["stay awake"]
    assert done_by(desk, Role.JUDGE) == ["stay awake", "judge"]
    assert done_by(desk, Role.SCHEDULE) == ["stay awake", "tidy", "seal", "compact", "look"]
    assert done_by(desk, Role.ALL) == ["stay awake", "judge", "tidy", "seal", "compact", "look"]


def test_who_does_not_lead_does_what_is_done_everywhere_and_leaves_the_rest_and_its_runs(desk):
    done: list[str] = []
    schedule = Schedule(desk, lambda: False)
    every = Every(HOUR)
    schedule.take(
        [Work("one", every, done.append), Work("each", every, lambda _: done.append("each"), everywhere=True)]
    )
    for name in ("one", "each"):
        schedule.turn(name)
    assert done == ["each"]
    assert desk.store.scheduled() == []


def test_judges_divide_the_jobs_and_write_each_completion_once(desk, sit_down):
    furnish(desk)
    hear(desk, steady(NOW - 12 * DAY, 50))
    looked: list[dict] = [{}, {}]
    for at, known in zip((desk, sit_down()), looked, strict=True):
        parts.judge_a_share(at, known, Memory())
    assert [list(known) for known in looked] == [["den"], []]
    assert len([entry for entry in desk.book.log("den") if entry.kind is Kind.COMPLETION]) == 1


def test_whoever_lost_the_lead_comes_to_an_end(desk, monkeypatch):
    stop, answers = threading.Event(), iter([True, True, False])
    monkeypatch.setattr(type(desk.store), "lead", lambda _: next(answers))
    lead = Lead(desk, Role.ALL, stop)
    assert [lead.take(), lead(), lead.take()] == [True, True, False]
    lead.check()
    assert (lead.take(), lead(), stop.is_set()) == (False, False, True)
    with pytest.raises(StoreError) as error:
        lead.check()
    assert str(error.value) == ("serve: another daemon has taken the lead. Nothing to do: started anew it stands by")


def test_whoever_does_not_know_whether_it_leads_leaves_it_until_it_knows(desk, monkeypatch):
    out = StoreError("the database refused: gone", where="store", mend="Check that it runs")
    for last in (True, False):
        stop, asked = threading.Event(), mock.Mock(side_effect=[True, out, last])
        monkeypatch.setattr(type(desk.store), "lead", asked)
        lead = Lead(desk, Role.ALL, stop)
        lead.take()
        with pytest.raises(StoreError, match="gone"):
            lead.take()
        assert not lead()
        assert (lead.take(), lead(), stop.is_set()) == (last, last, not last)  # taken up anew, or lost to another


def test_who_may_not_lead_does_not(desk):
    lead = Lead(desk, Role.JUDGE, threading.Event())
    assert (lead.take(), lead()) == (False, False)


# --- when nobody heard ---


def there(desk, part, since, until):
    """A daemon that was there from `since` to `until`."""
    desk.clock.at_ms = since
    number = desk.store.wake(part)
    desk.clock.at_ms = until
    desk.store.stay_awake(number, {"links": []})


def test_what_one_share_did_not_hear_is_unknown_only_for_its_sensors(desk):
    furnish(desk)
    desk = with_shares(desk, NORTH, SOUTH)
    north, south = Part("intake", "north", ("site/shelf/climate",)), Part("intake", "south", ("site/den/climate",))
    there(desk, south, NOW, NOW + 10 * HOUR)
    there(desk, north, NOW, NOW + 2 * HOUR)
    there(desk, Part("judge", None, ()), NOW, NOW + 10 * HOUR)
    there(desk, north, NOW + 5 * HOUR, NOW + 10 * HOUR)
    gap = (NOW + 2 * HOUR, NOW + 5 * HOUR)
    assert away(desk) == ()
    assert away(desk, [["site/den/climate"]]) == ()
    assert away_of(desk, desk.book.frame_at("den", desk.clock.now())) == (gap,)
    assert house_of(desk, [], desk.clock.now()).away == (gap,)


def test_absences_of_two_shares_that_overlap_are_one(desk):
    desk = with_shares(desk, NORTH, SOUTH)
    for share, gone, back in ((NORTH, 2, 5), (SOUTH, 4, 7)):
        part = Part("intake", share.name, share.topics)
        there(desk, part, NOW, NOW + gone * HOUR)
        there(desk, part, NOW + back * HOUR, NOW + 10 * HOUR)
    assert away(desk, [NORTH.topics, SOUTH.topics]) == ((NOW + 2 * HOUR, NOW + 7 * HOUR),)
    assert away(desk) == ((NOW + 4 * HOUR, NOW + 5 * HOUR),)


# --- what is said of them ---


def test_each_of_several_is_shown_and_what_nobody_does_is_said(desk):
    desk = with_shares(desk, NORTH, SOUTH)
    there(desk, Part("intake", "north", NORTH.topics), NOW, NOW + HOUR)
    there(desk, Part("judge", None, ()), NOW, NOW + HOUR - 10 * MINUTE)
    there(desk, Part("schedule", None, ()), NOW, NOW + HOUR)
    desk.clock.at_ms = NOW + HOUR + 5 * SECOND
    assert worker_lines(desk) == [
        "serve intake of share north: last sign of life 5 s ago",
        "serve judge: not there since 2026-01-17 00:50+00:00",
        "serve schedule: last sign of life 5 s ago",
    ]
    assert daemon_trouble(desk) == [
        "nobody judges: start wallclime serve --role judge",
        "nobody hears share south: start wallclime serve --role intake --share south",
    ]


def test_one_that_does_all_leaves_nothing_undone_and_is_no_line(desk):
    there(desk, None, NOW, NOW + HOUR)
    assert (worker_lines(desk), daemon_trouble(desk)) == ([], [])


def test_the_doctor_says_of_each_of_several_how_it_is(desk):
    there(desk, Part("intake", "north", NORTH.topics), NOW, NOW + HOUR)
    [found] = desk.store.daemons()
    assert worker(desk, found) == (
        "it runs since 2026-01-17T00:00:00Z, last sign of life 0 s ago; it hears site/shelf/#"
    )
    desk.clock.move(HOUR)
    with pytest.raises(IllError, match="it is not there since 2026-01-17T01:00:00Z"):
        worker(desk, found)
    with pytest.raises(UnknownError, match="it was stopped 2026-01-17T01:00:00Z"):
        worker(desk, found._replace(state={"stopped": True}))
