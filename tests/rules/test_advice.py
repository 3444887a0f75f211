"""Advice: situations with every sentence pinned, and their amounts worked by hand.

The figures in the sentences are those of the hand-worked amounts below them. Formulas and their sources stand in
`advised_rooms`: saturation by WMO-No. 8, vapour by the ideal gas, humidity ratio and dry air by ASHRAE Fundamentals
2017 chapter 1, surfaces by ISO 13788:2012. 0.5 % covers what these and the program's own differ by.
"""

import numpy as np
import pytest
from advised_rooms import BAND, NOW, band, dry_air, grams_m3, iso_psat, line, psat, ratio, room
from scipy.stats import theilslopes

from monitor.basis.times import HOUR
from monitor.basis.values import Quantity
from monitor.rules.advice import Advice, advice
from monitor.rules.cautions import HEATING, Caution
from monitor.rules.target import side_of, target

CLOSE = {"rel": 5e-3}
WARM, COOL = (
    BAND.temperature[0] + 1.0,
    BAND.temperature[1] - 1.0,
)  # the band less the sensor's 1 K: 16.56 and 28.44 degC
BOARDS = 60 * 0.008 * 880  # 60 m2 of 8 mm at 880 kg/m3 [kg]
SIZED = {"volume_m3": 50.0, "boards_kg": BOARDS}

COLD_DRY = room(10.0, 30.0, outdoor_c=-5.0, outdoor_pct=80.0, **SIZED)
HOT_HUMID = room(31.0, 75.0, outdoor_c=33.0, outdoor_pct=65.0, **SIZED)
WET_PLASTER = room(17.0, 85.0, outdoor_c=8.0, outdoor_pct=75.0, f_rsi=0.8, **SIZED)
HEATING_FAILED = room(3.0, 70.0, outdoor_c=-8.0, outdoor_pct=85.0, boxes_c=(-2.0, 4.0), **SIZED)
ALL_WELL = room(20.0, 50.0, outdoor_c=5.0, outdoor_pct=80.0, **SIZED)
COLD_WALL = room(20.0, 30.0, outdoor_c=-15.0, outdoor_pct=85.0, **SIZED)
COLDER_WALL = room(20.0, 30.0, outdoor_c=-20.0, outdoor_pct=85.0, **SIZED)
DRY_WINTER = room(
    21.0,
    28.0,
    phase="after",
    outdoor_c=-5.0,
    outdoor_pct=80.0,
    f_rsi=0.7,
    air_changes_1_h=0.3,
    volume_m3=50.0,
    boards_kg=120.0,
)
UNKNOWN = room(None, None, outdoor_c=5.0, **SIZED)
PRICE_OF_HEAT = (*HEATING, Caution.HUMIDIFIER, Caution.LOCAL_CODE)

