"""The messages of the alarm: what, where, since when, how bad, what to do, how to acknowledge. Read on a phone.

A sentence a line and no line broken: each screen breaks them as it can. Rounding never flatters (see words).
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Callable, Sequence

from monitor.basis.alarm import HOUSE, Alarm, Priority, Standing
from monitor.basis.times import rfc3339
from monitor.rules.alarm import whats
from monitor.rules.alarm.grouping import Bundle
from monitor.tell import words
from monitor.tell.alarm.alarm_facts import how_bad, with_an_error
from monitor.tell.alarm.alarm_words import lasting, minds, spot, title, to_do
from monitor.tell.words import Display, visible

LONGEST_SUBJECT = 70  # [signs]
WIDTH = 80  # of a terminal [columns]
NAMED = 5  # sensors that a line names before it counts the rest
MOST_ROOMS = 8  # and rooms or walls
QUIET = ("returned", "seen")  # forms of a message that ask for nothing
BY_DAYS = (whats.SURFACE_WET, whats.SURFACE_DAMP, whats.MOULD)
GRAVE = {Priority.HIGH: "URGENT", Priority.MEDIUM: "Alarm", Priority.LOW: "Mind"}
TRAINING = "This is a training job: some of its readings were simulated."

Shown = Callable[[str], Display]  # the display of a job, or of the house


# --- the parts -------------------------------------------------------------------------------------


def shortened(text: str, longest: int = LONGEST_SUBJECT) -> str:
    """At most `longest` signs, cut ones marked."""
    return text if len(text) <= longest else f"{text[: longest - 3].rstrip(' ,:;')}..."


def headline(alarm: Alarm, display: Display) -> str:
    """ "air too damp, north wall, den, since 2026-01-05 17:05 -05:00: now 71.3 %, the limit is 65.0 %"."""
    bad = _bad(alarm, display)
    return f"{title(alarm)}, {spot(alarm)}, {_since(alarm, display)}{f': {bad}' if bad else ''}"


def _bad(alarm: Alarm, display: Display) -> str:
    """How bad it is; of what is over no error, for nothing of it is left to mend."""
    return "" if alarm.returned is not None and with_an_error(alarm) else how_bad(alarm, display)


def _began(alarm: Alarm, display: Display) -> str:
    """When it began: of what is counted by days of UTC the day."""
    return f"{rfc3339(alarm.since)[:10]} (a day of UTC)" if alarm.what in BY_DAYS else words.when(alarm.since, display)


def _span(alarm: Alarm, returned: int, display: Display) -> str:
    if alarm.what in BY_DAYS:
        return f"{_began(alarm, display)} to {words.when(returned, display)}"
    return words.between(alarm.since, returned, display)


def _since(alarm: Alarm, display: Display) -> str:
    if alarm.returned is not None and alarm.returned >= alarm.since:
        return f"{_span(alarm, alarm.returned, display)}, over by now"
    return f"since {_began(alarm, display)}"


def _lasting(alarm: Alarm, now: int, display: Display) -> str:
    """ "2026-01-05 17:05 -05:00 (2 h 10 min)"."""
    if alarm.returned is None or alarm.returned < alarm.since:
        length = "" if alarm.what in BY_DAYS else f" ({lasting(max(now - alarm.since, 0))})"
        return f"{_began(alarm, display)}{length}"
    length = lasting(alarm.returned - alarm.since)
    shown = "" if alarm.what in BY_DAYS else f" ({length})"
    return f"{_span(alarm, alarm.returned, display)}{shown}, over by now"


def how_to_acknowledge(alarms: Sequence[Alarm]) -> str:
    """The command, "" where nobody waits for it."""
    waiting = [one.id for one in alarms if one.standing in (Standing.UNACKNOWLEDGED, Standing.RETURNED)]
    if not waiting:
        return ""
    if len(waiting) > NAMED:
        return "Seen them? All at once: wallclime alarm ack --all"
    return f"Seen {'it' if len(waiting) == 1 else 'them'}? wallclime alarm ack {' '.join(waiting)}"


def _opening(bundle: Bundle) -> str:
    """How grave it is, or how it stands, in a word or two."""
    if bundle.form == "returned":
        return "Over"
    if bundle.form == "seen":
        return f"Seen by {visible(bundle.alarms[0].acknowledged_by)}"
    if bundle.form == "notice":
        return "Note"
    grave = GRAVE[bundle.priority]
    if _all_over(bundle):
        return f"{grave}, over by now"
    return {"second contact": f"{grave}, nobody answered", "again": f"{grave}, still so"}.get(bundle.tells, grave)


def _grave(alarm: Alarm) -> str:
    return "Note" if alarm.notice else GRAVE[alarm.priority]


def _all_over(bundle: Bundle) -> bool:
    return all(one.standing in (Standing.RETURNED, Standing.NORMAL) for one in bundle.alarms)


# --- a message -------------------------------------------------------------------------------------


def subject(bundle: Bundle) -> str:
    """One line of at most 70 signs: how grave, what, where."""
    return shortened(f"{_opening(bundle)}: {_about(bundle)}")


def _about(bundle: Bundle) -> str:
    number = len(bundle.alarms) + bundle.more
    first = bundle.alarms[0]
    if bundle.form == "summary":
        return f"{number} alarms at once, first {title(first)}, {spot(first)}"
    if number == 1:
        return f"{title(first)}, {spot(first)}"
    if bundle.behind == "walls":
        what = ", ".join(dict.fromkeys(map(title, bundle.alarms)))
        return f"{what}, {len(_jobs(bundle.alarms))} walls of {visible(bundle.named)}"
    if bundle.behind:
        return f"{number} sensors silent, {behind(bundle)}"
    titles = list(dict.fromkeys(map(title, bundle.alarms)))
    if first.job != HOUSE:
        return f"{visible(first.job)}: {', '.join(titles)}"
    return f"{titles[0]}, {number} times" if len(titles) == 1 else f"{', '.join(titles)}"


def behind(bundle: Bundle) -> str:
    """What the sensors of a group have in common."""
    name = visible(bundle.named)
    return {"topics": f"all below {name}", "place": f"all in {name}", "broker": f"all on broker {name}"}[bundle.behind]


def text(bundle: Bundle, now: int, shown: Shown) -> str:
    """The whole message. [ms]"""
    if bundle.form == "summary":
        lines = _flood(bundle, shown)
    elif bundle.behind == "walls":
        lines = _walls(bundle, now, shown)
    elif bundle.behind:
        lines = _group(bundle, now, shown)
    elif len(bundle.alarms) + bundle.more == 1:
        lines = _one(bundle, now, shown)
    else:
        lines = _several(bundle, now, shown)
    said = how_to_acknowledge(bundle.alarms)
    lines += [said] if said else []
    if bundle.not_before > now:
        lines.append(f"Kept back for your quiet hours: so it was {words.when(now, shown(HOUSE))}.")
    return "\n".join(lines) + "\n"


def _one(bundle: Bundle, now: int, shown: Shown) -> list[str]:
    alarm = bundle.alarms[0]
    over = bundle.form in QUIET
    lines = [f"{_opening(bundle)}: {title(alarm)}", *_figures(alarm, now, shown(alarm.job))]
    return lines if over else [*lines, *_acts([alarm])]


def _figures(alarm: Alarm, now: int, display: Display) -> list[str]:
    bad = _bad(alarm, display)
    lines = [f"Where: {spot(alarm)}", f"{'When' if alarm.returned else 'Since'}: {_lasting(alarm, now, display)}"]
    lines += [f"How bad: {bad}"] if bad else []
    jobs = [visible(job) for job in alarm.facts.get("jobs", ()) if job != alarm.facts.get("place")]
    lines += [f"For: {words.few(jobs, NAMED, between=', ')}"] if jobs else []
    return lines + ([TRAINING] if alarm.facts.get("training") else [])


def _acts(alarms: Sequence[Alarm]) -> list[str]:
    """What to do and what can hurt on the way, each sentence once."""
    acts = list(dict.fromkeys(map(to_do, alarms)))
    cautions = list(dict.fromkeys(mind for alarm in alarms for mind in minds(alarm)))
    return [f"To do: {act}" for act in acts] + [f"Mind: {mind}" for mind in cautions]


def _several(bundle: Bundle, now: int, shown: Shown) -> list[str]:
    """Several conditions that came up together."""
    over = bundle.form in QUIET
    lines = [f"{_opening(bundle)}: {_about(bundle)}"]
    for alarm in bundle.alarms:
        lines += ["", title(alarm).capitalize(), *_figures(alarm, now, shown(alarm.job))]
        lines += [] if over else [f"To do: {to_do(alarm)}"]
    lines += [*_rest(bundle), ""]
    cautions = [line for line in _acts(bundle.alarms) if line.startswith("Mind: ")]
    return lines + ([] if over else cautions)


def _walls(bundle: Bundle, now: int, shown: Shown) -> list[str]:
    """Several walls that have the same to say: each condition once, of all of them, with the figures of the worst."""
    kinds: dict[str, list[Alarm]] = {}
    for alarm in bundle.alarms:
        kinds.setdefault(alarm.what, []).append(alarm)
    lines = [f"{_opening(bundle)}: {_about(bundle)}"]
    for found in kinds.values():
        lines += ["", title(found[0]).capitalize()] if len(kinds) > 1 else []
        lines += _of_walls(found, now, shown)
        lines += [] if bundle.form in QUIET or len(kinds) == 1 else [f"To do: {to_do(_worst(found))}"]
    if bundle.form in QUIET:
        return lines
    acts = _acts([_worst(found) for found in kinds.values()])
    return lines + (acts if len(kinds) == 1 else ["", *(line for line in acts if line.startswith("Mind: "))])


def _of_walls(found: Sequence[Alarm], now: int, shown: Shown) -> list[str]:
    worst, first = _worst(found), min(found, key=lambda one: one.since)
    display, places = shown(worst.job), list(dict.fromkeys(one.where for one in found if one.where))
    bad = _bad(worst, display)
    rooms = places if 1 < len(places) < len(found) else _jobs(found)
    return [
        f"Where: {words.few([visible(one) for one in rooms], MOST_ROOMS, between=', ')}",
        f"{'When' if first.returned else 'Since'}: {_lasting(first, now, shown(first.job))}",
        *([f"How bad: {_room_of(worst)}: {bad}"] if bad else []),
        *([TRAINING] if any(one.facts.get("training") for one in found) else []),
    ]


def _room_of(alarm: Alarm) -> str:
    return spot(alarm) if alarm.what in (whats.CARE_DUE, whats.INSPECTION_DUE) else visible(alarm.where or alarm.job)


def _worst(found: Sequence[Alarm]) -> Alarm:
    """The one whose air went furthest; where nothing was measured the most pressing."""
    side = -1 if found[0].facts.get("side") == "low" or found[0].what == whats.FROST else 1

    def beyond(alarm: Alarm) -> float:
        value = alarm.facts.get("worst", alarm.facts.get("value"))
        return -math.inf if value is None else side * float(value)

    return max(found, key=beyond)


def _jobs(found: Sequence[Alarm]) -> list[str]:
    return list(dict.fromkeys(one.job for one in found))


def _group(bundle: Bundle, now: int, shown: Shown) -> list[str]:
    """What fell silent together, or speaks again: one cause, whatever the number."""
    first = min(bundle.alarms, key=lambda one: one.since)
    names = [visible(one.where) for one in bundle.alarms]
    lines = [
        f"{_opening(bundle)}: {_about(bundle)}",
        f"Where: {words.few(names, NAMED, more=bundle.more, between=', ')}",
        f"{'When' if first.returned else 'Since'}: {_lasting(first, now, shown(HOUSE))}",
    ]
    if bundle.form == "seen":
        return lines
    if bundle.form == "returned":
        return [*lines, "How bad: they speak again; what they did not say meanwhile is not known."]
    return [
        *lines,
        "How bad: nothing they say since then is known, so nothing of it counts.",
        "To do: They fell silent together: look first at what they share, its power and its network.",
    ]


def _flood(bundle: Bundle, shown: Shown) -> list[str]:
    """More than anybody can read: the most pressing, a line each."""
    lines = [f"{GRAVE[bundle.priority]}: {len(bundle.alarms) + bundle.more} alarms at once. The most pressing first:"]
    lines += [f"- {_grave(one)}: {headline(one, shown(one.job))}" for one in bundle.alarms]
    lines += _rest(bundle)
    lines += ["To do: Take them in this order. All of them, and what to do: wallclime alarm list"]
    pressing = [one for one in bundle.alarms if one.priority is Priority.HIGH]
    lines += [line for line in _acts(pressing) if line.startswith("Mind: ")]
    return [*lines, "While so many come, messages on what is less pressing wait."]


def _rest(bundle: Bundle) -> list[str]:
    return [f"and {bundle.more} more: wallclime alarm list"] if bundle.more else []


# --- lists -----------------------------------------------------------------------------------------

_STANDING = {
    Standing.UNACKNOWLEDGED: "nobody has acknowledged it",
    Standing.RETURNED: "over, nobody has acknowledged it",
    Standing.NORMAL: "over",
}


def standing(alarm: Alarm, display: Display) -> str:
    """How it stands, and by whom."""
    if alarm.shelved_until is not None:
        until = words.when(alarm.shelved_until, display)
        by = f" by {visible(alarm.shelved_by)}" if alarm.shelved_by else ""
        return f"shelved until {until}{by}{f': {visible(alarm.shelved_reason)}' if alarm.shelved_reason else ''}"
    if alarm.notice and alarm.standing is Standing.ACKNOWLEDGED:
        return "a notice"
    if alarm.standing is Standing.ACKNOWLEDGED:
        return f"acknowledged by {visible(alarm.acknowledged_by)} {words.when(alarm.acknowledged_at or 0, display)}"
    return _STANDING[alarm.standing]


def listing(alarms: Sequence[Alarm], shown: Shown) -> str:
    """`alarm list`: each alarm in a few lines, with what to do."""
    if not alarms:
        return "No alarm stands.\n"
    lines: list[str] = []
    for alarm in alarms:
        display = shown(alarm.job)
        grave = "notice" if alarm.notice else alarm.priority.value
        lines += _wrapped(f"{alarm.id}  {grave}: {headline(alarm, display)}", "", "            ")
        lines += _wrapped(standing(alarm, display), "            ", "            ")
        if alarm.standing is not Standing.NORMAL and alarm.returned is None:
            lines += _wrapped(f"> {to_do(alarm)}", "            ", "              ")
    return "\n".join(lines) + "\n"


def standing_line(alarms: Sequence[Alarm], shown: Shown) -> str:
    """One line for a status: how many alarms stand, and the most pressing of them; "" where none does."""
    asking = [one for one in alarms if one.asks]
    if not asking:
        return ""
    first = min(asking, key=lambda one: (_seen(one), -one.priority.rank, one.since))
    grave = "Seen, still so" if _seen(first) else GRAVE[first.priority]
    more = f"; {len(asking) - 1} more" if len(asking) > 1 else ""
    return f"{grave}: {headline(first, shown(first.job))}{more} (wallclime alarm list)"


def _seen(alarm: Alarm) -> bool:
    return alarm.standing is Standing.ACKNOWLEDGED


def _wrapped(text: str, first: str, further: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=first, subsequent_indent=further, break_on_hyphens=False)
