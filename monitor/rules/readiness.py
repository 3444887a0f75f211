"""Readiness: a list of named conditions, each pass, fail or unknown with its evidence. Unknown is not a pass."""

from __future__ import annotations

from typing import NamedTuple

from monitor.basis.times import HOUR, rfc3339, whole_seconds
from monitor.basis.units import System, format_duration
from monitor.basis.values import AIR, Quantity
from monitor.rules.assessment import Condition, Lot, Now, Verdict
from monitor.rules.board.cores import core_verdict
from monitor.rules.frame import Frame
from monitor.rules.install import suitability
from monitor.rules.install.moisture import moisture_condition
from monitor.rules.install.site import site_condition
from monitor.rules.install.takenoff import size_condition
from monitor.rules.instrument import LEVELS

INSTRUMENT = (Quantity.AIR_HUMIDITY, Quantity.AIR_TEMPERATURE)  # what an instrument is asked to be backed for
RECORD_ENDS = "the record ends"  # so begins the evidence where no sensor is here any more, but one was


class Facts(NamedTuple):
    """What the conditions look at. `apart` names quantities and since when sensors disagree on them.

    `here` names the sensors of the place, `stuck` those that speak and prove nothing in band.
    """

    frame: Frame
    as_of: int
    lot: Lot
    now: Now
    apart: tuple[tuple[str, int], ...]
    here: tuple[str, ...]
    stuck: tuple[str, ...]
    used: tuple[Lot, ...]  # the lots that will be used


def conditions(facts: Facts) -> tuple[Condition, ...]:
    """Every condition of readiness, in the order in which an installer meets them."""
    return (
        _delivered(facts),
        _acclimated(facts),
        _air(facts),
        _fresh(facts),
        _not_flat(facts),
        _agree(facts),
        _instrument(facts),
        _core(facts),
        _site(facts),
        _moisture(facts),
        _size(facts),
        suitability.condition(facts.frame.place),
    )


def _delivered(facts: Facts) -> Condition:
    """That boxes came, and that none of a lot in use was said to be opened or on end."""
    count = len(facts.frame.deliveries)
    if not count:
        return Condition("boxes delivered", "unknown", "no delivery is recorded")
    used = {lot.name for lot in facts.used}
    wrong = [one for one in facts.frame.deliveries if one.lot in used and {"opened", "on end"} & set(one.said)]
    if wrong:
        evidence = "; ".join(f"{one.lot} was said to be {' and '.join(one.said)}" for one in wrong)
        return Condition("boxes delivered", "fail", f"{evidence}: boxes are to lie unopened and flat")
    return Condition("boxes delivered", "pass", f"{count} {'delivery' if count == 1 else 'deliveries'} recorded")


def _acclimated(facts: Facts) -> Condition:
    clock = facts.lot.clock
    counted = f"{clock.counted / HOUR:.1f} of {clock.required / HOUR:g} h counted"
    if clock.completed_at is None:
        return Condition("acclimation complete", "fail", counted)
    sure = "also with the limits drawn in by" if facts.lot.beyond_uncertainty else "but not with the limits drawn in by"
    return Condition("acclimation complete", "pass", f"{counted}, held since; {sure} the sensors' uncertainty")


def _air(facts: Facts) -> Condition:
    verdict: Verdict = {"in": "pass", "out": "fail", "unknown": "unknown"}[facts.now.state]  # type: ignore[assignment]
    evidence = {"pass": "in band", "fail": "out of band", "unknown": "not known"}[verdict]
    since = "" if facts.now.since is None else f" for {format_duration(whole_seconds(facts.as_of - facts.now.since))}"
    return Condition("air in band now", verdict, evidence + since)


def _fresh(facts: Facts) -> Condition:
    if not facts.here:
        last = facts.now.last_heard
        evidence = "no sensor is assigned to the place"
        if last is not None:
            evidence = f"{RECORD_ENDS} {rfc3339(last)}; nothing is heard now"
        return Condition("sensors fresh", "unknown", evidence)
    silent = [name for name in facts.here if any(quantity not in facts.now.values.get(name, {}) for quantity in AIR)]
    alive = [name for name in facts.here if name not in silent]
    if not alive:
        return Condition("sensors fresh", "unknown", f"nothing heard from {', '.join(silent)}")
    if silent:
        return Condition("sensors fresh", "unknown", f"not all is heard from {', '.join(silent)}")
    return Condition("sensors fresh", "pass", f"heard from {', '.join(alive)}")


