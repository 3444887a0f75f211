"""[[share]]: lists of topics that several daemons divide among them."""

import pytest

from monitor.basis.errors import SettingsError
from monitor.config.settings import load_settings
from monitor.config.shares import Share, broker_of, common, narrowed

SOURCE = (
    '[[source]]\ntopic = "site/{site}/{sensor}/climate"\nformat = "json"\ntemperature = { at = "/t", unit = "degC" }\n'
)


@pytest.fixture
def load(tmp_path):
    def load_text(text: str):
        (tmp_path / "wallclime.toml").write_text(SOURCE + text, encoding="utf-8")
        return load_settings(tmp_path, {})

    return load_text


@pytest.fixture
def faults(load, tmp_path):
    def faults_of(text: str) -> list[str]:
        with pytest.raises(SettingsError) as error:
            load(text)
        return [str(one).removeprefix(f"{tmp_path}/") for one in error.value.faults]

    return faults_of


def share(name: str, *topics: str) -> str:
    return f'[[share]]\nname = "{name}"\ntopics = {list(topics)}\n'.replace("'", '"')


def test_a_share_is_a_name_and_its_topics(load):
    assert load(share("north", "site/north/#") + share("rest", "site/east/#", "site/south/+/climate")).shares == (
        Share("north", ("site/north/#",)),
        Share("rest", ("site/east/#", "site/south/+/climate")),
    )
    assert load("").shares == ()


@pytest.mark.parametrize(
    ("one", "other", "both"),
    [
        ("site/+/climate", "site/north/climate", "site/north/climate"),
        ("site/#", "site/+/climate", "site/+/climate"),
        ("site/+/+/climate", "+/north/#", "site/north/+/climate"),
        (
            "site/#",
            "site",
            "site",
        ),  # MQTT 3.1.1 section 4.7.1.2: sport/tennis/player1/# matches sport/tennis/player1 too
        ("#", "#", "#"),
        ("site/+", "site/+/climate", None),
        ("site/north/#", "site/south/#", None),
        ("site/+", "site", None),
    ],
)
def test_what_two_filters_both_match_is_a_filter_too(one, other, both):
    assert (common(one, other), common(other, one)) == (both, both)


def test_a_share_narrows_what_the_sources_hear():
    assert narrowed(["site/north/#", "bare/7/+"], ["site/+/+/climate", "bare/+/temperature"]) == (
        "site/north/+/climate",
        "bare/7/temperature",
    )


def test_the_daemon_of_a_share_has_an_id_of_its_own_at_every_start(load):
    broker = load('[broker]\nclient_id = "house"\n').broker
    assert broker_of(broker, "north").client_id == "house-north"


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (
            share("north", "site/+/#") + share("south", "site/south/#"),
            "wallclime.toml: share 2: topics: 'site/south/#' hears 'site/south/#', and so does 'site/+/#' of share "
            "'north'. Let each topic be in one of them, so that one daemon keeps its messages",
        ),
        (
            share("north", "site/north/#", "site/+/den/climate"),
            "wallclime.toml: share 1: topics: 'site/+/den/climate' hears 'site/north/den/climate', and so does "
            "'site/north/#'. Let each topic be in one of them, so that one daemon keeps its messages",
        ),
        (
            share("north", "north/#"),
            "wallclime.toml: share 1: topics: no source has a topic like 'north/#'. Mend it, or add a [[source]] that "
            "it is a part of",
        ),
        (
            share("north", "site/north/#") + share("north", "site/south/#"),
            "wallclime.toml: share 2: name: there is a share 'north' before. Name it otherwise",
        ),
        (
            share("out", "site/#"),
            "wallclime.toml: share 1: name: 'out' can't be the name of a share. Use a-z, 0-9 and -, and not \"out\"",
        ),
        (
            share("north", "site/#/climate"),
            "wallclime.toml: share 1: topics: 'site/#/climate' is no filter of topics. Write it like \"site/north/#\"; "
            "a + stands for one level, a # at the end for all that is below",
        ),
        (
            share("north", "site/no+/x"),
            "wallclime.toml: share 1: topics: 'site/no+/x' is no filter of topics. Write it like \"site/north/#\"; "
            "a + stands for one level, a # at the end for all that is below",
        ),
        (
            '[[share]]\nname = "north"\n',
            'wallclime.toml: share 1: topics: it is missing. Add topics = ["site/north/#"]',
        ),
        ('[[share]]\ntopics = ["site/#"]\n', 'wallclime.toml: share 1: name: it is missing. Add name = "north"'),
    ],
)  # fmt: skip
def test_a_share_that_can_not_be_is_named(faults, text, told):
    assert faults(text) == [told]


def test_one_table_is_no_list_of_shares(faults):
    told = "wallclime.toml: share: these are not shares. Begin each of them with the line [[share]]"
    assert told in faults('[share]\nname = "north"\n')
