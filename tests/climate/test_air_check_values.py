"""Moist air and room air against fixtures/check_values/air.json; each entry names its source, tolerance and provenance.

"read": a published value; "computed": by the library named, not by this project.
"""

import json
from pathlib import Path

import pytest

from monitor.climate import air, room_air
from monitor.climate.saturation import saturation_pressure_pa

ENTRIES = json.loads((Path(__file__).parents[2] / "fixtures/check_values/air.json").read_text(encoding="utf-8"))


def _state(t_c, *, rh_pct=None, ratio_g_kg=None, altitude_m=0, pressure_pa=None):
    """Temperature, relative humidity and pressure, whichever way the entry states them."""
    pressure = air.altitude_pressure_pa(altitude_m) if pressure_pa is None else pressure_pa
    return t_c, rh_pct if ratio_g_kg is None else air.rh_from_humidity_ratio_pct(t_c, ratio_g_kg, pressure), pressure


def _water_to_change(volume_m3, from_c, from_pct, to_c, to_pct):
    before = room_air.water_in_air_kg(from_c, from_pct, volume_m3)
    return room_air.water_in_air_kg(to_c, to_pct, volume_m3) - before


def _ratio_after(hours, start_c, start_pct, outside_c, outside_pct, **airing):
    return room_air.humidity_ratio_after_g_kg(
        hours,
        start_g_kg=air.humidity_ratio_g_kg(start_c, start_pct),
        outside_g_kg=air.humidity_ratio_g_kg(outside_c, outside_pct),
        **airing,
    )


COMPUTE = {
    "saturation pressure": saturation_pressure_pa,
    "altitude pressure": air.altitude_pressure_pa,
    "humidity ratio of vapour": air.humidity_ratio_of_vapour_g_kg,
    "humidity ratio": lambda **state: air.humidity_ratio_g_kg(*_state(**state)),
    "enthalpy": lambda **state: air.enthalpy_kj_kg(*_state(**state)),
    "specific volume": lambda **state: air.specific_volume_m3_kg(*_state(**state)),
    "density": lambda **state: air.density_kg_m3(*_state(**state)),
    "dew point": lambda **state: air.dew_point_c(*_state(**state)[:2]),
    "absolute humidity": lambda **state: air.absolute_humidity_g_m3(*_state(**state)[:2]),
    "relative humidity after heating or cooling": lambda **change: room_air.heated_or_cooled(**change).rh_pct,
    "relative humidity change where the temperature is off": lambda t_c, rh_pct, off_by_k: (
        room_air.heated_or_cooled(t_c, rh_pct, t_c + off_by_k).rh_pct - rh_pct
    ),
    "water to change a room's air": _water_to_change,
    "moisture load": room_air.moisture_load_kg_h,
    "humidity ratio after": _ratio_after,
}
OURS = [entry for entry in ENTRIES if entry["quantity"] != "salt"]  # the salts have a file of their own


def _id(entry):
    return f"{entry['quantity']} {' '.join(str(value) for value in entry['inputs'].values())}"


@pytest.mark.parametrize("entry", OURS, ids=_id)
def test_the_published_or_independent_value_is_met(entry):
    found = COMPUTE[entry["quantity"]](**entry["inputs"])
    assert found == pytest.approx(entry["expected"], **{entry["tolerance_kind"]: entry["tolerance"]})


def test_every_function_of_the_table_has_an_entry():
    assert {entry["quantity"] for entry in OURS} == set(COMPUTE)


@pytest.mark.parametrize("entry", ENTRIES, ids=_id)
def test_every_entry_says_where_it_is_from(entry):
    assert entry["source"]
    assert entry["provenance"].split(":")[0] in {"read", "computed", "from memory, unconfirmed"}
