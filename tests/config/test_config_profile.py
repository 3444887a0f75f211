"""Profiles: what a file may say, what it leaves out, every fault at once, and what a job freezes."""

import hashlib
import re
import tomllib
from importlib import resources

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from monitor.basis.errors import ProfileError
from monitor.basis.times import HOUR, MINUTE
from monitor.config import tables
from monitor.config.profile import (
    Band,
    Profile,
    builtin_profiles,
    load_profile,
    profile_from_text,
)

COMMON = "common practice, no published source; the maker's own instructions and local code come first"
OURS = "ours, no published source"
BUILT_IN = resources.files("monitor.config") / "profiles" / "laminate-planks.toml"


@pytest.fixture
def profile_file(tmp_path):
    """A function that writes a profile file and gives its path as text."""

    def write(text, name="planks.toml"):
        path = tmp_path / name
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return str(path)

    return write


def refusal(name, **options):
    with pytest.raises(ProfileError) as caught:
        load_profile(name, **options)
    return str(caught.value)


@pytest.fixture
def faults_of(profile_file):
    """A function that gives the faults of a profile file without the file's name."""

    def faults(text):
        path = profile_file(text)
        return [line.removeprefix(f"{path}: ") for line in refusal(path).splitlines()]

    return faults


# --- the built-in profile ---------------------------------------------------------------------------------------------


def test_the_built_in_profile_has_the_figures_of_the_trade():
    # the default profile: common practice, no published source
    profile = load_profile("laminate-planks")
    assert profile.name == "laminate planks, interior wall"
    assert profile.band.humidity == (35.0, 65.0)
    assert profile.band.temperature == pytest.approx(((60 - 32) / 1.8, (85 - 32) / 1.8), abs=1e-9)
    assert profile.life == profile.band
    assert profile.acclimation.required == 48 * HOUR
    assert profile.wall.max_length == pytest.approx(40 * 0.3048, abs=1e-12)
    assert profile.wall.max_height == pytest.approx(10 * 0.3048, abs=1e-12)
    assert profile.wall.flatness == profile.wall.edge_gap == pytest.approx(3 / 16 * 0.0254, abs=1e-12)
    assert profile.wall.extra == pytest.approx(0.10, abs=1e-12)
    assert profile.wall.stagger_least == pytest.approx(8 * 0.0254, abs=1e-12)
    assert profile.wall.stagger_usual == pytest.approx((8 * 0.0254, 12 * 0.0254), abs=1e-12)
    assert "unopened" in profile.boxes
    assert "not near sources of water" in profile.place


def test_a_third_of_a_plank_is_a_third():
    assert load_profile("laminate-planks").take_off.narrow_share == 1 / 3


def test_the_built_in_figures_of_the_take_off_are_those_of_the_trade():
    # common practice, no published source; a fluid ounce is 29.5735295625 ml (NIST Handbook 44, Appendix C)
    figures = load_profile("laminate-planks").take_off
    assert figures.opening_deducted_over == pytest.approx(0.92903040, abs=1e-12)
    assert figures.cartridge == pytest.approx(28 * 29.5735295625e-6, abs=1e-12)
    assert (figures.narrow_least, figures.kerf) == pytest.approx((0.0508, 0.003175), abs=1e-12)
    assert (figures.damage, figures.for_repairs) == (0.05, 1)


def test_the_built_in_rule_of_the_clock_and_of_quality_is_ours():
    profile = load_profile("laminate-planks")
    clock, quality = profile.acclimation, profile.quality
    assert (clock.reset_after_out, clock.reset_after_unknown, clock.settle) == (60 * MINUTE, 120 * MINUTE, 30 * MINUTE)
    assert (quality.spike_temperature, quality.spike_humidity) == (3.0, 10.0)
    assert (quality.rate_temperature, quality.rate_humidity) == (1.0, 10.0)
    assert (quality.flat_together, quality.flat_together_readings, quality.flat_alone) == (8 * HOUR, 8, 24 * HOUR)
    assert profile.readiness.instrument == "maker"
    assert profile.readiness.box_core_within == pytest.approx(3 / 1.8, abs=1e-12)


