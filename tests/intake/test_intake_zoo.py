"""The payload zoo: what odd payloads become in each format; once heard, each is kept or in quarantine."""

import pytest
from hearing import FIELDS, NOW, T, listening, publish, soon

from monitor.basis.clock import SetClock
from monitor.basis.errors import PayloadError
from monitor.basis.times import DAY
from monitor.config.settings import Field, Source
from monitor.intake.payload import decode
from monitor.keep.store import open_store

SOURCES = {
    "json": Source("zoo/json/{sensor}", "json", FIELDS, "zoo/json/{sensor}"),
    "number": Source("zoo/number/{sensor}", "number", {T: Field("", "degC")}, "zoo/number/{sensor}"),
    "senml": Source("zoo/senml/{sensor}", "senml", {}, "{sensor}/"),
}
JSON_ONLY = "Send one JSON object (RFC 8259)"
PLAIN = "Send a plain number with a decimal point"
ONE = "the most is 65536. Send one reading a message"
EMPTY = "the message is empty. Nothing to do if a retained message was deleted"
IN_ITS_PLACE = "not a finite number. Send a number in its place"

# name: (format, payload, the values kept | reason and detail)
ZOO = {
    # NaN
    "json NaN": ("json", b'{"t":NaN}', "unreadable", f"NaN is not JSON. {JSON_ONLY}"),
    "number NaN": ("number", b"NaN", "not-a-number", f"NaN is not a number. {PLAIN}"),
    "senml NaN": ("senml", b'[{"n":"7/","u":"Cel","v":NaN}]', "unreadable", f"NaN is not JSON. {JSON_ONLY}"),
    # 1e999
    "json 1e999": (
        "json",
        b'{"t":1e999}',
        "not-a-number",
        "air_temperature is inf, not a finite number. Send a number, or null for no reading",
    ),
    "number 1e999": (
        "number",
        b"1e999",
        "not-a-number",
        "air_temperature is inf, not a finite number. Send a number, or null for no reading",
    ),
    "senml 1e999": (
        "senml",
        b'[{"n":"7/","u":"Cel","v":1e999}]',
        "not-a-number",
        f"record 1 has v inf, {IN_ITS_PLACE}",
    ),
    # duplicate keys
    "json twice": ("json", b'{"t":1,"t":2}', "unreadable", f"the key t stands twice. {JSON_ONLY}"),
    "senml twice": (
        "senml",
        b'[{"n":"7/","u":"Cel","v":1,"v":2}]',
        "unreadable",
        f"the key v stands twice. {JSON_ONLY}",
    ),
    # nesting
    "json nested": ("json", b"[" * 60_000, "unreadable", f"nested too deeply. {JSON_ONLY}"),
    "json nested well": ("json", b'{"x":' + b"[" * 500 + b"]" * 500 + b',"t":3}', [3.0], ""),
    "number nested": (
        "number",
        b"[" * 60_000,
        "not-a-number",
        f"{'[' * 77}... is not a number. {PLAIN}",
    ),
    "senml nested": ("senml", b"[" * 60_000, "unreadable", f"nested too deeply. {JSON_ONLY}"),
    # byte order marks
    "json BOM": ("json", b'\xef\xbb\xbf{"t":4}', [4.0], ""),
    "number BOM": ("number", b"\xef\xbb\xbf5", [5.0], ""),
    "senml BOM": ("senml", b'\xef\xbb\xbf[{"n":"7/","u":"Cel","v":6}]', [6.0], ""),
    "json UTF-16": ("json", '{"t":1}'.encode("utf-16"), "unreadable", "byte 0 is not UTF-8. Send text in UTF-8"),
    # texts for numbers
    "json text": (
        "json",
        b'{"t":"21.5"}',
        "not-a-number",
        "air_temperature is 21.5, a text. Send the number without quotes",
    ),
    "number text": ("number", b'"21.5"', "not-a-number", f'"21.5" is not a number. {PLAIN}'),
    "senml text": (
        "senml",
        b'[{"n":"7/","u":"Cel","v":"21.5"}]',
        "not-a-number",
        f"record 1 has v 21.5, {IN_ITS_PLACE}",
    ),
    # 300 kB
    "json 300 kB": (
        "json",
        b'{"t":1}' + b" " * 300_000,
        "too-large",
        f"300007 bytes, {ONE}",
    ),
    "number 300 kB": (
        "number",
        b"1" * 300_000,
        "too-large",
        f"300000 bytes, {ONE}",
    ),
    "senml 300 kB": (
        "senml",
        b"[" + b" " * 300_000 + b"]",
        "too-large",
        f"300002 bytes, {ONE}",
    ),
    "number 60 kB": (
        "number",
        b"1" * 60_000,
        "not-a-number",
        "air_temperature is inf, not a finite number. Send a number, or null for no reading",
    ),
    # not UTF-8
    "json not UTF-8": ("json", b'{"t":1,"x":"\xff"}', "unreadable", "byte 12 is not UTF-8. Send text in UTF-8"),
    "number not UTF-8": ("number", b"21.5\xb0C", "unreadable", "byte 4 is not UTF-8. Send text in UTF-8"),
    "senml not UTF-8": ("senml", b'[{"n":"\xc3"}]', "unreadable", "byte 7 is not UTF-8. Send text in UTF-8"),
    # null bytes
    "json NUL": ("json", b'{"t":1}\x00', "unreadable", f"not JSON: Extra data at character 8. {JSON_ONLY}"),
    "json only NUL": ("json", bytes(16), "unreadable", f"not JSON: Expecting value at character 1. {JSON_ONLY}"),
    "number NUL": ("number", b"21.5\x00", "not-a-number", f"'21.5\\x00' is not a number. {PLAIN}"),
    "senml NUL": (
        "senml",
        b'[{"n":"7/\\u0000","u":"Cel","v":1}]',
        "wrong-name",
        "record 1 has the name '7/\\x00'. Use letters, digits and - : . / _, and begin with a letter or digit "
        "(RFC 8428 section 4.5.1)",
    ),
    # nothing
    "json empty": ("json", b"", "unreadable", EMPTY),
    "number empty": ("number", b"", "unreadable", EMPTY),
    "senml empty": ("senml", b"", "unreadable", EMPTY),
    "json null": ("json", b"null", "no-quantity", "there is no value at '/t', '/h'. Check the pointers of its source"),
    "number null": ("number", b"null", "not-a-number", f"null is not a number. {PLAIN}"),
    "senml null": (
        "senml",
        b"null",
        "unreadable",
        "it is no list of records. Send a JSON array of SenML records (RFC 8428)",
    ),
}