SITUATIONS = [
    pytest.param(
        COLD_DRY,
        "us",
        [
            "Temperature is 50.0 degF, below the band of 60.0 degF to 85.0 degF.",
            "Humidity is 30.0 %, below the band of 35.0 % to 65.0 %.",
            "Heat to 61.8 degF, which allows for the sensor's uncertainty of 1.8 degF.",
            "This alone takes the air from 30.0 % to 19.6 %.",
            "Then moisten to 40.0 %, which allows for the sensor's uncertainty of 5.0 %.",
            "Never beyond 45.3 %: there a cold outside wall has 80 % at its surface "
            "(outdoors 23.0 degF, temperature factor 0.60, assumed).",
            "Air no more than people need: outdoor air brought to 61.8 degF has 17.9 %.",
            "In a room of 1766 ft3 that is 0.04 gal into the air once and then 0.49 gal a day at 0.5 air changes an "
            "hour (assumed).",
            "Boards and boxes, if in balance with the air now, take up about 0.70 gal besides, over days to weeks, "
            "18 times what the air takes: meanwhile a humidifier sized for the air alone is too small.",
        ],
        ("heat", "moisten"),
        PRICE_OF_HEAT,
        id="cold dry flat",
    ),
    pytest.param(
        HOT_HUMID,
        "si",
        [
            "Temperature is 31.0 degC, above the band of 15.6 degC to 29.4 degC.",
            "Humidity is 75.0 %, above the band of 35.0 % to 65.0 %.",
            "Cool to 28.4 degC, which allows for the sensor's uncertainty of 1.0 K.",
            "This alone takes the air from 75.0 % to 86.9 %.",
            "Then dry to 60.0 %, which allows for the sensor's uncertainty of 5.0 %.",
            "Never below 35.0 %: drier air does not make boards ready sooner.",
            "Keep the windows shut: outdoor air brought to 28.4 degC has 84.3 %.",
            "In a room of 50 m3 that is 0.37 litres out of the air once and then 4.7 litres a day at 0.5 air changes "
            "an hour (assumed), while what gives off water now goes on.",
            "Boards and boxes, if in balance with the air now, give off about 5.8 litres besides, over days to weeks, "
            "15 times what the air takes: meanwhile a dehumidifier sized for the air alone is too small.",
        ],
        ("cool", "dry"),
        (Caution.DEHUMIDIFIER, Caution.LOCAL_CODE),
        id="hot humid summer",
    ),
    pytest.param(
        WET_PLASTER,
        "si",
        [
            "A cold outside wall has 95.3 % at its surface of 15.2 degC (temperature factor 0.80): over 80 % mould can "
            "grow. Warm the room, let air reach that wall, dry the air but not below the band.",
            "Humidity is 85.0 %, above the band of 35.0 % to 65.0 %.",
            "Dry to 60.0 %, which allows for the sensor's uncertainty of 5.0 %.",
            "Never below 35.0 %: drier air does not make boards ready sooner.",
            "Airing helps, in short bursts: outdoor air brought to 17.0 degC has 41.5 %.",
            "Or warm the room to 22.6 degC: with the water that it holds now it has 60.0 % there.",
            "In a room of 50 m3 that is 0.18 litres out of the air once and then 2.2 litres a day at 0.5 air changes "
            "an hour (assumed), while what gives off water now goes on.",
            "Boards and boxes, if in balance with the air now, give off about 16 litres besides, over days to weeks, "
            "89 times what the air takes: meanwhile a dehumidifier sized for the air alone is too small.",
        ],
        ("air", "dry"),
        (*HEATING, Caution.DEHUMIDIFIER, Caution.LOCAL_CODE),
        id="wet plaster",
    ),
    pytest.param(
        HEATING_FAILED,
        "si",
        [
            "At 3.0 degC the room is below 5.0 degC: pipes can freeze. Bring the heating back, or have the water shut "
            "off and the pipes drained.",
            "Boxes, at -2.0 degC to 4.0 degC, may be colder than the room's frost point of -1.7 degC. Do not open "
            "them, water would condense on the boards: let them warm up closed.",
            "A cold outside wall may have 97.5 % at its surface of -1.4 degC (temperature factor 0.60, assumed): over "
            "80 % mould can grow. Look there.",
            "Temperature is 3.0 degC, below the band of 15.6 degC to 29.4 degC.",
            "Humidity is 70.0 %, above the band of 35.0 % to 65.0 %.",
            "Heat to 16.6 degC, which allows for the sensor's uncertainty of 1.0 K.",
            "This alone takes the air from 70.0 % to 28.2 %.",
            "Then moisten to 40.0 %, which allows for the sensor's uncertainty of 5.0 %.",
            "Never beyond 41.7 %: there a cold outside wall has 80 % at its surface "
            "(outdoors -8.0 degC, temperature factor 0.60, assumed).",
            "Moisten only once the boxes are warmer than that air's dew point, 2.9 degC.",
            "Air no more than people need: outdoor air brought to 16.6 degC has 15.1 %.",
            "In a room of 50 m3 that is 0.08 litres into the air once and then 2.1 litres a day at 0.5 air changes an "
            "hour (assumed).",
        ],
        ("heat", "moisten"),
        PRICE_OF_HEAT,
        id="heating failed overnight",
    ),
    pytest.param(ALL_WELL, "si", ["In band: 20.0 degC and 50.0 %. Leave the air as it is."], (), (), id="all well"),
    pytest.param(
        COLD_WALL,
        "si",
        [
            "Humidity is 30.0 %, below the band of 35.0 % to 65.0 %.",
            "Moisten to 31.9 % and no further: there a cold outside wall has 80 % at its surface "
            "(outdoors -15.0 degC, temperature factor 0.60, assumed).",
            "The band begins at 35.0 %: the rest waits for milder weather or a warmer wall.",
            "Air no more than people need: outdoor air brought to 20.0 degC has 7.0 %.",
            "In a room of 50 m3 that is 0.02 litres into the air once and then 2.6 litres a day at 0.5 air changes an "
            "hour (assumed).",
            "Boards and boxes, if in balance with the air now, take up about 0.70 litres besides, over days to weeks, "
            "40 times what the air takes: meanwhile a humidifier sized for the air alone is too small.",
        ],
        ("moisten",),
        (Caution.HUMIDIFIER, Caution.LOCAL_CODE),
        id="cold wall limits humidity",
    ),
    pytest.param(
        COLDER_WALL,
        "si",
        [
            "A cold outside wall may have 86.3 % at its surface of 4.0 degC (temperature factor 0.60, assumed): over "
            "80 % mould can grow. Look there.",
            "Humidity is 30.0 %, below the band of 35.0 % to 65.0 %.",
            "Add no water: a cold outside wall has 80 % at its surface or more already "
            "(outdoors -20.0 degC, temperature factor 0.60, assumed).",
        ],
        (),
        (),
        id="cold wall forbids humidity",
    ),
    pytest.param(
        DRY_WINTER,
        "si",
        [
            "Humidity is 28.0 %, below the band of 35.0 % to 65.0 %.",
            "Moisten moderately, to 40.0 %, which allows for the sensor's uncertainty of 5.0 %.",
            "Never beyond 48.8 %: there a cold outside wall has 80 % at its surface "
            "(outdoors -5.0 degC, temperature factor 0.70).",
            "Air no more than people need: outdoor air brought to 21.0 degC has 13.6 %.",
            "In a room of 50 m3 that is 0.11 litres into the air once and then 1.7 litres a day at 0.3 air changes an "
            "hour.",
            "The wall's boards, if in balance with the air now, take up about 1.0 litres besides, over days to weeks, "
            "9 times what the air takes: meanwhile a humidifier sized for the air alone is too small.",
        ],
        ("moisten",),
        (Caution.HUMIDIFIER, Caution.LOCAL_CODE),
        id="dry winter in a finished flat",
    ),
    pytest.param(
        UNKNOWN,
        "si",
        ["The room's temperature and humidity are not known: let a sensor there be heard first."],
        (),
        (),
        id="unknown air",
    ),
]


