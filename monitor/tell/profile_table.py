"""The figures of a profile as rows of a table, each with the source that the profile gives for it."""

from __future__ import annotations

from monitor.basis.units import (
    FOOT,
    format_duration,
    format_length,
    format_percent,
    format_temperature,
    format_temperature_difference,
)
from monitor.config.profile import Band, Profile
from monitor.tell import words
from monitor.tell.words import Display


def profile_rows(profile: Profile, display: Display) -> list[tuple[str, str, str]]:
    """(figure, value in the job's units, source), in the order of a profile file."""
    figures = [
        ("boxes", "boxes", profile.boxes),
        ("place", "place", profile.place),
        *_band(profile.band, "band", "until the wall is finished", display),
        *_band(profile.life, "life", "from then on", display),
        *_acclimation(profile),
        *_wall(profile, display),
        *_readiness(profile, display),
        *_quality(profile, display),
    ]
    return [
        (name, words.visible(value), words.visible(profile.sources.get(key, "none given")))
        for key, name, value in figures
    ]


def _band(band: Band, table: str, until: str, display: Display) -> list[tuple[str, str, str]]:
    humidity = " to ".join(format_percent(limit) for limit in band.humidity)
    temperature = " to ".join(format_temperature(limit, display.units) for limit in band.temperature)
    return [
        (f"{table}.humidity", f"humidity {until}", humidity),
        (f"{table}.temperature", f"temperature {until}", temperature),
    ]


def _acclimation(profile: Profile) -> list[tuple[str, str, str]]:
    rule = profile.acclimation
    return [
        ("acclimation.hours", "hours in band", words.required(rule.required)),
        ("acclimation.reset_after_out", "back to zero, out of band after", format_duration(rule.reset_after_out)),
        (
            "acclimation.reset_after_unknown",
            "back to zero, not proven after",
            format_duration(rule.reset_after_unknown),
        ),
        ("acclimation.settle", "a run counts from", format_duration(rule.settle)),
    ]


def _wall(profile: Profile, display: Display) -> list[tuple[str, str, str]]:
    wall, units = profile.wall, display.units
    usual = " to ".join(format_length(length, units) for length in wall.stagger_usual)
    return [
        ("wall.max_length", "longest unbroken run", format_length(wall.max_length, units)),
        ("wall.max_height", "greatest height", format_length(wall.max_height, units)),
        ("wall.flatness", f"flat over {format_length(10 * FOOT, units)} to", format_length(wall.flatness, units)),
        ("wall.edge_gap", "gap at adjoining walls", format_length(wall.edge_gap, units)),
        ("wall.extra", "ordered extra", format_percent(wall.extra * 100)),
        ("wall.stagger_least", "joints staggered at least", format_length(wall.stagger_least, units)),
        ("wall.stagger_usual", "joints staggered usually", usual),
    ]


def _readiness(profile: Profile, display: Display) -> list[tuple[str, str, str]]:
    rule = profile.readiness
    within = format_temperature_difference(rule.box_core_within, display.units)
    return [
        ("readiness.instrument", "sensors backed at least by", words.CHECK[rule.instrument]),
        ("readiness.box_core_within", "box core within, of the room's 24 h mean", within),
    ]


def _quality(profile: Profile, display: Display) -> list[tuple[str, str, str]]:
    quality, units = profile.quality, display.units
    spike = format_temperature_difference(quality.spike_temperature, units)
    rate = format_temperature_difference(quality.rate_temperature, units)
    together = f"{format_duration(quality.flat_together)} with {quality.flat_together_readings} readings"
    return [
        ("quality.spike_temperature", "suspect spike, temperature", spike),
        ("quality.spike_humidity", "suspect spike, humidity", f"{quality.spike_humidity:.1f} %RH"),
        ("quality.rate_temperature_per_min", "suspect change, temperature", f"{rate} per min"),
        ("quality.rate_humidity_per_min", "suspect change, humidity", f"{quality.rate_humidity:.1f} %RH per min"),
        ("quality.flat_together", "stuck, both unchanged for", together),
        ("quality.flat_alone", "stuck, humidity alone unchanged for", format_duration(quality.flat_alone)),
    ]
