"""A profile: what one kind of plank asks of the room and the wall.

A profile file may be short: what it leaves out comes from the built-in profile. What a job keeps is the whole of it,
written out, so that a later change of the file or of the built-in one changes no job.
"""

from __future__ import annotations

import hashlib
import os
import re
from collections.abc import Mapping, Sequence
from fractions import Fraction
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any, Literal, NamedTuple, get_args

from monitor.basis import units
from monitor.basis.errors import Fault, ProfileError, WallclimeError
from monitor.basis.times import HOUR
from monitor.config import tables
from monitor.config.tables import Figure, Reader

InstrumentLevel = Literal["maker", "side by side", "salt", "laboratory"]
Core = Literal["HDF", "plywood", "solid wood", "PVC or mineral"]
Ends = Literal["end-matched", "square"]
Sensitivity = Literal["very sensitive", "sensitive", "medium resistant", "resistant"]


class Band(NamedTuple):
    """Inclusive limits. `humidity` in %RH, `temperature` in degC, each (low, high)."""

    humidity: tuple[float, float]
    temperature: tuple[float, float]


class Acclimation(NamedTuple):
    """The clock's rule. [ms]"""

    required: int
    reset_after_out: int
    reset_after_unknown: int
    settle: int


class Quality(NamedTuple):
    """When a reading is suspect or proves nothing. Figures ours, no published source."""

    spike_temperature: float  # [K]
    spike_humidity: float  # [%RH]
    rate_temperature: float  # [K/min]
    rate_humidity: float  # [%RH/min]
    flat_together: int  # both air channels unchanged at least this long [ms] ...
    flat_together_readings: int  # ... with at least so many readings of each
    flat_alone: int  # the one channel unchanged at least this long [ms]


class Wall(NamedTuple):
    """What the wall must be. Lengths in m; `extra` a share, 0.10 for 10 %."""

    max_length: float
    max_height: float
    flatness: float  # over 10 ft
    edge_gap: float
    extra: float
    stagger_least: float
    stagger_usual: tuple[float, float]


class Board(NamedTuple):
    """What a plank is. Lengths in m; `lengths` names each plank of a box; `face_width` is what shows."""

    core: Core
    thickness: float
    face_width: float
    lengths: tuple[float, ...]
    ends: Ends
    open_faces: int  # that take up vapour, 1 or 2
    diffusivity: tuple[float, float, float]  # of moisture across the board: slow, central, fast [m2/s]
    came_at: float  # humidity that the boards are taken to be in balance with when they come [%RH]


class Surface(NamedTuple):
    """What is taken of the wall's surface where an outdoor place or a surface sensor is known."""

    temperature_factor: float  # fRsi, 0 as outdoors to 1 as the room [1]
    sensitivity: Sensitivity
    decline: float  # of the mould index in dry spells, of that of pine [1]


class TakeOffFigures(NamedTuple):
    """What a take-off goes by beside the wall's own figures. Lengths in m, areas in m2; shares as 0.10 for 10 %."""

    two_down_least: float
    narrow_share: float
    narrow_least: float
    opening_deducted_over: float
    kerf: float
    damage: float
    for_repairs: int
    stud_spacing: float
    bead: float
    bead_apart: float
    cartridge: float  # of adhesive [m3]
    trim_stick: float


class Site(NamedTuple):
    """What the site check goes by. Lengths in m, times in ms."""

    points_apart: float
    step: float
    step_over: float
    plumb: float
    plumb_over: float
    level: float
    above_dry: float  # wall moisture beyond the dry reference [points of the meter's scale]
    check_holds: int
    moisture_holds: int


class Care(NamedTuple):
    """The care that a finished wall asks for. [ms]"""

    dust_every: int
    wipe_every: int
    look_every: int
    how: str
    never: str


class ReadinessRule(NamedTuple):
    """What readiness asks beyond the clock."""

    instrument: InstrumentLevel
    box_core_within: float  # of the room's trailing 24 h mean [K]


