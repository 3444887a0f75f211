"""Of each condition that can be told: its name in plain words, what to do about it, and what can hurt on the way.

What to do is common practice, no published source; the makers' instructions and local code come first.
"""

from __future__ import annotations

from collections.abc import Mapping
from shlex import quote
from typing import NamedTuple

from monitor.basis.alarm import HOUSE, Alarm
from monitor.basis.times import DAY, HOUR, whole_seconds
from monitor.basis.units import format_duration
from monitor.basis.values import Quantity
from monitor.rules.alarm import whats
from monitor.rules.cautions import CAUTIONS, Caution
from monitor.tell.words import visible


class Words(NamedTuple):
    """`title` names it; `to_do` may name the {job} and the {where} of a command."""

    title: str
    to_do: str
    cautions: tuple[Caution, ...] = ()


_WATER = (Caution.WATER_AND_POWER, Caution.TRADES, Caution.MOULD)
_DRY = (
    "Find where the damp comes from, then dry the room: warm it a little, air it while it is drier outside, or run a "
    "dehumidifier. How much: wallclime advise {job}."
)
_MOISTEN = "Moisten the room little by little, or heat it less. How much: wallclime advise {job}."
_WARM = "Warm the room slowly back into the band. How much: wallclime advise {job}."
_COOL = "Shade the room or heat it less. How much: wallclime advise {job}."
_HEATING = (Caution.HEATER_FUEL, Caution.HEATER_UNATTENDED)

WORDS: Mapping[str, Words] = {
    # --- the room
    whats.HUMIDITY_LOW: Words("air too dry", _MOISTEN, (Caution.HUMIDIFIER,)),
    whats.HUMIDITY_HIGH: Words("air too damp", _DRY, (Caution.DEHUMIDIFIER, Caution.WATER_AND_POWER)),
    whats.TEMPERATURE_LOW: Words("air too cold", _WARM, _HEATING),
    whats.TEMPERATURE_HIGH: Words("air too warm", _COOL),
    whats.HUMIDITY_HEADING_LOW: Words("air getting too dry", _MOISTEN, (Caution.HUMIDIFIER,)),
    whats.HUMIDITY_HEADING_HIGH: Words("air getting too damp", _DRY, (Caution.DEHUMIDIFIER,)),
    whats.TEMPERATURE_HEADING_LOW: Words("air getting too cold", _WARM, _HEATING),
    whats.TEMPERATURE_HEADING_HIGH: Words("air getting too warm", _COOL),
    whats.RAPID: Words("temperature changing fast", "See what changed: a door or window left open, the heating."),
    whats.FROST: Words(
        "pipes may freeze",
        "Get the heating on now and open the doors to where pipes run. Know where the water is shut off; if the heat "
        "can't be had, have it shut off and the pipes drained.",
        (Caution.PIPES, *_HEATING, Caution.TRADES),
    ),
    whats.SUDDEN_DAMP: Words(
        "sudden damp, maybe water",
        "Go and look for water now: a burst pipe, an overflow, rain coming in. Where there is any, stop it, and write "
        "it down: wallclime log event {job}.",
        _WATER,
    ),
    whats.SURFACE_DAMP: Words(
        "wall surface damp",
        "Find the cold spot or the water behind it. Give the wall air and a little warmth; move away what stands "
        "against it.",
        (Caution.WATER_AND_POWER, Caution.MOULD),
    ),
    whats.SURFACE_WET: Words(
        "wall surface wet",
        "Water settles on the wall. Look for a leak, and where there is none lower the humidity and warm the room a "
        "little, until the surface is dry.",
        _WATER,
    ),
    whats.MOULD: Words(
        "mould may grow on the wall",
        "Dry the wall's surface: less humidity, a little more warmth, air behind what stands against it. Look for "
        "mould at the edges and behind furniture.",
        (Caution.MOULD, Caution.WATER_AND_POWER),
    ),
    whats.BOXES_COLD: Words(
        "boxes colder than the dew point",
        "Leave the boxes closed: water would settle on the planks. Let them warm up slowly and keep damp out.",
        (Caution.HEATER_PLACE,),
    ),
    # --- the job
    whats.COMPLETE: Words("acclimation complete", "See what else must be met before you start: wallclime ready {job}."),
    whats.RESTARTED: Words(
        "acclimation back to zero",
        "Leave the boxes closed and flat and keep the room in band: the hours count anew. Why: wallclime status {job}.",
    ),
    whats.LAPSED: Words(
        "acclimation no longer holds",
        "Do not start: the hours count anew. Leave the boxes closed and flat and keep the room in band. Why: wallclime "
        "status {job}.",
    ),
    whats.READY: Words("ready to install", "You may start. Look once more just before: wallclime ready {job}."),
    whats.NO_LONGER_READY: Words("no longer ready", "Do not start before you have seen why: wallclime ready {job}."),
    whats.CARE_DUE: Words(
        "care due", "Do it, then write it down: wallclime log care {job}.", (Caution.LADDERS, Caution.POWER)
    ),
    whats.INSPECTION_DUE: Words(
        "inspection due",
        "Look the wall over, measure the marked joints, write them down: wallclime log inspect {job}.",
        (Caution.LADDERS, Caution.LOOK),
    ),
    whats.UNJUDGED: Words(
        "wall can't be judged", "Nobody knows how this wall is. See why and mend it: wallclime status {job}."
    ),
    # --- a sensor
    whats.SILENT: Words(
        "sensor silent",
        "See to its battery, its range and what passes its messages on. What is not heard is not proven.",
    ),
    whats.FLAT: Words(
        "sensor stuck on one number", "Restart it or replace it: as long as it is stuck its readings prove nothing."
    ),
    whats.DRIFTING: Words(
        "sensor drifting",
        "Check it against a better one: wallclime sensor check {where}. Then see which of them moved.",
    ),
    whats.DISAGREEING: Words(
        "sensors disagree",
        "Put them side by side, away from heaters, windows and sun, and check the one that is off: wallclime sensor "
        "check.",
    ),
    whats.BATTERY_LOW: Words("battery low", "Change its battery before it falls silent."),
    whats.CHECK_DUE: Words(
        "instrument check due",
        "Check it against a better one: wallclime sensor check {where}. When its check runs out only the maker's word "
        "backs what it says.",
    ),
    # --- the house
    whats.LINK_DOWN: Words(
        "broker out of reach",
        "See that the broker and the network run; what sensors sent meanwhile may be lost. What is wrong: wallclime "
        "doctor.",
    ),
    whats.SEAL_FAILED: Words(
        "sealing failed",
        "Readings are kept, but no day is sealed until this is mended. What is wrong: wallclime doctor.",
    ),
    whats.BACKUP_FAILED: Words(
        "backup failed",
        "See that the folder of the backups is there and has room; make one by hand: wallclime backup FILE.",
    ),
    whats.STORE_FILLING: Words("disk filling up", "Make room on the disk: when it is full nothing more is kept."),
    whats.WORK_FAILED: Words(
        "scheduled work failed", "See which, and why: wallclime schedule. What is wrong: wallclime doctor."
    ),
    whats.AWAY: Words(
        "the recorder was away",
        "Nothing was heard meanwhile, so nothing of it counts. If the sensors keep a record of their own, import it: "
        "wallclime import.",
    ),
}
_RAPID_HUMIDITY = Words(
    "humidity changing fast",
    "See what changed: a door or window left open, a humidifier, water where none should be.",
    (Caution.WATER_AND_POWER,),
)
_UNKNOWN = Words("something to look at", "See what it is: wallclime alarm list.")