def test_every_figure_of_the_built_in_profile_says_where_it_comes_from():
    profile = load_profile("laminate-planks")
    ours = {key for key, source in profile.sources.items() if source == OURS}
    assert {key for key in ours if not key.startswith(("quality.", "readiness.", "surface."))} == {
        "acclimation.reset_after_out",
        "acclimation.reset_after_unknown",
        "acclimation.settle",
        "board.came_at",
        "site.above_dry",
        "site.check_holds",
        "site.moisture_holds",
    }
    others = {key for key, source in profile.sources.items() if key not in ours and source != COMMON}
    assert {key for key in others if not key.startswith("board.")} == {"surface.temperature_factor"}
    written = {name: table for name, table in tomllib.loads(profile.text).items() if isinstance(table, dict)}
    del written["sources"]
    assert profile.sources.keys() == {"boxes", "place"} | {f"{name}.{key}" for name in written for key in written[name]}


def test_a_built_in_profile_is_found_by_its_short_and_its_full_name():
    assert builtin_profiles() == ["laminate-planks"]
    assert load_profile("laminate planks, interior wall") == load_profile("laminate-planks")


def test_the_built_in_file_can_be_copied_and_used(profile_file):
    assert load_profile(profile_file(BUILT_IN.read_bytes())) == load_profile("laminate-planks")


def test_every_figure_of_the_built_in_file_is_explained_by_a_comment_above_its_table():
    lines = BUILT_IN.read_text(encoding="utf-8").splitlines()
    for number, line in enumerate(lines):
        if line.startswith("["):
            assert lines[number - 1].startswith("#"), line


# --- a file of one's own ----------------------------------------------------------------------------------------------


def test_the_file_of_the_manual_is_read(profile_file):
    # the least that a profile file says, as users are told
    profile = load_profile(
        profile_file(
            """
name = "laminate planks, interior wall"
[band]
humidity = ["35 %", "65 %"]
temperature = ["60 degF", "85 degF"]
[acclimation]
hours = 48
reset_after_out = "60 min"
reset_after_unknown = "120 min"
settle = "30 min"
"""
        )
    )
    built_in = load_profile("laminate-planks")
    assert (profile.band, profile.life, profile.acclimation) == (built_in.band, built_in.life, built_in.acclimation)
    assert profile.wall == built_in.wall


def test_an_empty_file_is_the_built_in_profile(profile_file):
    assert load_profile(profile_file("")) == load_profile("laminate-planks")


def test_a_byte_order_mark_is_no_fault(profile_file):
    assert load_profile(profile_file(b"\xef\xbb\xbf" + b'name = "x"\n')).name == "x"


def test_the_life_band_is_the_band_until_it_is_set(profile_file):
    profile = load_profile(
        profile_file('[band]\nhumidity = ["30 %", "60 %"]\n[life]\ntemperature = ["15 degC", "30 degC"]')
    )
    assert profile.band.humidity == (30.0, 60.0)
    assert profile.life == Band(humidity=(30.0, 60.0), temperature=(15.0, 30.0))


def test_hours_may_be_fractional(profile_file):
    assert load_profile(profile_file("[acclimation]\nhours = 47.5")).acclimation.required == 47 * HOUR + 30 * MINUTE


def test_all_three_limits_at_zero_ask_for_continuous_hours(profile_file):
    clock = load_profile(
        profile_file('acclimation = { reset_after_out = "0 min", reset_after_unknown = "0 h", settle = "0 s" }')
    ).acclimation
    assert (clock.reset_after_out, clock.reset_after_unknown, clock.settle) == (0, 0, 0)


