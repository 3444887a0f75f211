"""[broker] and [[broker]]: defaults, names, TLS files, passwords, and every fault with its mend."""

import pytest

from monitor.basis.times import MINUTE, SECOND
from monitor.config.brokers import Broker, Tls

JSON = 'format = "json"\ntemperature = { at = "/t", unit = "degC" }\n'
TWO = '[[broker]]\nname = "attic"\n[[broker]]\nname = "barn"\nhost = "barn.invalid"\n'


@pytest.fixture
def pem(tmp_path):
    """A function that makes a file in the home, which only its owner can read."""

    def make(name, mode=0o600):
        path = tmp_path / name
        path.write_text("-----BEGIN CERTIFICATE-----\n")
        path.chmod(mode)
        return path

    return make


# --- one broker


def test_one_broker_is_a_table_and_needs_no_name(load):
    found = load('[broker]\nhost = "broker.invalid"\nkeepalive = "20 s"\nprotocol = "5"')
    assert found.brokers == (
        Broker("broker.invalid", 1883, found.broker.client_id, None, None, 20 * SECOND, "", "5", None),
    )
    assert found.broker == found.brokers[0]
    assert found.sources_at(found.broker) == found.sources


@pytest.mark.parametrize("text", ["", "[broker]", "broker = []", "broker = {}"])
def test_a_broker_that_says_nothing_is_the_local_one(load, text):
    (found,) = load(text).brokers
    assert (found.host, found.port, found.keepalive, found.protocol, found.tls) == (
        "127.0.0.1", 1883, MINUTE, "3.1.1", None,
    )  # fmt: skip


@pytest.mark.parametrize("text", ['broker = "x"', "broker = 3", "broker = [3]"])
def test_what_is_no_table_is_told(faults_of, text):
    (fault,) = faults_of(text)
    assert fault.startswith("broker: ")
    assert fault.endswith(" is not a table. Write [broker], and its keys on the lines below it")


# --- TLS


def test_tls_alone_trusts_whom_the_computer_trusts_and_takes_the_port_of_tls(load):
    # IANA service names: secure-mqtt 8883
    found = load("[broker]\ntls = true").broker
    assert (found.tls, found.port) == (Tls(None, None, None), 8883)
    assert load("[broker]\ntls = true\nport = 1883").broker.port == 1883


def test_the_files_of_tls_stand_in_the_home_or_where_their_whole_path_says(load, pem, tmp_path):
    ca, cert, key = pem("ca.pem"), pem("our.pem"), pem("our.key")
    text = f'[broker]\ntls = true\nca_file = "ca.pem"\ncert_file = "our.pem"\nkey_file = "{key}"'
    assert load(text).broker.tls == Tls(ca, cert, key)


def test_every_fault_of_the_tls_files_is_told(faults_of, pem, tmp_path):
    pem("our.pem")
    (tmp_path / "folder").mkdir()
    text = '[broker]\ntls = true\nca_file = "gone.pem"\ncert_file = "our.pem"\nkey_file = "folder"'
    assert faults_of(text) == [
        f"broker.ca_file: {tmp_path}/gone.pem can't be read: No such file or directory. Check the path and its rights",
        f"broker.key_file: {tmp_path}/folder can't be read: Is a directory. Check the path and its rights",
    ]


@pytest.mark.parametrize(
    ("given", "missing", "what"),
    [
        ("cert_file", "key_file", "the private key of cert_file"),
        ("key_file", "cert_file", "the certificate of key_file"),
    ],
)
def test_a_certificate_and_its_key_go_together(faults_of, pem, given, missing, what):
    pem("our.pem")
    assert faults_of(f'[broker]\ntls = true\n{given} = "our.pem"') == [
        f'broker.{missing}: it is missing. Add {missing} = "FILE", {what}'
    ]


def test_a_key_that_every_user_can_read_is_refused_and_a_certificate_is_not(load, faults_of, pem):
    pem("our.pem", 0o644)
    key = pem("our.key", 0o644)
    text = '[broker]\ntls = true\ncert_file = "our.pem"\nkey_file = "our.key"'
    assert faults_of(text) == [f"broker.key_file: {key} can be read by every user. Run: chmod o-rwx {key}"]
    key.chmod(0o640)
    assert load(text).broker.tls is not None


def test_files_without_tls_are_refused_lest_somebody_takes_the_link_for_secret(faults_of, pem):
    pem("ca.pem")
    for tls in ("", "tls = false\n"):
        assert faults_of(f'[broker]\n{tls}ca_file = "ca.pem"') == [
            "broker.ca_file: it has no use without TLS. Add tls = true, or take it out"
        ]


