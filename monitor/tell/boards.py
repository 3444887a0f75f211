"""What is computed of boxes and boards, in sentences: each says that it is an estimate, and its range."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

from monitor.basis.times import DAY, HOUR, rfc3339
from monitor.basis.units import INCH, System, format_length, format_percent, format_temperature_difference
from monitor.basis.values import Quantity
from monitor.climate.wood import (
    RH_RANGE_PCT,
    TEMPERATURE_RANGE_C,
    Range,
    hysteresis_band_pct,
    moves_with_moisture,
    solid_wood_emc_pct,
)
from monitor.climate.wood import Row as PinnedOrFree
from monitor.config.profile import Board, Profile
from monitor.rules.assessment import Excursion, Lot, Now, Verdict
from monitor.rules.board.consequences import Effect, Season
from monitor.rules.board.cores import Evening, box_height, core_verdict, put_on_spacers
from monitor.rules.board.estimates import BoardReading, Bounds, CoreReading
from monitor.rules.board.movement import Movement, Outlook, Row, grown_mm, worst
from monitor.rules.frame import Stack
from monitor.tell.words import Display, dose, evidence, lot_named, side, visible, when

SILENT = 30 * DAY  # of a room that was not heard for longer nothing is said as of now; ours
INDEX = (
    "Computed for the mean of one plank behind its decor; planks differ by their maker, and a board that came from dry "
    "holds less than one that came from wet: the ranges hold most of that."
)

SLOWER = "That is at least: cardboard, film and air gaps are left out, and make it slower."


def about(evening: Evening) -> str:
    """ "about 10 days (7 to 13)", or in hours below two days; the range rounded outwards where it would vanish."""
    unit, of = ("days", DAY) if evening.central >= 2 * DAY else ("h", HOUR)
    fast, central, slow = (max(round(part / of), 1) for part in evening)
    if fast == slow and evening.slow > of:
        fast, slow = evening.fast // of, -(-evening.slow // of)
    return f"about {central} {unit} ({fast} to {slow})" if fast < slow else f"about {central} {unit}"


def lying(stack: Stack, board: Board, units: System) -> str:
    """How the boxes lie, as an estimate takes them."""
    if stack.spacers:
        return f"in single layers of {_size(box_height(board), units)} on spacers"
    if stack.height is None:
        return "nobody said how high"
    width = "" if stack.width is None else f", {_size(stack.width, units)} wide"
    floor = "on a cold floor" if stack.floor_c is not None else "on the floor"
    return f"{_size(stack.height, units)} high{width}, {floor}"


def _size(length_m: float, units: System) -> str:
    """Of a stack: nobody measures it to a tenth of a millimetre."""
    return format_length(length_m, units).replace(".0 mm", " mm")


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
    stays: float | None = None,
    said: Sequence[str] = (),
    past: bool = False,
) -> list[str]:
    """How long the boxes take to even out as they lie and apart, and what these hours do not do. [K, h]

    `stays`: what their core stays at on a cold floor that keeps it from the room [degC]; `said`: what they should not
    be, see `frame.said_of`; `past`: they came so long ago that the room of then is not to be heard any more.
    """
    lines = [_evened_out(stack, board, stacked, single, limit=limit, apart=apart, units=units, stays=stays)]
    if apart is None and stays is None and stack.floor_c is not None and not stack.spacers:
        lines.append("On a cold floor the core stays between floor and room, and may never come near it.")
    if apart is None:
        heard = "The room was not heard then" if past else "The room is not heard yet"
        untold = "No box temperature was told (--box-temperature)" if stack.box_c is None else heard
        lines.append(f"{untold}, so how far they have to go is not known.")
    if moves_with_moisture(board.core):
        closed = "and wrapped boxes hardly exchange vapour"
        vapour = "but open planks already take up moisture" if {"opened", "unwrapped"} & set(said) else closed
        lines.append(
            f"That is warmth. Moisture takes weeks, {vapour}: {hours} h even out the temperature, not the moisture of "
            "the boards."
        )
    return lines


def _evened_out(
    stack: Stack,
    board: Board,
    stacked: Evening | None,
    single: Evening,
    *,
    limit: float,
    apart: float | None,
    units: System,
    stays: float | None,
) -> str:
    within = f"within {format_temperature_difference(limit, units)} of the room's 24 h mean"
    near = "until nine tenths of the difference are evened out" if apart is None else f"until the core is {within}"
    how = f"as stacked ({lying(stack, board, units)})"
    spread = f"in single layers on spacers {about(single) if single.slow else 'at once'}"
    if stays is not None:
        never = f"Estimate: {how} the core never comes {within}; {put_on_spacers(stays, units)}"
        return f"{never}. {spread[0].upper()}{spread[1:]} {near}. {SLOWER}" if single.slow else f"{never}."
    if apart is not None and apart <= limit:
        came = f"The boxes came {format_temperature_difference(apart, units)} from the room"
        if stack.floor_c is None or stack.spacers or (stacked is not None and not stacked.slow):
            return f"{came}: their core is near it."
        if stacked is None:
            return f"{came}, but lie on a cold floor: give --stack-height, or --spacers if they lie apart."
    if stacked is None:
        return (
            f"Estimate: {spread} {near}. {SLOWER} How long it takes as they are stacked nobody can say: give "
            "--stack-height, or --spacers if they lie apart."
        )
    if stack.spacers:
        return f"Estimate: {spread} {near}. {SLOWER}"
    return f"Estimate: {how} {about(stacked)} {near}; {spread}. {SLOWER}"


def core_said(core: CoreReading | None, limit: float, display: Display) -> tuple[Verdict, str]:
    """`core_verdict` with its time in the job's zone."""
    verdict, said = core_verdict(core, limit, display.units)
    return verdict, evidence(said, display)