@pytest.mark.parametrize(("situation", "units", "sentences", "moves", "cautions"), SITUATIONS)
def test_situations_and_what_is_said_in_them(situation, units, sentences, moves, cautions):
    found = advice(situation, units)
    assert list(found.sentences) == sentences
    assert (found.moves, found.cautions, found.wait) == (moves, cautions, False)


# --- the amounts, by hand -----------------------------------------------------------------------------


def limit_of_wall(t_c, outdoor_c, factor):
    """Room humidity at which a surface of this factor has 80 %: ISO 13788:2012 s. 5, above 0 degC. [%]"""
    return 80 * iso_psat(outdoor_c + factor * (t_c - outdoor_c)) / iso_psat(t_c)


def litres_a_day(t_c, rh_pct, outside, changes=0.5):
    """Dry air exchanged x the humidity ratios' difference: ASHRAE HVAC Systems and Equipment, humidifiers."""
    return 24 * changes * 50 * dry_air(t_c, rh_pct) * abs(ratio(t_c, rh_pct) - ratio(*outside))


def test_amounts_of_the_cold_dry_flat():
    amounts = advice(COLD_DRY).amounts
    assert amounts["temperature_c"] == pytest.approx(WARM)
    # heated, the vapour's pressure stays: 30 x 1228 / 1884 = 19.6 %
    assert amounts["left_alone_pct"] == pytest.approx(30 * psat(10.0) / psat(WARM), **CLOSE)
    assert amounts["humidity_pct"] == 40.0  # 35 + 5
    assert amounts["ceiling_pct"] == pytest.approx(limit_of_wall(WARM, -5.0, 0.60), **CLOSE)  # surface at 7.9 degC
    assert amounts["aired_pct"] == pytest.approx(80 * psat(-5.0) / psat(WARM), **CLOSE)
    # 50 m3 x (5.62 - 2.75) g/m3 = 0.144 kg
    once = 50 * (grams_m3(WARM, 40.0) - grams_m3(WARM, 19.57)) / 1000
    assert amounts["once_l"] == pytest.approx(once, **CLOSE)
    # 24 h x 0.5 / h x 60.4 kg x (4.66 - 2.08) g/kg = 1.87 kg
    assert amounts["daily_l"] == pytest.approx(litres_a_day(WARM, 40.0, (-5.0, 80.0)), **CLOSE)
    # HDF has 7 % at 30 %RH and 8 % at 45 (EWPAA p. 37), so 7.67 % at 40; of 395 kg (dry) 0.67 % is 2.6 kg
    assert amounts["boards_l"] == pytest.approx(BOARDS / 1.07 * (10 / 15) / 100, rel=0.02)
    assert amounts["boards_l"] > 10 * amounts["once_l"]
    assert "instead_c" not in amounts


def test_amounts_of_the_hot_humid_summer():
    amounts = advice(HOT_HUMID).amounts
    assert amounts["temperature_c"] == pytest.approx(COOL)
    assert amounts["left_alone_pct"] == pytest.approx(75 * psat(31.0) / psat(COOL), **CLOSE)  # 75 x 4483 / 3868 = 86.9
    assert amounts["humidity_pct"] == 60.0  # 65 - 5
    assert amounts["aired_pct"] == pytest.approx(65 * psat(33.0) / psat(COOL), **CLOSE)
    once = 50 * (grams_m3(COOL, 86.92) - grams_m3(COOL, 60.0)) / 1000
    assert amounts["once_l"] == pytest.approx(once, **CLOSE)
    # the room holds 21.3 g/kg, more than the 20.6 outdoors: what gives off water in it has to be taken out too
    assert ratio(31.0, 75.0) > ratio(33.0, 65.0)
    assert amounts["daily_l"] == pytest.approx(litres_a_day(COOL, 60.0, (31.0, 75.0)), **CLOSE)
    # HDF has 11 % at 75 %RH, 10 at 65 and 9 - 9.75 at 60: 422 kg are 381 kg dry, 1.5 % of that is 5.7 kg (EWPAA p. 37,
    # the last joined by a straight line from 8 % at 45)
    assert amounts["boards_l"] == pytest.approx(BOARDS / 1.11 * (11 - (8 + 2 * 15 / 20)) / 100, rel=0.03)


