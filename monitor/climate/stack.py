"""What lags behind the room on a job: boxes of boards, in heat, and single planks, in moisture.

Each preset comes slow, central and fast, for published figures differ. Cardboard, film and air gaps are left out: they
only make it slower. Figures marked *from memory* were recalled, not read.
"""

from __future__ import annotations

from typing import Literal, NamedTuple

from monitor.basis.units import ZERO_CELSIUS_IN_KELVIN
from monitor.climate.lag import Modes, Speed, bar, modes
from monitor.climate.ranges import within

Flow = Literal["horizontal", "up", "down"]
Place = Literal["core", "mean"]


class Board(NamedTuple):
    """What a board is to heat: conductivity [W/(m K)], density [kg/m3], heat capacity [J/(kg K)]."""

    conductivity: float
    density: float
    heat: float

    @property
    def diffusivity(self) -> float:
        """Conductivity / (density x heat capacity). [m2/s]"""
        return self.conductivity / (self.density * self.heat)


# Across the board. In its plane a panel conducts better (Olek, Weres and Guzenda); left out: slower, the safe side.
BOARDS: dict[str, Board] = {
    "slow": Board(0.12, 880.0, 1340.0),  # high-density hardboard, service grade: ASHRAE Fundamentals, material table
    "central": Board(0.15, 840.0, 1520.0),  # half way
    "fast": Board(0.18, 800.0, 1700.0),  # fibreboard including MDF: EN 12524:2000 = ISO 10456 table 3
}
STILL_AIR_W_M2K = 7.69  # 1 / 0.13 m2 K/W: ISO 6946, heat flow horizontal [W/(m2 K)]
FLOOR_CONTACT_W_M2K = 25.0  # 2.5 mm of cardboard on a hard floor: from memory [W/(m2 K)]
MOISTURE_TRANSFER_M_S = 5e-7  # still air to board, per difference of moisture content: from memory [m/s]

_STEFAN_BOLTZMANN = 5.670374419e-8  # CODATA 2018, exact since 2019 [W/(m2 K4)]
_CONVECTION = {"horizontal": 2.5, "up": 5.0, "down": 0.7}  # ISO 6946 Annex C, from memory [W/(m2 K)]


def surface_coefficient_w_m2k(flow: Flow = "horizontal", mean_c: float = 20.0, emissivity: float = 0.9) -> float:
    """Heat that a surface in a room exchanges by still air and radiation, per kelvin.

    Parameters
    ----------
    flow : "horizontal", "up" or "down"
        Which way the heat goes.
    mean_c : float
        Mean temperature of the surface and what it faces, -40 to 85. [degC]
    emissivity : float
        0 (mirror) to 1. [1]

    Returns
    -------
    float
        [W/(m2 K)]

    Raises
    ------
    ValueError
        If a value lies outside its range or there is no such flow.

    Notes
    -----
    ISO 6946:2017 Annex C: hc + emissivity x 4 sigma T^3.
    """
    if flow not in _CONVECTION:
        raise ValueError(f"there is no flow {flow!r}: use 'horizontal', 'up' or 'down'")
    kelvin = float(within("mean_c", mean_c, -40.0, 85.0)) + ZERO_CELSIUS_IN_KELVIN
    return _CONVECTION[flow] + float(within("emissivity", emissivity, 0.0, 1.0)) * 4.0 * _STEFAN_BOLTZMANN * kelvin**3


def stack_modes(
    height_m: float,
    width_m: float | None = None,
    *,
    on_floor: bool = False,
    speed: Speed = "central",
    surface_w_m2k: float = STILL_AIR_W_M2K,
    place: Place = "core",
) -> Modes:
    """How a stack of boxes follows the room's temperature.

    Parameters
    ----------
    height_m : float
        Of the stack; with spacers between the boxes, of one box. 0.01 to 5. [m]
    width_m : float or None
        Across the boards, both sides in the air, 0.01 to 5; None leaves the sides out: slower. [m]
    on_floor : bool
        The bottom exchanges no heat; else it stands on spacers with air below. For a cold floor see `cold_floor_modes`.
    speed : "slow", "central" or "fast"
        Which of the published boards.
    surface_w_m2k : float
        Surface coefficient, 0.1 to 100. [W/(m2 K)]
    place : "core" or "mean"
        The place that is last, or the mean of the stack.

    Returns
    -------
    Modes
        For `lag.follow`, in degC.

    Raises
    ------
    ValueError
        If a value lies outside its range or there is no such speed.

    Notes
    -----
    Slab, or bar, of solid board; the ends are left out: slower.
    """
    height = float(within("height_m", height_m, 0.01, 5.0))
    upright = _slab_of_board(height if on_floor else height / 2.0, speed, surface_w_m2k, place)
    if width_m is None:
        return upright
    return bar(upright, _slab_of_board(float(within("width_m", width_m, 0.01, 5.0)) / 2.0, speed, surface_w_m2k, place))