def test_a_changed_figure_loses_its_source_and_the_others_keep_theirs(profile_file):
    profile = load_profile(profile_file('[band]\nhumidity = ["30 %", "60 %"]'))
    assert "band.humidity" not in profile.sources
    assert "life.humidity" not in profile.sources
    assert profile.sources["band.temperature"] == COMMON
    assert profile.sources["acclimation.hours"] == COMMON


@pytest.mark.parametrize(
    "sources",
    [
        '[sources]\n"band.humidity" = "sheet 7"',
        '[sources]\nband.humidity = "sheet 7"',
        '[sources.band]\nhumidity = "sheet 7"',
    ],
)
def test_a_source_may_be_given_for_one_figure_in_every_way_of_toml(profile_file, sources):
    profile = load_profile(profile_file(f'[band]\nhumidity = ["30 %", "60 %"]\n{sources}'))
    assert profile.sources["band.humidity"] == profile.sources["life.humidity"] == "sheet 7"
    assert profile.sources["band.temperature"] == COMMON


def test_a_source_of_a_whole_table_holds_for_its_figures_that_have_none_of_their_own(profile_file):
    text = '[wall]\nedge_gap = "10 mm"\n[sources]\nwall = "sheet 7"\n"wall.flatness" = "sheet 8"'
    sources = load_profile(profile_file(text)).sources
    assert sources["wall.edge_gap"] == sources["wall.extra"] == "sheet 7"
    assert sources["wall.flatness"] == "sheet 8"
    assert "wall" not in sources


def test_a_relative_path_is_looked_for_here_and_then_in_the_folder_near(tmp_path, monkeypatch, profile_file):
    profile_file('name = "in the home"')
    here = tmp_path / "here"
    here.mkdir()
    monkeypatch.chdir(here)
    assert load_profile("planks.toml", near=tmp_path).name == "in the home"
    (here / "planks.toml").write_text('name = "here"', encoding="utf-8")
    assert load_profile("planks.toml", near=tmp_path).name == "here"


# --- what a job freezes -----------------------------------------------------------------------------------------------


def test_the_text_is_the_whole_profile_and_says_nothing_of_the_file(profile_file):
    text = '[acclimation]\nhours = 72\n# a remark\n[sources]\nwall = "sheet 7"\n'
    one, other = load_profile(profile_file(text)), load_profile(profile_file(text, "other.toml"))
    assert one == other
    expected = load_profile("laminate-planks").text.replace("hours = 48", "hours = 72")
    expected = expected.replace(f'"acclimation.hours" = "{COMMON}"\n', "")
    assert one.text == re.sub(r'"(wall\..*)" = ".*"', r'"\1" = "sheet 7"', expected)


def test_the_hash_is_that_of_the_texts_utf_8_bytes(profile_file):
    profile = load_profile(profile_file('name = "Täfelung"'))
    assert profile.sha256 == hashlib.sha256(profile.text.encode("utf-8")).hexdigest()


def test_a_frozen_profile_does_not_change_with_the_built_in_one(monkeypatch, profile_file):
    from monitor.config import profile as module

    frozen = load_profile(profile_file("[acclimation]\nhours = 72"))
    later = tables.read(tables.toml_table(frozen.text.replace('"65 %"', '"55 %"'), "later"), module._READERS, "later")[
        0
    ]
    monkeypatch.setattr(module, "_built_in", lambda: later)
    assert profile_from_text(frozen.text, where="log of den") == frozen
    assert load_profile(profile_file("")).band.humidity == (35.0, 55.0)


def test_a_key_younger_than_a_frozen_text_has_its_built_in_value_and_the_hash_stays():
    whole = load_profile("laminate-planks")
    older = whole.text.replace('settle = "30 min"\n', "")
    read = profile_from_text(older, where="log of den")
    assert read.acclimation == whole.acclimation
    assert read.text == older
    assert read.sha256 == hashlib.sha256(older.encode()).hexdigest()