def test_amounts_of_wet_plaster():
    amounts = advice(WET_PLASTER).amounts
    assert (amounts["temperature_c"], amounts["humidity_pct"]) == (17.0, 60.0)
    assert amounts["left_alone_pct"] == pytest.approx(85.0, rel=1e-12)
    # 85 x psat(17) / psat(15.2) by ISO 13788 = 85 x 1936 / 1726 = 95.3 % at the surface
    assert 85 * iso_psat(17.0) / iso_psat(8.0 + 0.8 * 9.0) == pytest.approx(95.3, abs=0.05)
    assert amounts["ceiling_pct"] == pytest.approx(limit_of_wall(17.0, 8.0, 0.80), **CLOSE)  # surface at 15.2 degC
    assert amounts["aired_pct"] == pytest.approx(75 * psat(8.0) / psat(17.0), **CLOSE)
    # warmed with the water it holds, the air has 60 % where psat is 85 / 60 of that at 17 degC
    assert psat(amounts["instead_c"]) == pytest.approx(85 / 60 * psat(17.0), **CLOSE)
    assert amounts["once_l"] == pytest.approx(50 * (grams_m3(17.0, 85.0) - grams_m3(17.0, 60.0)) / 1000, **CLOSE)
    # held at 85 %, the room gives off what airing carries out: n m (W85 - Wo); at 60 % airing carries out only
    # n m (W60 - Wo); the rest, n m (W85 - W60), is for a dehumidifier
    given_off = litres_a_day(17.0, 85.0, (8.0, 75.0)) * dry_air(17.0, 60.0) / dry_air(17.0, 85.0)
    carried_out = litres_a_day(17.0, 60.0, (8.0, 75.0))
    assert amounts["daily_l"] == pytest.approx(given_off - carried_out, **CLOSE)
    # HDF: 13.75 % at 85 %RH, two thirds of the way from 11 at 75 to 15.5 at 90, bent down a little; 9.5 at 60
    assert amounts["boards_l"] == pytest.approx(BOARDS / 1.14 * (14.0 - 9.5) / 100, rel=0.05)


def test_amounts_after_a_night_without_heating():
    amounts = advice(HEATING_FAILED).amounts
    assert amounts["left_alone_pct"] == pytest.approx(70 * psat(3.0) / psat(WARM), **CLOSE)
    assert amounts["ceiling_pct"] == pytest.approx(limit_of_wall(WARM, -8.0, 0.60), **CLOSE)  # surface at 6.7 degC
    once = 50 * (grams_m3(WARM, 40.0) - 1000 * 0.70 * psat(3.0) / (461.52 * (WARM + 273.15))) / 1000
    assert amounts["once_l"] == pytest.approx(once, rel=0.01)  # 50 m3 x (5.62 - 3.96) g/m3: a small difference
    assert amounts["daily_l"] == pytest.approx(litres_a_day(WARM, 40.0, (-8.0, 85.0)), **CLOSE)
    assert amounts["boards_l"] == 0.0  # boards in balance with 70 % do not take up water at 40 %


def test_amounts_at_the_cold_wall():
    amounts = advice(COLD_WALL).amounts
    assert amounts["humidity_pct"] == amounts["ceiling_pct"]
    assert amounts["ceiling_pct"] == pytest.approx(limit_of_wall(20.0, -15.0, 0.60), **CLOSE)  # surface at 6.0 degC
    assert amounts["daily_l"] == pytest.approx(litres_a_day(20.0, 32.0, (-15.0, 85.0)), **CLOSE)


def test_amounts_of_a_dry_winter():
    amounts = advice(DRY_WINTER).amounts
    assert amounts["ceiling_pct"] == pytest.approx(limit_of_wall(21.0, -5.0, 0.70), **CLOSE)  # surface at 13.2 degC
    assert amounts["daily_l"] == pytest.approx(litres_a_day(21.0, 40.0, (-5.0, 80.0), changes=0.3), **CLOSE)
    # HDF: 6.78 % at 28 %RH to 7.67 at 40 (EWPAA p. 37, and a little flatter below 30)
    assert amounts["boards_l"] == pytest.approx(120 / 1.068 * (7.67 - 6.75) / 100, rel=0.04)


def test_litres_a_day_in_winter_are_the_published_balance():
    # 50 m3, 0.5 air changes, 0 degC and 80 % outdoors, 20 degC and 50 % inside: 0.12635 kg/h (ASHRAE's equation worked
    # with psychrolib 2.5.0), and 0.130 kg once from 35 to 50 %
    found = advice(room(20.0, 35.0, band=band(45.0, 70.0), outdoor_c=0.0, outdoor_pct=80.0, f_rsi=0.9, volume_m3=50.0))
    assert found.amounts["humidity_pct"] == 50.0
    assert found.amounts["daily_l"] == pytest.approx(24 * 0.12635, rel=2e-3)
    assert found.amounts["once_l"] == pytest.approx(0.1296, abs=1e-4)


