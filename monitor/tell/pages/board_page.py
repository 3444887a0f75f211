"""The parts of a report about boxes, boards, rows and the wall's surface: tables, sentences and the chart over days."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np

from monitor.basis.times import DAY, rfc3339
from monitor.basis.units import format_temperature, format_temperature_difference
from monitor.basis.values import Quantity
from monitor.climate.wood import moves_with_moisture
from monitor.rules.assessment import Lot
from monitor.rules.board.estimates import DISAGREE_K
from monitor.tell import boards, surface, words
from monitor.tell.drawn.board_chart import DaysChart, DaysPanel, known_days
from monitor.tell.drawn.board_drawing import days_drawing
from monitor.tell.pages import cut
from monitor.tell.pages.table import Row, Table
from monitor.tell.pages.views import ReportPage
from monitor.tell.views import BoardView, Lying
from monitor.tell.words import Display

MOST_EFFECTS = 10  # of excursions that did something; the record has all
NONE = Table("none", (), ())
READ = (
    "Pinned: one gap takes all; free: both serve. The trim's figure is the gap and what the row shrinks away from it; "
    "a joint's is for rows that cannot slide, from all joints sharing it to one taking it all."
)
NO_MOISTURE = (
    "A core of PVC or mineral is not moved by moisture, so no board moisture is computed of it; what follows is by "
    "warmth, from one kind of core to the other."
)


def sections(page: ReportPage, chart: DaysChart | None, display: Display) -> dict[str, Any]:
    """What the template asks for of the two sections; each "" where there is nothing to say."""
    board_drawn = chart is not None and any(panel.name == "board" for panel in chart.panels)
    return {
        "boards": "" if page.board is None else _boards(page, page.board, display),
        "skin": _skin(page, display),
        "daily": "" if chart is None else _days(page, chart, display),
        "daily_with_boards": board_drawn,
    }


# --- boxes and boards ------------------------------------------------------------------------------


def _boards(page: ReportPage, view: BoardView, display: Display) -> dict[str, Any] | str:
    delivered = [lot for lot in page.assessment.lots if lot.delivered_at is not None]
    installed = page.facts.install_start is not None
    if not delivered and not installed:
        return ""
    moist = moves_with_moisture(page.profile.board.core)
    return {
        "boxes": _boxes(page, delivered, view.lying, display),
        "said": list(_said(page, view, display)) if moist else [NO_MOISTURE],
        "moisture": _moisture(page, display) if moist else NONE,
        "pinned": boards.pinned_line(view.pinned),
        "rows": [_row(view, number, display, _last(page, display)) for number in range(len(view.rows))],
        "read": READ,
        "effects": _effects(page, view, display) if moist and installed else NONE,
        "season": "" if view.season is None else boards.season_line(view.season),
    }


def _boxes(page: ReportPage, lots: list[Lot], lying: tuple[Lying, ...], display: Display) -> Table:
    rows = [_box(page, lot, how, display) for lot, how in zip(lots, lying, strict=False)]
    head = ("core near the room", "lot", "what is known of it", "how they lie", "nine tenths even out in (estimated)")
    apart = format_temperature_difference(DISAGREE_K, display.units)
    note = f"What a sensor in the boxes measures outranks the estimate; more than {apart} between them is told."
    if page.facts.install_start is not None:
        note += " As of the start of the installation."
    how = ("", "", "", "said", "estimated")
    return Table("boxes", head, rows, note if rows else "No boxes were delivered by the log.", how)


def _box(page: ReportPage, lot: Lot, how: Lying, display: Display) -> Row:
    verdict, evidence = boards.core_said(lot.core, page.profile.readiness.box_core_within, display)
    return (
        verdict.upper(),
        words.visible(lot.name),
        evidence,
        boards.lying(how.stack, page.profile.board, display.units),
        "-" if how.evening is None else boards.about(how.evening),
    )


def _said(page: ReportPage, view: BoardView, display: Display) -> Iterator[str]:
    board = page.assessment.board
    if board is not None:
        yield boards.board_line(board, display, _last(page, display))
    else:
        yield (
            "The planks are not on the wall yet: in closed boxes their moisture hardly changes in days, so it is taken "
            "to be what they came with. What is said of rows is an outlook."
        )
    yield boards.INDEX


def _moisture(page: ReportPage, display: Display) -> Table:
    board, now = page.assessment.board, page.assessment.now.values.values()
    rows = [] if board is None else boards.moisture_rows(board, page.profile.board.came_at, _last(page, display))
    t_c = [said[Quantity.AIR_TEMPERATURE] for said in now if Quantity.AIR_TEMPERATURE in said]
    rh = [said[Quantity.AIR_HUMIDITY] for said in now if Quantity.AIR_HUMIDITY in said]
    if t_c and rh:
        rows.append(boards.index_row(sum(t_c) / len(t_c), sum(rh) / len(rh)))
    return Table("moisture", ("boards", "moisture, % of dry mass", "since the installation", "how it is known"), rows)


def _last(page: ReportPage, display: Display) -> str:
    return boards.last_said(page.assessment.now, page.assessment.as_of, display)


def _row(view: BoardView, number: int, display: Display, last: str) -> dict[str, Any]:
    """One row of planks: its gaps, its movements, and when its gaps close."""
    row = view.rows[number]
    name = boards.row_named(row, display.units).rstrip(",")
    gaps = " and ".join(boards.gap_named(gap, display.units) for gap in row.gaps)
    moved = [boards.movement_row(one, last) for one in view.movements if one.row == row]
    head = ("when", "from the installation (estimated)", "pinned", "free", "trim must cover", "a joint may open")
    return {
        "name": f"{name[0].upper()}{name[1:]}, gaps at its ends {gaps}",
        "table": Table("across" if row.across else "along", head, moved, how=("", *("estimated" for _ in head[1:]))),
        "closing": boards.closing_line(row, view.closing[number], display.units) if view.closing else "",
    }


def _effects(page: ReportPage, view: BoardView, display: Display) -> Table:
    assessment = page.assessment
    shown = {part.number - 1 for part in cut.parts(page, assessment.excursions)}
    found = [one for one in view.effects if one.number in shown]
    rows = boards.effect_rows(found[:MOST_EFFECTS], assessment.excursions, view.rows[0], page.profile, display)
    head = ("no.", "what", "from", "moved the boards (estimated)", "and the row", "beyond the limit")
    left = len(found) - len(rows)
    note = f" {left} more moved them less." if left > 0 else ""
    how = ("", "computed", "computed", "estimated", "estimated", "computed")
    return Table("effects", head, rows, boards.effects_finding(found, assessment.excursions) + note, how)


# --- the wall's surface ----------------------------------------------------------------------------


def _skin(page: ReportPage, display: Display) -> dict[str, Any] | str:
    skin = page.assessment.skin
    if skin is None:
        return ""
    heard = page.board is not None and page.board.surface_heard
    by = surface.known_by(page.profile, heard=heard, outdoors=page.facts.outdoor_place is not None)
    return {
        "finding": surface.skin_finding(skin),
        "table": Table("surface", ("surface", "value", "how it is known"), surface.skin_rows(skin, by, display.units)),
        "index": surface.INDEX,
        "call": surface.CALL,
    }


# --- the chart over days ---------------------------------------------------------------------------


def _days(page: ReportPage, chart: DaysChart, display: Display) -> dict[str, Any]:
    return {
        "drawing": days_drawing(chart),
        "findings": [_finding(panel, chart) for panel in chart.panels],
        "ranged": chart.panels[0].low is not None,
        "limited": any(panel.limit is not None for panel in chart.panels),
        "table": _days_table(page, chart, display),
    }


def _finding(panel: DaysPanel, chart: DaysChart) -> str:
    low, high = int(np.nanargmin(panel.value)), int(np.nanargmax(panel.value))
    days = np.datetime_as_string(chart.t[[low, high]].astype("datetime64[ms]"), unit="D")
    least, most = float(panel.value[low]), float(panel.value[high])
    if panel.name == "board":
        return (
            f"Board moisture, estimated, ran from {least:.1f} % ({days[0]}) to {most:.1f} % ({days[1]}) of dry mass in "
            "the central estimate; the band is what differs from board to board."
        )
    if panel.name == "skin":
        over = int((panel.value > (panel.limit or 0.0)).sum())
        return (
            f"Humidity at the wall's surface, computed, day means: highest {most:.0f} % ({days[1]}); "
            f"{words.counted_things(over, 'day')} above the dashed line of 80 %."
        )
    return f"The mould index, computed, came to {most:.1f} at most ({days[1]}): {surface.mould_words(round(most, 1))}."


def _days_table(page: ReportPage, chart: DaysChart, display: Display) -> Table:
    """A row a day; over more than 62 days a week, over more than three years four weeks."""
    days = known_days(page)
    first, last = int(chart.t[0]) // DAY, int(chart.t[-1]) // DAY
    step = 1 if last - first < 62 else 7 if last - first < 1100 else 28
    rows = []
    for start in range(first, last + 1, step):
        part = days[(days["day"] >= start) & (days["day"] < start + step)]
        cells = tuple(
            _cell(part[name], how, digits)
            for name, how, digits in (
                ("board_low", "last", 1), ("board", "last", 1), ("board_high", "last", 1), ("skin_rh_mean", "mean", 0),
            )
        )  # fmt: skip
        coldest = _value(part["skin_t_low"], "least")
        cold = "-" if coldest is None else format_temperature(coldest, display.units)
        rows.append((rfc3339(start * DAY)[:10], *cells, cold, _cell(part["mould"], "last", 2)))
    head = (
        "from, UTC", "boards lowest, %", "central, %", "highest, %", "surface humidity, mean, %", "surface coldest",
        "mould index",
    )  # fmt: skip
    how = ("", *("estimated",) * 3, *("computed",) * 3)
    return Table("boarddays", head, rows, "Boards and index as they stood at the end of each row.", how)


def _value(column: Any, how: str) -> float | None:
    known = column[~np.isnan(column)].astype(np.float64)
    if not len(known):
        return None
    return float({"last": known[-1], "mean": known.mean(), "least": known.min()}[how])


def _cell(column: Any, how: str, digits: int) -> str:
    value = _value(column, how)
    return "-" if value is None else f"{value:.{digits}f}"