@pytest.mark.parametrize("name", ZOO)
def test_every_animal_of_the_zoo_is_kept_or_refused_with_its_reason(name):
    form, payload, outcome, detail = ZOO[name]
    moment = {"arrival": NOW, "now": NOW, "trusted_live": True, "retained": False, "back_fill": DAY, "newest": None}

    def read():
        return decode(SOURCES[form], f"zoo/{form}/7", payload, **moment)

    if isinstance(outcome, list):
        assert [reading.value for reading in read()] == outcome
        return
    with pytest.raises(PayloadError) as caught:
        read()
    assert (caught.value.reason, str(caught.value)) == (outcome, f"zoo/{form}/7: {detail}")


@pytest.fixture
def store(tmp_path):
    with open_store(f"sqlite:///{tmp_path}/store.db", clock=SetClock(NOW), link=lambda _before, _entry: b"") as opened:
        yield opened


@pytest.mark.usefixtures("in_a_hurry")
def test_the_whole_zoo_over_a_broker_is_in_the_store_as_readings_or_in_quarantine_with_its_bytes(mosquitto, store):
    sent = {f"zoo/{form}/{number}": animal for number, (form, *animal) in enumerate(ZOO.values())}
    own = {topic: f'"{topic.rpartition("/")[2]}/'.encode() for topic in sent}  # what a name of SenML begins with
    of_senml = {topic: (payload.replace(b'"7/', own[topic]), *rest) for topic, (payload, *rest) in sent.items()}
    with listening(mosquitto, store.keep_readings, sources=list(SOURCES.values())) as listener:
        publish(mosquitto, *[(topic, payload) for topic, (payload, *_) in of_senml.items()])
        soon(lambda: listener.status.kept + listener.status.refused == len(ZOO))
    kept = {heard.stream for heard in store.heard()}
    assert len(kept) == sum(isinstance(outcome, list) for _, _, outcome, _ in ZOO.values())
    found = {row.topic: (row.reason, row.raw) for row in store.quarantine()}
    assert found == {
        topic: (outcome, payload[:65_536])
        for topic, (payload, outcome, _) in of_senml.items()
        if not isinstance(outcome, list)
    }


@pytest.mark.usefixtures("in_a_hurry")
def test_an_unstamped_retained_message_that_comes_at_every_link_raises_its_count_and_nothing_else(mosquitto, store):
    publish(mosquitto, ("zoo/json/7", b'{"t":21.5}', 1, True))
    for number in range(1, 5):
        with listening(mosquitto, store.keep_readings, sources=[SOURCES["json"]]) as listener:
            soon(lambda listener=listener: listener.status.refused == 1)
        (row,) = store.quarantine()
        assert (row.reason, row.count) == ("time-unknown", number)
    assert store.heard() == []
