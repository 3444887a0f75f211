"""The colours of the pages: contrast of text and of lines, told apart by everybody and in grey.

Contrast and relative luminance: WCAG 2.2, success criteria 1.4.3 and 1.4.11 (from memory: 4.5:1 for text, 3:1 for what
is drawn). Simulated colour-blindness: G. M. Machado, M. M. Oliveira and L. A. F. Fernandes, "A Physiologically-based
Model for Simulation of Color Vision Deficiency", IEEE Transactions on Visualization and Computer Graphics 15 (6), 2009,
matrices for severity 1.0, applied to linear RGB; the figures below are those that the package colorspacious 1.1.2 has.
Lightness and difference of colours: CIE 1976 L*a*b* under D65 (from memory).
"""

import re
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest

import monitor.tell
from monitor.tell.drawn.drawing import COLOURS, OUT
from monitor.tell.drawn.figures import GREY, INK

TEMPLATES = Path(monitor.tell.__file__).parent / "templates"
STYLES = sorted(path.name for path in TEMPLATES.glob("*.css"))
ROOT = dict(re.findall(r"--(\w+): (#\w+)", (TEMPLATES / "page.css").read_text(encoding="utf-8")))
SEEN = {
    "by most people": np.eye(3),
    "without long cones (protanopia)": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "without middle cones (deuteranopia)": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
    "without short cones (tritanopia)": np.array(
        [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]
    ),
}
APART = 10.0  # CIE 1976 difference of two colours, and of their lightness in grey; figure ours, 2.3 is just seen


def linear(colour: str) -> np.ndarray:
    """ "#rgb" or "#rrggbb" as linear RGB, 0 to 1 (sRGB, IEC 61966-2-1)."""
    digits = colour[1:] if len(colour) == 7 else "".join(2 * digit for digit in colour[1:])
    value = np.array([int(digits[k : k + 2], 16) for k in (0, 2, 4)]) / 255
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


def luminance(rgb: np.ndarray) -> float:
    return float(rgb @ [0.2126, 0.7152, 0.0722])


def contrast(one: np.ndarray, other: np.ndarray) -> float:
    dark, light = sorted((luminance(one), luminance(other)))
    return (light + 0.05) / (dark + 0.05)


def over(colour: str, share: float, ground: str) -> np.ndarray:
    """A colour that lets a ground through, as browsers mix them: by the sRGB figures."""

    def gamma(rgb: np.ndarray) -> np.ndarray:
        return np.where(rgb <= 0.0031308, 12.92 * rgb, 1.055 * rgb ** (1 / 2.4) - 0.055)

    mixed = share * gamma(linear(colour)) + (1 - share) * gamma(linear(ground))
    return np.where(mixed <= 0.04045, mixed / 12.92, ((mixed + 0.055) / 1.055) ** 2.4)


def lab(rgb: np.ndarray) -> np.ndarray:
    """CIE 1976 L*, a*, b* of linear RGB."""
    to_xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
    share = to_xyz @ rgb / np.array([0.9505, 1.0, 1.089])
    x, y, z = np.where(share > (6 / 29) ** 3, np.cbrt(share), share / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * y - 16, 500 * (x - y), 200 * (y - z)])


def resolved(value: str) -> str | None:
    found = re.fullmatch(r"(?:var\(--(\w+)\)|(#\w+))", value.strip())
    return None if found is None else ROOT[found[1]] if found[1] else found[2]


def texts(sheet: str) -> list[tuple[str, str, str]]:
    """(rule, colour of its text, its ground) of a style sheet; without a ground it may stand on any of the pages'."""
    found = []
    for selector, body in re.findall(r"([^{}]+)\{([^{}]*)\}", (TEMPLATES / sheet).read_text(encoding="utf-8")):
        colour = re.search(r"(?<![-\w])color:\s*([^;]+)", body)
        ground = re.search(r"(?<![-\w])background(?:-color)?:\s*([^;]+)", body)
        if colour is None or resolved(colour[1]) is None:
            continue
        own = None if ground is None else resolved(ground[1])
        grounds = [own] if own else [ROOT["paper"], ROOT["sheet"], "#fff"]
        found += [(selector.strip(), str(resolved(colour[1])), one) for one in grounds]
    return found


def test_black_on_white_has_the_greatest_contrast_and_grey_the_published_one():
    # WCAG's own understanding of 1.4.3 (from memory): #767676 is the lightest grey that has 4.5:1 on white.
    assert contrast(linear("#000"), linear("#fff")) == pytest.approx(21.0)
    assert contrast(linear("#767676"), linear("#fff")) == pytest.approx(4.54, abs=0.005)


def test_white_is_white_and_mid_grey_has_the_lightness_of_the_textbook():
    assert lab(linear("#fff")) == pytest.approx([100, 0, 0], abs=0.02)
    assert lab(linear("#777777"))[0] == pytest.approx(50.0, abs=0.1)  # from memory: L* 50 is #777777


@pytest.mark.parametrize("seen", [name for name in SEEN if name != "by most people"])
def test_a_simulation_leaves_grey_alone(seen):
    assert SEEN[seen].sum(axis=1) == pytest.approx(np.ones(3), abs=1e-5)


@pytest.mark.parametrize("sheet", STYLES)
def test_every_colour_of_a_text_stands_out_from_its_ground(sheet):
    faint = [
        (rule, text, ground) for rule, text, ground in texts(sheet) if contrast(linear(text), linear(ground)) < 4.5
    ]
    assert faint == []


def test_the_colours_of_texts_are_found_in_the_style_of_all_pages():
    assert {".verdict", ".tag", ".training", "html"} & {rule for rule, _, _ in texts("page.css")}
    assert len(texts("page.css")) > 15


@pytest.mark.parametrize("colour", [*COLOURS, INK, GREY, ROOT["wood"], OUT])
def test_what_is_drawn_stands_out_from_the_sheet(colour):
    assert contrast(linear(colour), linear(ROOT["sheet"])) >= 3


@pytest.mark.parametrize("colour", [*COLOURS, INK])
def test_a_line_stands_out_from_the_band(colour):
    assert contrast(linear(colour), over("#b08a5b", 0.16, ROOT["sheet"])) >= 3


@pytest.mark.parametrize("seen", SEEN)
def test_the_sensors_colours_are_told_apart(seen):
    colours = [lab(np.clip(SEEN[seen] @ linear(colour), 0, 1)) for colour in COLOURS]
    assert min(float(np.linalg.norm(a - b)) for a, b in combinations(colours, 2)) >= APART


def test_the_sensors_colours_are_told_apart_in_grey():
    grey = sorted(float(lab(linear(colour))[0]) for colour in COLOURS)
    assert min(np.diff(grey)) >= APART


@pytest.mark.parametrize("seen", SEEN)
def test_in_band_and_out_of_band_are_told_apart(seen):
    inside, outside = (lab(np.clip(SEEN[seen] @ linear(colour), 0, 1)) for colour in (ROOT["wood"], OUT))
    assert float(np.linalg.norm(inside - outside)) >= APART