def test_litres_a_day_in_summer_are_the_published_balance():
    # 28 degC and 70 % outdoors, 22 degC and 50 % inside: 5.994 kg a day to take out (the same equation, psychrolib)
    found = advice(room(22.0, 60.0, band=band(30.0, 55.0), outdoor_c=28.0, outdoor_pct=70.0, volume_m3=50.0))
    assert found.amounts["humidity_pct"] == 50.0
    assert found.amounts["daily_l"] == pytest.approx(5.994, rel=2e-3)


def test_one_percent_of_moisture_in_the_boards_of_a_wall_is_nearly_four_litres():
    # 422 kg of HDF at 7 % are 395 kg dry; from 30 to 45 %RH 7 to 8 % (EWPAA p. 37): 3.95 kg
    found = advice(room(20.0, 30.0, band=band(40.0, 70.0), boards_kg=BOARDS))
    assert found.amounts["boards_l"] == pytest.approx(BOARDS / 1.07 * 0.01, rel=1e-6)
    # and from 75 to 65 %RH 11 to 10 %: 422 / 1.11 x 1 % = 3.8 kg are given off
    found = advice(room(20.0, 75.0, band=band(40.0, 70.0), boards_kg=BOARDS))
    assert found.amounts["boards_l"] == pytest.approx(BOARDS / 1.11 * 0.01, rel=1e-6)


def test_solid_wood_takes_up_more_and_mineral_boards_nothing():
    # 80 to 65 %RH: 16 to 12 % (a rule of the trade): 400 kg / 1.16 x 4 % = 13.8 kg
    wood = advice(room(20.0, 80.0, band=band(35.0, 70.0), boards_kg=400.0, core="solid wood"))
    assert wood.amounts["boards_l"] == pytest.approx(400 / 1.16 * 0.04, rel=0.1)
    mineral = advice(room(20.0, 80.0, boards_kg=400.0, core="PVC or mineral"))
    assert mineral.amounts["boards_l"] == 0.0
    assert not any("oards and boxes" in sentence for sentence in mineral.sentences)
    unweighed = advice(room(20.0, 80.0, core="PVC or mineral"))
    assert not any("oards and boxes" in sentence for sentence in unweighed.sentences)


def test_thin_air_carries_the_same_vapour_in_less_dry_air():
    # once in m3 does not hang on the pressure, the ratio does: n V / v (W - Wo) with v ~ 1 / p and W ~ p_w / (p - p_w)
    # is n V p_w / (R T) at any height, less the vapour's own share of the pressure, under 1 %
    sea = advice(room(20.0, 30.0, outdoor_c=5.0, outdoor_pct=50.0, volume_m3=50.0)).amounts
    high = advice(room(20.0, 30.0, outdoor_c=5.0, outdoor_pct=50.0, volume_m3=50.0, pressure_pa=80_000.0)).amounts
    assert high["once_l"] == sea["once_l"]
    assert high["daily_l"] != sea["daily_l"]
    assert high["daily_l"] == pytest.approx(sea["daily_l"], rel=0.01)


# --- what is not known is said, not guessed ---------------------------------------------------------------


def test_without_a_humidity_only_the_temperature_is_advised():
    found = advice(room(10.0, None))
    assert list(found.sentences) == [
        "Temperature is 10.0 degC, below the band of 15.6 degC to 29.4 degC.",
        "The room's humidity is not known: let a sensor there be heard first.",
        "Heat to 16.6 degC, which allows for the sensor's uncertainty of 1.0 K.",
    ]
    assert dict(found.amounts) == {"temperature_c": pytest.approx(WARM)}
    assert found.cautions == (*HEATING, Caution.LOCAL_CODE)


def test_a_temperature_in_band_without_a_humidity_is_not_called_well():
    assert list(advice(room(20.0, None)).sentences) == [
        "The room's humidity is not known: let a sensor there be heard first.",
        "In band: 20.0 degC.",
    ]


def test_without_a_temperature_nothing_is_advised():
    found = advice(room(None, 30.0, outdoor_c=0.0, outdoor_pct=80.0, **SIZED))
    assert found == Advice(
        (
            "Humidity is 30.0 %, below the band of 35.0 % to 65.0 %.",
            "The room's temperature is not known: let a sensor there be heard first.",
        )
    )


def test_without_the_air_outdoors_and_the_sizes_the_litres_are_asked_for():
    assert list(advice(room(20.0, 30.0)).sentences)[1:] == [
        "Moisten to 40.0 %, which allows for the sensor's uncertainty of 5.0 %.",
        "The outdoor temperature is not known: stop at once when panes or outside walls turn wet.",
        "Give the room's volume to know how much water that is.",
        "Boards and boxes take up far more than the air: give their weight to know how much.",
    ]