def test_a_frozen_text_that_cannot_be_read_is_told_with_its_place():
    with pytest.raises(ProfileError) as caught:
        profile_from_text("hours = 48", where="log of den")
    assert str(caught.value) == 'log of den: hours: there is no such key. Did you mean "acclimation.hours"?'


def degrees(low, high):
    return st.builds(lambda value, unit: f"{value} {unit}", st.integers(low, high), st.sampled_from(["degC", "°C"]))


minutes = st.integers(0, 600)
texts = st.text(min_size=1, max_size=20).filter(str.strip)


@given(
    name=texts.filter(str.isprintable),
    place=texts,
    humidity=st.tuples(st.integers(0, 49), st.integers(50, 100)),
    hours=st.integers(1, 200) | st.floats(0.001, 200),
    limits=st.tuples(minutes, minutes).map(sorted),
)
@example(name='"\\', place="\x7f\t\r\n\\u0041 é 😀 ''' \x00", humidity=(0, 100), hours=1e-3, limits=[0, 0])
@settings(max_examples=60)
def test_what_is_frozen_is_read_back_equal(tmp_path_factory, name, place, humidity, hours, limits):
    path = tmp_path_factory.mktemp("profile") / "planks.toml"
    given_text = tables.toml_text(
        {
            "name": name,
            "place": place,
            "band.humidity": [f"{value} %" for value in humidity],
            "acclimation.hours": hours,
            "acclimation.reset_after_out": f"{limits[0]} min",
            "acclimation.reset_after_unknown": f"{limits[1]} min",
            "sources.band.humidity": name,
        }
    )
    path.write_bytes(given_text.encode())
    profile = load_profile(str(path))
    assert (profile.name, profile.place) == (name, place)
    assert profile.acclimation.required == round(hours * HOUR)
    assert profile_from_text(profile.text, where="log") == profile
    path.write_bytes(profile.text.encode())
    assert load_profile(str(path)) == profile


# --- faults -----------------------------------------------------------------------------------------------------------


