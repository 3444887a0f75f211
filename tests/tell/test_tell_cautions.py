"""What can hurt at a step, as a short block and in full."""

from monitor.rules.cautions import STEPS, Caution
from monitor.tell.cautions import FEW, catalogue, cautions_text


def test_the_block_of_a_step_is_short():
    for step in STEPS:
        lines = cautions_text(step).splitlines()
        assert sum(line.startswith("mind: ") for line in lines) <= FEW
        assert len(lines) <= 10
        assert max(map(len, lines)) <= 80


def test_the_block_of_the_check_reads_like_this():
    assert cautions_text("check") == (
        "mind: Have old paint and texture tested before you sand, scrape or drill it.\n"
        "mind: Switch the power off and prove each outlet and switch dead before you open\n"
        "      it.\n"
        "mind: Planks burn: keep them as far from stoves, flues, fireplaces and heaters\n"
        "      as local code and the maker of the heat source ask.\n"
        "mind: Stand the ladder on firm level ground, and climb down rather than reach.\n"
        "in full: wallclime cautions check"
    )


def test_the_catalogue_has_the_whole_text_and_its_source():
    assert catalogue([Caution.HEAVY_BOXES, Caution.SHELVES]) == (
        "Lift boxes in twos. Stack them low and flat on a floor that bears them, nothing\n"
        "leaning on a wall, and keep children off.\n"
        "  source: common practice, no published source\n"
        "\n"
        "Fix shelves, screens and all else that is heavy to the studs, never to the\n"
        "planks. Find the studs and what runs beside them first.\n"
        "  source: common practice, no published source"
    )