def _slab_of_board(depth_m: float, speed: Speed, surface_w_m2k: float, place: Place) -> Modes:
    board = _board(speed)
    biot = float(within("surface_w_m2k", surface_w_m2k, 0.1, 100.0)) * depth_m / board.conductivity
    return modes(depth_m, board.diffusivity, biot, at=_place(place, 0.0))


def _board(speed: Speed) -> Board:
    if speed not in BOARDS:
        raise ValueError(f"there is no speed {speed!r}: use 'slow', 'central' or 'fast'")
    return BOARDS[speed]


def _place(place: Place, core: float) -> float | Literal["mean"]:
    if place not in ("core", "mean"):
        raise ValueError(f"there is no place {place!r}: use 'core' or 'mean'")
    return "mean" if place == "mean" else core


def cold_floor_modes(
    height_m: float,
    *,
    speed: Speed = "central",
    surface_w_m2k: float = STILL_AIR_W_M2K,
    floor_w_m2k: float = FLOOR_CONTACT_W_M2K,
    place: Place = "core",
) -> tuple[Modes, Modes]:
    """How a wide stack of boxes follows the room above it and the floor that it lies on.

    Parameters
    ----------
    height_m : float
        Of the stack, 0.01 to 5. [m]
    speed : "slow", "central" or "fast"
        Which of the published boards.
    surface_w_m2k : float
        Surface coefficient of the top, 0.1 to 100. [W/(m2 K)]
    floor_w_m2k : float
        Of the contact with the floor, 0.1 to 1000. [W/(m2 K)]
    place : "core" or "mean"
        Half way up, or the mean of the stack.

    Returns
    -------
    tuple of Modes
        For the room's temperature and for the floor's: `lag.follow` both and add the two. [degC]

    Raises
    ------
    ValueError
        If a value lies outside its range or there is no such speed.

    Notes
    -----
    Slab with different surfaces, Carslaw and Jaeger (1959) s. 3.9.
    """
    board, height = _board(speed), float(within("height_m", height_m, 0.01, 5.0))
    top = float(within("surface_w_m2k", surface_w_m2k, 0.1, 100.0)) * height / board.conductivity
    bottom = float(within("floor_w_m2k", floor_w_m2k, 0.1, 1000.0)) * height / board.conductivity
    at = _place(place, 0.5)
    room = modes(height, board.diffusivity, top, at=at, biot_behind=bottom)
    return room, modes(height, board.diffusivity, top, at=at, biot_behind=bottom, drive="behind")


def plank_moisture_modes(thickness_m: float, diffusivity_m2_s: float, *, open_faces: int = 1) -> Modes:
    """How the mean moisture of one plank in air follows the moisture that it is heading for.

    Parameters
    ----------
    thickness_m : float
        0.001 to 0.1. [m]
    diffusivity_m2_s : float
        Of moisture across the board, 1e-14 to 1e-2. Published figures of one core lie eight times apart. [m2/s]
    open_faces : int
        Faces that take up vapour: 1, the back alone under a sealed decor, or 2.

    Returns
    -------
    Modes
        For `lag.follow` over `wood.equilibrium_pct` of the readings. [% of dry mass]

    Raises
    ------
    ValueError
        If a value lies outside its range.

    Notes
    -----
    Crank (1975) s. 4.3. Edges are left out, and so is the box: wrapped boards hardly exchange vapour in 48 h.
    """
    if open_faces not in (1, 2):
        raise ValueError(f"open_faces {open_faces} is not 1 or 2")
    depth = float(within("thickness_m", thickness_m, 0.001, 0.1)) / open_faces
    return modes(depth, diffusivity_m2_s, MOISTURE_TRANSFER_M_S * depth / diffusivity_m2_s)