class Profile(NamedTuple):
    """A checked profile.

    `text` is the whole profile as TOML, every key written out: what a job freezes. `sha256` is the hash of its UTF-8
    bytes in hex; `sources` has figure -> its source, such as "band.humidity", where one is given.
    """

    name: str
    band: Band
    life: Band
    acclimation: Acclimation
    quality: Quality
    wall: Wall
    board: Board
    surface: Surface
    take_off: TakeOffFigures
    site: Site
    care: Care
    readiness: ReadinessRule
    boxes: str
    place: str
    text: str
    sha256: str
    sources: Mapping[str, str]


_BUILT_IN = resources.files("monitor.config") / "profiles"
_DEFAULT = "laminate-planks"


def _hours(value: Any, where: str) -> int:
    return round(tables.number(0.001, 8784)(value, where) * HOUR)


def _table_of(key: str) -> str:
    return key.partition(".")[0]


def _share(text: str, *, where: str = "share") -> float:
    return units.parse_percent(text, where=where) / 100


def _fraction(value: Any, where: str) -> float:
    try:
        return float(tables.number(0, 1)(float(Fraction(value)), where))
    except (ValueError, TypeError, ZeroDivisionError, OverflowError) as exc:
        raise tables.fault(f"{value!r} is no part of a whole", where, 'Write it like "1/3" or 0.3') from exc


_HUMIDITY_BAND = tables.pair(tables.amount(units.parse_percent, "0 %", "100 %"))
_TEMPERATURE_BAND = tables.pair(tables.amount(units.parse_temperature, "-40 degC", "85 degC"))
_HUMIDITY_STEP = tables.amount(units.parse_percent, "0.1 %", "100 %")
_TEMPERATURE_STEP = tables.amount(units.parse_temperature_difference, "0.1 K", "100 K")
_PAUSE = tables.amount(units.parse_duration, "0 min", "366 d")
_STRETCH = tables.amount(units.parse_duration, "1 min", "366 d")
_SPAN = tables.amount(units.parse_length, "0.1 m", "1000 m")
_GAP = tables.amount(units.parse_length, "0 mm", "10 m")
_SOME = tables.amount(units.parse_length, "0.1 mm", "10 m")
_PART = tables.number(0, 1)
_POINTS = tables.number(0, 100)

