"""Sentences of a report about time: which span it shows, its calendar, its hours of air, its changes of the clock."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from monitor.basis.times import HOUR, SECOND, whole_seconds
from monitor.config.profile import Profile
from monitor.rules.assessment import Coverage, Excursion, Phase
from monitor.tell import words
from monitor.tell.words import Display

MANY = 6  # numbers of excursions that are listed one by one
NOT_CUT = (
    "A part of the record is shown: charts, calendar, excursions, episodes, gaps and coverage are of it. Verdict, "
    "clock, readiness, boards, surface, sensors, profile, diary, evidence and the list below are of the whole record."
)


def span_named(start: int, end: int, phase: Phase | None, *, cut: bool, display: Display) -> str:
    """ "the whole record, 2026-01-05 08:40 to 2026-01-09 20:40 -05:00 (108 h)"."""
    what = "the whole record" if not cut else "a part of the record"
    if phase is not None:
        what = f"the time {words.PHASE[phase]}"
    return f"{what}, {words.between(start, end, display)} ({words.length(end - start)})"


def verdict_of_span(
    start: int, end: int, phase: Phase | None, found: Coverage, excursions: int, display: Display
) -> str:
    """How the room was in the span that was asked for, by which the sentence begins."""
    name = f"From {words.between(start, end, display)}"
    if phase is not None:
        name += f", {words.PHASE[phase]}"
    out = f"out of band in {words.counted_things(excursions, 'excursion')}" if excursions else "never out of band in it"
    unknown, whole = found.elapsed - found.known, words.length(found.elapsed)
    silent = f"not known for {words.length(unknown)} of {whole}" if unknown else f"known all {whole}"
    return f"{name}, the room was in band {_shares(found)}, {out}, and {silent}."


def _shares(found: Coverage) -> str:
    """In band, of known time and of elapsed time: neither without the other."""
    low, high = words.in_band_of_elapsed(found)
    of_known = f"in {words.share(found.in_band, found.known)} of known time" if found.known else "in no known time"
    if found.known == found.elapsed:
        return f"{of_known}, which is all of it"
    return f"{of_known}, {low if low == high else f'{low} to {high}'} of elapsed time"


def bands(phases: Sequence[Phase], profile: Profile, display: Display) -> str:
    """The band of each of the phases, and until or from when it judges where there are two."""
    if profile.life == profile.band:
        return words.band(profile, "before", display)
    until = f"{words.band(profile, 'before', display)} until the wall is finished"
    later = f"{words.band(profile, 'after', display)} once it is finished"
    return "; ".join(dict.fromkeys(later if phase == "after" else until for phase in phases))


def verdict_of_whole(verdict: str, as_of: int, display: Display) -> str:
    """The job's verdict beside that of a span."""
    return f"Of the whole record, as of {words.when(as_of, display)}: {verdict}"


def since(start: int, end: int | None, display: Display) -> str:
    """From when to when, or since when it has been open."""
    return f"{words.when(start, display)}, still open" if end is None else words.between(start, end, display)


def cut_excursion(whole: Excursion, display: Display) -> str:
    """What is to be said of an excursion that lasts beyond the span shown."""
    if whole.end is None:
        return f"cut to the span: it began {words.when(whole.start, display)}; worst and sum are of the whole"
    return f"cut to the span: in all {words.between(whole.start, whole.end, display)}; worst and sum are of the whole"


def cut_to_span(number: int, thing: str) -> str:
    """How many rows of a table are cut to the span; "" where none is."""
    if not number:
        return ""
    lasts = "lasts beyond the span and is" if number == 1 else "last beyond the span and are"
    return f"{words.counted_things(number, thing)} {lasts} cut to it."


# --- episodes --------------------------------------------------------------------------------------


def listed(numbers: Sequence[int]) -> str:
    """ "1, 2, 5", and of many the first and last with how many they are."""
    if len(numbers) <= MANY:
        return ", ".join(map(str, numbers))
    return f"{numbers[0]} to {numbers[-1]} ({len(numbers)} of them)"


