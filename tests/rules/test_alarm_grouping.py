"""Which messages a look makes: for whom, together with what, and not before when."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, time
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.basis.alarm import HOUSE, Alarm, Priority, Signal, Standing
from monitor.basis.times import HOUR, MINUTE, SECOND
from monitor.config.alarms import Contact, Patience, Quiet
from monitor.rules.alarm import whats
from monitor.rules.alarm.alarms import Change, acknowledge, step
from monitor.rules.alarm.grouping import SHOWN, Bundle, Told, bundles

NOW = 1_767_571_200_000  # 2026-01-05T00:00Z, a Monday
LOW, MEDIUM, HIGH = Priority
PATIENCE = Patience()
OFFICE = Contact("office")


def out(
    job: str = "hall wall", priority: Priority = MEDIUM, what: str = whats.HUMIDITY_HIGH, place: str = "hall"
) -> Signal:
    return Signal(what, job, place, NOW - HOUR, priority)


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
    assert len(told([out("hall wall"), out("attic wall", place="attic")]).bundles) == 2


def test_two_walls_of_one_room_have_one_message():
    (bundle,) = told([out("north wall"), out("south wall")]).bundles
    assert (bundle.behind, bundle.named, [one.job for one in bundle.alarms]) == (
        "walls",
        "hall",
        ["north wall", "south wall"],
    )


def test_all_walls_of_a_building_that_have_the_same_to_say_have_one_message():
    mill = {f"wall {n:02}": "mill house" for n in range(14)}
    (bundle,) = told([out(wall, place=f"room {wall}") for wall in mill], buildings=mill).bundles
    assert (bundle.behind, bundle.named, len(bundle.alarms), bundle.more) == ("walls", "mill house", 14, 0)


def test_walls_of_a_building_that_have_something_else_to_say_have_messages_of_their_own():
    mill = {f"wall {n}": "mill house" for n in range(4)}
    said = [out(wall, place=f"room {wall}") for wall in mill]
    said += [out("wall 3", HIGH, whats.SUDDEN_DAMP, "room wall 3")]
    assert sorted([one.job for one in bundle.alarms] for bundle in told(said, buildings=mill).bundles) == [
        ["wall 0", "wall 1", "wall 2"],
        ["wall 3", "wall 3"],
    ]


def test_the_walls_of_two_buildings_are_two_messages():
    where = {"a": "mill house", "b": "mill house", "c": "weir court", "d": "weir court"}
    found = told([out(wall, place=wall) for wall in where], buildings=where).bundles
    assert [(one.named, len(one.alarms)) for one in found] == [("mill house", 2), ("weir court", 2)]


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


BOSS = Contact("boss", second=True)


def course_of(signals: Sequence[Signal], times: Sequence[int], *contacts: Contact) -> list[tuple[str, str, int]]:
    """Looked at so many hours after NOW, it stands until the last of them: whom each message is for, its form, when."""
    kept: dict[str, Alarm] = {}
    said = []
    for at in times:
        now = NOW + at * HOUR
        changes = step(list(kept.values()), [] if at == times[-1] else signals, now, PATIENCE)
        found = bundles(changes, contacts, now, PATIENCE, buildings={}, sent={})
        kept.update((one.alarm.id, one.alarm) for one in found.changes)
        said += [(one.contact, one.form, (one.not_before - NOW) // HOUR) for one in found.bundles]
    return said


def test_whoever_it_was_passed_on_to_hears_that_it_is_over():
    assert course_of([out()], [0, 2, 3], OFFICE, BOSS) == [
        ("office", "alarm", 0), ("boss", "alarm", 2), ("office", "returned", 3), ("boss", "returned", 3),
    ]  # fmt: skip


def test_a_second_contact_does_not_hear_that_is_over_what_it_never_heard_of():
    assert [one[0] for one in course_of([out()], [0, 1], OFFICE, BOSS)] == ["office", "office"]


def test_a_second_contact_hears_only_once_the_first_had_the_time_to_answer_after_their_quiet_hours():
    ann = Contact("ann", quiet=Quiet(time(0, 0), time(6, 0)))
    said = course_of([out()], [0, 2, 4, 6, 7, 8, 9, 20], ann, BOSS)
    assert [one for one in said if one[1] == "alarm"] == [("ann", "alarm", 6), ("boss", "alarm", 8)]


def test_what_is_high_goes_through_quiet_hours_and_is_passed_on_in_them():
    ann = Contact("ann", quiet=Quiet(time(0, 0), time(6, 0)))
    said = course_of([out(priority=HIGH)], [0, 1, 20], ann, BOSS)
    assert said[:2] == [("ann", "alarm", 0), ("boss", "alarm", 1)]


# --- not too many ---


def walls(count: int, priority: Priority = MEDIUM) -> list[Signal]:
    return [out(f"wall {n:02}", priority, place=f"room {n:02}") for n in range(count)]


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


def over(count: int, acknowledged: bool) -> list[Change]:
    """So many walls' alarms that were told an hour before NOW and are over NOW."""
    raised = [one.alarm for one in step([], walls(count), NOW - HOUR, PATIENCE)]
    raised = [acknowledge(one, "ann", NOW - HOUR).alarm for one in raised] if acknowledged else raised
    return list(step(raised, [], NOW, PATIENCE))


