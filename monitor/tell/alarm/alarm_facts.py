"""How bad it is: the figures of an alarm in words, in the job's units and zone. What is not there is left out."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from typing import Any

from monitor.basis.alarm import Alarm
from monitor.basis.times import rfc3339
from monitor.basis.units import format_percent
from monitor.basis.values import Quantity
from monitor.rules.alarm import whats
from monitor.tell import words
from monitor.tell.alarm.alarm_words import lasting
from monitor.tell.words import Display, visible

Facts = Mapping[str, Any]

# The facts that are times, in ms.
_TIMES = (
    *("act_by", "completed", "due", "from", "last", "last_heard", "latest", "opens", "soonest", "to", "until"),
    "unheard_since",
)


def for_machines(facts: Facts) -> dict[str, Any]:
    """The facts of an alarm with their times in RFC 3339, UTC."""
    return {name: rfc3339(said) if name in _TIMES and said is not None else said for name, said in facts.items()}


def with_an_error(alarm: Alarm) -> bool:
    """Whether how bad it is is an error and its mend."""
    return FACTS.get(alarm.what) is _error


def how_bad(alarm: Alarm, display: Display) -> str:
    """ "now 68.3 %, at worst 71.3 %, the limit is 65.0 %"; "" where there is no more to say than what it is."""
    if alarm.facts.get("left"):
        return "it no longer stands there"
    if alarm.what == whats.SILENT and alarm.returned is not None:
        return f"it speaks again since {words.when(alarm.returned, display)}"
    tell = FACTS.get(alarm.what)
    facts = alarm.facts if alarm.returned is None else {**alarm.facts, "act_by": None, "over": True}
    said = [] if tell is None else [part for part in tell(facts, display) if part]
    unheard = alarm.facts.get("unheard_since")
    if unheard is not None:
        said.insert(0, f"not heard since {words.when(unheard, display)}: nobody knows that it is over")
    return "; ".join(said)


def _measured(facts: Facts, key: str, display: Display) -> str:
    """A value in as many digits as it takes to differ from the limit; "" where it is not known."""
    value, limit = facts.get(key), facts.get("limit")
    if value is None:
        return ""
    quantity = _quantity(facts)
    if limit is None:
        return words.measure(quantity, value, display)
    return words.measure_beyond(quantity, value, limit, display)


def _quantity(facts: Facts) -> Quantity:
    return Quantity(facts.get("quantity", Quantity.AIR_TEMPERATURE))


def _limit(facts: Facts, display: Display) -> str:
    limit = facts.get("limit")
    return "" if limit is None else f"the limit is {words.measure(_quantity(facts), limit, display)}"


def _current(facts: Facts, display: Display) -> str:
    """What is measured now; of what is over, what was measured last while it was so."""
    return _said("last" if facts.get("over") else "now", _measured(facts, "value", display))


def _said(word: str, text: str) -> str:
    return f"{word} {text}" if text else ""


# --- the air ---------------------------------------------------------------------------------------


def _out(facts: Facts, display: Display) -> Iterator[str]:
    figures = (
        _current(facts, display),
        _said("at worst", _measured(facts, "worst", display)),
        _limit(facts, display),
    )
    yield ", ".join(part for part in figures if part)
    outside, times = facts.get("outside_ms"), facts.get("excursions", 1)
    if outside is not None:
        often = "" if times == 1 else f" in all, {times} times"
        yield f"outside for {lasting(outside)}{often}"
    yield _at_stake(facts, display)
    yield _boards(facts)


def _at_stake(facts: Facts, display: Display) -> str:
    """What is lost of the acclimation, and by when the room must be back."""
    act_by = facts.get("act_by")
    if act_by is None:
        return ""
    lost = "the acclimation that was complete"
    if facts.get("completed") is None:
        lost = f"the {words.hours(facts['counted_ms'])} counted of {words.required(facts['required_ms'])}"
    return f"back in band by {words.when(act_by, display)}, or {lost} will be lost"


def _boards(facts: Facts) -> str:
    board, edge = facts.get("board_pct"), facts.get("board_edge_pct")
    if board is None or edge is None:
        return ""
    beyond = board > edge if facts.get("side") == "high" else board < edge
    so_far = "beyond it by now" if beyond else "not there yet, they lag behind"
    return (
        f"the planks hold about {format_percent(board)} water by weight, air at the limit would bring them to "
        f"{format_percent(edge)}: {so_far}"
    )


def _heading(facts: Facts, display: Display) -> Iterator[str]:
    yield ", ".join(part for part in (_current(facts, display), _limit(facts, display)) if part)
    if "soonest" in facts:
        yield f"if this goes on it leaves the band about {_soon(facts, display)}"
    yield _at_stake(facts, display)


def _soon(facts: Facts, display: Display) -> str:
    soonest, latest = words.when(facts["soonest"], display), facts.get("latest")
    return soonest if latest is None else words.between(facts["soonest"], latest, display)


def _rapid(facts: Facts, display: Display) -> Iterator[str]:
    if facts.get("per_hour") is not None:
        rate = words.difference(_quantity(facts), abs(facts["per_hour"]), display)
        yield f"{'falls' if facts['per_hour'] < 0 else 'rises'} by {rate} an hour"
    yield from _now(facts, display)


def _now(facts: Facts, display: Display) -> Iterator[str]:
    yield ", ".join(part for part in (_current(facts, display), _limit(facts, display)) if part)


def _damp(facts: Facts, display: Display) -> Iterator[str]:
    yield from _now({"quantity": Quantity.AIR_HUMIDITY, **facts}, display)


# --- the job ---------------------------------------------------------------------------------------


def _clock(facts: Facts, display: Display) -> Iterator[str]:
    if facts.get("completed") is not None:
        yield f"it was complete {words.when(facts['completed'], display)}"
    if facts.get("cause") is not None:
        yield f"{_CAUSES.get(facts['cause'], visible(str(facts['cause'])))} for too long"
    if "counted_ms" in facts:
        counted = f"{words.hours(facts['counted_ms'])} of {words.required(facts['required_ms'])} are counted"
        yield f"{counted}, {words.lot_named(facts['lot'])}" if facts.get("lot") else counted
    if "beyond_uncertainty" in facts:
        holds = "holds" if facts["beyond_uncertainty"] else "does not hold"
        yield f"it {holds} beyond the sensors' uncertainty"


_CAUSES = {"out": "the room was out of band", "unproven": "the room was not proven in band"}


def _not_ready(facts: Facts, display: Display) -> Iterator[str]:
    return (f"{visible(name)}: {words.evidence(told, display)}" for name, told in facts.get("conditions", {}).items())


def _boxes(facts: Facts, display: Display) -> Iterator[str]:
    if facts.get("boxes") is not None:
        how = "measured" if facts.get("measured") else "at the warmest, by estimate"
        yield f"boxes {words.measure(Quantity.BOX_TEMPERATURE, facts['boxes'], display)}, {how}"
    if facts.get("dew_point") is not None:
        yield f"below {words.measure(Quantity.AIR_TEMPERATURE, facts['dew_point'], display)} water settles on them"


def _wet(facts: Facts, display: Display) -> Iterator[str]:
    if "hours" in facts:
        yield f"water on it in {facts['hours']} of the hours since yesterday morning"


def _skin(facts: Facts, display: Display) -> Iterator[str]:
    figures = [(name, facts[key]) for key, name in _SKIN.items() if facts.get(key) is not None]
    yield ", ".join(f"{name} {_at_most_full(value)}" for name, value in figures)


def _at_most_full(pct: float) -> str:
    """A humidity that was computed: more than full is water on the surface."""
    return format_percent(pct) if pct <= 100.0 else f"{format_percent(100.0)} (water settles)"


_SKIN = {"humidity": "the last day at the surface", "month": "its last month", "limit": "mould can grow from"}


def _mould(facts: Facts, display: Display) -> Iterator[str]:
    if "index" in facts:
        yield f"mould index {facts['index']:.1f} (from 1 under the microscope, from 3 to be seen)"


def _care(facts: Facts, display: Display) -> Iterator[str]:
    if "due" in facts:
        late = "overdue since" if facts.get("overdue") else "by"
        last = "never" if facts.get("last") is None else words.when(facts["last"], display)[:10]
        yield f"{CARE.get(facts['care'], visible(facts['care']))}, {late} {words.when(facts['due'], display)[:10]}"
        yield f"done last: {last}"


CARE = {"dust": "dust it", "wipe": "wipe it", "look": "look it over"}


def _error(facts: Facts, display: Display) -> Iterator[str]:
    yield visible(str(facts.get("error") or ""))


# --- sensors ---------------------------------------------------------------------------------------


def _silent(facts: Facts, display: Display) -> Iterator[str]:
    if facts.get("last_heard") is None:
        yield "it was never heard there"
    else:
        yield f"last heard {words.when(facts['last_heard'], display)}"
    if facts.get("alone"):
        yield "nobody else speaks for its place"


def _stuck(facts: Facts, display: Display) -> Iterator[str]:
    if facts.get("alone"):
        yield "nobody else speaks for its place"


def _battery(facts: Facts, display: Display) -> Iterator[str]:
    if facts.get("battery") is not None:
        yield f"{math.floor(facts['battery'])} % left"


def _check(facts: Facts, display: Display) -> Iterator[str]:
    if facts.get("until") is not None:
        word = "its check ran out" if facts.get("run_out") else "its check runs out"
        yield f"{word} {words.when(facts['until'], display)[:10]}"


def _apart(facts: Facts, display: Display) -> Iterator[str]:
    yield visible(str(facts.get("evidence", "")))
    for name, said in sorted(facts.get("values", {}).items()):
        told = ", ".join(words.measure(Quantity(q), value, display) for q, value in sorted(said.items()))
        yield f"{visible(name)} says {told}"


def _drifting(facts: Facts, display: Display) -> Iterator[str]:
    if "by" in facts:
        quantity = _quantity(facts)
        by, may = (words.difference(quantity, abs(facts[key]), display) for key in ("by", "combined"))
        days = words.counted_things(math.floor(facts.get("days", 0)), "day")
        yield f"{words.QUANTITY[quantity]} {by} away from {visible(facts['neighbour'])} within {days}, {may} may be"


# --- the house -------------------------------------------------------------------------------------


def _full(facts: Facts, display: Display) -> Iterator[str]:
    if "free" in facts:
        yield f"{_gigabytes(facts['free'])} free, {_gigabytes(facts['limit'])} should be"


def _gigabytes(number: float) -> str:
    """Cut, not rounded."""
    return f"{math.floor(number / 1e8) / 10:.1f} GB"


def _away(facts: Facts, display: Display) -> Iterator[str]:
    if "from" in facts:
        length = lasting(facts["to"] - facts["from"])
        yield f"away {words.between(facts['from'], facts['to'], display)} ({length})"


FACTS: Mapping[str, Callable[[Facts, Display], Iterator[str]]] = {
    **dict.fromkeys(whats.OUT.values(), _out),
    **dict.fromkeys(whats.HEADING.values(), _heading),
    whats.RAPID: _rapid,
    whats.FROST: _now,
    whats.SUDDEN_DAMP: _damp,
    whats.SURFACE_DAMP: _skin,
    whats.SURFACE_WET: _wet,
    whats.MOULD: _mould,
    whats.BOXES_COLD: _boxes,
    **dict.fromkeys((whats.COMPLETE, whats.RESTARTED, whats.LAPSED, whats.READY), _clock),
    whats.NO_LONGER_READY: _not_ready,
    **dict.fromkeys((whats.CARE_DUE, whats.INSPECTION_DUE), _care),
    whats.SILENT: _silent,
    whats.FLAT: _stuck,
    whats.DRIFTING: _drifting,
    whats.DISAGREEING: _apart,
    whats.BATTERY_LOW: _battery,
    whats.CHECK_DUE: _check,
    whats.STORE_FILLING: _full,
    whats.AWAY: _away,
    **dict.fromkeys(
        (whats.UNJUDGED, whats.LINK_DOWN, whats.SEAL_FAILED, whats.BACKUP_FAILED, whats.WORK_FAILED), _error
    ),
}
