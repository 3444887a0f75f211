"""The parts of a report about the room's air: the chart over time, the calendar, the chart of moist air."""

from __future__ import annotations

from typing import Any

from monitor.basis.values import AIR, Quantity
from monitor.tell import instruments, spanwords, words
from monitor.tell.drawn import calendar_days, chartwords, drawing, moist_air
from monitor.tell.drawn.calendar_drawing import year_drawing
from monitor.tell.drawn.chart import Chart, Extremes, days, styles
from monitor.tell.drawn.moist_air import AirChart, Hours
from monitor.tell.drawn.moist_drawing import COLOURS, SHAPES, air_drawing
from monitor.tell.pages import cut
from monitor.tell.pages.table import Row, Table
from monitor.tell.pages.views import ReportPage
from monitor.tell.words import Display

# --- over time -------------------------------------------------------------------------------------


def over_time(page: ReportPage, chart: Chart | None, display: Display) -> dict[str, Any]:
    """Humidity, state and temperature over time, and the tables behind them."""
    if chart is None:
        return {"chart": ""}
    events = [(event.letter, words.when(event.at, display), event.text) for event in chart.events]
    return {
        "chart": drawing.chart(chart),
        "findings": [_finding(page, quantity, display) for quantity in reversed(AIR)],
        "legend": _legend(page),
        "found_in": _found_in(chart),
        "drawn": chartwords.drawn(chart.drawn, chart.total),
        "changes": spanwords.clock_changes_drawn(len(chart.changes)),
        "events": Table("events", ("sign", "when", "what"), events),
        "days": _days(page, display),
        "hand_readings": _hand_readings(page, display),
    }


def _finding(page: ReportPage, quantity: Quantity, display: Display) -> str:
    read = cut.extremes(page, quantity)
    return chartwords.finding(cut.assessed(page), page.profile, quantity, read, display, cut.partial(page))


def _found_in(chart: Chart) -> dict[str, bool]:
    """What of the signs that need a key is in the chart at all."""
    return {
        "outside": any(panel.outside for panel in chart.panels),
        "unknown": bool(chart.lanes["unknown"]),
        "stuck": any(line.flat.any() for panel in chart.panels for line in panel.lines),
    }


def _legend(page: ReportPage) -> list[dict[str, Any]]:
    places = {channel.sensor: channel.place for channel in page.channels if channel.quantity in AIR}
    numbers = styles(page)
    return [
        {"sign": drawing.sign(numbers[name]), "name": f"{words.visible(name)} ({words.visible(place)})"}
        for name, place in places.items()
    ]


def _days(page: ReportPage, display: Display) -> Table:
    def cells(quantity: Quantity, found: Extremes) -> Row:
        if quantity not in found:
            return "-", "-", "0"
        low, high, number = found[quantity]
        return words.measure(quantity, low, display), words.measure(quantity, high, display), str(number)

    rows = [
        (words.when(start, display)[:10], *cells(Quantity.AIR_HUMIDITY, row), *cells(Quantity.AIR_TEMPERATURE, row))
        for start, row in days(page.channels, display.zone)
    ]
    head = ("from", "humidity lowest", "highest", "readings", "temperature lowest", "highest", "readings")
    return Table("days", head, rows, how=("", *("measured", "measured", "computed") * 2))


def _hand_readings(page: ReportPage, display: Display) -> Table:
    span = cut.span_of(page)
    rows = [
        (
            words.when(hand.at, display),
            words.QUANTITY[hand.quantity],
            words.measure(hand.quantity, hand.value, display),
            words.visible(hand.instrument) or "-",
            words.visible(hand.who),
            instruments.all_beside(hand.quantity, hand.beside, display),
        )
        for hand in page.hand_readings
        if page.cut is None or span is None or span[0] <= hand.at <= span[1]
    ]
    head = ("read by hand", "quantity", "value", "instrument", "by", "sensors")
    return Table("hand", head, rows, how=("said", "", "measured", "", "", "computed"))


# --- the calendar ----------------------------------------------------------------------------------


def calendar(page: ReportPage, display: Display) -> dict[str, Any] | str:
    """A plank for each day, a drawing for each year, and the tables behind them; "" without any day."""
    found = calendar_days.days_of(page, display)
    if not found:
        return ""
    years = calendar_days.by_year(found)
    return {
        "finding": calendar_days.finding(found),
        "drawings": [year_drawing(year, part, first=k == 0) for k, (year, part) in enumerate(years)],
        "moments": any(day.moment for day in found),
        "tables": calendar_days.tables(found),
    }


# --- moist air -------------------------------------------------------------------------------------


def moist(page: ReportPage, hours: Hours, chart: AirChart | None, display: Display) -> dict[str, Any] | str:
    """The hours of the span as moist air; "" where there are none."""
    if chart is None:
        return ""
    legend = [
        {"sign": drawing.mark(SHAPES[phase], COLOURS[phase]), "name": f"hours {words.PHASE[moist_air.PHASES[phase]]}"}
        for phase in chart.phases
    ]
    return {
        "finding": moist_air.finding(page, hours, display),
        "legend": legend,
        "drawing": air_drawing(chart),
        "note": moist_air.note(chart, display),
        "table": moist_air.table(chart),
    }