def test_every_fault_of_a_file_is_told_at_once(faults_of):
    assert faults_of(
        """
nam = "planks"
boxes = ""
[band]
humidity = ["65 %", "35 %"]
temperature = ["60 degF", 85]
[bands]
[acclimation]
hours = 0
reset_after_out = "90 min"
reset_after_unknown = "60 min"
settle = "-3 min"
[quality]
spike_humidity = "10 K"
flat_together_readings = 8.5
rate_temperature = "1 K"
[wall]
extra = 10
edge_gap = "3/16"
max_length = "40 km"
[readiness]
instrument = "lab"
[sources]
"band.humidty" = "sheet 7"
wall = 7
"""
    ) == [
        'nam: there is no such key. Did you mean "name"?',
        "boxes: '' is not a text. Write a sentence in quotes",
        "band.humidity: '65 %' is not below '35 %'. Write the lower one first",
        """band.temperature: 85 is not a quantity with its unit. Write it in quotes, from "-40 degC" to "85 degC\"""",
        'bands: there is no such key. Did you mean "band"?',
        "acclimation.hours: 0 is outside 0.001 to 8784. Give one within them",
        """acclimation.settle: '-3 min' is not a duration. Write it like "30 min", "48 h" or "7 d\"""",
        """quality.spike_humidity: '10 K' is not a percentage. Write it like "45 %\"""",
        "quality.flat_together_readings: 8.5 is not a whole number. Write a whole number from 2 to 1000000",
        'quality.rate_temperature: there is no such key. Did you mean "quality.rate_temperature_per_min"?',
        """wall.extra: 10 is not a quantity with its unit. Write it in quotes, from "0 %" to "100 %\"""",
        """wall.edge_gap: '3/16' is not a length. Write it like "3/16 in", "16 ft 4 in" or "4.2 m\"""",
        """wall.max_length: '40 km' is not a length. Write it like "3/16 in", "16 ft 4 in" or "4.2 m\"""",
        """readiness.instrument: 'lab' is not known. Did you mean "laboratory"?""",
        'sources.band.humidty: there is no such key. Did you mean "sources.band.humidity"?',
        "sources.wall: 7 is not a line of text. Write one line in quotes",
        "acclimation.reset_after_unknown: '60 min' is below acclimation.reset_after_out, '90 min'. "
        "Raise it or lower the other; a key that is left out has its built-in value",
    ]


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("[board]\nlengths = []", "board.lengths: [] is not a list. Write one value or more in brackets"),
        (
            "[board]\ndiffusivity = [2e-10, 5e-11, 4e-10]",
            "board.diffusivity: [2e-10, 5e-11, 4e-10] does not rise. Write the lowest first",
        ),
        (
            "[board]\ndiffusivity = [2e-10]",
            "board.diffusivity: [2e-10] is not 3 values. Write 3 values in brackets, the lowest first",
        ),
        (
            '[board]\ncore = "oak"',
            "board.core: 'oak' is not known. Known here: HDF, plywood, solid wood, PVC or mineral",
        ),
        (
            '[take_off]\nnarrow_share = "1/0"',
            "take_off.narrow_share: '1/0' is no part of a whole. Write it like \"1/3\" or 0.3",
        ),
        (
            '[take_off]\nopening_deducted_over = "10 ft"',
            'take_off.opening_deducted_over: \'10 ft\' is not an area. Write it like "10 sq ft" or "1 m2"',
        ),
        (
            '[take_off]\ncartridge = "10 oz"',
            'take_off.cartridge: \'10 oz\' is not a volume. Write it like "28 fl oz" or "310 ml"',
        ),
        ('[band]\nhumidity = ["35 %", "35 %"]', "band.humidity: '35 %' is not below '35 %'. Write the lower one first"),
        ('[band]\nhumidity = ["-1 %", "65 %"]', "band.humidity: '-1 %' is outside 0 % to 100 %. Give one within them"),
        (
            '[band]\ntemperature = ["60 K", "85 K"]',
            "band.temperature: '60 K' is outside -40 degC to 85 degC. Give one within them",
        ),
        (
            '[band]\nhumidity = "35 % to 65 %"',
            "band.humidity: '35 % to 65 %' is not a pair. Write two values in brackets, the lower one first",
        ),
        (
            '[band]\nhumidity = ["35 %"]',
            "band.humidity: ['35 %'] is not a pair. Write two values in brackets, the lower one first",
        ),
        ('[life]\nhumidity = ["65 %", "35 %"]', "life.humidity: '65 %' is not below '35 %'. Write the lower one first"),
        (
            "[acclimation]\nhours = true",
            "acclimation.hours: True is not a number. Write a number from 0.001 to 8784, without quotes",
        ),
        ("[acclimation]\nhours = nan", "acclimation.hours: nan is outside 0.001 to 8784. Give one within them"),
        ("[acclimation]\nhours = -48", "acclimation.hours: -48 is outside 0.001 to 8784. Give one within them"),
        (
            '[acclimation]\nhours = "48 h"',
            "acclimation.hours: '48 h' is not a number. Write a number from 0.001 to 8784, without quotes",
        ),
        (
            '[acclimation]\nreset_after_out = "3 h"',
            "acclimation.reset_after_unknown: '120 min' is below acclimation.reset_after_out, '3 h'. "
            "Raise it or lower the other; a key that is left out has its built-in value",
        ),
        (
            '[wall]\nstagger_least = "10 in"',
            "wall.stagger_usual: ['8 in', '12 in'] is below wall.stagger_least, '10 in'. "
            "Raise it or lower the other; a key that is left out has its built-in value",
        ),
        (
            "[quality]\nflat_together_readings = 1",
            "quality.flat_together_readings: 1 is outside 2 to 1000000. Give one within them",
        ),
        (
            '[quality]\nspike_temperature = "0 K"',
            "quality.spike_temperature: '0 K' is outside 0.1 K to 100 K. Give one within them",
        ),
        ('name = ""', "name: '' is not a line of text. Write one line in quotes"),
        ('name = "two\\nlines"', "name: 'two\\nlines' is not a line of text. Write one line in quotes"),
        ("place = 3", "place: 3 is not a text. Write a sentence in quotes"),
        ("band = 3", "band: 3 is not a table. Write [band], and its keys on the lines below it"),
        ("[name]\nx = 3", "name: {'x': 3} is not a line of text. Write one line in quotes"),
        (
            'band.humidity = ["35 %", "60 %"]\n"band.humidity" = ["35 %", "65 %"]',
            "band.humidity: it is given twice. Keep one of the two",
        ),
        (
            '[readiness]\ninstrument = "none"',
            "readiness.instrument: 'none' is not known. Known here: maker, side by side, salt, laboratory",
        ),
        (
            "zzz = 1",
            "zzz: there is no such key. "
            "Known here: name, boxes, place, band, life, acclimation, quality, wall, board, surface, take_off, "
            "site, care, readiness, sources",
        ),
    ],
)
def test_a_fault_names_the_key_the_value_and_the_mend(faults_of, text, fault):
    assert faults_of(text) == [fault]


