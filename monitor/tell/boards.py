"""What is computed of boxes and boards, in sentences: each says that it is an estimate, and its range."""

from __future__ import annotations

from monitor.basis.times import DAY, HOUR
from monitor.basis.units import System, format_length, format_percent, format_temperature_difference
from monitor.climate.wood import Range, moves_with_moisture
from monitor.config.profile import Board
from monitor.rules.consequences import Season
from monitor.rules.cores import Evening, box_height
from monitor.rules.estimates import BoardReading, Bounds
from monitor.rules.frame import Stack
from monitor.rules.movement import Movement, Outlook, Row
from monitor.tell.words import Display, when

INDEX = (
    "Computed for the mean of one plank behind its decor; planks differ by their maker, and a board that came from dry "
    "holds less than one that came from wet: the ranges hold most of that."
)


def about(evening: Evening) -> str:
    """ "about 10 days (7 to 13)", or in hours below two days."""
    unit, of = ("days", DAY) if evening.central >= 2 * DAY else ("h", HOUR)
    fast, central, slow = (max(round(part / of), 1) for part in evening)
    return f"about {central} {unit} ({fast} to {slow})"


def lying(stack: Stack, board: Board, units: System) -> str:
    """How the boxes lie, as an estimate takes them."""
    if stack.spacers:
        return f"in single layers of {format_length(box_height(board), units)} on spacers"
    if stack.height is None:
        return "nobody said how high"
    width = "" if stack.width is None else f", {format_length(stack.width, units)} wide"
    floor = "on a cold floor" if stack.floor_c is not None else "on the floor"
    return f"{format_length(stack.height, units)} high{width}, {floor}"


def evening_out(
    stack: Stack,
    board: Board,
    stacked: Evening | None,
    single: Evening,
    *,
    limit: float,
    apart: float | None,
    hours: int,
    units: System,
) -> list[str]:
    """How long the boxes take to even out as they lie and apart, and what these hours do not do. [K, h]"""
    near = f"until the core is within {format_temperature_difference(limit, units)} of the room's 24 h mean"
    spread = f"in single layers on spacers {about(single)}"
    if apart is not None and apart <= limit:
        lines = [f"The boxes came {format_temperature_difference(apart, units)} from the room: their core is near it."]
    elif stacked is None:
        lines = [
            f"Estimate: {spread} {near}. How long it takes as they are stacked nobody can say: give --stack-height, or "
            "--spacers if they lie apart."
        ]
    elif stack.spacers:
        lines = [f"Estimate: {spread} {near}."]
    else:
        lines = [f"Estimate: as stacked ({lying(stack, board, units)}) {about(stacked)} {near}; {spread}."]
    if apart is None:
        lines.append(
            "No box temperature was told: taken as nine tenths of whatever the difference is. --box-temperature helps."
        )
    if moves_with_moisture(board.core):
        lines.append(
            f"That is warmth. Moisture takes weeks, and wrapped boxes hardly exchange vapour: {hours} h even out the "
            "temperature, not the moisture of the boards."
        )
    return lines


def missing(asked: int | None, came: int | None) -> list[str]:
    """Boxes that came against those the take-off asks for."""
    if asked is None or came is None:
        return []
    if came >= asked:
        return [f"{came} boxes have come; the take-off asks for {asked}."]
    return [f"{came} of the {asked} boxes that the take-off asks for have come: {asked - came} missing."]


# --- rows and gaps ----------------------------------------------------------------------------------------------------


def millimetres(amount: Range[float]) -> str:
    """ "1.9 to 2.5 mm": movements are small, and no tape shows them in sixteenths."""
    low, high = (f"{abs(end):.1f}" for end in sorted(amount, key=abs))
    return f"{low} mm" if low == high else f"{low} to {high} mm"


def row_named(row: Row, units: System) -> str:
    """ "a row of 16 ft", or the pile of widths."""
    length = format_length(row.length, units)
    return f"the rows' widths together, {length}," if row.across else f"a row of {length}"


