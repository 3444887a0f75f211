"""The figures of a profile as rows of a table, each with the source that the profile gives for it."""

from __future__ import annotations

from monitor.basis.times import DAY
from monitor.basis.units import (
    FOOT,
    format_area,
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
        *_board(profile, display),
        *_surface(profile),
        *_take_off(profile, display),
        *_site(profile, display),
        *_care(profile),
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


def _board(profile: Profile, display: Display) -> list[tuple[str, str, str]]:
    board, units = profile.board, display.units
    lengths = [format_length(length, units) for length in board.lengths]
    box = ", ".join(f"{lengths.count(length)} of {length}" for length in dict.fromkeys(lengths))
    slow, central, fast = (f"{d:g}" for d in board.diffusivity)
    return [
        ("board.core", "core of a plank", board.core),
        ("board.thickness", "thickness", format_length(board.thickness, units)),
        ("board.face_width", "width that shows", format_length(board.face_width, units)),
        ("board.lengths", "planks of a box", box),
        ("board.ends", "ends", board.ends),
        ("board.open_faces", "faces that take up vapour", str(board.open_faces)),
        ("board.diffusivity", "diffusivity of moisture, slow, central, fast", f"{slow}, {central}, {fast} m2/s"),
        ("board.came_at", "boards come in balance with", format_percent(board.came_at)),
    ]


def _surface(profile: Profile) -> list[tuple[str, str, str]]:
    surface = profile.surface
    return [
        ("surface.temperature_factor", "temperature factor of the wall's surface", f"{surface.temperature_factor:g}"),
        ("surface.sensitivity", "how readily it grows mould", surface.sensitivity),
        ("surface.decline", "decline of the mould index, of that of pine", f"{surface.decline:g}"),
    ]


def _take_off(profile: Profile, display: Display) -> list[tuple[str, str, str]]:
    rule, units = profile.take_off, display.units

    def long(length: float) -> str:
        return format_length(length, units)

    figures = {
        "two_down_least": ("joints of every other row apart at least", long(rule.two_down_least)),
        "narrow_share": ("a last row is narrow below this part of a plank", format_percent(rule.narrow_share * 100)),
        "narrow_least": ("or below", long(rule.narrow_least)),
        "opening_deducted_over": ("openings count as wall up to", format_area(rule.opening_deducted_over, units)),
        "kerf": ("saw cut", long(rule.kerf)),
        "damage": ("reckoned as damaged", format_percent(rule.damage * 100)),
        "for_repairs": ("boxes kept for repairs", str(rule.for_repairs)),
        "stud_spacing": ("studs apart", long(rule.stud_spacing)),
        "bead": ("bead of adhesive", long(rule.bead)),
        "bead_apart": ("beads apart", long(rule.bead_apart)),
        "cartridge": ("cartridge of adhesive", f"{rule.cartridge * 1e6:.0f} ml"),
        "trim_stick": ("stick of trim", long(rule.trim_stick)),
    }
    return [(f"take_off.{key}", *figure) for key, figure in figures.items()]


def _site(profile: Profile, display: Display) -> list[tuple[str, str, str]]:
    rule, units = profile.site, display.units

    def over(height: float, run: float) -> str:
        return f"{format_length(height, units)} over {format_length(run, units)}"

    return [
        ("site.points_apart", "points along a line at most apart", format_length(rule.points_apart, units)),
        ("site.step", "a step is more than", over(rule.step, rule.step_over)),
        ("site.plumb", "plumb to", over(rule.plumb, rule.plumb_over)),
        ("site.level", "first row level to", format_length(rule.level, units)),
        ("site.above_dry", "wall moisture above a dry reference at most", _points(rule.above_dry)),
        ("site.check_holds", "a site check holds for", _days(rule.check_holds)),
        ("site.moisture_holds", "a wall moisture holds for", _days(rule.moisture_holds)),
    ]


def _points(number: float) -> str:
    return f"{number:g} {'point' if number == 1 else 'points'} of the meter"


def _care(profile: Profile) -> list[tuple[str, str, str]]:
    care = profile.care
    return [
        ("care.dust_every", "dust every", _days(care.dust_every)),
        ("care.wipe_every", "wipe every", _days(care.wipe_every)),
        ("care.look_every", "look it over every", _days(care.look_every)),
        ("care.how", "how", care.how),
        ("care.never", "never", care.never),
    ]


def _days(length: int) -> str:
    """A length of days, where it is one."""
    return f"{length // DAY} d" if length >= 2 * DAY and length % DAY == 0 else format_duration(length)


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