def lasting(ms: int) -> str:
    """A length of time, from two days on in days: "2 h 10 min", "47 h 59 min", "2 d", "780 d 6 h"; cut, not rounded."""
    if ms < 2 * DAY:
        return format_duration(whole_seconds(ms))
    days, rest = divmod(ms, DAY)
    return f"{days} d {rest // HOUR} h" if rest >= HOUR else f"{days} d"


def words_of(alarm: Alarm) -> Words:
    """The words of its condition; of one that a later version wrote, that there is something."""
    if alarm.what == whats.RAPID and alarm.facts.get("quantity") == Quantity.AIR_HUMIDITY:
        return _RAPID_HUMIDITY
    return WORDS.get(alarm.what, _UNKNOWN._replace(title=visible(alarm.what) or _UNKNOWN.title))


def title(alarm: Alarm) -> str:
    """ "air too damp"."""
    return words_of(alarm).title


def to_do(alarm: Alarm) -> str:
    """What to do, with the names that its commands need."""
    if _is_back(alarm):
        return "Nothing for now: it is back within the limit, and over once it has stayed so."
    job = quote(visible(alarm.job)) if alarm.job != HOUSE else "JOB"
    sensor = quote(visible(str(alarm.facts.get("sensor", alarm.where))))
    return words_of(alarm).to_do.format(job=job, where=sensor)


def spot(alarm: Alarm) -> str:
    """Where it is: "north wall", "den, north wall", "sensor shelf in den", "broker b.example"."""
    where = visible(alarm.where)
    if alarm.job == HOUSE:
        return _in_the_house(alarm, where)
    job = visible(alarm.job)
    if alarm.what in (whats.RAPID, whats.DRIFTING):  # several of them at one place: it names what
        where = where.rpartition(": ")[0]
    if alarm.what in (whats.CARE_DUE, whats.INSPECTION_DUE) or where in ("", job):
        return job
    return f"{job}, {where}"


def _in_the_house(alarm: Alarm, where: str) -> str:
    if alarm.what in OF_A_SENSOR:
        place = visible(str(alarm.facts.get("place", "")))
        return f"sensor {where} in {place}" if place else f"sensor {where}"
    if alarm.what == whats.LINK_DOWN:
        return f"broker {where}" if where else "the broker"
    return f"this wallclime, {where}" if alarm.what == whats.WORK_FAILED else "this wallclime"


OF_A_SENSOR = (whats.SILENT, whats.FLAT, whats.BATTERY_LOW, whats.CHECK_DUE)


def minds(alarm: Alarm) -> list[str]:
    """What can hurt on the way, a sentence each, what hurts most first."""
    return [] if _is_back(alarm) else [CAUTIONS[one].headline for one in words_of(alarm).cautions]


def _is_back(alarm: Alarm) -> bool:
    """Whether the air is within its limit now, and the alarm stands until it has stayed so."""
    value, limit = alarm.facts.get("value"), alarm.facts.get("limit")
    if alarm.what not in whats.OUT.values() or value is None or limit is None:
        return False
    return bool(value > limit if alarm.facts.get("side") == "low" else value < limit)