def boxes_status(core: CoreReading | None, limit: float, display: Display) -> str:
    """The core in a line where it is near the room, or where sensor and estimate disagree; else it is not met."""
    if core is None:
        return ""
    verdict, told = core_said(core, limit, display)
    return f"core {told}" if verdict == "pass" or core.disagree else ""


def lots_status(lots: Sequence[Lot], limit: float, display: Display) -> str:
    """`boxes_status`; of several lots the worst by its name, if anything is known of any."""
    if len(lots) < 2:
        return "".join(boxes_status(lot.core, limit, display) for lot in lots)
    if all(lot.core is None for lot in lots):
        return ""
    found = [(core_said(lot.core, limit, display), lot.name) for lot in lots]
    (verdict, told), name = min(found, key=lambda one: ("fail", "unknown", "pass").index(one[0][0]))
    return f"{lot_named(name)}{'' if verdict == 'pass' else ', the worst'}: core {told}"


def missing(asked: int | None, came: int | None) -> list[str]:
    """Boxes that came against those the take-off asks for."""
    if asked is None or came is None:
        return []
    if came >= asked:
        have = "box has" if came == 1 else "boxes have"
        return [f"{came} {have} come; the take-off asks for {asked}."]
    asked_for = "1 box" if asked == 1 else f"{asked} boxes"
    have = "has" if came == 1 else "have"
    return [f"{came} of the {asked_for} that the take-off asks for {have} come: {asked - came} missing."]


# --- rows and gaps ----------------------------------------------------------------------------------------------------


def millimetres(amount: Range[float]) -> str:
    """ "1.9 to 2.5 mm": movements are small, and no tape shows them in sixteenths."""
    low, high = (f"{abs(end):.1f}" for end in sorted(amount, key=abs))
    return f"{low} mm" if low == high else f"{low} to {high} mm"


def row_named(row: Row, units: System) -> str:
    """ "a row of 16 ft", or the pile of widths."""
    length = format_length(row.length, units)
    return f"the width of all rows, {length}," if row.across else f"a row of {length}"


def gap_named(gap_m: float, units: System) -> str:
    """ "3/16 in (4.8 mm)": for the tape, and to be compared with movements."""
    if units == "si":
        return format_length(gap_m, units)
    return f"{format_length(gap_m, units, denominator=32)} ({1000.0 * gap_m:.1f} mm)"


def humidities(closing: Range[float]) -> str:
    """ "at 67 to 73 %", "at 95 % at the earliest", or never."""
    low, high = closing
    if low > 100:
        return "never"
    return f"at {low:.0f} to {high:.0f} %" if high <= 100 else f"at {low:.0f} % at the earliest"


def closing_line(row: Row, closing: Mapping[PinnedOrFree, Range[float]], units: System) -> str:
    """The humidity at which a row's gaps close if it lasts."""
    at = ", ".join(f"{humidities(closes)} ({kind})" for kind, closes in _worse_first(closing))
    return f"Estimate: humidity that lasts for weeks closes the gaps of {row_named(row, units)} {at}."


def outlook_lines(outlook: Outlook, units: System) -> list[str]:
    """What the wall's band may do to a row, worst case first, and what to do while it can be done."""
    row, pinned = outlook.row, outlook.fits("pinned")
    head = (
        f"Estimate: {row_named(row, units)} {grows(outlook.growth)} should boards in balance with "
        f"{format_percent(outlook.from_rh, places=0)} settle at the damp edge of the band, and shrinks "
        f"{millimetres(outlook.shrinkage)} at the dry edge."
    )
    closing = ", ".join(f"{humidities(closes)} ({kind})" for kind, closes in _worse_first(outlook.closing))
    lines = [
        head,
        f"{_has_room(row, units, pinned=pinned, free=outlook.fits('free'))}; humidity that lasts for weeks "
        f"closes it {closing}.",
    ]
    return lines if pinned else [*lines, _instead(outlook, units)]


