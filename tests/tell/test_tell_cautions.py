"""What can hurt at a step, as a short block and in full."""

from monitor.rules.cautions import CAUTIONS, STEPS, Caution, at_step
from monitor.tell.cautions import catalogue, cautions_text


def test_the_block_of_a_step_has_the_headline_of_each_of_its_cautions():
    for step in STEPS:
        lines = cautions_text(step).splitlines()
        told = " ".join(" ".join(lines).split())
        assert [one for one in at_step(step) if f"mind: {CAUTIONS[one].headline}" not in told] == []
        assert sum(line.startswith("mind: ") for line in lines) == len(at_step(step))
        assert lines[-1] == f"in full: wallclime cautions {step}"
        assert max(map(len, lines)) <= 80


def test_the_block_of_a_leak_reads_like_this():
    assert cautions_text("leak") == (
        "mind: Keep out of the water until the power is off, switched off by someone who\n"
        "      may and can reach the switch dry.\n"
        "mind: Dry what got wet within a day or two, before mould grows, and look behind\n"
        "      the planks.\n"
        "mind: Call licensed trades: a plumber for pipes, an electrician for wiring, a\n"
        "      heating firm for the heater.\n"
        "mind: Local code and the makers' instructions come first; leave gas, mains\n"
        "      wiring and water pipes to licensed trades.\n"
        "in full: wallclime cautions leak"
    )


def test_a_block_of_chosen_cautions_reads_like_this():
    chosen = (Caution.OLD_PAINT, Caution.POWER, Caution.FIRE_DISTANCE, Caution.LADDERS)
    assert cautions_text("check", chosen) == (
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