def test_an_outdoor_temperature_alone_gives_the_walls_limit_but_no_litres_a_day():
    found = advice(room(20.0, 30.0, outdoor_c=0.0, f_rsi=0.7, volume_m3=50.0))
    assert "daily_l" not in found.amounts
    assert list(found.sentences)[3] == (
        "In a room of 50 m3 that is 0.09 litres into the air once; what a day takes is not known, for the air outdoors "
        "is not."
    )


# --- the way into the band --------------------------------------------------------------------------------


def test_exactly_on_a_limit_is_in_band():
    found = advice(room(BAND.temperature[0], 65.0, u_t=0.0, u_rh=0.0))
    assert list(found.sentences) == ["In band: 15.6 degC and 65.0 %. Leave the air as it is."]


def test_outside_means_by_more_than_a_hair():
    assert [side_of(value, (35.0, 65.0)) for value in (35.0 - 2e-9, 35.0 - 5e-10, 65.0 + 5e-10, 65.0 + 2e-9)] == [
        -1,
        0,
        0,
        1,
    ]


def test_a_little_outside_is_said_with_as_many_digits_as_it_takes():
    found = advice(room(20.0, 65.004, u_rh=0.0))
    assert found.sentences[:2] == (
        "Humidity is 65.004 %, above the band of 35.0 % to 65.0 %.",
        "Dry to 65.0 %.",
    )


def test_in_band_by_less_than_the_uncertainty_is_said():
    assert list(advice(room(16.0, 62.0), "us").sentences) == [
        "In band: 60.8 degF and 62.0 %. Leave the air as it is.",
        "Temperature is nearer to 60.0 degF than its uncertainty of 1.8 degF.",
        "Humidity is nearer to 65.0 % than its uncertainty of 5.0 %.",
    ]


def test_an_uncertainty_wider_than_the_band_aims_at_its_middle():
    found = advice(room(0.0, 90.0, u_t=20.0, u_rh=40.0, band=band(40.0, 60.0)))
    assert found.amounts["temperature_c"] == pytest.approx((60 + 85 - 64) / 2 / 1.8)
    # 90 % at 0 degC is 90 x 611 / 2891 = 19 % there: moistened to the middle
    assert found.amounts["humidity_pct"] == 50.0


def test_a_cold_damp_room_is_heated_and_that_is_all_where_it_does():
    # 12 degC and 75 %: 75 x 1402 / 1884 = 55.8 % at 16.6 degC
    found = advice(room(12.0, 75.0, outdoor_c=8.0, outdoor_pct=80.0, **SIZED))
    assert found.moves == ("heat",)
    assert found.amounts["left_alone_pct"] == pytest.approx(75 * psat(12.0) / psat(WARM), **CLOSE)
    assert list(found.sentences)[3:] == [
        "Heat to 16.6 degC, which allows for the sensor's uncertainty of 1.0 K.",
        "This alone takes the air from 75.0 % to 55.8 %.",
    ]


def test_a_room_a_little_too_dry_may_be_cooled_instead():
    # 33 % at 22 degC is 40 % where psat is 33 / 40 of 2644 Pa: at 18.9 degC
    found = advice(room(22.0, 33.0, outdoor_c=5.0))
    assert psat(found.amounts["instead_c"]) == pytest.approx(33 / 40 * psat(22.0), **CLOSE)
    assert "Or cool the room to 18.9 degC: with the water that it holds now it has 40.0 % there." in found.sentences
    assert not set(HEATING) & set(found.cautions)


def test_another_temperature_is_not_offered_outside_the_band():
    assert "instead_c" not in advice(room(22.0, 28.0)).amounts  # 28 / 40 x 2644 Pa: 16.2 degC, under 16.6
    assert "instead_c" in advice(room(22.0, 29.0)).amounts  # 16.8 degC
    assert "instead_c" not in advice(room(25.0, 74.0)).amounts  # 74 / 60 x 3169 Pa: 28.6 degC, over 28.4
    assert "instead_c" in advice(room(25.0, 73.0)).amounts  # 28.3 degC


def test_warming_instead_is_not_offered_where_the_wall_would_stay_too_damp():
    # 70 % at 17 degC is 60 % at 19.4 degC. Outdoors 4 degC, factor 0.7: at 17 degC the wall bears 62.2 %, at 19.4 degC,
    # its surface at 14.8, 80 x 1681 / 2252 = 59.7 %; outdoors 6 degC it bears 80 x 1747 / 2252 = 62.1 %
    assert limit_of_wall(19.43, 4.0, 0.7) == pytest.approx(59.7, abs=0.1)
    assert advice(room(17.0, 70.0, outdoor_c=4.0, f_rsi=0.7)).amounts["humidity_pct"] == 60.0
    assert "instead_c" not in advice(room(17.0, 70.0, outdoor_c=4.0, f_rsi=0.7)).amounts
    assert advice(room(17.0, 70.0, outdoor_c=6.0, f_rsi=0.7)).amounts["instead_c"] == pytest.approx(19.43, abs=0.05)