def humidities(closing: Range[float]) -> str:
    """ "67 to 73 %", "from 95 % on", or that they never close."""
    low, high = closing
    if low > 100:
        return "never, at any humidity"
    return f"{low:.0f} to {high:.0f} %" if high <= 100 else f"{low:.0f} % or more"


def outlook_lines(outlook: Outlook, units: System) -> list[str]:
    """What the wall's band may do to a row, worst case first, and what to do while it can be done."""
    row = outlook.row
    gap = format_length(min(row.gaps), units, denominator=32)
    head = (
        f"Estimate: {row_named(row, units)} grows {millimetres(outlook.growth)} should boards in balance with "
        f"{format_percent(outlook.from_rh, places=0)} settle at the damp edge of the band, and shrinks "
        f"{millimetres(outlook.shrinkage)} at the dry edge."
    )
    pinned, free = outlook.fits("pinned"), outlook.fits("free")
    if pinned:
        verdict = f"A gap of {gap} at each end has room for it even where something pins the row at one end."
    elif free:
        verdict = (
            f"A gap of {gap} at each end has room for it only while the row is free to slide; pinned at one end, not."
        )
    else:
        verdict = f"A gap of {gap} at each end has no room for it, not even for a row that is free to slide."
    closing = (
        f"Lasting humidity at which the gap closes: pinned {humidities(outlook.closing['pinned'])}, "
        f"free {humidities(outlook.closing['free'])}."
    )
    return [head, verdict, *([] if pinned else [_instead(outlook, units)]), closing]


def _instead(outlook: Outlook, units: System) -> str:
    """A wider gap, a transition profile, or another humidity to install at."""
    wider = format_length(outlook.gap, units, denominator=32)
    ways = [f"a gap of {wider} at each end", f"a transition profile every {format_length(outlook.length, units)}"]
    if outlook.least_rh is not None:
        ways.append(f"boards in balance with {outlook.least_rh:.0f} % or more when they go up")
    return f"What would do: {'; or '.join(ways)}."


def movement_row(movement: Movement, units: System) -> tuple[str, ...]:
    """A movement as a row of a table: row, when, how far, pinned, free, trim and joints."""
    growth = movement.growth
    way = "grows" if growth.low >= 0 else "shrinks" if growth.high <= 0 else "moves"
    how = millimetres(growth) if way != "moves" else f"-{-growth.low:.1f} to +{growth.high:.1f} mm"
    dries = growth.low < 0
    return (
        row_named(movement.row, units).rstrip(","),
        movement.when,
        f"{way} {how}",
        movement.fit("pinned"),
        movement.fit("free"),
        f"{movement.to_cover:.1f} mm" if dries else "-",
        millimetres(movement.opening) if dries and movement.row.joints else "-",
    )


# --- boards -----------------------------------------------------------------------------------------------------------


def moisture(bounds: Bounds) -> str:
    """ "8.4 % (7.4 to 9.5)" of dry mass."""
    return f"{bounds.central:.1f} % ({bounds.low:.1f} to {bounds.high:.1f})"


def board_line(board: BoardReading, display: Display) -> str:
    """The planks now, in a sentence."""
    came = "measured" if board.measured else "taken from the profile, nobody measured it"
    gained = f"{board.gained.central:+.1f} % ({board.gained.low:+.1f} to {board.gained.high:+.1f})"
    return (
        f"Board moisture, estimated: {moisture(board.now)} of dry mass, {gained} since the installation "
        f"{when(board.since, display)} ({came}); the sensors leave {board.sensor:.1f} % open."
    )


def season_line(season: Season, display: Display) -> str:
    """The season ahead, by the record's own year."""
    boards = ""
    if season.low is not None and season.high is not None:
        boards = f"; the boards were then at {season.low:.1f} to {season.high:.1f} %"
    return (
        f"The season ahead, as this room had it a year ago: day means of {season.rh_low:.0f} to {season.rh_high:.0f} "
        f"%RH from {when(season.start, display)} on for 90 days{boards}."
    )