def _not_flat(facts: Facts) -> Condition:
    if not facts.now.values:
        return Condition("sensors not flat", "unknown", "no sensor speaks")
    if facts.stuck:
        evidence = f"unchanged for so long that it proves nothing: {', '.join(facts.stuck)}"
        return Condition("sensors not flat", "fail", evidence)
    return Condition("sensors not flat", "pass", "what they say changes")


def _agree(facts: Facts) -> Condition:
    long = [(name, since) for name, since in facts.apart if facts.as_of - since >= HOUR]
    if not facts.now.values:
        return Condition("sensors agree", "unknown", "no sensor speaks")
    if long:
        since, what = min((since, name) for name, since in long)
        return Condition(
            "sensors agree",
            "unknown",
            f"{what.replace('_', ' ')} further apart than the combined uncertainty for "
            f"{format_duration(facts.as_of - since)}",
        )
    return Condition("sensors agree", "pass", "one sensor" if len(facts.now.values) == 1 else "within uncertainty")


def _instrument(facts: Facts) -> Condition:
    """Whether every sensor here is backed by a valid check of the level that the profile asks for.

    The level is asked of the humidity, which drifts; of the temperature no more than a side-by-side check.
    """
    asked = facts.frame.profile.readiness.instrument
    if not facts.here:
        return Condition("instrument check", "unknown", "no sensor is assigned to the place")
    for name in facts.here:
        sensor = facts.frame.sensors[name]
        for quantity in INSTRUMENT:
            least = asked if quantity is Quantity.AIR_HUMIDITY else min(asked, "side by side", key=LEVELS.index)
            level = sensor.level(quantity, facts.as_of)
            what = quantity.value.replace("_", " ")
            if level is None:
                return Condition(
                    "instrument check", "fail", f"nothing backs the {what} of {name} any more: its check has run out"
                )
            if LEVELS.index(level) < LEVELS.index(least):
                return Condition(
                    "instrument check", "fail", f"the {what} of {name} has no check of the level {least!r}"
                )
    return Condition("instrument check", "pass", "; ".join(_backed(facts, quantity) for quantity in INSTRUMENT))


def _backed(facts: Facts, quantity: Quantity) -> str:
    """The least that backs `quantity` of any sensor here, all of which are backed."""
    levels = [level for name in facts.here if (level := facts.frame.sensors[name].level(quantity, facts.as_of))]
    return f"{quantity.value.removeprefix('air_')} backed by: {min(levels, key=LEVELS.index)}"


def _site(facts: Facts) -> Condition:
    frame = facts.frame
    system: System = "us" if frame.job.units == "us" else "si"
    at = frame.checked_at(facts.as_of)
    return site_condition(frame.site, frame.profile, length=frame.job.length, at=at, units=system)


def _moisture(facts: Facts) -> Condition:
    frame = facts.frame
    return moisture_condition(frame.moisture, frame.profile, at=frame.checked_at(facts.as_of))


def _core(facts: Facts) -> Condition:
    """Of every lot that is used; the worst decides."""
    units: System = "us" if facts.frame.job.units == "us" else "si"
    found = [(lot, *core_verdict(lot.core, facts.frame.profile.readiness.box_core_within, units)) for lot in facts.used]
    worst = min((verdict for _, verdict, _ in found), key=("fail", "unknown", "pass").index)
    said = [(lot.name, evidence) for lot, verdict, evidence in found if verdict == worst]
    several = len(facts.used) > 1
    evidence = "; ".join(f"{name}: {evidence}" if several else evidence for name, evidence in said)
    return Condition("box core", worst, evidence)


def _size(facts: Facts) -> Condition:
    job = facts.frame.job
    system: System = "us" if job.units == "us" else "si"
    return size_condition(job.length, job.height, facts.frame.take_off, facts.frame.profile.wall, system)