def test_another_temperature_is_not_offered_to_a_room_out_of_band_in_temperature():
    # 80 % at 15 degC is 72 % at 16.6 degC
    found = advice(room(15.0, 80.0))
    assert found.moves == ("heat", "dry")
    assert "instead_c" not in found.amounts


def test_outdoor_air_that_is_moister_is_let_in_before_a_humidifier_runs():
    found = advice(room(22.0, 30.0, outdoor_c=18.0, outdoor_pct=70.0, volume_m3=50.0))
    assert found.moves == ("air", "moisten")
    assert found.amounts["daily_l"] == 0.0
    assert list(found.sentences)[1:5] == [
        "Moisten to 40.0 %, which allows for the sensor's uncertainty of 5.0 %.",
        "Airing helps, in short bursts: outdoor air brought to 22.0 degC has 54.6 %.",
        "Or cool the room to 17.4 degC: with the water that it holds now it has 40.0 % there.",
        "In a room of 50 m3 that is 0.10 litres into the air once; after that none is needed at 0.5 air changes an "
        "hour (assumed).",
    ]


def test_more_than_saturated_is_judged_as_saturated():
    assert advice(room(20.0, 104.0, outdoor_c=5.0, outdoor_pct=103.0, **SIZED)).amounts == (
        advice(room(20.0, 100.0, outdoor_c=5.0, outdoor_pct=100.0, **SIZED)).amounts
    )


def test_more_than_saturated_is_said_as_saturated():
    assert "This alone takes the air from 100.0 % to 53.2 %." in advice(room(7.0, 104.0)).sentences  # 100 x 1002 / 1884


# --- the cold wall ----------------------------------------------------------------------------------------


def test_a_known_wall_too_damp_is_dried_within_the_band():
    # -10 degC outdoors, factor 0.7: the surface has 11 degC and bears 80 x 1312 / 2337 = 44.9 %
    found = advice(room(20.0, 50.0, outdoor_c=-10.0, f_rsi=0.7))
    assert found.amounts["humidity_pct"] == pytest.approx(limit_of_wall(20.0, -10.0, 0.70), **CLOSE)
    assert list(found.sentences)[1:3] == [
        "Dry to 44.9 %: there a cold outside wall has 80 % at its surface "
        "(outdoors -10.0 degC, temperature factor 0.70).",
        "Never below 35.0 %: drier air does not make boards ready sooner.",
    ]


def test_the_band_is_not_left_for_the_walls_sake():
    found = advice(room(20.0, 50.0, outdoor_c=-20.0, f_rsi=0.6))
    assert found.amounts["humidity_pct"] == 35.0
    assert found.amounts["ceiling_pct"] < 35.0
    assert found.sentences[1] == (
        "Dry to 35.0 %, though a cold outside wall keeps over 80 % at its surface (outdoors -20.0 degC, temperature "
        "factor 0.60): warm it."
    )


def test_an_assumed_factor_dries_no_air_that_is_in_band():
    found = advice(room(20.0, 50.0, outdoor_c=-10.0))
    assert found.moves == ()
    assert list(found.sentences) == [
        "A cold outside wall may have 100.0 % at its surface of 8.0 degC (temperature factor 0.60, assumed): water "
        "condenses there. Look there.",
        "In band: 20.0 degC and 50.0 %.",
    ]


def test_a_limit_inside_the_band_is_stopped_at_without_more_ado():
    # outdoors -7 degC, factor 0.6: at 21 degC the surface has 9.8 degC and bears 80 x 1211 / 2486 = 39.0 %
    found = advice(room(21.0, 31.0, outdoor_c=-7.0))
    assert found.amounts["humidity_pct"] == pytest.approx(limit_of_wall(21.0, -7.0, 0.60), **CLOSE)
    assert list(found.sentences)[1:3] == [
        "Moisten to 38.9 % and no further: there a cold outside wall has 80 % at its surface "
        "(outdoors -7.0 degC, temperature factor 0.60, assumed).",
        "Or cool the room to 17.3 degC: with the water that it holds now it has 39.0 % there.",
    ]


def test_a_wall_warmer_than_the_room_bears_all_that_air_can_hold():
    assert target(room(20.0, 50.0, outdoor_c=40.0, f_rsi=0.2)).ceiling_pct == 100.0


def test_a_wall_that_bears_the_whole_band_is_not_spoken_of():
    found = advice(room(20.0, 30.0, outdoor_c=15.0, f_rsi=0.9))
    assert not any("wall" in sentence for sentence in found.sentences)


# --- if this goes on --------------------------------------------------------------------------------------


def test_what_returns_by_itself_is_left_alone():
    # 33 % and rising 1 % an hour: 35 % in 2 h
    found = advice(room(20.0, 33.0, recent={Quantity.AIR_HUMIDITY: line(33.0, 1.0)}))
    assert found == Advice(
        (
            "Humidity is 33.0 %, below the band of 35.0 % to 65.0 %.",
            "If this goes on, humidity is back in band in about 2 h: wait, change nothing.",
        ),
        wait=True,
    )


