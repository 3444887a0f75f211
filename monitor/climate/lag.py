"""How a board or a stack of boxes lags behind the room: a sum of first-order lags.

Conduction of heat and diffusion of moisture in a slab are solved by eigenmodes (Carslaw and Jaeger 1959 s. 3.11; Crank
1975 ch. 4): after a step of the room each mode dies out at its own rate, so the answer to any history is a sum of
first-order lags and can go on from where it stood. `modes` gives rates and weights (for boxes and planks see `stack`);
`follow` carries them through readings. Coefficients are taken as constant; that of moisture changes with the moisture,
so use the slow and the fast preset as bounds.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Literal, NamedTuple, overload

import numpy as np
from numpy.typing import NDArray

from monitor.basis.times import DAY
from monitor.climate.ranges import within

Floats = NDArray[np.float64]
Times = NDArray[np.int64]
Speed = Literal["slow", "central", "fast"]

_BIOT_RANGE = (1e-6, 1e9)  # [1]
_STEPS = 32  # readings that are run through one after the other, many such rows at once
_MOST = 300_000  # readings x modes held at once: what stays in a processor's cache


class Modes(NamedTuple):
    """A lagging body. `rate` [1/s] slowest first and `weight` [1], of one length; the weights add up to `share`.

    `share` is how much of a step of the room the body takes on in the end: 1, unless a cold floor holds it back. The
    last mode also carries what the cut-off series leaves out, so the answer to a step begins at zero.
    """

    rate: tuple[float, ...]
    weight: tuple[float, ...]
    share: float = 1.0


class State(NamedTuple):
    """A body at one time, plain numbers, to be kept between calls.

    `at_ms` the time [ms]; `held` the room's value then; `lag` each mode's distance from it [unit of `held`].
    """

    at_ms: int
    held: float
    lag: tuple[float, ...]


def eigenvalues(biot: float, biot_behind: float = 0.0, count: int = 6) -> Floats:
    """Roots z of the slab: z tan z = Bi with an insulated back, in general z = n pi + atan(Bi/z) + atan(Bi_behind/z).

    Parameters
    ----------
    biot : float
        Surface coefficient x depth / conductivity of the front, 1e-6 to 1e9. [1]
    biot_behind : float
        The same of the back: 0 insulated, else 1e-6 to 1e9. [1]
    count : int
        How many, at least 1.

    Returns
    -------
    array
        The first `count` roots, rising; accurate to a few units in the last place. [rad]

    Raises
    ------
    ValueError
        If a value lies outside its range.

    Notes
    -----
    Carslaw and Jaeger (1959) s. 3.9 to 3.11. The difference of the two sides rises and is concave between n pi and
    (n + 1) pi, so Newton's method from the left end never overshoots the root.
    """
    front = float(within("biot", biot, *_BIOT_RANGE))
    behind = float(within("biot_behind", biot_behind, *_BIOT_RANGE)) if biot_behind else 0.0
    if count < 1:
        raise ValueError(f"count {count} is less than 1")
    floor = np.arange(count) * np.pi
    z: Floats = np.maximum(floor, 1e-9)
    for _ in range(60):
        over = z - floor - np.arctan(front / z) - np.arctan(behind / z)
        z = z - over / (1.0 + front / (z * z + front * front) + behind / (z * z + behind * behind))
    return z


def modes(
    depth_m: float,
    diffusivity_m2_s: float,
    biot: float,
    *,
    at: float | Literal["mean"] = "mean",
    biot_behind: float = 0.0,
    drive: Literal["front", "behind"] = "front",
    count: int = 6,
) -> Modes:
    """Modes of a slab whose front is in the room's air.

    Parameters
    ----------
    depth_m : float
        Front to back, 1e-4 to 10: the whole thickness, or half of it with air on both faces (the middle is then an
        insulated back). [m]
    diffusivity_m2_s : float
        Of heat or moisture, 1e-14 to 1e-2. [m2/s]
    biot : float
        Surface coefficient x depth / conductivity, 1e-6 to 1e9 (a surface that follows at once). [1]
    at : float or "mean"
        Where: 0 the back (of a slab in air on both faces, the middle) to 1 the front; or the mean. [1]
    biot_behind : float
        The same as `biot` for the back when it touches something else: 0 insulated, 1e6 perfect contact. [1]
    drive : "front" or "behind"
        Whose steps are answered, the other side standing at zero: the two answers add up.
    count : int
        How many modes to keep, at least 1.

    Returns
    -------
    Modes
        At the place asked for.

    Raises
    ------
    ValueError
        If a value lies outside its range.

    Notes
    -----
    Carslaw and Jaeger (1959) s. 3.11; with an insulated back the weights are 4 sin z / (2 z + sin 2 z) x cos(z at), as
    Incropera eq. 5.42, and x sin z / z for the mean. Six modes are within 0.4 % of a step at the back and 1.6 % for the
    mean, at the worst moment; near the front ask for many more.
    """
    depth = float(within("depth_m", depth_m, 1e-4, 10.0))
    alpha = float(within("diffusivity_m2_s", diffusivity_m2_s, 1e-14, 1e-2))
    if drive not in ("front", "behind"):
        raise ValueError(f"there is no drive {drive!r}: use 'front' or 'behind'")
    z = eigenvalues(biot, biot_behind, count)
    back = biot_behind / z
    ends = 2.0 * biot + 2.0 * biot_behind + 2.0 * biot * biot_behind
    if at == "mean":
        shape = (np.sin(z) + back * (1.0 - np.cos(z))) / z
        share = biot * (2.0 + biot_behind) / ends
    else:
        place = float(within("at", at, 0.0, 1.0))
        shape = _shape(z, back, place)
        share = 2.0 * biot * (1.0 + biot_behind * place) / ends
    swing = np.sin(2.0 * z) / (4.0 * z)
    norm = 0.5 + swing + back * np.sin(z) ** 2 / z + back**2 * (0.5 - swing)
    pull = biot * _shape(z, back, 1.0) if drive == "front" else np.full(count, biot_behind)
    return _closed(z**2 * alpha / depth**2, pull / (z**2 * norm) * shape, share if drive == "front" else 1.0 - share)


def _shape(z: Floats, back: Floats, place: float) -> Floats:
    shape: Floats = np.cos(z * place) + back * np.sin(z * place)
    return shape


def _closed(rate: Floats, weight: Floats, share: float) -> Modes:
    """The last mode carries what the cut-off series leaves out."""
    weight = np.append(weight[:-1], share - weight[:-1].sum())
    return Modes(tuple(rate.tolist()), tuple(weight.tolist()), share)


def bar(first: Modes, second: Modes, count: int = 8) -> Modes:
    """Modes of a long bar in the room's air: what is left of a step is the product of two slabs'.

    Parameters
    ----------
    first : Modes
        Of a slab as high as the bar.
    second : Modes
        Of a slab as wide as the bar.
    count : int
        How many modes to keep, the slowest, at least 1.

    Returns
    -------
    Modes
        At the place where the two meet, or of the mean.

    Raises
    ------
    ValueError
        If one of them does not follow the room to the end (`share` below 1): a product is then no solution.

    Notes
    -----
    Carslaw and Jaeger (1959) s. 5.6; Incropera s. 5.8.
    """
    if first.share != 1.0 or second.share != 1.0:
        raise ValueError(f"share {min(first.share, second.share):.10g} is not 1: only bodies in the room's air alone")
    if count < 1:
        raise ValueError(f"count {count} is less than 1")
    rate = np.add.outer(first.rate, second.rate).ravel()
    weight = np.multiply.outer(first.weight, second.weight).ravel()
    slowest = np.argsort(rate, kind="stable")[:count]
    return _closed(rate[slowest], weight[slowest], 1.0)


def time_to_close_s(body: Modes, share: float = 0.9) -> float:
    """How long after a step of the room the body has closed `share` of its way, for good.

    Parameters
    ----------
    body : Modes
        What lags.
    share : float
        0 to 0.999999 of where it will end. [1]

    Returns
    -------
    float
        Bisected to one part in 1e12. [s]

    Raises
    ------
    ValueError
        If the share lies outside its range.
    """
    left = abs(body.share) * (1.0 - float(within("share", share, 0.0, 0.999999)))
    rate, weight = np.array(body.rate), np.array(body.weight)
    early, late = 0.0, float(np.log(np.abs(weight).sum() / left) / rate.min())
    for _ in range(60):
        middle = (early + late) / 2.0
        if (weight * np.exp(-rate * middle)).sum() > left:
            early = middle
        else:
            late = middle
    return late


def settled(body: Modes, at_ms: int, value: float) -> State:
    """The state of a body that has been in a constant room of `value` for ever. A body that arrives from elsewhere is
    settled at its own temperature; the first reading of the room is then a step."""
    return State(at_ms, value, (0.0,) * len(body.rate))


def level(body: Modes, state: State) -> float:
    """Where the body stands at `state`: share x held + the weighted lags. [unit of `held`]"""
    return float(_levels_at([body], [state])[0, 0])


def _levels_at(bodies: Sequence[Modes], states: Sequence[State]) -> Floats:
    """Where the bodies stand: (bodies, 1)."""
    held, lag = np.array([[state.held] for state in states]), np.array([state.lag for state in states])
    return _levels(bodies, held, lag[:, :, None])


def _levels(bodies: Sequence[Modes], held: Floats, lag: Floats) -> Floats:
    """`held` (bodies, times), `lag` (bodies, modes, times).

    Added up mode by mode: a sum whose order depends on the number of times changes digits.
    """
    total = np.array([[body.share] for body in bodies]) * held
    for mode, weight in enumerate(np.array([body.weight for body in bodies]).T):
        total += weight[:, None] * lag[:, mode]
    return total


@overload
def follow(body: Modes, state: State, t_ms: Times, value: Floats, until_ms: int) -> tuple[float, State]: ...
@overload
def follow(body: Modes, state: State, t_ms: Times, value: Floats, until_ms: Times) -> tuple[Floats, State]: ...
def follow(
    body: Modes, state: State, t_ms: Times, value: Floats, until_ms: int | Times
) -> tuple[float | Floats, State]:
    """Carry a body through the room's readings: each holds until the next, the last to the end.

    Parameters
    ----------
    body : Modes
        What lags.
    state : State
        Where it stood; from there to the first reading the room is at `state.held`.
    t_ms : int64 array
        Times of the readings, rising, from `state.at_ms` to before the last of `until_ms`; none is fine. [ms]
    value : float array of the length of `t_ms`
        The room. A NaN makes the body unknown from there on; leave it out to hold the reading before it, and start
        anew from `settled` to forget. [any unit]
    until_ms : int or int64 array
        When the body is asked for, not falling, from `state.at_ms`; the last is where the new state stands. [ms]

    Returns
    -------
    float or array of the shape of `until_ms`, State
        The body at these times [unit of `value`], and its state at the last.

    Raises
    ------
    ValueError
        If times are out of order or outside, or lengths differ.

    Notes
    -----
    Exact for a room that is constant between readings, at any spacing. Worked in UTC days, each from its own readings
    and the state at its midnight: a history that is split at midnights gives the same to the last bit, split
    elsewhere the same within 1e-9 of the readings' range. Nothing grows with the number of readings but the time.
    """
    room, asked = np.asarray(value, np.float64), np.atleast_1d(np.asarray(until_ms, np.int64))
    answers, (after,) = follow_each([body], [state], t_ms, [room], asked)
    return (float(answers[0, 0]) if np.ndim(until_ms) == 0 else answers[0]), after


def follow_each(
    bodies: Sequence[Modes], states: Sequence[State], t_ms: Times, values: Sequence[Floats], until_ms: Times
) -> tuple[Floats, list[State]]:
    """Carry several bodies, each through a room of its own, side by side: to the last bit what `follow` gives of each.

    Parameters
    ----------
    bodies : sequence of Modes
        What lags; all of as many modes.
    states : sequence of State
        Where each stood, all at one time.
    t_ms : int64 array
        As in `follow`, the same of all. [ms]
    values : sequence of float array
        The room of each body, as in `follow`. [any unit]
    until_ms : int64 array
        As in `follow`, the same of all. [ms]

    Returns
    -------
    array (bodies, times), list of State
        As of `follow`.

    Raises
    ------
    ValueError
        If times are out of order or outside, or lengths, modes or the states' times differ.
    """
    times, asked, begin = np.asarray(t_ms, np.int64), np.asarray(until_ms, np.int64), states[0].at_ms
    _check(bodies, states, times, values, asked)
    room, now = np.array(values), list(states)
    answers = np.empty((len(bodies), len(asked)))
    ends = np.append(np.arange(begin // DAY * DAY + DAY, asked[-1], DAY), asked[-1])
    ends = ends[ends > begin]
    read = np.searchsorted(times, ends, side="left")
    told = np.searchsorted(asked, ends, side="right")
    counts = np.diff(read, prepend=0)
    first_read, first_told = 0, int(np.searchsorted(asked, begin, side="right"))
    if first_told:
        answers[:, :first_told] = _levels_at(bodies, states)
    for days in _handfuls(counts, len(bodies) * len(bodies[0].rate)):
        last_read, last_told = int(read[days][-1]), int(told[days][-1])
        day = _Days(now[0].at_ms, ends[days], counts[days], times[first_read:last_read])
        heard = np.column_stack(([state.held for state in now], room[:, first_read:last_read]))
        answers[:, first_told:last_told], now = _through(bodies, now, day, heard, asked[first_told:last_told])
        first_read, first_told = last_read, last_told
    return answers, now


def _check(
    bodies: Sequence[Modes], states: Sequence[State], times: Times, values: Sequence[Floats], asked: Times
) -> None:
    begin = states[0].at_ms
    for body, state, room in zip(bodies, states, values, strict=True):
        if times.ndim != 1 or times.shape != room.shape:
            raise ValueError(f"t_ms of shape {times.shape} and value of shape {room.shape} are not two equal rows")
        if len(state.lag) != len(body.rate):
            raise ValueError(f"a state of {len(state.lag)} modes is not one of this body of {len(body.rate)}")
        if len(body.rate) != len(bodies[0].rate):
            raise ValueError(f"a body of {len(body.rate)} modes is not of the {len(bodies[0].rate)} of the first")
        if state.at_ms != begin:
            raise ValueError(f"a state at {state.at_ms} does not stand where the first does, at {begin}")
    if asked.size == 0 or asked[0] < begin or (asked[1:] < asked[:-1]).any():
        raise ValueError(f"until_ms must not fall, nor begin before the state's {begin}")
    if times.size and not (begin <= times[0] and times[-1] < asked[-1] and (times[1:] > times[:-1]).all()):
        raise ValueError(f"t_ms must rise, from the state's {begin} to before the last of until_ms {asked[-1]}")


def _handfuls(counts: Times, width: int) -> Iterator[slice]:
    """Runs of whole days, each run small enough to be held as a table of days x the fullest day's readings."""
    first, fullest = 0, 0
    for day, count in enumerate(counts.tolist()):
        if day > first and max(fullest, count) * (day - first + 1) * width > _MOST:
            yield slice(first, day)
            first, fullest = day, 0
        fullest = max(fullest, count)
    if len(counts):
        yield slice(first, len(counts))


