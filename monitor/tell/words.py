"""Every sentence that a person reads, as a function of the value that it words.

Rounding never flatters: counted hours and shares are cut, not rounded, so that 47.99 h is never shown as 48; a ready
time is rounded up; a worst value is shown with as many digits as it takes to differ from its limit.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import NamedTuple
from zoneinfo import ZoneInfo

from monitor.basis.times import DAY, HOUR, MINUTE, datetime_of, ms_of, whole_seconds, zone_of
from monitor.basis.units import (
    System,
    format_duration,
    format_length,
    format_percent,
    format_temperature,
    format_temperature_difference,
)
from monitor.basis.values import OriginKind, Quantity
from monitor.config.profile import Profile
from monitor.rules.assessment import (
    Assessment,
    ClockReading,
    Condition,
    Coverage,
    Excursion,
    Gap,
    Lot,
    Now,
    Phase,
    Restart,
)
from monitor.tell.pages.settling import to_do as to_do

TRAINING = "TRAINING JOB: readings of this job were simulated. It proves nothing about a real room."
_UTC = re.compile(r"\b\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(?:\.\d{3})?Z")  # as rfc3339 writes it
LONG = 10 * DAY  # a length of time is told in days from here on
DIFFERENT = 1e-9  # the rules call a value outside from here on [degC, %RH]

QUANTITY: Mapping[Quantity, str] = {
    Quantity.AIR_TEMPERATURE: "temperature",
    Quantity.AIR_HUMIDITY: "humidity",
    Quantity.SURFACE_TEMPERATURE: "surface temperature",
    Quantity.BOX_TEMPERATURE: "box temperature",
    Quantity.WALL_MOISTURE: "wall moisture",
    Quantity.BATTERY: "battery",
}
PHASE: Mapping[Phase, str] = {
    "before": "before the installation",
    "during": "during the installation",
    "after": "after the installation",
}
ENDED_BY = {"return": "came back into the band", "silence": "the sensor fell silent", "open": "still open"}
ORIGIN: Mapping[OriginKind, str] = {
    OriginKind.LIVE: "heard live",
    OriginKind.BACK_FILL: "sent later by the sensor",
    OriginKind.FILE: "read from a logger's file",
    OriginKind.HAND: "entered by hand",
    OriginKind.SIMULATED: "simulated",
}
HEARS = {"air": "in", "outdoors": "outdoors,", "box": "in boxes at", "surface": "on the wall's surface in"}
CHECK = {
    "maker": "the maker's statement only",
    "side by side": "a side-by-side check",
    "salt": "a salt check",
    "laboratory": "a laboratory certificate",
    "run out": "nothing any more: its check has run out",
    "never checked": "nothing any more: the maker's statement has run out, and no check was made",
}


class Display(NamedTuple):
    """How a job wants to be read: in its zone, in its units."""

    zone: ZoneInfo
    units: System


def display_of(assessment: Assessment, units: System) -> Display:
    """The display of a job. Raises TimeError when its zone is unknown here."""
    return Display(zone_of(assessment.zone, where=f"job {assessment.job}"), units)


# --- names, numbers and times ----------------------------------------------------------------------


def visible(text: str) -> str:
    """A name or note of a user, control and direction characters spelled out, so that it can't dress up a page."""
    return "".join(
        f"\\u{ord(sign):04x}" if unicodedata.category(sign) in ("Cc", "Cf", "Zl", "Zp", "Cs") else sign for sign in text
    )


def few(texts: Sequence[str], most: int, *, more: int = 0, between: str = "; ") -> str:
    """The first `most` of the texts, and how many there are besides; `more` are counted already."""
    rest = max(0, len(texts) - most) + more
    return f"{between.join(texts[:most])}{f' and {rest} more' if rest else ''}"


def when(at: int, display: Display) -> str:
    """ "2026-01-05 08:40 -05:00": the minute that `at` lies in, in the job's zone."""
    text = datetime_of(at - at % MINUTE, display.zone).isoformat(sep=" ", timespec="minutes")
    return f"{text[:16]} {text[16:]}"


