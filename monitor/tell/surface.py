"""What is computed of the wall's surface, in sentences: estimates and an index, worded with care."""

from __future__ import annotations

from monitor.basis.units import System, format_percent, format_temperature
from monitor.climate.surface import MOULD_LIMIT_PCT
from monitor.config.profile import Profile
from monitor.rules.board.estimates import SkinReading
from monitor.tell.words import counted_things

MOULD = (
    "none",
    "it begins, to be seen under a microscope only",
    "several colonies under a microscope",
    "to be seen with the eye, on less than a tenth of the surface",
    "on 10 to 50 % of the surface",
    "on more than half of the surface",
    "on nearly all of the surface",
)
INDEX = (
    "The mould index is computed from temperature and humidity by the VTT model (0 none to 6); it is an index and not "
    "an inspection: it has seen no wall, and knows nothing of leaks, rising damp or a cold corner."
)
CALL = (
    "Look behind furniture and in corners, and find where damp comes from before it is covered. Call a professional "
    "where growth is to be seen on more than about 1 m2 (10 sq ft), where it smells of mould and nothing is to be "
    "seen, after sewage or flood water, or where people at risk live. (Common practice, no published source.)"
)


def mould_words(index: float) -> str:
    """What a value of the index stands for, by the step that it has reached; give it as it is shown."""
    return MOULD[min(max(int(index), 0), len(MOULD) - 1)]


def known_by(profile: Profile, *, heard: bool, outdoors: bool) -> str:
    """How the surface's temperature is known."""
    factor = f"{profile.surface.temperature_factor:g}, assumed by the profile"
    computed = f"computed from the air outdoors, as of an outside wall (temperature factor {factor})"
    if not heard:
        return computed
    return f"measured at the surface, {computed} where the sensor is silent" if outdoors else "measured at the surface"


def skin_finding(skin: SkinReading) -> str:
    """The surface in a sentence: the criterion first."""
    if skin.month is None:
        head = "Too little is known of the last 30 days to hold the surface against 80 %"
    else:
        over = "above" if skin.month > MOULD_LIMIT_PCT else "not above"
        head = (
            f"Mean humidity at the surface over the last 30 days {format_percent(skin.month)}, {over} the 80 % of ISO "
            "13788"
        )
    return f"Computed: {head[0].lower()}{head[1:]}; mould index {skin.mould:.1f}, {mould_words(round(skin.mould, 1))}."


def skin_rows(skin: SkinReading, by: str, units: System) -> list[tuple[str, str, str]]:
    """(figure, value, how it is known)."""
    coldest = "-" if skin.coldest is None else format_temperature(skin.coldest, units)
    humid = "-" if skin.humid is None else format_percent(skin.humid)
    month = "-" if skin.month is None else format_percent(skin.month)
    return [
        ("coldest hour of the last day", coldest, by),
        ("humidity at the surface, mean of the last day", humid, "computed"),
        ("mean of the last 30 days, to be at most 80 % (ISO 13788)", month, "computed"),
        ("above 80 % so far", counted_things(skin.damp_h, "hour"), "computed"),
        ("with condensation so far", counted_things(skin.wet_h, "hour"), "computed"),
        ("mould index now, 0 to 6", f"{skin.mould:.2f}: {mould_words(round(skin.mould, 2))}", "computed, an index"),
        ("not known: the index stood still", counted_things(skin.unknown_h, "hour"), "-"),
    ]