class _Days(NamedTuple):
    """Consecutive UTC days: when the first begins, when each ends, how many readings each has, and their times."""

    begin: int
    ends: Times
    counts: Times
    times: Times


def _through(
    bodies: Sequence[Modes], states: Sequence[State], day: _Days, heard: Floats, asked: Times
) -> tuple[Floats, list[State]]:
    """Three levels of the same recurrence: readings within a row, rows within a day, days. `heard` begins with held.

    Each row is first run through from zero; that gives the days' and then the rows' true beginnings, from which the
    rows that are asked for inside a day are run through again. Only products and sums of single numbers: no bit depends
    on what else stands in the table.
    """
    rate = np.array([body.rate for body in bodies])[:, :, None] / 1000.0
    days, table = len(day.ends), _table(day, heard)
    alike = (table.wait == table.wait[:, :1]).all()  # as clock hours are, of which none is missing
    decay = -rate * table.wait[:, None, None, : 1 if alike else None]
    np.exp(decay, out=decay)
    decay = np.broadcast_to(decay, (*decay.shape[:3], days * table.rows))
    by_day = (*rate.shape[:2], days, table.rows)
    by_row = _end(decay, table.kick, np.zeros(decay.shape[1:])).reshape(by_day).transpose(3, 0, 1, 2)
    row_decay = np.exp(-rate * table.wait.sum(axis=0)).reshape(by_day).transpose(3, 0, 1, 2)
    day_end = np.ascontiguousarray(_end(row_decay, by_row, np.zeros(by_day[:3])).transpose(2, 0, 1))
    begins = np.append(day.begin, day.ends[:-1])
    day_decay = np.exp(-rate[:, :, 0] * (day.ends - begins)[:, None, None])
    midnight = _run(day_decay, day_end, np.array([state.lag for state in states])).transpose(1, 2, 0)

    on = np.searchsorted(day.ends, asked, side="left")
    before = np.cumsum(day.counts)
    known = np.minimum(np.searchsorted(day.times, asked, side="right"), before[on])
    lag = midnight[:, :, on + 1]
    inside = np.flatnonzero(asked < day.ends[on])
    if len(inside):
        starts = _run(row_decay, by_row, midnight[:, :, :-1])[:-1].transpose(1, 2, 3, 0).reshape(decay.shape[1:])
        on, place = on[inside], (known - (before - day.counts)[on])[inside]
        row, step = np.divmod(place, len(decay))
        lag[:, :, inside] = _within(decay, table.kick, starts, on * table.rows + row, step)
        since = np.where(place > 0, np.append(day.begin, day.times)[known[inside]], begins[on])
        lag[:, :, inside] *= np.exp(-rate * (asked[inside] - since))
    held, left = heard[:, -1].tolist(), midnight[:, :, -1].tolist()
    end = [State(int(day.ends[-1]), room, tuple(modes)) for room, modes in zip(held, left, strict=True)]
    return _levels(bodies, heard[:, known], lag), end


