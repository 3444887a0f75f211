"""The maker's figures beside the profile's: every figure looser on our side, on the maker's, and equal."""

from __future__ import annotations

import pytest

from monitor.basis.errors import QuantityError
from monitor.basis.values import Entry, Kind
from monitor.config.profile import load_profile
from monitor.rules.install.makers import FIGURES, Beside, Document, Span, beside, documents, looser, read_limit

PROFILE = load_profile("laminate-planks")
T = 1_767_571_200_000  # 2026-01-05T00:00Z [ms]
# figure, a maker that allows less than the default profile, one that allows the same, one that allows more.
# The profile's own: 35-65 %, 60-85 degF, 48 h, 3/16 in over 10 ft, 3/16 in gap, 40 ft, 10 ft, 8 in (common practice).
EACH = [
    ("humidity", "40 %..60 %", "35 %..65 %", "30 %..70 %"),
    ("temperature", "65 degF..80 degF", "60 degF..85 degF", "50 degF..90 degF"),
    ("life_humidity", "40 %..65 %", "35 %..65 %", "35 %..70 %"),
    ("life_temperature", "60 degF..80 degF", "60 degF..85 degF", "10 degC..85 degF"),
    ("hours", "72", "48", "24 h"),
    ("flatness", "1/8 in", "3/16 in", "1/4 in"),
    ("edge_gap", "1/4 in", "3/16 in", "1/8 in"),
    ("max_length", "30 ft", "40 ft", "50 ft"),
    ("max_height", "9 ft", "10 ft", "12 ft"),
    ("stagger", "12 in", "8 in", "6 in"),
]


def both(figure: str, text: str) -> tuple[bool, bool]:
    """(whether we are looser, whether the maker is)."""
    (row,) = beside(PROFILE, {figure: read_limit(figure, text, where="x")})
    return row.ours_looser, row.makers_looser


def test_every_figure_is_looked_at_here():
    assert [figure for figure, *_ in EACH] == list(FIGURES)


@pytest.mark.parametrize(("figure", "stricter"), [(figure, stricter) for figure, stricter, _, _ in EACH])
def test_where_the_maker_asks_for_more_the_profile_is_looser(figure: str, stricter: str):
    assert both(figure, stricter) == (True, False)
    assert looser(PROFILE, {figure: read_limit(figure, stricter, where="x")}) == [figure]


@pytest.mark.parametrize(("figure", "same"), [(figure, same) for figure, _, same, _ in EACH])
def test_where_both_ask_the_same_neither_is_looser(figure: str, same: str):
    assert both(figure, same) == (False, False)


@pytest.mark.parametrize(("figure", "wider"), [(figure, wider) for figure, _, _, wider in EACH])
def test_where_the_maker_asks_for_less_the_maker_is_looser(figure: str, wider: str):
    assert both(figure, wider) == (False, True)
    assert looser(PROFILE, {figure: read_limit(figure, wider, where="x")}) == []


def test_bands_that_cross_are_each_looser_on_one_side():
    assert both("humidity", "30 %..60 %") == (True, True)


@pytest.mark.parametrize(
    ("text", "span", "found"),
    [
        ("..60 %", Span(None, 60.0), (True, True)),  # the maker has no lower limit, we have no such high one
        ("40 % ..", Span(40.0, None), (True, True)),
        ("..65 %", Span(None, 65.0), (False, True)),
    ],
)
def test_a_band_of_one_side_leaves_the_other_open(text: str, span: Span, found: tuple[bool, bool]):
    assert read_limit("humidity", text, where="x") == span
    assert both("humidity", text) == found


def test_rows_are_in_the_order_of_the_figures_whatever_the_documents():
    limits = {name: read_limit(name, text, where="x") for name, text in (("hours", "72"), ("humidity", "40 %..60 %"))}
    assert beside(PROFILE, limits) == [
        Beside("humidity", Span(35.0, 65.0), Span(40.0, 60.0), True, False),
        Beside("hours", Span(48.0, None), Span(72.0, None), True, False),
    ]
    assert looser(PROFILE, limits) == ["humidity", "hours"]


@pytest.mark.parametrize(
    ("figure", "text", "said"),
    [
        ("colour", "red", "there is no figure 'colour'. Use one of humidity, temperature, life_humidity, "
         "life_temperature, hours, flatness, edge_gap, max_length, max_height, stagger"),
        ("humidity", "60 %", "'60 %' is not a band. Write it like \"40 %..60 %\""),
        ("humidity", "..", "'..' is not a band. Write it like \"40 %..60 %\""),
        ("temperature", "68 degF", "'68 degF' is not a band. Write it like \"65 degF..80 degF\""),
        ("humidity", "60 %..40 %", "'60 %' is not below '40 %'. Write the lower one first"),
        ("humidity", "40..60 %", "'40' is not a percentage. Write it like \"45 %\""),
        ("hours", "0", "'0' is no limit. Write it like \"72\""),
        ("hours", "soon", "'soon' is not a duration. Write it like \"30 min\", \"48 h\" or \"7 d\""),
        ("flatness", "0 in", "'0 in' is no limit. Write it like \"1/8 in\""),
        ("stagger", "12", "'12' is not a length. Write it like \"3/16 in\", \"16 ft 4 in\" or \"4.2 m\""),
    ],
)  # fmt: skip
def test_a_limit_that_cannot_be_read_is_refused(figure: str, text: str, said: str):
    with pytest.raises(QuantityError) as refused:
        read_limit(figure, text, where="--limit")
    assert str(refused.value) == f"--limit: {said}"


def entry(number: int, title: str, revision: str, limits: dict[str, str], *, at: int = T) -> Entry:
    body = {"title": title, "revision": revision, "date": "2025-11", "file": "x.pdf", "sha256": "5e", "limits": limits}
    return Entry("den", number, Kind.DOCUMENT, at, at, "robin", body, None, b"", b"")


def test_of_one_title_the_document_entered_last_is_in_force_up_to_the_time_asked_for():
    log = [
        entry(3, "Planks", "1", {"hours": "72"}),
        entry(4, "Trim", "1", {}),
        entry(5, "Planks", "2", {"hours": "96"}),
        entry(6, "Planks", "3", {"hours": "24"}, at=T + 1),
    ]
    planks = Document(5, T, "Planks", "2", "2025-11", "x.pdf", "5e", {"hours": Span(96.0, None)})
    assert [(one.number, one.title) for one in documents(log, T)] == [(4, "Trim"), (5, "Planks")]
    assert documents(log, T)[1] == planks
    assert [one.number for one in documents(log, T + 1)] == [4, 6]
