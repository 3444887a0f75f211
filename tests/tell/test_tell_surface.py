"""The wall's surface in words: an index and no inspection."""

import re

import invented_den as den
import pytest

from monitor.rules.board.estimates import SkinReading
from monitor.tell import surface

SKIN = SkinReading(coldest=12.25, humid=78.2, month=72.4, damp_h=246, wet_h=1, mould=0.42, unknown_h=3)
OUTDOORS = "computed from the air outdoors, as of an outside wall (temperature factor 0.7, assumed by the profile)"


@pytest.mark.parametrize(
    ("index", "told"),
    [
        # the steps of the VTT scale: 0 none, 1 and 2 under a microscope, 3 seen below 10 %, 4 to 50 %, 5 more, 6 all
        (0.0, "none"),
        (0.99, "none"),
        (1.0, "it begins, to be seen under a microscope only"),
        (2.5, "several colonies under a microscope"),
        (3.0, "to be seen with the eye, on less than a tenth of the surface"),
        (4.0, "on 10 to 50 % of the surface"),
        (5.9, "on more than half of the surface"),
        (6.0, "on nearly all of the surface"),
    ],
)
def test_the_mould_index_in_words(index, told):
    assert surface.mould_words(index) == told


@pytest.mark.parametrize(
    ("heard", "outdoors", "told"),
    [
        (False, True, OUTDOORS),
        (True, False, "measured at the surface"),
        (True, True, f"measured at the surface, {OUTDOORS} where the sensor is silent"),
    ],
)
def test_how_the_surface_is_known(heard, outdoors, told):
    assert surface.known_by(den.PROFILE, heard=heard, outdoors=outdoors) == told


@pytest.mark.parametrize(
    ("month", "told"),
    [
        (72.4, "mean humidity at the surface over the last 30 days 72.4 %, not above the 80 % of ISO 13788"),
        (80.0, "mean humidity at the surface over the last 30 days 80.0 %, not above the 80 % of ISO 13788"),
        (80.1, "mean humidity at the surface over the last 30 days 80.1 %, above the 80 % of ISO 13788"),
        (None, "too little is known of the last 30 days to hold the surface against 80 %"),
    ],
)
def test_the_criterion_comes_first(month, told):
    skin = SkinReading(12.0, 70.0, month, 0, 0, 1.26, 0)
    assert surface.skin_finding(skin) == (
        f"Computed: {told}; mould index 1.3, it begins, to be seen under a microscope only."
    )


def test_the_words_go_with_the_figure_that_is_shown():
    assert surface.skin_finding(SkinReading(12.0, 70.0, 60.0, 0, 0, 0.96, 0)).endswith(
        "mould index 1.0, it begins, to be seen under a microscope only."
    )


def test_the_figures_of_the_surface_each_with_how_it_is_known():
    assert surface.skin_rows(SKIN, OUTDOORS, "us") == [
        ("coldest hour of the last day", "54.0 degF", OUTDOORS),
        ("humidity at the surface, mean of the last day", "78.2 %", "computed"),
        ("mean of the last 30 days, to be at most 80 % (ISO 13788)", "72.4 %", "computed"),
        ("above 80 % so far", "246 hours", "computed"),
        ("with condensation so far", "1 hour", "computed"),
        ("mould index now, 0 to 6", "0.42: none", "computed, an index"),
        ("not known: the index stood still", "3 hours", "-"),
    ]
    assert surface.skin_rows(SKIN, OUTDOORS, "si")[0][1] == "12.2 degC"


def test_what_is_not_known_of_the_last_day_is_a_dash():
    rows = surface.skin_rows(SkinReading(None, None, None, 0, 0, 0.0, 0), "measured at the surface", "si")
    assert [value for _, value, _ in rows[:3]] == ["-", "-", "-"]


def test_it_says_when_to_call_a_professional_and_makes_no_claim_of_health():
    assert surface.CALL == (
        "Look behind furniture and in corners, and find where damp comes from before it is covered. Call a "
        "professional where growth is to be seen on more than about 1 m2 (10 sq ft), where it smells of mould and "
        "nothing is to be seen, after sewage or flood water, or where people at risk live. (Common practice, no "
        "published source.)"
    )
    assert surface.INDEX == (
        "The mould index is computed from temperature and humidity by the VTT model (0 none to 6); it is an index and "
        "not an inspection: it has seen no wall, and knows nothing of leaks, rising damp or a cold corner."
    )
    assert not re.search(r"health|toxic|ill\b|sick|danger", surface.CALL + surface.INDEX)
