"""What the other side would ask first, on page one: what was written late or changed, what the silences may hide."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Sequence

from monitor.basis.times import HOUR, rfc3339
from monitor.basis.units import format_duration
from monitor.basis.values import Entry, Kind, OriginKind, Quantity
from monitor.rules.assessment import Assessment, Gap, OtherVerdict, Side
from monitor.rules.thinning import ThinnedDays
from monitor.seal.codes import grouped
from monitor.tell import diary, words
from monitor.tell.pages.evidence import ordinal
from monitor.tell.pages.views import ReportPage
from monitor.tell.words import Display

PROVEN = (
    "Shown: what the sensors said, when it arrived, and that nothing sealed was changed since; the verdict follows by "
    "rules that are written down. Not shown: that a sensor hung where somebody says it did, what happened where no "
    "sensor was, who really wrote an entry (every name is a claim), and anything about planks, glue or wall that "
    "nobody measured. The key that signs is held by whoever runs this installation: heads that others keep bind it."
)


LOGGERS = (
    " Readings from loggers' files have the times of the loggers' own clocks, which nobody looks after here: one that "
    "was set or that drifted is not seen."
)
MOST_PLACES = 6  # that are named


def front(page: ReportPage, display: Display) -> list[tuple[str, str]]:
    """What page one of a report answers: `candour`, and where the sensors were, whose clock and whose key it was."""
    *first, shown = candour(page, display)
    own = [("placement", _placement(page)), ("clock", _clock(page, display)), ("key", _key(page))]
    return [*first, *own, shown]


def candour(page: ReportPage, display: Display) -> list[tuple[str, str]]:
    """Names and sentences, in the order in which they would be asked."""
    found = page.assessment
    return [
        ("written late", _late(page.entries)),
        ("corrected", _corrected(page, display)),
        ("both readings of the rule", _readings(found, display)),
        ("profile", _profiles(page, display)),
        ("readings", _origins(found)),
        *(("thinned", thinned(one)) for one in page.thinned),
        ("in band" if page.cut is None else "in band, whole record", words.in_band(found.span)),
        ("silences", _silences(found)),
        ("what this shows", PROVEN),
    ]


def _placement(page: ReportPage) -> str:
    """Where the sensors of the air were, by what was entered."""
    told = [
        f"{words.visible(one.name)} at {words.visible(stay.place)} ({words.visible(stay.detail) or 'how, nobody said'})"
        for one in page.sensors
        for stay in one.stays
        if stay.hears == "air"
    ]
    if not told:
        return "No sensor was ever entered as being at these places."
    said = words.few(list(dict.fromkeys(told)), MOST_PLACES, between="; ")
    return f"By what was entered: {said}. Whether it was so no record can show."


def _clock(page: ReportPage, display: Display) -> str:
    loggers = LOGGERS if page.assessment.origin_share.get(OriginKind.FILE) else ""
    if not page.steps:
        return f"No jump of the computer's clock was written down.{loggers}"
    told = [f"{words.when(one.at, display)} by {format_duration(int(one.body['by_ms']))}" for one in page.steps]
    return f"The computer's clock was set {words.few(told, MOST_PLACES, between='; ')}.{loggers}"


def _key(page: ReportPage) -> str:
    """Which key sealed it, and whether others hold a head that binds its holder."""
    if page.sealed is None or page.sealed.last is None:
        return "Nothing is sealed yet: nothing but the store itself vouches for the record."
    key = f"The key that seals is {grouped(page.sealed.fingerprint)}"
    if page.sealed.keys > 1:
        key += f", the {ordinal(page.sealed.keys)}"
    held = [entry for entry in page.entries if entry.kind is Kind.WITNESS]
    if not held:
        return (
            f"{key}. That somebody else holds a head is written nowhere: its holder could have sealed another record."
        )
    return f"{key}. Others hold a head, by {_named(held)}: what that head seals its holder could not write anew."


def _named(entries: Sequence[Entry]) -> str:
    return f"{'entry' if len(entries) == 1 else 'entries'} {diary.numbers(entries)}"


def _late(entries: Iterable[Entry]) -> str:
    late = diary.late(entries)
    if not late:
        return "Nobody wrote an entry more than an hour from the time it speaks of."
    longest = max(late, key=lambda entry: abs(entry.entered - entry.at))
    return (
        f"More than an hour from the time spoken of: {_named(late)}; the furthest is entry {longest.number}, "
        f"{diary.entered(longest)}."
    )


def _corrected(page: ReportPage, display: Display) -> str:
    changed = [entry for entry in page.entries if entry.kind is Kind.CORRECTION]
    if not changed:
        return "Nothing in the log was corrected."
    correct = "corrects" if len(changed) == 1 else "correct"
    said = f"{_named(changed)} {correct} what others said; both stay in the diary."
    if page.uncorrected is None:
        return f"{said} As first written the entries contradict each other, so no verdict stands beside this one."
    return f"{said} {_beside('As first written', page.uncorrected, page.assessment, display)}"


def _beside(how: str, other: OtherVerdict, found: Assessment, display: Display) -> str:
    clock = found.lot.clock
    same = (other.completed_at, other.counted, other.excursions) == (
        clock.completed_at,
        clock.counted,
        len(found.excursions),
    )
    if same:
        return f"{how} the verdict would be the same."
    complete = "not complete" if other.completed_at is None else f"complete {words.when(other.completed_at, display)}"
    excursions = words.counted_things(other.excursions, "excursion")
    return f"{how}: {words.hours(other.counted)} counted, {complete}, {excursions}."


def _readings(found: Assessment, display: Display) -> str:
    lot = found.lot
    return (
        f"By the profile {words.clock_state(lot.clock, display)}; read strictly, as hours without a break, "
        f"{words.clock_state(lot.strict, display)}; with the limits drawn in by the sensors' uncertainty "
        f"{words.clock_state(lot.guarded, display)}."
    )


def _profiles(page: ReportPage, display: Display) -> str:
    others = page.assessment.other_verdicts
    if not others:
        return "The profile has not changed since the job was opened."
    told = "; ".join(
        _beside(f"under {words.visible(one.profile)}, in force from {words.when(one.in_force_from, display)}", one,
                page.assessment, display).rstrip(".")
        for one in others
    )  # fmt: skip
    return f"The job had {len(others) + 1} profiles; {told}."


def _origins(found: Assessment) -> str:
    shares = [f"{words.fraction(part)} {words.ORIGIN[kind]}" for kind, part in found.origin_share.items() if part]
    conflicts = f" {words.conflicts(found.conflicts)}" if found.conflicts else ""
    return f"Of known time: {'; '.join(shares) or 'none'}.{conflicts}"


def thinned(some: ThinnedDays) -> str:
    """What of a sensor's days is left, and what that does to what is read of them."""
    first, last = (rfc3339(day)[:10] for day in (some.days[0], some.days[-1]))
    several = len(some.days) > 1
    which = f"{len(some.days)} days from {first} to {last}" if several else f"the day {first}"
    return (
        f"Of {words.visible(some.sensor)} {which} (UTC) {'were' if several else 'was'} thinned: of each "
        f"{format_duration(some.each)} the first, lowest, highest and last reading are left. Excursions then may read "
        "shorter or longer than they did."
    )


