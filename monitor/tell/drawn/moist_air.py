"""The hours of a record as moist air: temperature across, grams of water up, the band as a shape between them.

An hour is a clock hour of UTC with readings of both quantities that are not stuck; it is where their means are.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from monitor.basis.times import HOUR
from monitor.basis.units import FloatOrArray, System
from monitor.basis.values import Quantity
from monitor.climate.air import AIR_RANGE_C, SEA_LEVEL_PA, humidity_ratio_g_kg
from monitor.rules.assessment import Phase
from monitor.tell import spanwords, words
from monitor.tell.drawn.chart import shown
from monitor.tell.pages.table import Table
from monitor.tell.pages.views import ChannelLine, ReportPage
from monitor.tell.words import Display

Floats = NDArray[np.float64]
PHASES: tuple[Phase, ...] = ("before", "during", "after")
GRAINS = 7.0  # in a pound for each g/kg: 7000 grains are a pound
CELLS = 240  # of the chart, at most: finer ones are made larger until there are no more
STEPS: dict[System, tuple[tuple[float, float], ...]] = {  # of a cell: K or degF, g/kg or gr/lb
    "si": ((0.25, 0.5), (0.5, 1.0), (1.0, 2.0), (2.0, 4.0), (4.0, 8.0)),
    "us": ((0.5, 4.0), (1.0, 8.0), (2.0, 16.0), (4.0, 32.0), (8.0, 64.0)),
}
CURVES = (20.0, 40.0, 60.0, 80.0, 100.0)  # of relative humidity [%]


class Hours(NamedTuple):
    """Clock hours of which both quantities are known; `phase` indexes PHASES. [degC, %RH]"""

    t_c: Floats
    rh_pct: Floats
    phase: NDArray[np.int64]


class Cell(NamedTuple):
    """How many hours of each of PHASES lie in a cell of the chart, by its lower left corner, in the job's units."""

    warm: float
    moist: float
    hours: tuple[int, ...]


class Ring(NamedTuple):
    """A band as a closed line, in the job's units."""

    name: str
    x: Floats
    y: Floats


class AirChart(NamedTuple):
    """The chart: cells of `step` (across, up), bands, curves of equal humidity; x and y from low to high."""

    cells: tuple[Cell, ...]
    step: tuple[float, float]
    phases: tuple[int, ...]
    bands: tuple[Ring, ...]
    curves: tuple[Ring, ...]
    x: tuple[float, float]
    y: tuple[float, float]
    units: tuple[str, str]

    @property
    def titles(self) -> tuple[str, str]:
        """What the axes say."""
        return (
            f"air temperature, {self.units[0]} (measured)",
            f"water in the air, {self.units[1]} of dry air (computed)",
        )


def hours_of(page: ReportPage) -> Hours:
    """The hours of the page's span."""
    mean = {
        quantity: _means([one for one in page.channels if one.quantity is quantity])
        for quantity in (Quantity.AIR_TEMPERATURE, Quantity.AIR_HUMIDITY)
    }
    (at_t, t_c), (at_rh, rh) = mean.values()
    at, of_t, of_rh = np.intersect1d(at_t, at_rh, assume_unique=True, return_indices=True)
    start, finish = page.facts.install_start, page.facts.install_finish
    phase = np.zeros(len(at), np.int64)
    for turn in (start, finish if start is not None else None):
        if turn is not None:
            phase += at * HOUR >= turn
    return Hours(np.clip(t_c[of_t], *AIR_RANGE_C), np.clip(rh[of_rh], 0.0, 100.0), phase)