def test_in_a_flood_what_is_over_has_a_message_of_its_own():
    changes = [*over(12, False), *step([], [out(f"new {n:02}") for n in range(12)], NOW, PATIENCE)]
    summary, ended = bundles(changes, [OFFICE], NOW, PATIENCE, buildings={}, sent={}).bundles
    assert (summary.form, len(summary.alarms), summary.more) == ("summary", SHOWN, 2)
    assert (ended.form, ended.tells, len(ended.alarms), ended.more) == ("returned", "returned", SHOWN, 2)
    assert {alarm.job[:3] for alarm in summary.alarms} == {"new"}


@pytest.mark.parametrize("acknowledged", [False, True])
def test_that_it_is_over_is_told_when_the_flood_is(acknowledged):
    sent = {"office": [NOW] * PATIENCE.flood.number}
    found = bundles(over(1, acknowledged), [OFFICE], NOW, PATIENCE, buildings={}, sent=sent)
    (kept,) = found.changes
    assert (found.bundles, kept.tells, kept.alarm.standing, kept.alarm.owed) == ((), None, Standing.RETURNED, True)
    still = step([kept.alarm], [], NOW + MINUTE, PATIENCE)
    assert bundles(still, [OFFICE], NOW + MINUTE, PATIENCE, buildings={}, sent=sent) == Told((), ())
    after = NOW + PATIENCE.flood.within
    found = bundles(step([kept.alarm], [], after, PATIENCE), [OFFICE], after, PATIENCE, buildings={}, sent=sent)
    assert [bundle.form for bundle in found.bundles] == ["returned"]
    (change,) = found.changes
    assert change.alarm.standing is (Standing.NORMAL if acknowledged else Standing.RETURNED)
    assert (change.alarm.owed, step([change.alarm], [], after + MINUTE, PATIENCE)) == (False, ())


def test_what_came_back_before_its_end_was_told_is_not_told_anew():
    sent = {"office": [NOW] * PATIENCE.flood.number}
    (kept,) = bundles(over(1, False), [OFFICE], NOW, PATIENCE, buildings={}, sent=sent).changes
    (back,) = step([kept.alarm], walls(1), NOW + MINUTE, PATIENCE)
    assert (back.transition, back.tells, back.alarm.owed) == ("back", None, False)


def test_what_a_flood_kept_back_is_passed_on_only_once_it_was_told_for_long_enough():
    sent = {"office": [NOW] * PATIENCE.flood.number}
    (kept,) = told(walls(1), sent=sent).changes
    later = NOW + PATIENCE.escalate_after
    (first,) = step([kept.alarm], walls(1), later, PATIENCE)
    assert first.tells == "first"
    assert step([first.alarm], walls(1), later + MINUTE, PATIENCE) == ()


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
