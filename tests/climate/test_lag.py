import math
import re

import numpy as np
import pytest

from monitor.climate.lag import Modes, bar, eigenvalues, modes, time_to_close_s

ALPHA = 1e-7  # any: the answers below depend on the Fourier number alone [m2/s]


def left_after(body, seconds):
    """What is left of a step of the room."""
    return sum(weight * math.exp(-rate * seconds) for rate, weight in zip(body.rate, body.weight, strict=True))


# roots and coefficients


@pytest.mark.parametrize(
    ("biot", "root", "coefficient"),
    [(0.1, 0.3111, 1.0161), (1.0, 0.8603, 1.1191), (10.0, 1.4289, 1.2620)],
)
def test_the_first_root_and_coefficient_are_those_of_the_textbook(biot, root, coefficient):
    # Incropera and DeWitt Table 5.1, plane wall, printed to four decimals; as quoted in a public test file.
    assert eigenvalues(biot)[0] == pytest.approx(root, abs=6e-5)
    assert modes(1.0, ALPHA, biot, at=0.0).weight[0] == pytest.approx(coefficient, abs=6e-5)


@pytest.mark.parametrize("biot", [1e-6, 1e-3, 0.3, 1.0, 40.0, 1e5, 1e9])
def test_each_root_solves_its_equation_in_its_own_interval(biot):
    # Carslaw and Jaeger (1959) s. 3.9: z tan z = Bi, one root in each (n pi, n pi + pi / 2).
    z, floor = eigenvalues(biot, count=40), np.arange(40) * np.pi
    assert (z > floor).all()
    assert (z < floor + np.pi / 2).all()
    assert np.abs((z * np.sin(z) - biot * np.cos(z)) / (z + biot)).max() < 1e-12


@pytest.mark.parametrize(("front", "behind"), [(0.5, 0.5), (3.0, 0.2), (20.0, 1e6), (1e-4, 8.0)])
def test_roots_with_two_surfaces_solve_the_general_equation(front, behind):
    # Carslaw and Jaeger (1959) s. 3.9: tan z = z (h1 + h2) / (z^2 - h1 h2).
    z = eigenvalues(front, behind, 12)
    residual = (z * z - front * behind) * np.sin(z) - z * (front + behind) * np.cos(z)
    assert np.abs(residual / (z * z + front * behind + z * (front + behind))).max() < 1e-12


def test_air_on_both_faces_is_an_insulated_middle_twice_as_thin():
    # Every second root of the whole slab is odd about the middle and takes no part.
    assert eigenvalues(2.0, 2.0, 6)[::2] / 2.0 == pytest.approx(eigenvalues(1.0, count=3), abs=1e-12)


# the course of a step


@pytest.mark.parametrize(
    ("biot", "fourier", "place", "left"),
    [
        (0.1, 0.5, 0, 0.967981), (0.1, 0.5, 1, 0.921779), (0.5, 0.5, 0, 0.864114), (0.5, 0.5, 1, 0.686882),
        (1, 0.2, 0, 0.950642), (1, 0.2, 1, 0.643391), (1, 1.0, 0, 0.533859), (1, 1.0, 1, 0.348177),
        (5, 0.3, 0, 0.736328), (5, 0.3, 1, 0.189435), (10, 0.1, 0, 0.968424), (10, 0.1, 1, 0.170574),
    ],
)  # fmt: skip
def test_middle_and_surface_agree_with_a_200_term_series_and_a_finite_difference(biot, fourier, place, left):
    # Carslaw and Jaeger (1959) s. 3.11, Incropera eq. 5.42: by another hand, 200 terms = Crank-Nicolson within 4e-6.
    body = modes(1.0, ALPHA, biot, at=float(place), count=30)
    assert left_after(body, fourier / ALPHA) == pytest.approx(left, abs=2e-6)


def test_at_short_times_the_surface_is_that_of_a_half_space():
    # Incropera eq. 5.63 / Carslaw and Jaeger s. 2.7, Bi = 5, Fo = 0.02: exp(b^2) erfc(b), b = Bi sqrt(Fo).
    b = 5.0 * math.sqrt(0.02)
    half_space = math.exp(b * b) * math.erfc(b)
    assert half_space == pytest.approx(0.523157, abs=1e-6)
    body = modes(1.0, ALPHA, 5.0, at=1.0, count=200)
    assert left_after(body, 0.02 / ALPHA) == pytest.approx(half_space, abs=1e-4)


