"""What is said where the profile is looser than the maker, and the table beside it."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import pytest

from monitor.config.profile import load_profile
from monitor.rules.install.makers import FIGURES, Document, Span, read_limit
from monitor.tell.makers import NAMES, name, rows, warnings
from monitor.tell.words import Display

PROFILE = load_profile("laminate-planks")
US, SI = Display(ZoneInfo("UTC"), "us"), Display(ZoneInfo("UTC"), "si")


def document(**limits: str) -> Document:
    read = {figure: read_limit(figure, text, where="x") for figure, text in limits.items()}
    return Document(7, 0, "Hall planks", "3", "2025-11", "hall.pdf", "5e", read)


@pytest.mark.parametrize(
    ("figure", "text", "display", "said"),
    [
        ("humidity", "40 %..60 %", SI, "40 to 60 %RH until the wall is finished; this profile allows 35 to 65 %RH"),
        ("humidity", "..60 %", SI, "at most 60 %RH until the wall is finished; this profile allows 35 to 65 %RH"),
        ("temperature", "65 degF..80 degF", US,
         "65 to 80 degF until the wall is finished; this profile allows 60 to 85 degF"),
        ("temperature", "18 degC..27 degC", SI,
         "18 to 27 degC until the wall is finished; this profile allows 15.6 to 29.4 degC"),
        ("life_humidity", "40 %..60 %", SI, "40 to 60 %RH for the finished wall; this profile allows 35 to 65 %RH"),
        ("life_temperature", "60.01 degF..85 degF", US,
         "60.01 to 85 degF for the finished wall; this profile allows 60 to 85 degF"),
        ("hours", "72", US, "at least 72 h of acclimation; this profile asks for at least 48 h"),
        ("flatness", "1/8 in", US,
         "a wall out of flat by at most 1/8 in over 10 ft; this profile allows at most 3/16 in"),
        ("flatness", "0.1874 in", US,
         "a wall out of flat by at most 0.1874 in over 10 ft; this profile allows at most 0.1875 in"),
        ("flatness", "4.76 mm", SI,
         "a wall out of flat by at most 4.7600 mm over 10 ft; this profile allows at most 4.7625 mm"),
        ("edge_gap", "6 mm", SI, "a gap of at least 6.0 mm at adjoining walls; this profile asks for at least 4.8 mm"),
        ("max_length", "30 ft", US, "unbroken runs of at most 30 ft; this profile allows at most 40 ft"),
        ("max_height", "9 ft", US, "a height of at most 9 ft; this profile allows at most 10 ft"),
        ("stagger", "12 in", US, "joints staggered by at least 1 ft; this profile asks for at least 8 in"),
    ],
)  # fmt: skip
def test_a_looser_profile_is_said_in_a_sentence_with_both_limits(figure: str, text: str, display: Display, said: str):
    assert warnings([document(**{figure: text})], PROFILE, display) == [f"The maker asks for {said}, which is looser."]


def test_where_the_profile_is_not_looser_nothing_is_said():
    assert warnings([document(humidity="30 %..70 %", hours="48")], PROFILE, SI) == []


def test_the_table_has_every_figure_that_is_stated_and_which_is_looser():
    told = document(humidity="30 %..60 %", hours="24", edge_gap="3/16 in", stagger="12 in")
    assert rows([told], PROFILE, US) == [
        ("humidity until the wall is finished", "35 to 65 %RH", "30 to 60 %RH", "each on one side",
         "Hall planks, revision 3, 2025-11"),
        ("hours of acclimation", "at least 48 h", "at least 24 h", "the maker", "Hall planks, revision 3, 2025-11"),
        ("gap at adjoining walls", "at least 3/16 in", "at least 3/16 in", "neither",
         "Hall planks, revision 3, 2025-11"),
        ("stagger of joints", "at least 8 in", "at least 1 ft", "the profile", "Hall planks, revision 3, 2025-11"),
    ]  # fmt: skip


def test_every_figure_has_a_name():
    assert list(NAMES) == list(FIGURES)


def test_a_title_cannot_dress_up_a_page():
    told = Document(7, 0, "a\u202eb", "1", "2025", "x", "5e", {"hours": Span(72.0, None)})
    assert name(told) == "a\\u202eb, revision 1, 2025"