def test_a_limit_that_cannot_be_read_is_not_compared_too(faults_of):
    assert faults_of('[acclimation]\nreset_after_out = "3 h"\nreset_after_unknown = "long"') == [
        """acclimation.reset_after_unknown: 'long' is not a duration. Write it like "30 min", "48 h" or "7 d\""""
    ]


def test_what_is_not_toml_is_told_with_its_line_and_column(faults_of):
    assert faults_of('name = "x"\nhours 48\n') == [
        "this is not TOML: Expected '=' after a key in a key/value pair (at line 2, column 7). "
        "Mend the file there; a text stands in quotes, a table's name in [brackets]"
    ]
    assert "this is not TOML" in faults_of("a = " + "[" * 100_000)[0]
    assert "this is not TOML" in faults_of("a = " + "9" * 5_000)[0]


def test_a_very_deep_table_is_an_unknown_key(faults_of):
    assert "there is no such key" in faults_of(f"{'.'.join('a' * 500)} = 1")[0]


def test_a_file_that_is_not_utf_8_is_refused(faults_of):
    assert faults_of(b'name = "T\xe4felung"') == ["byte 9 is not UTF-8. Save the file as UTF-8 text"]


def test_a_file_that_is_not_there_is_refused(tmp_path):
    path = str(tmp_path / "planks.toml")
    assert refusal(path) == (
        f"{path}: the file can't be read: No such file or directory. Check the path and its rights"
    )


def test_a_folder_is_no_profile(tmp_path):
    assert (
        refusal(str(tmp_path)) == f"{tmp_path}: the file can't be read: Is a directory. Check the path and its rights"
    )


def test_a_name_that_is_not_known_gets_the_nearest_one():
    assert refusal("laminate-plank") == (
        "laminate-plank: there is no such profile. "
        'Give the path of a .toml file or a built-in name. Did you mean "laminate-planks"?'
    )
    assert refusal("oak") == (
        "oak: there is no such profile. Give the path of a .toml file or a built-in name. Known here: laminate-planks"
    )


@given(st.text() | st.binary().map(lambda raw: raw.decode("latin-1")))
@example("\x00 = 1")
def test_any_text_is_a_profile_or_a_list_of_faults(text):
    try:
        read = profile_from_text(text, where="planks.toml")
    except ProfileError as exc:
        lines = str(exc).splitlines()
        read = None
    else:
        lines = ["planks.toml: whole"]
    assert lines[0].startswith("planks.toml: ")
    assert read is None or isinstance(read, Profile)