def _means(channels: Sequence[ChannelLine]) -> tuple[NDArray[np.int64], Floats]:
    """Of each clock hour with readings that are not stuck its number and their mean, in order."""
    hour = np.concatenate([np.empty(0, np.int64), *(one.t[~one.flat] // HOUR for one in channels)])
    value = np.concatenate([np.empty(0), *(one.value[~one.flat] for one in channels)])
    if not len(hour):
        return hour, value
    first = int(hour.min())
    count = np.bincount(hour - first)
    total = np.bincount(hour - first, value)
    heard = np.flatnonzero(count)
    return heard + first, total[heard] / count[heard]


def air_chart_of(page: ReportPage, hours: Hours, display: Display) -> AirChart | None:
    """The chart; None where there are no hours to draw."""
    if not len(hours.t_c):
        return None
    units = display.units
    warm, moist = _warm(hours.t_c, units), _moist(humidity_ratio_g_kg(hours.t_c, hours.rh_pct), units)
    cells, step = _cells(warm, moist, hours.phase, units)
    phases = tuple(sorted(set(hours.phase.tolist())))
    bands = tuple(_band(page, phase, units) for phase in _bands_shown(page, phases))
    x0 = min([*(c.warm for c in cells), *(float(b.x.min()) for b in bands)])
    x1 = max([*(c.warm + step[0] for c in cells), *(float(b.x.max()) for b in bands)])
    top = max([*(c.moist + step[1] for c in cells), *(float(b.y.max()) for b in bands)])
    room = (x1 - x0) * 0.06
    return AirChart(
        cells, step, phases, bands, tuple(_curve(rh, x0 - room, x1 + room, units) for rh in CURVES),
        (x0 - room, x1 + room), (0.0, top * 1.08), _units(units),
    )  # fmt: skip


def _warm(t_c: FloatOrArray, units: System) -> FloatOrArray:
    return shown(Quantity.AIR_TEMPERATURE, t_c, units)


def _moist(g_kg: FloatOrArray, units: System) -> FloatOrArray:
    return g_kg * GRAINS if units == "us" else g_kg


def _units(units: System) -> tuple[str, str]:
    return ("\u00b0F", "gr/lb") if units == "us" else ("\u00b0C", "g/kg")


def _cells(
    warm: Floats, moist: Floats, phase: NDArray[np.int64], units: System
) -> tuple[tuple[Cell, ...], tuple[float, float]]:
    """The finest cells of which there are no more than CELLS."""
    for step in STEPS[units]:
        places = np.stack([np.floor(warm / step[0]), np.floor(moist / step[1])])
        found, where = np.unique(places, axis=1, return_inverse=True)
        if found.shape[1] <= CELLS:
            break
    counts = np.zeros((found.shape[1], len(PHASES)), np.int64)
    np.add.at(counts, (where.ravel(), phase), 1)
    rows = zip(found.T.tolist(), counts.tolist(), strict=True)
    return tuple(Cell(a * step[0], b * step[1], tuple(hours)) for (a, b), hours in rows), step


def _bands_shown(page: ReportPage, phases: Sequence[int]) -> list[Phase]:
    if page.profile.band == page.profile.life:
        return ["before"]
    shown_by: tuple[tuple[Phase, bool], ...] = (("before", min(phases) < 2), ("after", max(phases) == 2))
    return [phase for phase, held in shown_by if held]


def _band(page: ReportPage, phase: Phase, units: System) -> Ring:
    cold, hot = words.limits_of(page.profile, Quantity.AIR_TEMPERATURE, phase)
    dry, damp = words.limits_of(page.profile, Quantity.AIR_HUMIDITY, phase)
    along = np.linspace(cold, hot, 25)
    t_c, rh = np.concatenate([along, along[::-1], along[:1]]), np.repeat([dry, damp, dry], [25, 25, 1])
    name = "band" if page.profile.band == page.profile.life else f"band {words.PHASE[phase]}"
    return Ring(name, _warm(t_c, units), _moist(humidity_ratio_g_kg(t_c, rh), units))


def _curve(rh: float, x0: float, x1: float, units: System) -> Ring:
    first, last = ((x - 32.0) / 1.8 if units == "us" else x for x in (x0, x1))
    t_c = np.clip(np.linspace(first, last, 40), *AIR_RANGE_C)
    return Ring(f"{rh:g} %", _warm(t_c, units), _moist(humidity_ratio_g_kg(t_c, np.full(40, rh)), units))


# --- in words and numbers --------------------------------------------------------------------------


def finding(page: ReportPage, hours: Hours, display: Display) -> str:
    """What the chart shows."""
    inside = {}
    for number, phase in enumerate(PHASES):
        here = hours.phase == number
        if here.any():
            cold, hot = words.limits_of(page.profile, Quantity.AIR_TEMPERATURE, phase)
            dry, damp = words.limits_of(page.profile, Quantity.AIR_HUMIDITY, phase)
            t_c, rh = hours.t_c[here], hours.rh_pct[here]
            hair = words.DIFFERENT
            fits = (t_c >= cold - hair) & (t_c <= hot + hair) & (rh >= dry - hair) & (rh <= damp + hair)
            inside[phase] = (int(fits.sum()), int(here.sum()))
    held = _moist(humidity_ratio_g_kg(hours.t_c, hours.rh_pct), display.units)
    most = f"{held.max():.1f} {_units(display.units)[1]}"
    return spanwords.air_finding(len(hours.t_c), inside, f"{held.min():.1f}", most)


def note(chart: AirChart, display: Display) -> str:
    """How the chart is made."""
    units = ("degF", "gr/lb") if display.units == "us" else ("K", "g/kg")
    across, up = (f"{step:g} {unit}" for step, unit in zip(chart.step, units, strict=True))
    return spanwords.air_note(SEA_LEVEL_PA / 100.0, across, up)


def table(chart: AirChart) -> Table:
    """The hours of each cell, which the marks of the chart stand for."""
    places = [len(f"{step:g}".partition(".")[2]) for step in chart.step]
    rows = [
        (
            f"{cell.warm:.{places[0]}f} to {cell.warm + chart.step[0]:.{places[0]}f}",
            f"{cell.moist:.{places[1]}f} to {cell.moist + chart.step[1]:.{places[1]}f}",
            *(str(cell.hours[phase]) for phase in chart.phases),
        )
        for cell in chart.cells
    ]
    head = (
        f"temperature, {chart.units[0]}",
        f"water in the air, {chart.units[1]}",
        *(f"hours {PHASES[phase]}" for phase in chart.phases),
    )
    return Table("airhours", head, rows, how=("measured", *("computed" for _ in head[1:])))
