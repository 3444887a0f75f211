"""What can hurt at a step, in one place: a key and its text, with where the text comes from.

Texts speak to the person on site. Local code, the makers' instructions and licensed trades come before all of them.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum
from types import MappingProxyType
from typing import NamedTuple

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


class Text(NamedTuple):
    """What a caution says, and its source."""

    text: str
    source: str


HEATING = (
    Caution.HEATER_FUEL,
    Caution.HEATER_ALARM,
    Caution.HEATER_UNATTENDED,
    Caution.HEATER_PLACE,
    Caution.PIPES,
)

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
        Caution.LOCAL_CODE: Text(
            "Local code and the makers' instructions come first; leave gas, mains wiring and water pipes to licensed "
            "trades.",
            PRACTICE,
        ),
    }
)