def test_what_is_neither_true_nor_false_is_told_once(faults_of, pem):
    pem("ca.pem")
    assert faults_of('[broker]\ntls = "yes"\nca_file = "ca.pem"\nprotocol = 5') == [
        "broker.tls: 'yes' is neither true nor false. Write true or false, without quotes",
        """broker.protocol: 5 is not known. Did you mean "5"?""",
    ]


# --- several brokers


def test_several_brokers_each_hear_their_sources_and_the_first_those_that_name_none(load):
    topics = "".join(
        f'[[source]]\ntopic = "{topic}/{{sensor}}"\n{JSON}{broker}'
        for topic, broker in (("a", ""), ("b", 'broker = "barn"\n'), ("c", 'broker = "attic"\n'))
    )
    found = load(TWO + topics)
    assert [(one.name, one.host) for one in found.brokers] == [("attic", "127.0.0.1"), ("barn", "barn.invalid")]
    assert found.broker.name == "attic"
    heard = [[source.topic for source in found.sources_at(broker)] for broker in found.brokers]
    assert heard == [["a/{sensor}", "c/{sensor}"], ["b/{sensor}"]]


def test_one_topic_may_be_heard_at_two_brokers_but_not_twice_at_one(load, faults_of):
    one = f'[[source]]\ntopic = "a/{{sensor}}"\n{JSON}'
    assert len(load(f'{TWO}{one}{one}broker = "barn"\n').sources) == 2
    assert faults_of(TWO + one + one) == ["source 2: topic: source 1 hears the same messages. Make one of the two"]


def test_a_source_that_names_the_first_broker_hears_the_same_as_one_that_names_none(faults_of):
    one = f'[[source]]\ntopic = "a/{{sensor}}"\n{JSON}'
    assert faults_of(f'{TWO}{one}{one}broker = "attic"\n') == [
        "source 2: topic: source 1 hears the same messages. Make one of the two"
    ]


def test_a_broker_that_nobody_has_named_is_told(faults_of):
    text = f'[[source]]\ntopic = "a/{{sensor}}"\nbroker = "cellar"\n{JSON}'
    assert (
        faults_of(TWO + text)
        == faults_of(text)
        == ["source 1: broker: there is no broker 'cellar'. Give one of them that name: name = \"cellar\""]
    )


def test_every_fault_of_several_brokers_is_told_at_once(faults_of):
    assert faults_of(
        """
[[broker]]
name = "Attic"
port = 0
[[broker]]
hots = "broker.invalid"
password = "s3cret"
"""
    ) == [
        "broker 1: name: 'Attic' can't be the name of a broker. Use a-z, 0-9 and -",
        "broker 1: port: 0 is outside 1 to 65535. Give one within them",
        'broker 2: hots: there is no such key. Did you mean "host"?',
        "broker 2: password: a password does not stand in this file. "
        "Give $WALLCLIME_BROKER_PASSWORD_NAME or a password_file",
    ]


def test_several_brokers_need_names_of_their_own_and_are_not_one_broker_twice(faults_of):
    assert faults_of(
        '[[broker]]\n[[broker]]\nname = "barn"\nclient_id = "x"\n[[broker]]\nname = "barn"\nport = 1884'
    ) == [
        'broker 1: name: it is missing. Add name = "attic"',
        "broker 3: name: broker 2 has the name 'barn' too. Give each a name of its own",
    ]
    assert faults_of('[[broker]]\nname = "attic"\n[[broker]]\nname = "barn"') == [
        "broker 2: client_id: it is broker 1, with the same client_id. Give each a client_id of its own, or make one"
    ]


def test_each_of_several_brokers_has_a_password_of_its_own(load, faults_of):
    text = '[[broker]]\nname = "attic"\nuser = "a"\n[[broker]]\nname = "old-barn"\nhost = "barn.invalid"\nuser = "b"\n'
    environ = {"WALLCLIME_BROKER_PASSWORD_ATTIC": "one", "WALLCLIME_BROKER_PASSWORD_OLD_BARN": "two"}
    assert [broker.password for broker in load(text, environ).brokers] == ["one", "two"]
    assert [broker.password for broker in load(text, {"WALLCLIME_BROKER_PASSWORD": "x"}).brokers] == [None, None]
    assert faults_of(text.replace('user = "b"\n', ""), environ) == [
        'broker 2: user: there is a password, but no user. Add user = "NAME"'
    ]


def test_a_list_of_one_broker_is_as_the_table(load):
    listed, table = load('[[broker]]\nhost = "h.invalid"'), load('[broker]\nhost = "h.invalid"')
    assert listed == table
    secret = {"WALLCLIME_BROKER_PASSWORD": "x"}
    assert load('[[broker]]\nuser = "u"', secret).broker.password == "x"
