"""wallclime log check, moisture: what the wall is like before planks go up."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from cli.common import At, Job, Who, desk, say, time_of, who_of

if TYPE_CHECKING:
    from monitor.intake.points import Point

Texts = list[str] | None
YesNo = bool | None


def _one(choices: str, text: str) -> Any:
    return typer.Option(metavar=choices, help=text)


def _either(flags: str, text: str) -> Any:
    return typer.Option(flags, help=text)


def _many(metavar: str, text: str, *flags: str) -> Any:
    return typer.Option(*flags, metavar=metavar, help=f"{text}; repeatable.")


Surface = Annotated[str | None, _one("drywall|plaster|wood|masonry|other", "What the wall is of.")]
Finish = Annotated[str | None, _one("bare|primed|painted|wallpaper|panelling", "What is on it.")]
Secure = Annotated[YesNo, _either("--secure/--loose", "Fixed firmly to the studs.")]
Clean = Annotated[YesNo, _either("--clean/--dirty", "No dust, grease or flaking paint.")]
Dry = Annotated[YesNo, _either("--dry/--damp", "To the hand and the eye.")]
Stains = Annotated[YesNo, _either("--stains/--no-stains", "Marks that water left.")]
Windows = Annotated[str | None, _one("tight|leaking|none", "Those in the wall.")]
Heat = Annotated[Texts, _many("TEXT", 'What is near and how near, "stove 36 in"', "--heat-source")]
NoHeat = Annotated[bool, typer.Option("--no-heat-source", help="None is near the wall.")]
HeatAsCode = Annotated[YesNo, _either("--heat-as-code/--heat-too-near", "As local code and their makers allow.")]
Homes = Annotated[YesNo, _either("--several-homes/--one-home", "How many homes the house has.")]
Stairs = Annotated[YesNo, _either("--stairs/--no-stairs", "Whether the wall is by stairs.")]
Corridor = Annotated[YesNo, _either("--corridor/--no-corridor", "Whether the wall is by a corridor.")]
FlameSpread = Annotated[str | None, _one("CLASS", "Of the planks; asked by stairs, corridors and in several homes.")]
OldPaint = Annotated[str | None, _one("no|yes|unknown|tested", "Old paint or texture that would be sanded.")]
Points = Annotated[Path | None, _one("FILE.csv", "Columns direction, position, deviation and maybe line.")]
PointTexts = Annotated[Texts, _many("POINT", '"along:4 ft,1/16 in" or "along/low:4 ft,-1/16 in"', "--point")]
PositionUnit = Annotated[str, _one("UNIT", "Of positions that are bare numbers.")]
DeviationUnit = Annotated[str, _one("UNIT", "Of deviations and heights that are bare numbers.")]
Straightedge = Annotated[str | None, _one("LENGTH", "Of the one that was laid on; else a laser or a string.")]
Uncertainty = Annotated[
    str | None, _one("LENGTH", "The +/- of what is measured here (expanded uncertainty); 1/64 in by default.")
]
Plumb = Annotated[Texts, _many("TEXT", '"1/8 in over 8 ft", maybe "at 4 ft"; the top towards the room is +')]
Level = Annotated[Texts, _many("FILE.csv|PAIR", 'Of the first row, "8 ft,1/16 in"', "--level")]
Note = Annotated[str | None, _one("TEXT", "What else was seen.")]


def check(
    context: typer.Context,
    job: Job,
    at: At = None,
    surface: Surface = None,
    finish: Finish = None,
    secure: Secure = None,
    clean: Clean = None,
    dry: Dry = None,
    stains: Stains = None,
    windows: Windows = None,
    heat: Heat = None,
    no_heat: NoHeat = False,
    heat_as_code: HeatAsCode = None,
    several_homes: Homes = None,
    stairs: Stairs = None,
    corridor: Corridor = None,
    flame_spread: FlameSpread = None,
    old_paint: OldPaint = None,
    points: Points = None,
    point: PointTexts = None,
    position_unit: PositionUnit = "",
    deviation_unit: DeviationUnit = "",
    straightedge: Straightedge = None,
    uncertainty: Uncertainty = None,
    plumb: Plumb = None,
    level: Level = None,
    note: Note = None,
    who: Who = None,
) -> None:
    """What the wall is like before planks go up. What is left out stays unknown; a later check adds to it.

    Flatness needs lines along, across and over both diagonals; deviations towards the room are positive.
    """
    from monitor.tell.cautions import cautions_text
    from monitor.watch.job.site import site_cautions, site_check, site_told

    bare = {"position": position_unit, "deviation": deviation_unit, "height": deviation_unit}
    facts = {
        "surface": surface, "finish": finish, "secure": secure, "clean": clean, "dry": dry, "stains": stains,
        "windows": windows, "heat_sources": _heat(heat, no_heat), "heat_as_code": heat_as_code,
        "several_homes": several_homes, "stairs": stairs, "corridor": corridor, "flame_spread": flame_spread,
        "old_paint": old_paint, "flatness": _flatness(points, point or (), bare, straightedge),
        "plumb": [_plumb(text) for text in plumb] if plumb else None, "level": _level(level, bare) if level else None,
        "uncertainty_m": None if uncertainty is None else _length(uncertainty, "--uncertainty"), "note": note,
    }  # fmt: skip
    with desk(context) as opened:
        entry = site_check(opened, job, facts, at=time_of(opened, job, at), who=who_of(who))
        *questions, whole = site_told(opened, job)
        cautions = site_cautions(opened, job, questions)
    _tell(entry, questions)
    say(f"{whole.verdict:7}  the site check as a whole")
    say(cautions_text("check", cautions))


def moisture(
    context: typer.Context,
    job: Job,
    meter: Annotated[str, typer.Option(metavar="TEXT", help="Which meter, as it is named on it.")],
    scale: Annotated[str, typer.Option(metavar="TEXT", help="Its scale and setting, such as drywall, or wood 3.")],
    material: Annotated[str, typer.Option(metavar="TEXT", help="What was measured, such as drywall.")],
    point: Annotated[list[str], _many("WHERE=VALUE", '"low left=0.4"')],
    dry_reference: Annotated[
        str | None, typer.Option(metavar="VALUE", help="At a dry place of the same material, with the same meter.")
    ] = None,
    at: At = None,
    note: Note = None,
    who: Who = None,
) -> None:
    """What a moisture meter shows at the wall, beside a dry place of the same material; judged by the difference."""
    from monitor.watch.job.site import moisture_told, wall_moisture

    facts = {
        "meter": meter,
        "scale": scale,
        "material": material,
        "note": note,
        "dry_reference": None if dry_reference is None else _value(dry_reference, "--dry-reference"),
        "points": [_spot(text) for text in point],
    }
    with desk(context) as opened:
        entry = wall_moisture(opened, job, facts, at=time_of(opened, job, at), who=who_of(who))
        told = moisture_told(opened, job)
    _tell(entry, [told])


def _tell(entry: Any, told: Sequence[Any]) -> None:
    """The entry, and each condition as it stands now."""
    say(f"entry {entry.number}: {entry.kind.value}")
    for condition in told:
        say(f"{condition.verdict:7}  {condition.name}: {condition.evidence}")


def _length(text: str, option: str, unit: str = "") -> float:
    from monitor.intake.points import signed_length

    return signed_length(text, where=option, unit=unit)


def _refused(what: str, option: str, mend: str) -> Exception:
    from monitor.basis.errors import QuantityError

    return QuantityError(what, where=option, mend=mend)


def _heat(texts: Texts, none: bool) -> list[dict[str, Any]] | None:
    """ "stove 36 in" as what and how far; an empty list for none."""
    if none and texts:
        raise _refused("a heat source is named as well", "--no-heat-source", "Leave one of the two out")
    if not texts:
        return [] if none else None
    found = []
    for text in texts:
        parts = re.fullmatch(r"\s*(\D*\S)\s+(\d.*)", text)
        if parts is None:
            raise _refused(f"{text!r} does not say what and how near", "--heat-source", 'Write it like "stove 36 in"')
        found.append({"what": parts[1], "distance_m": _length(parts[2], "--heat-source")})
    return found


def _flatness(
    file: Path | None, texts: Sequence[str], bare: dict[str, str], straightedge: str | None
) -> list[dict[str, Any]] | None:
    """The points of a file and of the command line, line by line."""
    from monitor.intake.points import read_points
    from monitor.rules.install.flatness import DIRECTIONS

    points = [] if file is None else read_points(file, DIRECTIONS, bare)
    points += [_point(text, bare) for text in texts]
    edge = None if straightedge is None else _length(straightedge, "--straightedge")
    lines: dict[tuple[str, str], list[list[float]]] = {}
    for point in points:
        lines.setdefault((point.direction, point.line), []).append([point.position, point.deviation])
    return [
        {"direction": direction, "name": name or None, "straightedge_m": edge, "points": measured}
        for (direction, name), measured in lines.items()
    ] or None


def _point(text: str, bare: dict[str, str]) -> Point:
    from monitor.intake.points import Point
    from monitor.rules.install.flatness import DIRECTIONS

    line, _, pair = text.partition(":")
    direction, _, name = line.partition("/")
    if direction.strip().lower() not in DIRECTIONS:
        what, mend = f"{text!r} names no direction", f"Begin with {', '.join(DIRECTIONS)}"
        raise _refused(what, "--point", mend)
    return Point(direction.strip().lower(), name.strip(), *_pair(pair, "--point", bare, "deviation"))


def _pair(text: str, option: str, bare: dict[str, str], measured: str) -> tuple[float, float]:
    position, comma, height = text.partition(",")
    if not comma:
        raise _refused(f"{text!r} is not a pair", option, 'Write position and measure like "4 ft,1/16 in"')
    return _length(position, option, bare["position"]), _length(height, option, bare[measured])


def _plumb(text: str) -> dict[str, Any]:
    """ "1/8 in over 8 ft at 4 ft" as an offset, the height it was measured over, and where."""
    parts = re.fullmatch(r"(.+?)\s+over\s+(.+?)(?:\s+at\s+(.+))?", text.strip())
    if parts is None:
        raise _refused(f"{text!r} is no plumb line", "--plumb", 'Write it like "1/8 in over 8 ft" or with "at 4 ft"')
    offset, over = _length(parts[1], "--plumb"), _length(parts[2], "--plumb")
    return {"offset_m": offset, "over_m": over, "at_m": _length(parts[3], "--plumb") if parts[3] else None}


def _level(texts: Sequence[str], bare: dict[str, str]) -> list[list[float]]:
    """Heights of the first row, from pairs or from a file."""
    from monitor.intake.points import read_heights

    if len(texts) == 1 and texts[0].lower().endswith(".csv"):
        return [list(pair) for pair in read_heights(Path(texts[0]), bare)]
    return [list(_pair(text, "--level", bare, "height")) for text in texts]


def _value(text: str, option: str) -> float:
    """A reading of a moisture meter, in points of its scale."""
    found = re.fullmatch(r"\s*(\d+(?:[.,]\d+)?)\s*%?\s*", text)
    if found is None:
        raise _refused(f"{text!r} is no reading of a meter", option, "Write a number, as the meter shows it")
    return float(found[1].replace(",", "."))


def _spot(text: str) -> dict[str, Any]:
    where, equals, value = text.rpartition("=")
    if not equals:
        raise _refused(f"{text!r} does not say where", "--point", 'Write it like "low left=0.4"')
    return {"where": where.strip(), "value": _value(value, "--point")}
