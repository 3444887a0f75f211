"""What can hurt at a step, in one place: a key and its text, with where the text comes from.

Texts speak to the person on site; the first sentence of each is its headline. Local code, the makers' instructions and
licensed trades come before all of them.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from enum import StrEnum
from types import MappingProxyType
from typing import Any, Literal, NamedTuple, get_args

Step = Literal["deliver", "check", "install", "care", "inspect", "leak", "heating-out", "reading"]

STEPS: tuple[Step, ...] = get_args(Step)
PRACTICE = "common practice, no published source"


class Caution(StrEnum):
    """The keys of the catalogue."""

    HEATER_FUEL = "heater fuel"
    HEATER_ALARM = "heater alarm"
    HEATER_UNATTENDED = "heater unattended"
    HEATER_PLACE = "heater place"
    PIPES = "pipes"
    HUMIDIFIER = "humidifier"
    DEHUMIDIFIER = "dehumidifier"
    LOCAL_CODE = "local code"
    SALT = "salt"
    POWER = "power"
    NAIL_PATH = "nail path"
    OUTLETS = "outlets"
    OLD_PAINT = "old paint"
    DUST = "dust"
    HEAVY_BOXES = "heavy boxes"
    SHELVES = "shelves"
    LADDERS = "ladders"
    FIRE_DISTANCE = "fire distance"
    FLAME_SPREAD = "flame spread"
    LOOK = "look"
    WATER_AND_POWER = "water and power"
    MOULD = "mould"
    TRADES = "trades"


class Text(NamedTuple):
    """What a caution says, and its source."""

    text: str
    source: str

    @property
    def headline(self) -> str:
        """Its first sentence."""
        first, dot, _ = self.text.partition(". ")
        return first + dot.strip()


HEATING = (
    Caution.HEATER_FUEL,
    Caution.HEATER_ALARM,
    Caution.HEATER_UNATTENDED,
    Caution.HEATER_PLACE,
    Caution.PIPES,
)

_AT: Mapping[Step, tuple[Caution, ...]] = MappingProxyType(
    {
        "deliver": (Caution.HEAVY_BOXES, Caution.HEATER_PLACE, Caution.LOCAL_CODE),
        "check": (
            Caution.OLD_PAINT,
            Caution.DUST,
            Caution.POWER,
            Caution.FIRE_DISTANCE,
            Caution.LADDERS,
            Caution.FLAME_SPREAD,
            Caution.LOCAL_CODE,
        ),
        "install": (
            Caution.POWER,
            Caution.NAIL_PATH,
            Caution.DUST,
            Caution.OUTLETS,
            Caution.OLD_PAINT,
            Caution.LADDERS,
            Caution.HEAVY_BOXES,
            Caution.FIRE_DISTANCE,
            Caution.FLAME_SPREAD,
            Caution.LOCAL_CODE,
        ),
        "care": (Caution.SHELVES, Caution.FIRE_DISTANCE, Caution.POWER, Caution.LADDERS, Caution.LOCAL_CODE),
        "inspect": (Caution.LADDERS, Caution.LOOK, Caution.LOCAL_CODE),
        "leak": (Caution.WATER_AND_POWER, Caution.MOULD, Caution.TRADES, Caution.LOCAL_CODE),
        "heating-out": (
            Caution.PIPES,
            Caution.HEATER_FUEL,
            Caution.HEATER_ALARM,
            Caution.HEATER_UNATTENDED,
            Caution.TRADES,
            Caution.LOCAL_CODE,
        ),
        "reading": (*HEATING, Caution.HUMIDIFIER, Caution.DEHUMIDIFIER, Caution.LOCAL_CODE),
    }
)


def at_step(step: Step) -> tuple[Caution, ...]:
    """The cautions of a step, what hurts most first."""
    return _AT[step]


def at_check(answers: Mapping[str, Any], failing: Collection[str]) -> tuple[Caution, ...]:
    """Those of a site check that its `answers` call for; `failing` names the questions that do not pass."""
    by_exits = any(answers.get(key) for key in ("several_homes", "stairs", "corridor"))
    spared = {
        Caution.OLD_PAINT: answers.get("old_paint") in ("no", "tested"),
        Caution.DUST: "flatness" not in failing,
        Caution.FIRE_DISTANCE: answers.get("heat_sources") == [],
        Caution.FLAME_SPREAD: not by_exits,
    }
    return tuple(caution for caution in at_step("check") if not spared.get(caution, False))


CAUTIONS: Mapping[Caution, Text] = MappingProxyType(
    {
        Caution.HEATER_FUEL: Text(
            "Heat with electric or vented heaters only. An unvented fuel heater gives off carbon monoxide, can set a "
            "fire, and puts about 1.6 kg of water into the room for each kg of propane.",
            "water: C3H8 + 5 O2 -> 3 CO2 + 4 H2O, 4 x 18.02 / 44.10 = 1.63; the rest " + PRACTICE,
        ),
        Caution.HEATER_ALARM: Text(
            "Where anything burns, have a carbon monoxide alarm that works in the room and where people sleep.",
            PRACTICE,
        ),
        Caution.HEATER_UNATTENDED: Text(
            "Leave no portable heater running unattended or overnight; a night is for the building's own heating.",
            PRACTICE,
        ),
        Caution.HEATER_PLACE: Text(
            "Keep heaters well away from boxes and planks, curtains and dust, and out of rooms with vapours of "
            "adhesive, paint or solvent.",
            PRACTICE,
        ),
        Caution.PIPES: Text(
            "Pipes freeze before planks mind the cold, those in outside walls first: keep some heat on, or have the "
            "water shut off and the pipes drained.",
            PRACTICE,
        ),
        Caution.HUMIDIFIER: Text(
            "Empty, dry and refill a humidifier every day, with water low in minerals; point it away from walls and "
            "boxes. Mould grows in a dirty tank and wherever water condenses: stop when panes or walls turn wet.",
            "daily care and water: US EPA, Indoor Air Facts no. 8, Use and Care of Home Humidifiers (1991 and later); "
            "the rest " + PRACTICE,
        ),
        Caution.DEHUMIDIFIER: Text(
            "Lead a dehumidifier's water to a drain or empty its tank in time, and do not overload the circuit. "
            "Ratings are at 80 degF and 60 %: in a cold room it takes out far less.",
            "rating point: test conditions of portable dehumidifiers in the US; the rest " + PRACTICE,
        ),
        Caution.SALT: Text(
            "Salt points: a sealed vessel at a steady temperature, hours to settle; do not wet the sensor. Keep salts "
            "away from food and children, and wash your hands.",
            "sealed, steady, settled: OIML R 121 (1996) sections 4 to 7; the rest " + PRACTICE,
        ),
        Caution.POWER: Text(
            "Switch the power off and prove each outlet and switch dead before you open it. Use a tester that you have "
            "just seen work on a live point; a switch that is off proves nothing, and two circuits may share a box.",
            "switching off and proving dead: 29 CFR 1910.333(b) (US); the rest " + PRACTICE,
        ),
        Caution.NAIL_PATH: Text(
            "Find cables and pipes before you nail or screw. They run up and down from outlets, switches and taps, and "
            "across at any height; choose fasteners no longer than needed, and never nail through a steel guard plate.",
            "guard plates over cables less than 1 1/4 in deep: NFPA 70 (NEC) 300.4, from memory; the rest " + PRACTICE,
        ),
        Caution.OUTLETS: Text(
            "Have outlet boxes brought flush with the planks. A box left recessed behind a surface that burns leaves "
            "a gap where a spark can set it alight: box extenders, fitted by an electrician.",
            "boxes flush with a surface that burns: NFPA 70 (NEC) 314.20, from memory; the rest " + PRACTICE,
        ),
        Caution.OLD_PAINT: Text(
            "Have old paint and texture tested before you sand, scrape or drill it. Paint may hold lead, texture and "
            "joint compound asbestos; where the test finds them, it is work for licensed people.",
            "lead, houses before 1978: 40 CFR 745 (US); asbestos: 29 CFR 1926.1101 (US); the rest " + PRACTICE,
        ),
        Caution.DUST: Text(
            "Cut outside or with extraction, with a dust mask, eye and ear protection. Dust of fibreboard is fine, "
            "harms the lungs and can burn; sweep it up moist or with a vacuum, and never blow it.",
            "wood dust causes cancer: IARC Monographs 62 (1995) and 100C (2012); the rest " + PRACTICE,
        ),
        Caution.HEAVY_BOXES: Text(
            "Lift boxes in twos. Stack them low and flat on a floor that bears them, nothing leaning on a wall, and "
            "keep children off.",
            PRACTICE,
        ),
        Caution.SHELVES: Text(
            "Fix shelves, screens and all else that is heavy to the studs, never to the planks. Find the studs and "
            "what runs beside them first.",
            PRACTICE,
        ),
        Caution.LADDERS: Text(
            "Stand the ladder on firm level ground, and climb down rather than reach. Keep your belt between its "
            "rails and one hand free to hold on.",
            "29 CFR 1926.1053 (US), from memory; the rest " + PRACTICE,
        ),
        Caution.FIRE_DISTANCE: Text(
            "Planks burn: keep them as far from stoves, flues, fireplaces and heaters as local code and the maker of "
            "the heat source ask. Where they differ the greater distance counts; ask before you cover a heat shield.",
            PRACTICE,
        ),
        Caution.FLAME_SPREAD: Text(
            "By stairs, in corridors and in houses of several homes, code may ask for a flame-spread class that planks "
            "do not have. Ask the building authority before they go up, and keep the maker's test report.",
            "classes by ASTM E84: International Building Code, section 803 (US), from memory; EN 13501-1 elsewhere",
        ),
        Caution.LOOK: Text(
            "Look and measure only: open no outlet, take no heater or pipe apart. Where the wall is wet, warm for no "
            "reason or smells burnt, keep off it and call a licensed trade.",
            PRACTICE,
        ),
        Caution.WATER_AND_POWER: Text(
            "Keep out of the water until the power is off, switched off by someone who may and can reach the switch "
            "dry. Then shut the water off; outlets, switches and heaters that got wet stay off until an electrician "
            "has looked at them.",
            PRACTICE,
        ),
        Caution.MOULD: Text(
            "Dry what got wet within a day or two, before mould grows, and look behind the planks. Where mould covers "
            "more than about 10 sq ft (1 m2), or the water was foul, it is work for people trained for it.",
            "24 to 48 hours, 10 sq ft: US EPA, A Brief Guide to Mold, Moisture and Your Home (EPA 402-K-02-003), from "
            "memory; the rest " + PRACTICE,
        ),
        Caution.TRADES: Text(
            "Call licensed trades: a plumber for pipes, an electrician for wiring, a heating firm for the heater. "
            "Where it smells of gas or an alarm for carbon monoxide sounds, get everybody out first, and call from "
            "outside.",
            PRACTICE,
        ),
        Caution.LOCAL_CODE: Text(
            "Local code and the makers' instructions come first; leave gas, mains wiring and water pipes to licensed "
            "trades.",
            PRACTICE,
        ),
    }
)