def test_the_mean_of_a_surface_that_follows_at_once_is_cranks_series():
    # Crank (1975) eq. 4.18: 8 / pi^2 sum exp(-(2n+1)^2 pi^2 Fo / 4) / (2n+1)^2, Fo on the half thickness.
    odd = 2 * np.arange(200) + 1
    for fourier in (0.05, 0.2, 0.8):
        series = (8.0 / np.pi**2 * np.exp(-(odd**2) * np.pi**2 * fourier / 4.0) / odd**2).sum()
        assert left_after(modes(1.0, ALPHA, 1e9, count=12), fourier / ALPHA) == pytest.approx(series, abs=1e-6)


def test_a_thin_board_is_one_lag_of_its_heat_over_its_surface():
    # Lumped capacity, Incropera s. 5.1: rate = h / (rho cp L) = Bi alpha / L^2; at Bi = 1e-4 within 1e-4 of it.
    body = modes(0.01, ALPHA, 1e-4)
    assert body.rate[0] == pytest.approx(1e-4 * ALPHA / 0.01**2, rel=1e-4)
    assert body.weight[0] == pytest.approx(1.0, abs=1e-6)


def finite_difference(front, behind, drive_behind, fourier, cells=120, steps=3000):
    """Crank-Nicolson on cell middles; depth and diffusivity 1, starts at 0; the air at one side steps to 1."""
    step = 1.0 / cells
    across = [2.0 * cells * biot / (biot + 2.0 * cells) for biot in (behind, front)]  # half a cell and the surface
    flow = float(cells) * (np.eye(cells, k=1) + np.eye(cells, k=-1))
    flow -= np.diag(flow.sum(axis=1))
    flow[0, 0] -= across[0]
    flow[-1, -1] -= across[1]
    source = np.zeros(cells)
    source[0 if drive_behind else -1] = across[0 if drive_behind else 1] / step
    half = fourier / steps / 2.0 * flow / step
    forward = np.linalg.solve(np.eye(cells) - half, np.eye(cells) + half)
    push = np.linalg.solve(np.eye(cells) - half, fourier / steps * source)
    field = np.zeros(cells)
    for _ in range(steps):
        field = forward @ field + push
    return field


@pytest.mark.parametrize(("front", "behind"), [(2.0, 0.0), (4.0, 4.0), (5.0, 25.0), (0.3, 1e4)])
@pytest.mark.parametrize("drive", ["front", "behind"])
def test_slabs_between_any_two_surfaces_agree_with_a_finite_difference(front, behind, drive):
    if behind == 0.0 and drive == "behind":
        assert modes(1.0, ALPHA, front, at=0.3, drive="behind").weight == pytest.approx([0.0] * 6, abs=1e-15)
        return
    for fourier in (0.08, 0.6):
        field = finite_difference(front, behind, drive == "behind", fourier)
        body = modes(1.0, ALPHA, front, biot_behind=behind, drive=drive, count=20)
        assert body.share - left_after(body, fourier / ALPHA) == pytest.approx(field.mean(), abs=2e-4)
        for place in (0.25, 0.75):
            body = modes(1.0, ALPHA, front, at=place, biot_behind=behind, drive=drive, count=20)
            near = field[[round(place * 120) - 1, round(place * 120)]].mean()
            assert body.share - left_after(body, fourier / ALPHA) == pytest.approx(near, abs=2e-4)


def test_in_the_end_two_sides_share_the_body_as_resistances_in_series():
    # Steady conduction by hand: front 1 / 4, slab 1, behind 1 / 2. At the middle the front has (0.5 + 0.5) / 1.75.
    front = modes(1.0, ALPHA, 4.0, at=0.5, biot_behind=2.0)
    behind = modes(1.0, ALPHA, 4.0, at=0.5, biot_behind=2.0, drive="behind")
    assert front.share == pytest.approx(1.0 / 1.75, abs=1e-12)
    assert front.share + behind.share == pytest.approx(1.0, abs=1e-12)
    assert modes(1.0, ALPHA, 4.0, biot_behind=2.0).share == pytest.approx(1.0 / 1.75, abs=1e-12), "mean = middle"


def test_the_weights_add_up_to_the_share_so_that_a_step_begins_at_nothing():
    for body in (
        modes(0.1, ALPHA, 3.0),
        modes(0.1, ALPHA, 3.0, at=0.0, count=1),
        modes(0.1, ALPHA, 3.0, at=0.5, biot_behind=9.0),
        bar(modes(0.1, ALPHA, 3.0), modes(0.2, ALPHA, 6.0)),
    ):
        assert sum(body.weight) == pytest.approx(body.share, abs=1e-12)
        assert list(body.rate) == sorted(body.rate)