def as_of(at: int, display: Display) -> str:
    """As `when`, with UTC by its name."""
    return when(at, display).replace(" +00:00", " UTC") if display.zone.key == "UTC" else when(at, display)


def shared(displays: Iterable[Display]) -> Display:
    """How to show what belongs to no wall: in the zone that all have, else in UTC; in the units that most ask for."""
    shown = list(displays)
    zones, units = {one.zone.key for one in shown}, [one.units for one in shown]
    zone = shown[0].zone if len(zones) == 1 else zone_of("UTC")
    return Display(zone, max(sorted(set(units)), key=units.count, default="si"))


def evidence(text: str, display: Display) -> str:
    """What speaks for a condition as people read it: as `visible`, and its times, which are kept in UTC, as `when`."""
    return _UTC.sub(lambda found: _local(found[0], display), visible(text))


def _local(utc: str, display: Display) -> str:
    """The time as `when`; a name that only looks like one stays."""
    try:
        return when(ms_of(datetime.fromisoformat(utc)), display)
    except (ValueError, OverflowError):
        return utc


def when_at_the_earliest(at: int, display: Display) -> str:
    """As `when`, but the first whole minute not before `at`: a promise is never early."""
    return when(at + -at % MINUTE, display)


def between(start: int, end: int, display: Display) -> str:
    """ "2026-01-05 17:05 to 2026-01-06 07:10 -05:00"; the offset is said twice where the clocks were changed."""
    first, last = when(start, display), when(end, display)
    if first[-6:] != last[-6:]:
        return f"{first} to {last}"
    return f"{first[:16]} to {last[11:] if first[:10] == last[:10] else last}"


def length(ms: int) -> str:
    """A length of time: "26 h 30 min", and from ten days on "1099 d 2 h 5 min"."""
    if ms < LONG:
        return format_duration(ms)
    days, rest = divmod(round(ms / MINUTE) * MINUTE, DAY)
    return f"{days} d {format_duration(rest)}" if rest else f"{days} d"


def hours(ms: int) -> str:
    """ "31.5 h", cut to a tenth."""
    return f"{ms * 10 // HOUR / 10:.1f} h"


def required(ms: int) -> str:
    """ "48 h", exact."""
    return f"{ms / HOUR:g} h"