def _within(decay: Floats, kick: Floats, starts: Floats, row_of: Times, step: Times) -> Floats:
    """Where the modes stand before the given step of each of the rows, which do not fall: (bodies, modes, times)."""
    another = np.diff(row_of, prepend=-1) > 0
    wanted, row = row_of[another], np.cumsum(another) - 1
    stood = _run(decay[..., wanted], kick[..., wanted], starts[..., wanted])
    return np.moveaxis(stood[step, :, :, row], 0, -1)


class _Table(NamedTuple):
    """Rows a day, and waits before [ms] (steps, days x rows) and kicks at (steps, bodies, 1, days x rows) each reading
    and each day's end."""

    rows: int
    wait: Floats
    kick: Floats


def _table(day: _Days, heard: Floats) -> _Table:
    days, most = len(day.ends), int(day.counts.max()) + 1
    steps = min(_STEPS, most)
    rows = -(-most // steps)
    wait, kick = np.zeros(days * rows * steps), np.zeros((len(heard), days * rows * steps))
    before, begins = np.cumsum(day.counts), np.append(day.begin, day.ends[:-1])
    newest = np.append(day.begin, day.times)
    first = np.arange(days) * (rows * steps)
    place = np.arange(len(day.times)) + np.repeat(first - before + day.counts, day.counts)
    wait[place] = day.times - np.maximum(newest[:-1], np.repeat(begins, day.counts))
    wait[first + day.counts] = day.ends - np.maximum(newest[before], begins)
    kick[:, place] = heard[:, :-1] - heard[:, 1:]
    by_step = np.ascontiguousarray(kick.reshape(len(heard), 1, -1, steps).transpose(3, 0, 1, 2))
    return _Table(rows, np.ascontiguousarray(wait.reshape(-1, steps).T), by_step)


def _run(decay: Floats, kick: Floats, start: Floats) -> Floats:
    """x, then each x <- decay x + kick along the first axis; all else at once."""
    x = np.empty((len(decay) + 1, *start.shape))
    x[0] = start
    for shrink, push, before, after in zip(decay, kick, x[:-1], x[1:], strict=True):
        np.multiply(shrink, before, out=after)
        after += push
    return x


def _end(decay: Floats, kick: Floats, start: Floats) -> Floats:
    """The last x of `_run`, digit for digit."""
    x = start.copy()
    for shrink, push in zip(decay, kick, strict=True):
        x *= shrink
        x += push
    return x