_FIGURES: dict[str, Reader] = {
    "name": tables.line,
    "boxes": tables.prose,
    "place": tables.prose,
    "band.humidity": _HUMIDITY_BAND,
    "band.temperature": _TEMPERATURE_BAND,
    "life.humidity": _HUMIDITY_BAND,
    "life.temperature": _TEMPERATURE_BAND,
    "acclimation.hours": _hours,
    "acclimation.reset_after_out": _PAUSE,
    "acclimation.reset_after_unknown": _PAUSE,
    "acclimation.settle": _PAUSE,
    "quality.spike_temperature": _TEMPERATURE_STEP,
    "quality.spike_humidity": _HUMIDITY_STEP,
    "quality.rate_temperature_per_min": _TEMPERATURE_STEP,
    "quality.rate_humidity_per_min": _HUMIDITY_STEP,
    "quality.flat_together": _STRETCH,
    "quality.flat_together_readings": tables.whole(2, 1_000_000),
    "quality.flat_alone": _STRETCH,
    "wall.max_length": _SPAN,
    "wall.max_height": _SPAN,
    "wall.flatness": _GAP,
    "wall.edge_gap": _GAP,
    "wall.extra": tables.amount(_share, "0 %", "100 %"),
    "wall.stagger_least": _GAP,
    "wall.stagger_usual": tables.pair(_GAP),
    "board.core": tables.one_of(*get_args(Core)),
    "board.thickness": tables.amount(units.parse_length, "1 mm", "100 mm"),
    "board.face_width": tables.amount(units.parse_length, "1 cm", "2 m"),
    "board.lengths": tables.some(tables.amount(units.parse_length, "10 cm", "10 m")),
    "board.ends": tables.one_of(*get_args(Ends)),
    "board.open_faces": tables.whole(1, 2),
    "board.diffusivity": tables.rising(tables.number(1e-13, 1e-7), 3),
    "board.came_at": tables.amount(units.parse_percent, "0 %", "100 %"),
    "surface.temperature_factor": _PART,
    "surface.sensitivity": tables.one_of(*get_args(Sensitivity)),
    "surface.decline": _PART,
    "take_off.two_down_least": _GAP,
    "take_off.narrow_share": _fraction,
    "take_off.narrow_least": _GAP,
    "take_off.opening_deducted_over": tables.amount(units.parse_area, "0 m2", "1000 m2"),
    "take_off.kerf": _GAP,
    "take_off.damage": tables.amount(_share, "0 %", "100 %"),
    "take_off.for_repairs": tables.whole(0, 1000),
    "take_off.stud_spacing": _SOME,
    "take_off.bead": _SOME,
    "take_off.bead_apart": _SOME,
    "take_off.cartridge": tables.amount(units.parse_volume, "10 ml", "100 l"),
    "take_off.trim_stick": _SPAN,
    "site.points_apart": _SOME,
    "site.step": _SOME,
    "site.step_over": _SOME,
    "site.plumb": _SOME,
    "site.plumb_over": _SOME,
    "site.level": _SOME,
    "site.above_dry": _POINTS,
    "site.check_holds": _STRETCH,
    "site.moisture_holds": _STRETCH,
    "care.dust_every": _STRETCH,
    "care.wipe_every": _STRETCH,
    "care.look_every": _STRETCH,
    "care.how": tables.prose,
    "care.never": tables.prose,
    "readiness.instrument": tables.one_of(*get_args(InstrumentLevel)),
    "readiness.box_core_within": _TEMPERATURE_STEP,
}
_SOURCED = [key for key in _FIGURES if key != "name"]
_SOURCES = {f"sources.{key}": tables.line for key in _SOURCED}
_READERS = _FIGURES | _SOURCES | {f"sources.{_table_of(key)}": tables.line for key in _SOURCED}
_NOT_BELOW = (
    ("acclimation.reset_after_unknown", "acclimation.reset_after_out"),
    ("wall.stagger_usual", "wall.stagger_least"),
)


def builtin_profiles() -> list[str]:
    """The short names of the profiles that come with the program; `load_profile` takes them."""
    return sorted(entry.name.removesuffix(".toml") for entry in _BUILT_IN.iterdir() if entry.name.endswith(".toml"))


def load_profile(name_or_path: str, *, near: Path | None = None) -> Profile:
    """The built-in profile of that name, short or full, or that of a .toml file, looked for here and then in `near`.

    Raises ProfileError with every fault of the file.
    """
    own = _own(name_or_path)
    if own is not None:
        return _profile(_figures(own, name_or_path))
    path = Path(name_or_path)
    if near is not None and not os.path.exists(path):
        path = near / path
    if path.suffix != ".toml" and not os.path.exists(path):
        mend = f"Give the path of a .toml file or a built-in name. {tables.nearest(name_or_path, builtin_profiles())}"
        raise ProfileError("there is no such profile", where=name_or_path, mend=mend)
    try:
        return _profile(_figures(tables.file_text(path), str(path)))
    except WallclimeError as exc:
        raise ProfileError.of(exc.faults) from exc


def write_profile(path: Path, name_or_path: str) -> None:
    """Write a commented profile to edit: the file of another one, comments and all, named after its own file.

    Raises ProfileError when the other is at fault, when there is such a file, or when it can't be written.
    """
    if path.suffix != ".toml":
        raise ProfileError("a profile's file ends in .toml", where=str(path), mend="Choose such a name")
    load_profile(name_or_path)
    other, name = _own(name_or_path) or tables.file_text(Path(name_or_path)), tables.toml_text({"name": path.stem})
    text, found = re.subn(r"^name\s*=.*\n", lambda _: name, other, count=1, flags=re.MULTILINE)
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(text if found else name + text)
    except FileExistsError:
        raise ProfileError(
            "it is there already", where=str(path), mend="Edit that file, or choose another name"
        ) from None
    except OSError as exc:
        mend = "Check the path and its rights"
        raise ProfileError(f"it can't be written ({exc.strerror})", where=str(path), mend=mend) from exc