def test_what_returns_too_late_is_acted_on():
    # 3 % at 1 % an hour: 3 h, the longest wait; a little more is too long
    assert advice(room(20.0, 32.0, recent={Quantity.AIR_HUMIDITY: line(32.0, 1.0)})).wait
    assert not advice(room(20.0, 31.9, recent={Quantity.AIR_HUMIDITY: line(31.9, 1.0)})).wait
    assert not advice(room(20.0, 32.0, recent={Quantity.AIR_HUMIDITY: line(32.0, -1.0)})).wait


def test_a_trend_drowned_in_its_scatter_is_no_reason_to_wait():
    steady = line(33.0, 1.0)
    scattered = steady._replace(value=steady.value + np.random.default_rng(4).normal(0.0, 4.0, len(steady.t)))
    expected = theilslopes(scattered.value, steady.t / HOUR, alpha=0.95)
    assert expected.low_slope < 0.0 < expected.slope
    assert not advice(room(20.0, 33.0, recent={Quantity.AIR_HUMIDITY: scattered})).wait


def test_the_whole_interval_must_return_in_time():
    steady = line(33.0, 1.0)
    scattered = steady._replace(value=steady.value + np.random.default_rng(7).normal(0.0, 0.5, len(steady.t)))
    expected = theilslopes(scattered.value, steady.t / HOUR, alpha=0.95)
    soonest, latest = (60 * 2.0 / slope for slope in (expected.high_slope, expected.low_slope))
    assert 60 < soonest < latest < 180
    told = f"{int(soonest) // 60} h {int(soonest) % 60} min to {int(latest + 1) // 60} h {int(latest + 1) % 60} min"
    found = advice(room(20.0, 33.0, recent={Quantity.AIR_HUMIDITY: scattered}))
    assert found.sentences[-1] == f"If this goes on, humidity is back in band in {told}: wait, change nothing."


def test_both_must_return_for_waiting():
    rising, warming = line(33.0, 1.0), line(15.0, 0.5)
    both = {Quantity.AIR_HUMIDITY: rising, Quantity.AIR_TEMPERATURE: warming}
    found = advice(room(15.0, 33.0, recent=both))
    assert found.wait
    # 0.556 K at 0.5 K an hour: 1 h 6 min 40 s
    assert list(found.sentences)[2:] == [
        "If this goes on, temperature is back in band in 1 h 6 min to 1 h 7 min: wait, change nothing.",
        "If this goes on, humidity is back in band in about 2 h: wait, change nothing.",
    ]
    assert not advice(room(15.0, 33.0, recent={Quantity.AIR_HUMIDITY: rising})).wait


def test_nobody_waits_while_the_other_quantity_leaves_the_band():
    # the room warms into the band while its air dries out of it, 2 % at 1 % an hour
    going = {Quantity.AIR_TEMPERATURE: line(15.0, 0.5), Quantity.AIR_HUMIDITY: line(37.0, -1.0)}
    assert not advice(room(15.0, 37.0, recent=going)).wait


def test_nobody_waits_under_a_wall_known_to_be_damp():
    going = {Quantity.AIR_HUMIDITY: line(67.0, -1.0)}
    assert advice(room(20.0, 67.0, outdoor_c=0.0, recent=going)).wait
    assert not advice(room(20.0, 67.0, outdoor_c=0.0, f_rsi=0.7, recent=going)).wait


def test_waiting_in_the_cold_still_speaks_of_the_pipes():
    going = {Quantity.AIR_TEMPERATURE: line(4.5, 4.0)}
    found = advice(room(4.5, 50.0, recent=going))
    assert found.wait
    assert found.sentences[0].startswith("At 4.5 degC the room is below 5.0 degC: pipes can freeze.")
    assert found.cautions == (Caution.PIPES, Caution.LOCAL_CODE)


def test_air_on_its_way_out_of_the_band_is_said():
    going = {Quantity.AIR_HUMIDITY: line(41.0, -3.0), Quantity.AIR_TEMPERATURE: line(28.0, 1.0)}
    assert list(advice(room(28.0, 41.0, recent=going)).sentences) == [
        "In band: 28.0 degC and 41.0 %. Leave the air as it is.",
        # (85 degF = 29.444 degC) - 28 = 1.444 K at 1 K an hour: 1 h 26 min 40 s
        "If this goes on, temperature goes above 29.4 degC in 1 h 26 min to 1 h 27 min.",
        "If this goes on, humidity goes below 35.0 % in about 2 h.",
    ]


def test_the_trend_is_the_one_of_now():
    old = line(33.0, 1.0)
    late = old._replace(t=old.t - (NOW - old.t[0]))
    assert not advice(room(20.0, 33.0, recent={Quantity.AIR_HUMIDITY: late})).wait


def test_no_warmth_brings_the_air_to_no_water_at_all():
    # a band as narrow as a float can be: its middle is 0 %, and no temperature makes that of any air
    found = target(room(20.0, 1.0, u_rh=1.0, band=band(0.0, 5e-324)))
    assert found is not None
    assert found.instead_c is None