def _silences(found: Assessment) -> str:
    """Gaps that lie between two excursions of one side are named apart: the room was hardly in band in between."""
    if not found.gaps:
        return "The room was known all the time."
    total = sum(gap.end - gap.start for gap in found.gaps)
    between = _between(found)
    told = f"{words.counted_things(len(found.gaps), 'gap')}, {words.length(total)} in all, never counted as in band."
    if not between:
        return told
    hidden = sum(gap.end - gap.start for gap in between)
    return (
        f"{told} {len(between)} of them, {words.length(hidden)}, between two excursions of one side: not shown in "
        "band, probably out."
    )


def _between(found: Assessment) -> list[Gap]:
    """The gaps with an excursion that ended at most an hour before, and one of the same side that began so after."""
    ends: dict[tuple[Quantity, Side], list[int]] = {}
    starts: dict[tuple[Quantity, Side], list[int]] = {}
    for one in found.excursions:
        starts.setdefault((one.quantity, one.side), []).append(one.start)
        if one.end is not None:
            ends.setdefault((one.quantity, one.side), []).append(one.end)
    return [
        gap
        for gap in found.gaps
        if any(_near(ends.get(k, ()), gap.start) and _near(starts[k], gap.end) for k in starts)
    ]


def _near(times: Sequence[int], at: int) -> bool:
    """Whether one of `times`, in order, is at most an hour from `at`."""
    k = bisect_left(times, at - HOUR)
    return k < len(times) and times[k] <= at + HOUR