def _own(name_or_path: str) -> str | None:
    """The file of the built-in profile of that name, short or full."""
    for short in builtin_profiles():
        text = (_BUILT_IN / f"{short}.toml").read_text(encoding="utf-8")
        if name_or_path in (short, _profile(_figures(text, short)).name):
            return text
    return None


def profile_from_text(text: str, *, where: str) -> Profile:
    """The profile that a job froze as `text`, equal to the one it was.

    A key that is younger than the text has its built-in value. Raises ProfileError.
    """
    try:
        return _profile(_figures(text, where), text)
    except WallclimeError as exc:
        raise ProfileError.of(exc.faults) from exc


@cache
def _built_in() -> dict[str, Figure]:
    return _figures((_BUILT_IN / f"{_DEFAULT}.toml").read_text(encoding="utf-8"), _DEFAULT, {})


def _figures(text: str, where: str, base: Mapping[str, Figure] | None = None) -> dict[str, Figure]:
    """Every figure and source of a profile, in order: those of `text` over those of `base`, the default profile."""
    given, faults = tables.read(tables.toml_table(text, where), _READERS, where)
    of_tables = {f"sources.{key}": given.get(f"sources.{_table_of(key)}") for key in _SOURCED}
    given = {key: source for key, source in of_tables.items() if source} | given
    base = _built_in() if base is None else base
    whole = {key: figure for key, figure in _over(base, given).items() if "life." not in key}
    life = {key.replace("band.", "life."): figure for key, figure in whole.items() if "band." in key}
    whole = _over(whole | life, given)
    faults += _contradictions(whole, where, faults)
    if faults:
        raise WallclimeError.of(faults)
    return {key: whole[key] for key in [*_FIGURES, *_SOURCES] if key in whole}


def _over(base: Mapping[str, Figure], given: Mapping[str, Figure]) -> dict[str, Figure]:
    """`given` laid over `base`; a figure that is given has the source that is given, or none."""
    return {key: figure for key, figure in base.items() if key.removeprefix("sources.") not in given} | dict(given)


def _contradictions(whole: Mapping[str, Figure], where: str, faults: Sequence[Fault]) -> list[Fault]:
    found = []
    for key, other in _NOT_BELOW:
        if not tables.misread(faults, where, key, other) and _low(whole[key]) < _low(whole[other]):
            what = f"{whole[key].written!r} is below {other}, {whole[other].written!r}"
            mend = "Raise it or lower the other; a key that is left out has its built-in value"
            found.append(Fault(what, f"{where}: {key}", mend))
    return found


def _low(figure: Figure) -> float:
    return figure.value[0] if isinstance(figure.value, tuple) else figure.value


def _profile(figures: Mapping[str, Figure], text: str | None = None) -> Profile:
    if text is None:
        text = tables.toml_text({key: figure.written for key, figure in figures.items()})
    parts: dict[str, dict[str, Any]] = {}
    for key, figure in figures.items():
        table, _, name = key.rpartition(".")
        parts.setdefault(table, {})[name] = figure.value
    acclimation, quality = parts["acclimation"], parts["quality"]
    return Profile(
        **parts[""],
        band=Band(**parts["band"]),
        life=Band(**parts["life"]),
        acclimation=Acclimation(required=acclimation.pop("hours"), **acclimation),
        quality=Quality(
            rate_temperature=quality.pop("rate_temperature_per_min"),
            rate_humidity=quality.pop("rate_humidity_per_min"),
            **quality,
        ),
        wall=Wall(**parts["wall"]),
        board=Board(**parts["board"]),
        surface=Surface(**parts["surface"]),
        take_off=TakeOffFigures(**parts["take_off"]),
        site=Site(**parts["site"]),
        care=Care(**parts["care"]),
        readiness=ReadinessRule(**parts["readiness"]),
        text=text,
        sha256=hashlib.sha256(text.encode()).hexdigest(),
        sources={key.removeprefix("sources."): figure.value for key, figure in figures.items() if key in _SOURCES},
    )