def _worse_first(closing: Mapping[PinnedOrFree, Range[float]]) -> list[tuple[PinnedOrFree, Range[float]]]:
    return [("pinned", closing["pinned"]), ("free", closing["free"])]


def _has_room(row: Row, units: System, *, pinned: bool, free: bool) -> str:
    gap = f"A gap of {gap_named(min(row.gaps), units)} at each end"
    if pinned:
        return f"{gap} has room for it even where something pins the row at one end"
    if free:
        return f"{gap} has room for it only while the row is free to slide; pinned at one end, not"
    return f"{gap} has no room for it, not even for a row that is free to slide"


def _instead(outlook: Outlook, units: System) -> str:
    """A wider gap, a transition profile, or another humidity to install at; rounded to what is sure to do."""
    tick, mark = (INCH / 32, INCH) if units == "us" else (0.0001, 0.001)
    ways = [
        f"a gap of {gap_named(math.ceil(outlook.gap / tick - 1e-9) * tick, units)} at each end",
        f"a transition profile every {format_length(math.floor(outlook.length / mark + 1e-9) * mark, units)}",
    ]
    if outlook.least_rh is not None:
        ways.append(f"boards in balance with {outlook.least_rh:.0f} % or more when they go up")
    return f"What would do: {'; or '.join(ways)}."


def warmth_lines(cold: Movement, warm: Movement, units: System) -> list[str]:
    """The same of a core that warmth moves, not moisture."""
    return [
        f"Estimate: {row_named(warm.row, units)} of PVC or mineral grows {millimetres(warm.growth)} from the middle of "
        f"the band to its warm edge, and shrinks {millimetres(cold.growth)} to its cold edge; moisture does not move "
        "it. The range is from mineral to rigid PVC: ask the maker which it is.",
        f"{_has_room(warm.row, units, pinned=warm.fit('pinned') == 'fits', free=warm.fit('free') == 'fits')}.",
    ]


def starts_from(room: float | None, came_at: float, measured: Bounds | None = None) -> str:
    """What boards hold when they go up: in balance with the room, or as they came, in balance with `came_at`. [%]"""
    if measured is not None:
        heard = (
            "Too little is known of the room's last 24 h."
            if room is None
            else f"The room had {room:.0f} % over the last 24 h (measured)."
        )
        low, high = measured.low, measured.high
        came = f"{measured.central:.1f} %" if low == high else moisture(measured)
        return f"{heard} Boards came with {came} of dry mass (measured), in balance with about {came_at:.0f} %."
    if room is None:
        return f"Too little is known of the room's last 24 h: boards are taken to be in balance with {came_at:.0f} %."
    return (
        f"The room had {room:.0f} % over the last 24 h (measured). Boards straight out of closed boxes may still be as "
        f"they came, in balance with about {came_at:.0f} %."
    )


def pinned_line(pinned: str) -> str:
    """What was said to pin a row; or that nobody said so."""
    if pinned:
        return f'Recorded as pinning a row: {visible(pinned)}. The gap at its other end has to take all: read "pinned".'
    return (
        "Nobody recorded what pins a row. A nail, a bead of glue, a heavy shelf or a pipe does it unseen: where there "
        'is one, read "pinned", the worse; else "free".'
    )


def grows(growth: Range[float]) -> str:
    """ "grows 1.9 to 2.5 mm", "shrinks", or between the two."""
    if growth.low < 0 < growth.high:
        return f"moves -{-growth.low:.1f} to +{growth.high:.1f} mm"
    return f"{'grows' if growth.low >= 0 else 'shrinks'} {millimetres(growth)}"


def movement_row(movement: Movement, last: str = "") -> tuple[str, ...]:
    """A movement as a row of a table: when (`last` instead of now), how far, pinned, free, trim and joints."""
    dries = movement.growth.low < 0
    long_ago = last if movement.when == "now" else ""
    return (
        long_ago or movement.when,
        grows(movement.growth),
        "not known now" if long_ago else movement.fit("pinned"),
        "not known now" if long_ago else movement.fit("free"),
        f"{movement.to_cover:.1f} mm" if dries else "-",
        millimetres(movement.opening) if dries and movement.row.joints else "-",
    )


# --- boards -----------------------------------------------------------------------------------------------------------


def moisture(bounds: Bounds) -> str:
    """ "8.4 % (7.4 to 9.5)" of dry mass."""
    return f"{bounds.central:.1f} % ({bounds.low:.1f} to {bounds.high:.1f})"


def gained(bounds: Bounds, digits: int = 1) -> str:
    """ "-1.2 points (-1.9 to -0.6)": percentage points of dry mass, nothing without a sign."""
    central, low, high = (_signed(part, digits) for part in (bounds.central, bounds.low, bounds.high))
    return f"{central} points ({low} to {high})"