def worst_of(found: Sequence[Excursion], profile: Profile, display: Display) -> str:
    """The value furthest out of each limit that these left."""
    sides = dict.fromkeys((one.quantity, one.side) for one in found)
    told = []
    for quantity, side in sides:
        here = [one for one in found if (one.quantity, one.side) == (quantity, side)]
        furthest = max(here, key=lambda one: abs(one.peak - words.limit_of(one, profile)))
        told.append(f"{words.worst(furthest, profile, display)} ({words.side(furthest, profile, display)})")
    return "; ".join(told)


def doses(found: Sequence[Excursion], display: Display) -> str:
    """What was beyond the limits, added up for each quantity."""
    quantities = dict.fromkeys(one.quantity for one in found)
    return "; ".join(
        words.dose(quantity, sum(one.dose for one in found if one.quantity is quantity), display)
        for quantity in quantities
    )


# --- changes of the clock --------------------------------------------------------------------------


def clock_changed(by: int) -> str:
    """A change of the zone's clocks, as a moment of the chart. [ms]"""
    return f"clocks were put {'forward' if by > 0 else 'back'} {abs(by) / HOUR:g} h: the axis does not follow"


def clock_changes_drawn(number: int) -> str:
    """How the changes of the zone's clocks stand in the chart; "" where there are none."""
    if not number:
        return ""
    return (
        f"Clocks were changed {words.times(number)} in this span: short ticks at the top edge mark it; the axis does "
        "not follow."
    )


# --- the calendar ----------------------------------------------------------------------------------


def length(ms: int) -> str:
    """A length of time in whole seconds; "-" for none at all."""
    if not ms:
        return "-"
    return words.length(whole_seconds(ms)) if ms >= SECOND else "under 1 s"


def calendar_finding(days: int, whole: int, out: int, unknown: int, longest: int) -> str:
    """What the calendar shows: how many days were in band throughout, and how many were not."""
    if days == 1:
        state = "in band and known throughout" if whole else "not in band and known throughout"
        return f"The record is of 1 day, {state}."
    run = f", at most {longest} in a row" if 1 < longest < whole else ""
    were = "was" if whole == 1 else "were"
    return (
        f"Of {days} days {whole or 'none'} {were} in band and known throughout{run}; on {out or 'none'} the room left "
        f"the band, on {unknown or 'none'} it was not known for some of the day."
    )


def calendar_days_note(listed: int, others: int, left: int) -> str:
    """What of the days of a long calendar its table lists."""
    told = f"{listed} days shown, those longest out of band or not known; {left} more like them. " if left else ""
    return f"{told}In band and known throughout, and not listed: {words.counted_things(others, 'day')}."


# --- moist air -------------------------------------------------------------------------------------


def air_finding(hours: int, inside: Mapping[Phase, tuple[int, int]], least: str, most: str) -> str:
    """What the chart of moist air shows; `inside`: of each phase the hours inside its band, and all."""
    total = sum(within for within, _ in inside.values())
    by_phase = [
        f"{within} of {words.counted_things(every, 'hour')} {words.PHASE[phase]}"
        for phase, (within, every) in inside.items()
    ]
    told = f": {', '.join(by_phase)}" if len(by_phase) > 1 else f", all {words.PHASE[next(iter(inside))]}"
    return (
        f"By hour means {total} of {words.counted_things(hours, 'hour')} ({words.share(total, hours)}) lay inside the "
        f"band{told}. The air held {least} to {most} of water (computed)."
    )


def air_note(pressure_hpa: float, step: str, moisture_step: str) -> str:
    """How the chart of moist air is made."""
    return (
        "Each mark is the hours of one cell, larger the more there are: means of the readings of a clock hour, stuck "
        f"sensors left out, in cells of {step} by {moisture_step}; computed for {pressure_hpa:.0f} hPa, sea level: "
        "higher up, air of the same humidity holds a little more for each kilogram. Excursions are judged by every "
        "reading, not by these means."
    )
