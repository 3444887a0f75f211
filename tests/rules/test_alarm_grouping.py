"""Which messages a look makes: for whom, together with what, and not before when."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, time
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.basis.alarm import HOUSE, Priority, Signal
from monitor.basis.times import HOUR, MINUTE, SECOND
from monitor.config.alarms import Contact, Patience, Quiet
from monitor.rules import whats
from monitor.rules.alarms import Change, step
from monitor.rules.grouping import SHOWN, Bundle, Told, bundles

NOW = 1_767_571_200_000  # 2026-01-05T00:00Z, a Monday
LOW, MEDIUM, HIGH = Priority
PATIENCE = Patience()
OFFICE = Contact("office")


def out(job: str = "hall wall", priority: Priority = MEDIUM, what: str = whats.HUMIDITY_HIGH) -> Signal:
    return Signal(what, job, "hall", NOW - HOUR, priority)


def silent(
    sensor: str,
    *,
    since: int = NOW - 2 * HOUR,
    root: str = "mill",
    broker: str = "broker",
    place: str = "hall",
    jobs: Sequence[str] = ("hall wall",),
    hold: int = 30 * MINUTE,
) -> Signal:
    facts = {"broker": broker, "root": root, "place": place, "jobs": list(jobs), "hold_ms": hold}
    return Signal(whats.SILENT, HOUSE, sensor, since, MEDIUM, facts)


def told(
    signals: Sequence[Signal],
    *contacts: Contact,
    at: int = NOW,
    sent: Mapping[str, Sequence[int]] | None = None,
    buildings: Mapping[str, str] | None = None,
) -> Told:
    changes = step([], signals, at, PATIENCE)
    return bundles(changes, contacts or (OFFICE,), at, PATIENCE, buildings=buildings or {}, sent=sent or {})


def names(bundle: Bundle) -> list[str]:
    return [alarm.where for alarm in bundle.alarms]


# --- together with what ---


def test_a_gateway_that_is_out_is_one_message_not_forty():
    found = told([silent(f"s{n:02}", since=NOW - 2 * HOUR + n * 6 * SECOND) for n in range(40)])
    (bundle,) = found.bundles
    assert (bundle.behind, bundle.named, bundle.form, bundle.tells) == ("topics", "mill", "alarm", "first")
    assert (len(bundle.alarms), bundle.more) == (SHOWN, 30)
    assert all(change.alarm.told == NOW for change in found.changes)


@pytest.mark.parametrize(
    ("other", "behind", "named"),
    [
        ({"root": "mill"}, "topics", "mill"),
        ({"root": "barn"}, "place", "hall"),
        ({"root": "barn", "place": "attic"}, "broker", "broker"),
    ],
)
def test_what_fell_silent_together_is_named_by_the_narrowest_thing_in_common(other, behind, named):
    (bundle,) = told([silent("a"), silent("b", **other)]).bundles
    assert (bundle.behind, bundle.named) == (behind, named)


def test_one_silent_sensor_is_behind_nothing():
    (bundle,) = told([silent("a")]).bundles
    assert (bundle.behind, bundle.named, names(bundle)) == ("", "", ["a"])


def test_silences_with_nothing_in_common_but_their_time_are_behind_nothing():
    (bundle,) = told([silent("a", broker=""), silent("b", broker="", root="barn", place="attic")]).bundles
    assert (bundle.behind, bundle.named) == ("", "")


def test_silences_that_began_apart_are_two_messages():
    apart = [silent("a"), silent("b", since=NOW - 2 * HOUR + PATIENCE.group_within * 2 + 1)]
    assert [names(bundle) for bundle in told(apart).bundles] == [["a"], ["b"]]


def test_a_slow_sensor_may_have_spoken_last_a_third_of_its_hold_before():
    apart = [silent("a", since=NOW - 5 * HOUR), silent("b", since=NOW - 4 * HOUR, hold=3 * HOUR)]
    assert [names(bundle) for bundle in told(apart).bundles] == [["a", "b"]]


def test_silences_at_two_brokers_are_two_messages():
    assert len(told([silent("a"), silent("b", broker="other")]).bundles) == 2


def test_what_one_wall_has_to_say_is_one_message_the_most_pressing_first():
    (bundle,) = told([out(), out(what=whats.FROST, priority=HIGH)]).bundles
    assert [alarm.what for alarm in bundle.alarms] == [whats.FROST, whats.HUMIDITY_HIGH]
    assert bundle.priority is HIGH


def test_two_walls_have_a_message_each():
    assert len(told([out("hall wall"), out("attic wall")]).bundles) == 2


def test_a_notice_and_an_alarm_of_one_wall_are_two_messages():
    notice = Signal(whats.COMPLETE, "hall wall", "hall", NOW, LOW, notice=True)
    assert sorted(bundle.form for bundle in told([notice, out()]).bundles) == ["alarm", "notice"]


def test_a_return_is_told_as_one():
    (raised,) = step([], [out()], NOW, PATIENCE)
    changes = step([raised.alarm], [], NOW + HOUR, PATIENCE)
    (bundle,) = bundles(changes, [OFFICE], NOW + HOUR, PATIENCE, buildings={}, sent={}).bundles
    assert (bundle.form, bundle.tells) == ("returned", "returned")


def test_what_is_not_told_makes_no_message():
    (raised,) = step([], [out()], NOW, PATIENCE)
    assert bundles([Change(raised.alarm, "shelved")], [OFFICE], NOW, PATIENCE, buildings={}, sent={}).bundles == ()


# --- for whom ---


def heard_by(signals: Sequence[Signal], *contacts: Contact, buildings: Mapping[str, str] | None = None) -> list[str]:
    return [bundle.contact for bundle in told(signals, *contacts, buildings=buildings).bundles]


def test_a_contact_hears_of_its_jobs_and_buildings_only():
    jobs, building = Contact("ann", jobs=("hall wall",)), Contact("bob", buildings=("mill",))
    assert heard_by([out()], jobs, building, OFFICE) == ["ann", "office"]
    assert heard_by([out("attic wall")], jobs, building, buildings={"attic wall": "mill"}) == ["bob"]


def test_a_contact_hears_of_the_sensors_that_its_jobs_hang_on():
    ann = Contact("ann", jobs=("hall wall",))
    assert heard_by([silent("a", jobs=("attic wall", "hall wall"))], ann) == ["ann"]
    assert heard_by([silent("a", jobs=("attic wall",))], ann) == []


def test_of_the_house_those_hear_who_hear_all_and_everybody_where_nobody_does():
    link, ann = Signal(whats.LINK_DOWN, HOUSE, "broker", NOW, HIGH), Contact("ann", jobs=("hall wall",))
    assert heard_by([link], ann, OFFICE) == ["office"]
    assert heard_by([link], ann) == ["ann"]


def test_a_contact_hears_nothing_below_the_least_priority_that_it_asks_for():
    ann = Contact("ann", least=MEDIUM)
    assert heard_by([out(priority=LOW)], ann) == []
    assert heard_by([out(priority=MEDIUM)], ann) == ["ann"]


def test_a_second_contact_hears_of_what_nobody_acknowledged_and_of_nothing_else():
    second = Contact("boss", second=True)
    changes = step([], [out()], NOW, PATIENCE)
    later = step([changes[0].alarm], [out()], NOW + PATIENCE.escalate_after, PATIENCE)
    assert bundles(changes, [second], NOW, PATIENCE, buildings={}, sent={}).bundles == ()
    made = bundles(later, [OFFICE, second], NOW + PATIENCE.escalate_after, PATIENCE, buildings={}, sent={}).bundles
    assert [(bundle.contact, bundle.tells) for bundle in made] == [("boss", "second contact")]


# --- not too many ---


def walls(count: int, priority: Priority = MEDIUM) -> list[Signal]:
    return [out(f"wall {n:02}", priority) for n in range(count)]


def test_exactly_as_many_messages_as_make_no_flood_go_one_by_one():
    assert len(told(walls(PATIENCE.flood.number)).bundles) == PATIENCE.flood.number


def test_one_more_and_all_are_summed_up_in_one():
    (bundle,) = told(walls(PATIENCE.flood.number + 3)).bundles
    assert (bundle.form, len(bundle.alarms), bundle.more) == ("summary", SHOWN, 3)


def test_a_summary_names_the_most_pressing_first():
    (bundle,) = told([*walls(12), out("zebra wall", HIGH)]).bundles
    assert bundle.alarms[0].job == "zebra wall"


def test_in_a_flood_what_is_low_and_medium_waits_and_is_told_to_nobody_yet():
    sent = {"office": [NOW - n * SECOND for n in range(PATIENCE.flood.number)]}
    found = told(walls(2), sent=sent)
    assert found.bundles == ()
    assert [(change.tells, change.alarm.told) for change in found.changes] == [(None, None), (None, None)]


def test_what_waited_is_told_when_the_flood_is_over():
    sent = {"office": [NOW] * PATIENCE.flood.number}
    kept = [change.alarm for change in told(walls(2), sent=sent).changes]
    after = NOW + PATIENCE.flood.within
    changes = step(kept, walls(2), after, PATIENCE)
    assert [change.tells for change in changes] == ["first", "first"]
    assert len(bundles(changes, [OFFICE], after, PATIENCE, buildings={}, sent=sent).bundles) == 2


def test_in_a_flood_what_is_high_goes_all_the_same():
    sent = {"office": [NOW] * PATIENCE.flood.number}
    found = told([*walls(2), out("zebra wall", HIGH)], sent=sent)
    (bundle,) = found.bundles
    assert (bundle.form, [alarm.job for alarm in bundle.alarms]) == ("summary", ["zebra wall"])
    assert [change.alarm.told for change in found.changes] == [None, None, NOW]


def test_a_flood_for_one_contact_is_none_for_another():
    sent = {"office": [NOW] * PATIENCE.flood.number}
    found = told(walls(1), OFFICE, Contact("ann"), sent=sent)
    assert [bundle.contact for bundle in found.bundles] == ["ann"]
    assert found.changes[0].alarm.told == NOW


def test_without_any_contact_alarms_count_as_told():
    changes = step([], walls(1), NOW, PATIENCE)
    assert bundles(changes, [], NOW, PATIENCE, buildings={}, sent={}).changes == changes


# --- not at night ---

NEW_YORK = ZoneInfo("America/New_York")
SLEEPER = Contact("ann", zone="America/New_York", quiet=Quiet(time(22, 0), time(6, 30)))


def local(*when: int, zone: ZoneInfo = NEW_YORK, fold: int = 0) -> int:
    return round(datetime(*when, tzinfo=zone, fold=fold).timestamp() * 1000)  # type: ignore[misc, arg-type]


def due(at: int, contact: Contact = SLEEPER, priority: Priority = MEDIUM) -> int:
    (bundle,) = told([out(priority=priority)], contact, at=at).bundles
    return bundle.not_before


def test_in_quiet_hours_a_message_waits_for_their_end():
    assert due(local(2026, 1, 10, 23, 0)) == local(2026, 1, 11, 6, 30)
    assert due(local(2026, 1, 11, 6, 29)) == local(2026, 1, 11, 6, 30)


def test_outside_of_them_it_goes_at_once_at_their_very_end_too():
    for at in (local(2026, 1, 11, 6, 30), local(2026, 1, 11, 21, 59)):
        assert due(at) == at


def test_what_is_high_goes_through_the_night_and_its_return_does_not():
    night = local(2026, 1, 10, 23, 0)
    assert due(night, priority=HIGH) == night
    (raised,) = step([], [out(priority=HIGH)], night, PATIENCE)
    changes = step([raised.alarm], [], night + HOUR, PATIENCE)
    (bundle,) = bundles(changes, [SLEEPER], night + HOUR, PATIENCE, buildings={}, sent={}).bundles
    assert bundle.not_before == local(2026, 1, 11, 6, 30)


def test_the_night_before_the_clocks_go_forward_is_an_hour_shorter():
    # 2026-03-08, New York: 02:00 EST is 03:00 EDT; 22:00 EST to 06:30 EDT is 7.5 h
    evening = local(2026, 3, 7, 22, 0)
    assert due(evening) - evening == 7.5 * HOUR
    assert due(evening) == round(datetime(2026, 3, 8, 10, 30, tzinfo=UTC).timestamp() * 1000)


def test_the_night_before_the_clocks_go_back_is_an_hour_longer():
    # 2026-11-01, New York: 02:00 EDT is 01:00 EST; 22:00 EDT to 06:30 EST is 9.5 h
    evening = local(2026, 10, 31, 22, 0)
    assert due(evening) - evening == 9.5 * HOUR


def test_quiet_hours_that_end_in_the_hour_that_comes_twice_end_the_second_time():
    early = Contact("ann", zone="America/New_York", quiet=Quiet(time(22, 0), time(1, 30)))
    assert due(local(2026, 10, 31, 23, 0), early) == local(2026, 11, 1, 1, 30, fold=1)
    assert due(local(2026, 11, 1, 1, 40), early) == local(2026, 11, 1, 1, 30, fold=1)


def test_quiet_hours_within_a_day_are_so_too():
    noon = Contact("ann", quiet=Quiet(time(12, 0), time(14, 0)))
    assert due(NOW + 13 * HOUR, noon) == NOW + 14 * HOUR
    assert due(NOW + 11 * HOUR, noon) == NOW + 11 * HOUR


# --- nothing is lost ---

SIGNALS = st.lists(
    st.one_of(
        st.builds(out, st.sampled_from([f"wall {n}" for n in range(30)]), st.sampled_from(Priority)),
        st.builds(
            lambda n, ago, root: silent(f"s{n}", since=NOW - ago * MINUTE, root=root),
            st.integers(0, 40),
            st.integers(61, 200),
            st.sampled_from(["mill", "barn"]),
        ),
    ),
    unique_by=lambda signal: signal.key,
    max_size=60,
)


@given(signals=SIGNALS, lately=st.integers(0, 12))
def test_each_alarm_is_told_in_one_message_or_counted_in_one_or_waits(signals, lately):
    found = told(signals, sent={"office": [NOW] * lately})
    named = [alarm.id for bundle in found.bundles for alarm in bundle.alarms]
    waiting = [change.alarm.id for change in found.changes if change.alarm.told is None]
    assert len(named) == len(set(named))
    assert not set(named) & set(waiting)
    assert len(named) + sum(bundle.more for bundle in found.bundles) + len(waiting) == len(signals)
    assert len(found.bundles) + lately <= max(PATIENCE.flood.number, lately + 1)
