"""The table of readiness: every condition as pass, fail and unknown, with the sentence that a person reads.

A row is (condition, verdict, sentence, scene); a scene is a job as of an instant. A verdict that a condition never has
stands in NEVER, with the reason. The edges of each condition are worked in the tests of its own rule.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial
from typing import Any

import pytest
from rooms import HUMIDITY, PROFILE, TEMPERATURE, Room, Row, course, frame, heard, minutes, steady

from monitor.basis.times import DAY as DAY_MS
from monitor.basis.values import Entry, Kind, Quantity
from monitor.config.profile import ReadinessRule
from monitor.rules.assessment import Assessment, Verdict
from monitor.rules.frame import Delivery, said_of
from monitor.rules.install.flatness import DIRECTIONS
from monitor.rules.install.moisture import moisture_of
from monitor.rules.install.site import site_of
from monitor.rules.install.suitability import QUESTIONS, Place
from monitor.rules.instrument import Check
from monitor.rules.judge import judge
from monitor.rules.stays import Stay

Scene = Callable[[], Assessment]
DAY = 1440  # [min]


# --- scenes -----------------------------------------------------------------------------------------------------------


def scene(rows: Sequence[Row] = (), until: float = 60, room: Room | None = None, **said: Any) -> Assessment:
    """One sensor "a" in the hall that says `rows`; `said` are fields of the frame. A 4 x 2.4 m wall, metric."""
    return judge(replace(frame("a", hold=10), **said), minutes(until), room or heard(a=rows or steady(60)))


def delivered(*bodies: dict[str, Any], used: tuple[str, ...] = ()) -> Assessment:
    """A delivery of each body, lot 1, lot 2 and so on; `used` are the lots in use, if not all."""
    lots = [Delivery(f"lot {k}", "hall", minutes(0), 4, said=said_of(body)) for k, body in enumerate(bodies, 1)]
    return scene(deliveries=tuple(lots), lots_used=used)


def two(a: Sequence[Row], b: Sequence[Row], until: float = 120) -> Assessment:
    """Two sensors in the hall."""
    return judge(frame("a", "b"), minutes(until), heard(a=a, b=b))


def entries(kind: Kind, body: dict[str, Any], age: int = 0) -> list[Entry]:
    """One entry, `age` days old at the hour that the scenes end."""
    at = minutes(60) - age * DAY_MS
    return [Entry("hall wall", 4, kind, at, at, "robin", body, None, b"", b"")]


def checked(age: int = 0, **answers: Any) -> Assessment:
    """The site was checked; `answers` instead of those that pass, None for one that was left out."""
    told = {key: value for key, value in {**FIT, **answers}.items() if value is not None}
    return scene(site=site_of(entries(Kind.SITE_CHECK, told, age)))


def measured(value: float, dry: float | None = 0.2) -> Assessment:
    """A moisture meter showed `value` at one place of the drywall."""
    body = {"material": "drywall", "points": [{"where": "low left", "value": value}], "dry_reference": dry}
    return scene(moisture=moisture_of(entries(Kind.WALL_MOISTURE, body)))


def backed(*levels: str) -> Assessment:
    """The humidity of sensor "a" was checked at `levels`, its temperature side by side; a salt check is asked for."""
    span = (minutes(-100), minutes(1000))
    checks = [Check(HUMIDITY, level, *span, 1.0, 0.0, 2.0, False) for level in levels]  # type: ignore[arg-type]
    checks.append(Check(TEMPERATURE, "side by side", *span, 1.0, 0.0, 0.5, False))
    sensor = frame("a").sensors["a"]._replace(checks=tuple(checks))
    return scene(sensors={"a": sensor}, profile=PROFILE._replace(readiness=ReadinessRule("salt", 3 / 1.8)))


def sized(length: float, height: float) -> Assessment:
    """A wall of another size. [m]"""
    return scene(job=frame("a").job._replace(length=length, height=height))


def boxes_at(temp_c: float) -> Assessment:
    """A day at 21.0 degC in the hall, and a sensor in the boxes that says `temp_c` all the time."""
    room = heard(a=[(m, 21.0, 50.0 + 0.2 * (m // 10 % 5)) for m in range(0, DAY, 10)])
    room.say("box", Quantity.BOX_TEMPERATURE, [(m, temp_c + 0.01 * (m // 10 % 2)) for m in range(0, DAY, 10)])
    base = frame("a", "box", hold=10)
    stays = tuple(Stay(name, "hall", minutes(-DAY), None, role) for name, role in (("a", "air"), ("box", "box")))  # type: ignore[arg-type]
    return judge(replace(base, stays=stays), minutes(DAY), room)


def flat_line(direction: str, extent: float, hump: float = 0.0) -> dict[str, Any]:
    """Points 0.2 m apart at most; a hump in the middle that rises evenly from both ends. [m]"""
    count = 2 * -int(-extent // 0.4)
    points = [[k * extent / count, hump * (1 - abs(2 * k / count - 1))] for k in range(count + 1)]
    return {"direction": direction, "extent_m": extent, "points": points}


EXTENTS = dict(zip(DIRECTIONS, (4.0, 2.4, 4.664, 4.664), strict=True))
FIT: dict[str, Any] = {
    "surface": "drywall",
    "finish": "primed",
    "secure": True,
    "clean": True,
    "dry": True,
    "stains": False,
    "windows": "none",
    "heat_sources": [],
    "several_homes": False,
    "stairs": False,
    "corridor": False,
    "old_paint": "no",
    "flatness": [flat_line(direction, EXTENTS[direction]) for direction in DIRECTIONS],
    "plumb": [{"offset_m": 0.002, "over_m": 2.4}],
    "level": [[0.0, 0.0], [4.0, 0.001]],
    "uncertainty_m": 0.0002,
}
HUMPED = [*FIT["flatness"][:1], flat_line("across", 2.4, 0.006), *FIT["flatness"][2:]]
GOOD_PLACE = {
    "kind": "partition",
    "surface": "wall",
    "vertical": True,
    "over_water": False,
    "indoors": True,
    "climate_since": "2025-11-01",
    "closed_in_since": "2025-10-01",
    "wet_trades_done": "2025-12-01",
}
STUCK: list[Row] = [(m, 21.0, 50.0) for m in range(0, 490, 10)]
APART: list[Row] = [(m, 21.0 + m % 3 / 10, 58.0) for m in range(0, 120, 10)]  # U combined is 7.07 %RH
NEAR: list[Row] = [(m, 21.0 + m % 3 / 10, 50.0) for m in range(0, 120, 10)]
LEFT = course(("in", 100), ("wet", 30), ("silent", 50))


# --- the table --------------------------------------------------------------------------------------------------------

Line = tuple[str, Verdict, str, Scene]

AIR: list[Line] = [
    ("boxes delivered", "pass", "1 delivery recorded", scene),
    ("boxes delivered", "pass", "1 delivery recorded", partial(delivered, {"unopened": True, "wrapped": False})),
    ("boxes delivered", "pass", "2 deliveries recorded", partial(delivered, {}, {"flat": False}, used=("lot 1",))),
    (
        "boxes delivered",
        "fail",
        "lot 1 was said to be opened: boxes are to lie unopened and flat",
        partial(delivered, {"unopened": False, "flat": True}),
    ),
    (
        "boxes delivered",
        "fail",
        "lot 2 was said to be opened and on end and unwrapped; lot 3 was said to be on end: boxes are to lie unopened "
        "and flat",
        partial(delivered, {}, {"unopened": False, "flat": False, "wrapped": False}, {"flat": False}),
    ),
    ("boxes delivered", "unknown", "no delivery is recorded", partial(scene, deliveries=())),
    (
        "acclimation complete",
        "pass",
        "48.0 of 48 h counted, held since; also with the limits drawn in by the sensors' uncertainty",
        partial(scene, steady(3 * DAY), 3 * DAY),
    ),
    ("acclimation complete", "fail", "1.0 of 48 h counted", scene),
    ("air in band now", "pass", "in band for 1 h 30 min", partial(scene, LEFT, 90)),
    ("air in band now", "fail", "out of band for 20 min", partial(scene, LEFT, 120)),
    ("air in band now", "unknown", "not known for 45 min", partial(scene, LEFT, 175)),
    ("sensors fresh", "pass", "heard from a, b", partial(two, steady(120), steady(120))),
    ("sensors fresh", "unknown", "not all is heard from b", partial(two, steady(120), steady(20))),
    ("sensors not flat", "pass", "what they say changes", scene),
    ("sensors not flat", "fail", "unchanged for so long that it proves nothing: a", partial(scene, STUCK, 490)),
    ("sensors not flat", "unknown", "no sensor speaks", partial(scene, until=600)),
    ("sensors agree", "pass", "within uncertainty", partial(two, NEAR, NEAR)),
    (
        "sensors agree",
        "unknown",
        "air humidity further apart than the combined uncertainty for 2 h",
        partial(two, NEAR, APART),
    ),
    (
        "instrument check",
        "pass",
        "humidity backed by: salt; temperature backed by: side by side",
        partial(backed, "salt"),
    ),
    (
        "instrument check",
        "fail",
        "the air humidity of a has no check of the level 'salt'",
        partial(backed, "side by side"),
    ),
    ("instrument check", "unknown", "no sensor is assigned to the place", partial(scene, stays=())),
]
BOXES: list[Line] = [  # of the boxes' warmth
    (
        "box core",
        "pass",
        "within 1.7 K of the room's 24 h mean, 21.0 degC, since 2026-01-05T12:00:00Z: measured 20.0 degC",
        partial(boxes_at, 20.0),
    ),
    (
        "box core",
        "fail",
        "not within 1.7 K of the room's 24 h mean, 21.0 degC: measured 5.0 degC",
        partial(boxes_at, 5),
    ),
    ("box core", "unknown", "nobody said how the boxes lie, and no sensor is in them", scene),
]
SITE: list[Line] = [
    (
        "site check",
        "pass",
        "drywall; primed; secure; clean; dry; no stains; no windows; no heat source near; no stairs, no corridor, one "
        "home; no old paint or texture; flatness, 4 lines, hump 0.0 mm at most, hollow 0.0 mm at most; it leans 2.0 mm "
        "towards the room (at most 6.2 mm over 2.400 m); the first row rises 1.0 mm from 0.0 mm to 4.000 m (at most "
        "3.2 mm over the run)",
        checked,
    ),
    (
        "site check",
        "fail",
        "there is wallpaper on it: take it off; it is damp: find the water, mend that, and let the wall dry",
        partial(checked, finish="wallpaper", dry=False),
    ),
    (
        "site check",
        "fail",
        "flatness, across: hump of 6.0 mm at 1.200 m, between 0.0 mm and 2.400 m: more than 4.8 mm over the whole "
        "2.400 m; across: sand from 1.000 m to 1.400 m, 1.2 mm beyond the limit",
        partial(checked, flatness=HUMPED),
    ),
    ("site check", "unknown", "not said: clean, plumb", partial(checked, clean=None, plumb=None)),
    ("site check", "unknown", "it is 31 days old; a check holds for 30 days", partial(checked, 31)),
    ("site check", "unknown", "no site check is recorded", scene),
    (
        "wall moisture",
        "pass",
        "drywall: at most 1 point of the meter's scale above the dry reference of 0.2; the highest is low left, 0.5",
        partial(measured, 0.5),
    ),
    (
        "wall moisture",
        "fail",
        "drywall: more than 1 point of the meter's scale above the dry reference of 0.2: low left by 2.3",
        partial(measured, 2.5),
    ),
    (
        "wall moisture",
        "unknown",
        "drywall: no dry reference is recorded; a bare reading is not judged, as no published limit exists",
        partial(measured, 0.5, None),
    ),
    ("wall moisture", "unknown", "no wall moisture is recorded", scene),
]
WALL: list[Line] = [  # of the wall's size and of the place
    ("wall size", "pass", "inside the limits for one unbroken run", scene),
    (
        "wall size",
        "fail",
        "too long for one unbroken run; split it with a transition profile at 6.100 m from the left end",
        partial(sized, 12.2, 2.4),
    ),
    (
        "suitability",
        "pass",
        "a partition wall, indoors, vertical, not over a sink or tub, heated or cooled since 2025-11-01, closed in "
        "since 2025-10-01, wet trades done 2025-12-01",
        partial(scene, place=Place(GOOD_PLACE)),
    ),
    (
        "suitability",
        "fail",
        "the wall is below grade (accepted by robin: drained)",
        partial(scene, place=Place({**GOOD_PLACE, "kind": "below-grade"}, {"kind": "accepted by robin: drained"})),
    ),
    ("suitability", "unknown", "nothing was said of the place", scene),
    (
        "suitability",
        "unknown",
        "nobody said whether it is indoors",
        partial(scene, place=Place({key: GOOD_PLACE[key] for key in QUESTIONS if key != "indoors"})),
    ),
]
TABLE = [*AIR, *BOXES, *SITE, *WALL]
NEVER = {
    ("acclimation complete", "unknown"): "hours that nobody heard are not counted",
    ("sensors fresh", "fail"): "silence says nothing about the air",
    ("sensors agree", "fail"): "nobody knows which of them is right",
    ("wall size", "unknown"): "a job is opened with its wall's size",
}


@pytest.mark.parametrize(("name", "verdict", "sentence", "made"), TABLE)
def test_the_sentence_that_a_person_reads(name: str, verdict: Verdict, sentence: str, made: Scene):
    (found,) = [one for one in made().readiness if one.name == name]
    assert (found.verdict, found.evidence) == (verdict, sentence)


def test_every_verdict_of_every_condition_is_in_the_table_or_never_comes():
    walked = {(name, verdict) for name, verdict, *_ in TABLE}
    every = {(one.name, verdict) for one in scene().readiness for verdict in ("pass", "fail", "unknown")}
    assert walked | set(NEVER) == every
    assert not walked & set(NEVER)


def test_a_job_is_ready_when_every_condition_passes_and_not_when_one_does_not():
    found = scene(steady(3 * DAY), 3 * DAY)
    passed = {
        name: next(one for one in made().readiness if one.name == name) for name, v, _, made in TABLE if v == "pass"
    }
    assert set(passed) == {one.name for one in found.readiness}
    ready = found._replace(readiness=tuple(passed.values()))
    assert ready.ready
    for name, verdict, _, made in TABLE:
        if verdict != "pass":
            one = next(one for one in made().readiness if one.name == name)
            assert not ready._replace(readiness=tuple({**passed, name: one}.values())).ready