def share(part: int, whole: int) -> str:
    """ "97.1 %", cut to a tenth: only all of it is 100 %. `whole` > 0."""
    return format_percent(part * 1000 // whole / 10)


def fraction(value: float) -> str:
    """A share 0 to 1 in percent, where a little is not nothing and almost all is not all."""
    if 0.0 < value < 0.001:
        return "under 0.1 %"
    return "over 99.9 %" if 0.999 < value < 1.0 else format_percent(value * 100)


def amount(value: float) -> str:
    """A size not below 0 to a tenth, or to two digits below that."""
    if 0.0 < value < 0.001:
        return "under 0.001"
    return f"{value:.1f}" if value == 0.0 or value >= 0.05 else f"{value:.2g}"


def measure(quantity: Quantity, value: float, display: Display, *, places: int = 1) -> str:
    """A value of `quantity` (degC or %RH) in the job's units."""
    if quantity in (Quantity.AIR_HUMIDITY, Quantity.WALL_MOISTURE, Quantity.BATTERY):
        return format_percent(value, places=places)
    return format_temperature(value, display.units, places=places)


def measure_beyond(quantity: Quantity, value: float, limit: float, display: Display) -> str:
    """As `measure`, with as many places as it takes to differ from `limit`."""
    for places in range(1, 9):
        text = measure(quantity, value, display, places=places)
        if text != measure(quantity, limit, display, places=places) or abs(value - limit) < DIFFERENT:
            break
    return text


def dose(quantity: Quantity, value: float, display: Display) -> str:
    """ "6.4 %RH-hours" or "3.2 degF-hours", from %RH.h or K.h."""
    if quantity is Quantity.AIR_HUMIDITY:
        return f"{amount(value)} %RH-hours"
    unit = format_temperature_difference(0.0, display.units).split()[1]
    return f"{amount(value * 1.8 if display.units == 'us' else value)} {unit}-hours"


def difference(quantity: Quantity, value: float, display: Display) -> str:
    """A difference or an uncertainty: "5.0 %RH", "1.8 degF"."""
    if quantity is Quantity.AIR_HUMIDITY:
        return f"{value:.1f} %RH"
    return format_temperature_difference(value, display.units)


# --- the band and what left it ---------------------------------------------------------------------


def limits_of(profile: Profile, quantity: Quantity, phase: Phase) -> tuple[float, float]:
    """The limits that held in `phase`, degC or %RH: the band until the wall is finished, its life from then on."""
    band = profile.life if phase == "after" else profile.band
    return band.temperature if quantity is Quantity.AIR_TEMPERATURE else band.humidity


def band(profile: Profile, phase: Phase, display: Display) -> str:
    """ "35.0 % to 65.0 % and 60.0 degF to 85.0 degF"."""
    low, high = limits_of(profile, Quantity.AIR_HUMIDITY, phase)
    cold, warm = limits_of(profile, Quantity.AIR_TEMPERATURE, phase)
    return (
        f"{format_percent(low)} to {format_percent(high)} and "
        f"{format_temperature(cold, display.units)} to {format_temperature(warm, display.units)}"
    )


def limit_of(excursion: Excursion, profile: Profile) -> float:
    """The limit that was left. [degC, %RH]"""
    return limits_of(profile, excursion.quantity, excursion.phase)[excursion.side == "high"]


def side(excursion: Excursion, profile: Profile, display: Display) -> str:
    """ "humidity above 65.0 %"."""
    word = "above" if excursion.side == "high" else "below"
    limit = measure(excursion.quantity, limit_of(excursion, profile), display)
    return f"{QUANTITY[excursion.quantity]} {word} {limit}"


def worst(excursion: Excursion, profile: Profile, display: Display) -> str:
    """The value furthest out."""
    return measure_beyond(excursion.quantity, excursion.peak, limit_of(excursion, profile), display)


def lasted(start: int, end: int | None, as_of: int) -> str:
    """A length of time; of what is still open, so far."""
    return length((as_of if end is None else end) - start) + (" so far" if end is None else "")


def excursion(found: Excursion, profile: Profile, as_of: int, display: Display) -> str:
    """ "humidity above 65.0 % for 2 h 10 min, at worst 71.3 %, 6.4 %RH-hours beyond the limit"."""
    text = (
        f"{side(found, profile, display)} for {lasted(found.start, found.end, as_of)}, "
        f"at worst {worst(found, profile, display)}, {dose(found.quantity, found.dose, display)} beyond the limit"
    )
    return f"{text} ({'; '.join(doubts(found))})" if doubts(found) else text


def doubts(found: Excursion) -> list[str]:
    """What weakens or joins an excursion."""
    told = [] if found.beyond_uncertainty else ["within the sensors' uncertainty"]
    told += ["on suspect readings alone"] if found.quality == "suspect" else []
    return [*told, "it held before the silence too"] if found.continues else told


def missing(gap: Gap) -> str:
    """ "nothing usable heard", or what was not; a stuck sensor is heard but proves nothing."""
    if len(gap.missing) != 1:
        return "nothing usable heard"
    return f"no usable {QUANTITY[gap.missing[0]]} heard"


def cause(gap: Gap, away: Sequence[tuple[int, int]], display: Display) -> str:
    """Why a gap is one, as far as the record tells: "" where it does not.

    `away` are the times in which no daemon was there to hear. [ms]
    """
    if not gap.silent:
        return "a sensor spoke, but it was stuck"
    for start, end in away:
        if 2 * (min(end, gap.end) - max(start, gap.start)) > gap.end - gap.start:
            return f"wallclime was off {between(start, end, display)}"
    return ""


def gap(found: Gap, display: Display, away: Sequence[tuple[int, int]] = ()) -> str:
    """ "nothing usable heard 2026-01-05 17:05 to 2026-01-06 07:10 -05:00 (14 h 5 min): not counted"."""
    because = cause(found, away, display)
    lasting = length(found.end - found.start)
    told = f"{missing(found)} {between(found.start, found.end, display)} ({lasting}): not counted"
    return f"{told}; {because}" if because else told


def in_band(coverage: Coverage | None, *, short: bool = False) -> str:
    """The in-band share, always of known time and of elapsed time; `short` where the page says what the pair is."""
    if coverage is None or not coverage.elapsed:
        return "-" if short else "no time has passed yet"
    of_known = f"{share(coverage.in_band, coverage.known)} of known time" if coverage.known else "no time is known"
    low, high = in_band_of_elapsed(coverage)
    if short:
        return f"{of_known}; {low if low == high else f'{low} to {high}'} of elapsed time"
    return f"{of_known}; {low} to {high} of elapsed time (unknown time counted out, and in)"


def size(length: float | None, height: float | None, units: System) -> str:
    """ "4.88 m x 2.44 m", or the one that is known, "" where neither is. [m]"""
    return " x ".join(format_length(side, units) for side in (length, height) if side is not None)


def in_band_of_elapsed(coverage: Coverage) -> tuple[str, str]:
    """In-band share of elapsed time with unknown time counted out, and counted in. `elapsed` > 0."""
    best = coverage.in_band + coverage.elapsed - coverage.known
    return share(coverage.in_band, coverage.elapsed), share(best, coverage.elapsed)


# --- the clock -------------------------------------------------------------------------------------


def counted(clock: ClockReading) -> str:
    """ "31.5 h of 48 h"."""
    return f"{hours(clock.counted)} of {required(clock.required)}"


def restart_cause(restart: Restart, profile: Profile) -> str:
    """Why the clock went back to zero."""
    if restart.cause == "out":
        limit, what = profile.acclimation.reset_after_out, "out of band"
    else:
        limit, what = profile.acclimation.reset_after_unknown, "not proven in band"
    return f"{what} for more than {format_duration(limit)}" if limit else what


def restart(found: Restart, profile: Profile, display: Display) -> str:
    """When and why."""
    return f"{when(found.at, display)}: back to zero, {restart_cause(found, profile)}"


def clock_state(clock: ClockReading, display: Display) -> str:
    """Complete, on its way or standing."""
    if clock.completed_at is not None:
        return f"complete {when(clock.completed_at, display)}"
    if clock.projected_at is not None:
        return f"complete {when_at_the_earliest(clock.projected_at, display)} if the room stays in band"
    return "not complete"


def beyond_uncertainty(lot: Lot) -> str:
    """Whether the verdict on the clock would survive the sensors' uncertainty."""
    if lot.clock.completed_at is None:
        return "Simple acceptance decides: a reading counts as it stands, its uncertainty is stated beside it."
    holds = "holds" if lot.beyond_uncertainty else "does not hold"
    return f"Simple acceptance decides; the completion {holds} beyond the sensors' uncertainty."


def rule(profile: Profile) -> str:
    """How the clock counts under this profile."""
    by = profile.acclimation
    counts = f"Time in band counts once it has lasted {format_duration(by.settle)}, up to {required(by.required)}."
    if not by.reset_after_unknown:
        return f"{counts} Any break puts the clock back to zero."
    return (
        f"{counts} A break pauses the clock; more than {format_duration(by.reset_after_out)} out of band in one break, "
        f"or a break of more than {format_duration(by.reset_after_unknown)} in all, puts it back to zero."
    )


# --- the verdict -----------------------------------------------------------------------------------


def open_conditions(assessment: Assessment) -> list[Condition]:
    """What does not pass, failures first."""
    found = [condition for condition in assessment.readiness if condition.verdict != "pass"]
    return sorted(found, key=lambda condition: condition.verdict != "fail")


def lot_named(name: str) -> str:
    """ "lot A", and of a name that says so itself "lot 1"."""
    return visible(name) if name.casefold().startswith("lot ") else f"lot {visible(name)}"


def counted_things(number: int, thing: str) -> str:
    """ "1 condition", "3 conditions"."""
    return f"{number} {thing}" if number == 1 else f"{number} {thing}s"


def times(number: int) -> str:
    """ "once", "3 times"."""
    return "once" if number == 1 else f"{number} times"


def tag(assessment: Assessment) -> str:
    """The verdict in a word or two."""
    if assessment.phase == "before":
        return "READY" if assessment.ready else "NOT READY"
    return "INSTALLING" if assessment.phase == "during" else "WALL IS UP"


def verdict(assessment: Assessment, display: Display, open_at_start: int = 0) -> str:
    """May the installer start? And once the wall is begun: was it acclimated, and how has it been since?

    `open_at_start` conditions were not met when it was begun all the same.
    """
    if assessment.phase == "before":
        return _may_start(assessment, display)
    acclimated = _was_acclimated(assessment, display, open_at_start)
    return acclimated if assessment.phase == "during" else f"{acclimated} {_has_been(assessment)}"


def _may_start(assessment: Assessment, display: Display) -> str:
    if assessment.ready:
        return "The installation may start: every condition is met."
    not_yet = "The installation may not start yet"
    clock, failing = assessment.lot.clock, open_conditions(assessment)
    if clock.completed_at is not None:
        still_open = "1 condition is" if len(failing) == 1 else f"{len(failing)} conditions are"
        return f"{not_yet}: the acclimation is complete, but {still_open} not met."
    if clock.projected_at is not None:
        at = when_at_the_earliest(clock.projected_at, display)
        return f"{not_yet}: {counted(clock)} are counted, complete {at} if the room stays in band."
    return f"{not_yet}: {counted(clock)} are counted, and the clock is not running."


def _was_acclimated(assessment: Assessment, display: Display, open_at_start: int) -> str:
    clock = assessment.lot.clock
    if unrecorded(assessment):
        return "The wall was begun before its record: nothing here says how its planks were acclimated."
    still = f", with {counted_things(open_at_start, 'condition')} open at the start" if open_at_start else ""
    if clock.completed_at is None:
        return f"The installation started before the acclimation was complete: {counted(clock)} are counted{still}."
    return f"The installation started after the acclimation was complete ({when(clock.completed_at, display)}){still}."


def unrecorded(assessment: Assessment) -> bool:
    """Whether nothing is recorded of the time before a wall was begun: no delivery, and no reading."""
    return assessment.phase != "before" and assessment.before is None and assessment.during is None


def _has_been(assessment: Assessment) -> str:
    if assessment.after is None:
        return "It has only just been finished."
    left = counted_things(sum(found.phase == "after" for found in assessment.excursions), "excursion")
    return f"Since the finish the room was in band {in_band(assessment.after)}, with {left}."


def now_state(now: Now, as_of: int, display: Display) -> str:
    """ "in band since 2026-01-06 08:10 -05:00 (24 h 30 min)"."""
    word = {"in": "in band", "out": "OUT OF BAND", "unknown": "not known"}[now.state]
    if now.since is None:
        return word if now.last_heard is not None else f"{word}: nothing heard yet"
    return f"{word} since {when(now.since, display)} ({length(whole_seconds(as_of - now.since))})"


def conflicts(number: int) -> str:
    """Readings that contradicted one already kept."""
    if not number:
        return "No reading contradicted another."
    found = counted_things(number, "reading")
    return f"{found} contradicted one already kept: the first stands, the other is in quarantine."
