import pytest

from monitor.basis.errors import SettingsError
from monitor.config.settings import Source
from monitor.intake.topics import address, compile_topic, covering, stream_of_topic


@pytest.mark.parametrize(
    ("text", "filter_"),
    [
        ("home/{sensor}/climate", "home/+/climate"),
        ("{site}/{sensor}", "+/+"),
        ("attic", "attic"),
        ("/a//b/", "/a//b/"),
    ],
)
def test_named_levels_become_single_level_wildcards(text, filter_):
    assert compile_topic(text).filter == filter_


def test_a_match_gives_the_names():
    topic = compile_topic("home/{room}/{sensor}/climate")
    assert topic.match("home/hall/probe 7/climate") == {"room": "hall", "sensor": "probe 7"}


@pytest.mark.parametrize(
    "heard", ["home/a/climate/x", "home/climate", "HOME/a/climate", "home/a/b/climate", "xhome/a/climate"]
)
def test_a_topic_of_other_levels_does_not_match(heard):
    assert compile_topic("home/{sensor}/climate").match(heard) is None


def test_a_named_level_may_be_empty_as_in_mqtt():
    # MQTT 3.1.1 section 4.7.1.3: "+" matches an empty level
    assert compile_topic("home/{sensor}/climate").match("home//climate") == {"sensor": ""}


def test_signs_that_mean_something_to_regular_expressions_are_plain_text():
    topic = compile_topic("a.b/{sensor}/(x)*")
    assert topic.match("a.b/1/(x)*") == {"sensor": "1"}
    assert topic.match("aXb/1/(x)*") is None


@pytest.mark.parametrize(
    "text", ["", "home/+/climate", "home/{a}/#", "#/home", "home/x{sensor}", "home/{}/x", "home/{a}/{a}", "a\0b"]
)
def test_a_text_that_is_no_topic_says_how_to_write_one(text):
    with pytest.raises(SettingsError) as caught:
        compile_topic(text, where="source 1, topic")
    assert str(caught.value) == (
        f"source 1, topic: {text!r} is not a topic. Write it like home/{{sensor}}/climate, each named level once"
    )


def test_the_address_is_made_of_the_names():
    assert address("{site}-{sensor}", {"site": "north", "sensor": "7"}) == "north-7"


def test_a_name_that_looks_like_a_template_is_put_in_as_it_is():
    assert address("{a}/{b}", {"a": "{b}", "b": "x"}) == "{b}/x"


def test_an_address_of_a_name_that_the_topic_lacks_is_refused():
    with pytest.raises(SettingsError) as caught:
        address("home/{room}", {"sensor": "7"}, where="source 1, stream")
    assert str(caught.value) == (
        "source 1, stream: the address 'home/{room}' names {room}, which its topic does not. "
        "Use the names that stand in the topic"
    )


def test_the_sensor_of_a_topic_is_named_by_the_first_source_that_covers_it():
    sources = [
        Source("home/{sensor}/climate", "json", {}, "first {sensor}"),
        Source("{site}/{sensor}/climate", "json", {}, "{site} {sensor}"),
    ]
    assert stream_of_topic(sources, "home/7/climate") == "first 7"
    assert stream_of_topic(sources, "away/7/climate") == "away 7"
    assert stream_of_topic(sources, "away/7") is None


def test_a_topic_of_senml_tells_no_sensor():
    sources = [Source("senml/{sensor}", "senml", {}, "{sensor}/"), Source("{a}/{sensor}", "json", {}, "{a}/{sensor}")]
    assert stream_of_topic(sources, "senml/7") is None
    assert stream_of_topic(sources, "home/7") == "home/7"


def test_a_last_level_of_all_that_follows_is_the_sensor_and_neither_the_brokers_own_topics_nor_ours_are_heard():
    everything, flat = compile_topic("#"), compile_topic("flat7/#")
    assert (everything.filter, flat.filter) == ("#", "flat7/#")
    assert everything.match("flat7/hall/state") == {"sensor": "flat7/hall/state"}
    assert flat.match("flat7/hall/state") == {"sensor": "hall/state"}
    assert address("flat7/{sensor}", {"sensor": "hall/state"}) == "flat7/hall/state"
    for strange in ("$SYS/uptime", "wallclime/wallclime-1/job/hall/state", "file:logger", "file:attic/logger"):
        assert everything.match(strange) is None
    assert flat.match("flat8/hall") is None


def test_what_a_wider_filter_covers_is_not_asked_for_twice():
    # MQTT 3.1.1 section 3.3.5: where subscriptions overlap, a broker may send a message several times
    assert covering(["site/+/climate", "#", "wallclime/x/marker"]) == ["#"]
    assert covering(["flat7/#", "flat7/hall", "flat8/hall", "flat7/#"]) == ["flat7/#", "flat8/hall"]
    assert covering(["a/+", "b"]) == ["a/+", "b"]