@pytest.mark.parametrize("biot", [0.1, 1.0, 10.0, 1e9])
@pytest.mark.parametrize(("at", "within"), [(0.0, 0.004), ("mean", 0.016)])
def test_six_modes_are_close_to_four_hundred_at_every_moment(biot, at, within):
    seconds = np.geomspace(1e-5, 3.0, 400) / ALPHA
    few, many = modes(1.0, ALPHA, biot, at=at), modes(1.0, ALPHA, biot, at=at, count=400)
    assert max(abs(left_after(few, t) - left_after(many, t)) for t in seconds) <= within


# bars


def test_what_is_left_in_a_bar_is_the_product_of_two_slabs():
    # Carslaw and Jaeger (1959) s. 5.6. 64 of 64 products: nothing cut off.
    high, wide = modes(0.1, ALPHA, 3.0, at=0.0, count=8), modes(0.2, 2 * ALPHA, 6.0, at=0.0, count=8)
    whole = bar(high, wide, count=64)
    for seconds in (1e3, 1e4, 1e5):
        product = left_after(high, seconds) * left_after(wide, seconds)
        assert left_after(whole, seconds) == pytest.approx(product, abs=1e-12)


def test_a_bar_agrees_with_a_finite_difference_in_two_dimensions():
    # Explicit, quarter of a square bar, 20 x 20 cells, Bi = 2, Fo = 0.4; second order: within 1e-3.
    cells, biot, fourier = 20, 2.0, 0.4
    step, across = 1.0 / cells, 2.0 * cells * biot / (biot + 2.0 * cells)
    field, dt = np.ones((cells, cells)), 0.2 / cells**2
    for _ in range(round(fourier / dt)):
        change = np.zeros_like(field)
        for axis in (0, 1):
            f = np.moveaxis(field, axis, 0)
            flow = np.concatenate((np.zeros((1, cells)), np.diff(f, axis=0) / step, -across * f[-1:]))
            change += np.moveaxis(np.diff(flow, axis=0) / step, 0, axis)
        field = field + dt * change
    slab = modes(1.0, ALPHA, biot, count=10)
    assert left_after(bar(slab, slab, count=12), fourier / ALPHA) == pytest.approx(field.mean(), abs=1e-3)


def test_a_bar_keeps_its_slowest_modes():
    high, wide = modes(0.1, ALPHA, 3.0), modes(0.2, ALPHA, 6.0)
    sums = sorted(a + b for a in high.rate for b in wide.rate)
    assert bar(high, wide, count=5).rate == pytest.approx(sums[:5], rel=1e-14)


# time to close


def test_one_lag_closes_90_percent_in_ln_10_time_constants():
    assert time_to_close_s(Modes((1e-3,), (1.0,))) == pytest.approx(1e3 * math.log(10.0), rel=1e-10)
    assert time_to_close_s(Modes((1e-3,), (0.5,), 0.5), 0.5) == pytest.approx(1e3 * math.log(2.0), rel=1e-10)


def test_a_body_that_has_closed_a_share_has_that_much_left():
    body = modes(0.1, ALPHA, 5.0, at=0.0)
    for share in (0.5, 0.9, 0.99):
        assert left_after(body, time_to_close_s(body, share)) == pytest.approx(1.0 - share, abs=1e-9)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: eigenvalues(0.0), "biot 0 is outside 1e-06 to 1000000000"),
        (lambda: eigenvalues(1.0, -1.0), "biot_behind -1 is outside 1e-06 to 1000000000"),
        (lambda: eigenvalues(1.0, count=0), "count 0 is less than 1"),
        (lambda: modes(0.0, ALPHA, 1.0), "depth_m 0 is outside 0.0001 to 10"),
        (lambda: modes(0.1, 1.0, 1.0), "diffusivity_m2_s 1 is outside 1e-14 to 0.01"),
        (lambda: modes(0.1, ALPHA, 1.0, at=1.5), "at 1.5 is outside 0 to 1"),
        (lambda: modes(0.1, ALPHA, 1.0, drive="left"), "there is no drive 'left': use 'front' or 'behind'"),
        (
            lambda: bar(modes(0.1, ALPHA, 1.0), modes(0.1, ALPHA, 1.0, at=0.0, biot_behind=1.0)),
            "share 0.3333333333 is not 1: only bodies in the room's air alone",
        ),
        (lambda: bar(modes(0.1, ALPHA, 1.0), modes(0.1, ALPHA, 1.0), count=0), "count 0 is less than 1"),
        (lambda: time_to_close_s(modes(0.1, ALPHA, 1.0), 1.0), "share 1 is outside 0 to 0.999999"),
    ],
)
def test_a_value_out_of_range_is_named(call, message):
    with pytest.raises(ValueError, match=f"^{re.escape(message)}$"):
        call()
