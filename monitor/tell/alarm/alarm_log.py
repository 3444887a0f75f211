"""What the log and the broker are told of an alarm and of its settings: bodies of entries, and these in words."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from monitor.basis.alarm import HOUSE, Alarm, Priority, Standing
from monitor.basis.times import rfc3339
from monitor.basis.units import format_duration
from monitor.basis.values import Entry, Kind
from monitor.config.alarms import Patience
from monitor.rules.alarm.alarms import Change
from monitor.tell import words
from monitor.tell.alarm.alarm_facts import for_machines, how_bad
from monitor.tell.alarm.alarm_words import title
from monitor.tell.alarm.alarms import headline
from monitor.tell.words import Display, visible

_NOT_FOR_ALL = ("jobs", "error")  # of the sensors' log, which goes into every job's bundle: they may name other jobs


def body_of(change: Change) -> dict[str, Any]:
    """The body of the entry that tells of a change. JSON-safe. [ms]

    Of a sensor's alarm it names sensor and place as the other entries of that log do: it is of no concern to others.
    """
    alarm = change.alarm
    facts, where = dict(alarm.facts), {}
    if alarm.job == HOUSE:
        where = {"sensor": alarm.where, "place": facts["place"]} if "place" in facts else {}
        facts = {name: value for name, value in facts.items() if name not in _NOT_FOR_ALL}
    shelved = change.transition == "shelved"
    why = {"reason": alarm.shelved_reason} if alarm.job != HOUSE else {}  # a sensor's serves several: see the alarm
    return {
        "alarm": alarm.id,
        "transition": change.transition,
        "what": alarm.what,
        "job": alarm.job,
        "where": alarm.where,
        **where,
        "since": alarm.since,
        "returned": alarm.returned,
        "priority": alarm.priority.value,
        "notice": alarm.notice,
        "standing": alarm.standing.value,
        "facts": facts,
        **({"until": alarm.shelved_until, **why} if shelved else {}),
    }


def for_the_air(alarm: Alarm) -> Alarm:
    """An alarm as everybody on the broker may read of it: without an error, which may name files of this computer."""
    return replace(alarm, facts={name: value for name, value in alarm.facts.items() if name != "error"})


def event_of(change: Change, at: int, display: Display, who: str = "") -> dict[str, Any]:
    """A change as it is told to machines: JSON-safe, times in RFC 3339. `who` made it, "" for the program. [ms]"""
    alarm = for_the_air(change.alarm)
    return {
        "at": rfc3339(at),
        "transition": change.transition,
        "alarm": alarm.id,
        "what": alarm.what,
        "title": title(alarm),
        "job": alarm.job or None,
        "where": alarm.where or None,
        "since": rfc3339(alarm.since),
        "returned": None if alarm.returned is None else rfc3339(alarm.returned),
        "priority": alarm.priority.value,
        "standing": alarm.standing.value,
        "notice": alarm.notice,
        "how_bad": how_bad(alarm, display),
        "facts": for_machines(alarm.facts),
        "who": who or None,
    }


def limits_of(patience: Patience) -> dict[str, float]:
    """The alarm's settings as an entry has them, the unit in each name."""
    return {
        "on_delay_humidity_ms": patience.on_delay_humidity,
        "on_delay_temperature_ms": patience.on_delay_temperature,
        "off_delay_ms": patience.off_delay,
        "dead_band_humidity_pct": patience.dead_band_humidity,
        "dead_band_temperature_k": patience.dead_band_temperature,
        "heading_out_ms": patience.heading_out,
        "silent_after_ms": patience.silent_after,
        "rapid_temperature_k_h": patience.rapid.temperature,
        "rapid_humidity_pct_h": patience.rapid.humidity,
        "freezing_below_c": patience.freezing_below,
        "battery_below_pct": patience.battery_below,
        "disk_below_bytes": patience.disk_below,
        "re_raise_ms": patience.re_raise,
        "escalate_after_ms": patience.escalate_after,
        "shelve_at_most_ms": patience.shelve_at_most,
        "flood_number": patience.flood.number,
        "flood_within_ms": patience.flood.within,
        "group_within_ms": patience.group_within,
    }


def _told(body: Mapping[str, Any], display: Display) -> str:
    alarm = alarm_in(body)
    grave = "notice" if alarm.notice else alarm.priority.value
    said = f"{visible(body['transition'])}, {grave}: {headline(alarm, display)} [{visible(alarm.id)}]"
    if body.get("until") is not None:
        said += f"; until {words.when(body['until'], display)}"
    return f"{said}; {visible(body['reason'])}" if body.get("reason") else said


def alarm_in(body: Mapping[str, Any]) -> Alarm:
    """The alarm that an entry of it speaks of, as far as the entry says."""
    return Alarm(
        id=body["alarm"],
        what=body["what"],
        job=body["job"],
        where=body["where"],
        since=body["since"],
        raised=body["since"],
        standing=Standing.NORMAL,
        priority=Priority(body["priority"]),
        facts=body["facts"],
        notice=body["notice"],
        returned=body["returned"],
    )


def _set(body: Mapping[str, Any], display: Display) -> str:
    before, after = body["before"], body["after"]
    changed = [key for key in after if before.get(key) != after[key]]
    if not before:
        return f"as first set: {', '.join(f'{_named(key)} {_figure(key, after[key])}' for key in changed)}"
    told = ((_named(key), _figure(key, before.get(key)), _figure(key, after[key])) for key in changed)
    return "; ".join(f"{name} {was}, now {is_}" for name, was, is_ in told)


_UNITS = {
    "_ms": "",
    "_pct_h": "%RH an hour",
    "_k_h": "K an hour",
    "_pct": "%",
    "_k": "K",
    "_c": "degC",
    "_bytes": "GB",
}


def _suffix(key: str) -> str:
    return next((end for end in _UNITS if key.endswith(end)), "")


def _named(key: str) -> str:
    return visible(key.removesuffix(_suffix(key)).replace("_", " "))


def _figure(key: str, value: Any) -> str:
    if value is None:
        return "not set"
    end = _suffix(key)
    if end == "_bytes":
        return f"{value / 1e9:g} GB"
    return format_duration(value) if end == "_ms" else f"{value:g} {_UNITS.get(end, '')}".rstrip()


SENTENCES: Mapping[Kind, Callable[[Mapping[str, Any], Display], str]] = {
    Kind.ALARM: _told,
    Kind.ALARM_SETTINGS: _set,
}


def sentence(entry: Entry, display: Display) -> str:
    """What an entry of an alarm or of the alarm's settings says, "" for an entry of another kind."""
    tell = SENTENCES.get(entry.kind)
    return "" if tell is None else tell(entry.body, display)