def _signed(value: float, digits: int) -> str:
    text = f"{value:+z.{digits}f}"
    return text if float(text) else text.removeprefix("+")


def last_said(now: Now, as_of: int, display: Display) -> str:
    """ "as of the last reading, 2026-01-08" in a room that has long been silent, else "": nobody knows it now. [ms]"""
    if now.last_heard is None or as_of - now.last_heard <= SILENT:
        return ""
    return f"as of the last reading, {when(now.last_heard, display)[:10]}"


def _estimated(last: str) -> str:
    return f"estimated {last}" if last else "estimated"


def board_line(board: BoardReading, display: Display, last: str = "") -> str:
    """The planks now, or as `last_said`, in a sentence."""
    came = "measured" if board.measured else "taken from the profile, nobody measured it"
    return (
        f"Board moisture, {_estimated(last)}: {moisture(board.now)} of dry mass, {gained(board.gained)} since the "
        f"installation {when(board.since, display)} (what they came with was {came}); the sensors leave "
        f"{board.sensor:.1f} % open."
    )


def moisture_rows(board: BoardReading, came_at: float, last: str = "") -> list[tuple[str, str, str, str]]:
    """What boards hold: (when, moisture, against the installation, how it is known)."""
    known = "measured on delivery" if board.measured else f"the profile's figure: in balance with {came_at:.0f} %"
    rows = [
        ("at the installation", moisture(board.came), "", known),
        (last or "now", moisture(board.now), gained(board.gained), "estimated"),
    ]
    for name, extreme in (("driest", board.driest), ("dampest", board.dampest)):
        if extreme is not None:
            rows.append((f"{name}, {rfc3339(extreme.day)[:10]}", "", gained(extreme.gained), "estimated"))
    return rows


def index_row(t_c: float, rh_pct: float) -> tuple[str, str, str, str]:
    """What solid wood would settle at in this air: an index of the climate, beside the planks' own moisture."""
    held = float(np.clip(t_c, *TEMPERATURE_RANGE_C))
    settles = solid_wood_emc_pct(held, float(np.clip(rh_pct, *RH_RANGE_PCT)))
    band = hysteresis_band_pct(settles)
    return (
        "solid wood in the air of now",
        f"{settles:.1f} % ({band.low:.1f} from dry to {band.high:.1f} from wet)",
        "",
        "computed, an index of the climate: not the planks",
    )


def effect_rows(
    effects: Sequence[Effect], excursions: Sequence[Excursion], row: Row, profile: Profile, display: Display
) -> list[tuple[str, ...]]:
    """Excursions by what they did: number, what, from, board moisture, the row, and the air's dose beside it."""
    return [
        (
            str(effect.number + 1),
            side(excursions[effect.number], profile, display),
            when(excursions[effect.number].start, display),
            gained(effect.moved, 2),
            grows(grown_mm(profile.board, row, effect.moved)),
            dose(Quantity.AIR_HUMIDITY, excursions[effect.number].dose, display),
        )
        for effect in effects
    ]


def effects_finding(effects: Sequence[Effect], excursions: Sequence[Excursion]) -> str:
    """The one that did most, and where the air's dose alone would have put it."""
    if not effects:
        return "No excursion moved the boards by as much as can be told."
    first = effects[0]
    by_dose = sorted(effects, key=lambda one: -excursions[one.number].dose)
    place = by_dose.index(first) + 1
    beside = "by the air's dose too" if place == 1 else f"by the air's dose it is number {place} of {len(by_dose)}"
    moved = gained(first.moved, 2)
    return f"Estimate: excursion {first.number + 1} moved the boards most, by {moved} of dry mass; {beside}."


def season_line(season: Season) -> str:
    """The season ahead, by the record's own year."""
    boards = ""
    if season.low is not None and season.high is not None:
        boards = f"; the boards were then estimated at {season.low:.1f} to {season.high:.1f} %"
    return (
        f"The season ahead, as this room was measured a year ago: day means of {season.rh_low:.0f} to "
        f"{season.rh_high:.0f} %RH in the 90 days from {rfc3339(season.start)[:10]} on{boards}."
    )


def board_status(board: BoardReading | None, moved: Sequence[Movement], units: System, last: str = "") -> str:
    """The planks on the wall in a line: their moisture, and the row nearest to closing its gaps; now, or as `last`."""
    found = worst(moved)
    parts = [] if board is None else [f"{moisture(board.now)} of dry mass"]
    if found is not None:
        fits = "not known now" if last else f"pinned {found.fit('pinned')}, free {found.fit('free')}"
        parts.append(f"{row_named(found.row, units).rstrip(',')} {grows(found.growth)}: {fits}")
    return f"{_estimated(last)}: {'; '.join(parts)}" if parts else ""
