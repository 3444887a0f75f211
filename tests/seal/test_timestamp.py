"""RFC 3161 time-stamps, from an authority that OpenSSL plays on this computer; no network."""

import subprocess
from pathlib import Path

import pytest
from record_scene import contents_of, recorded

from monitor.basis.errors import RecordError
from monitor.seal import bundle, timestamp
from monitor.seal.verify import verify

CONFIG = """
[req]
distinguished_name = dn
prompt = no
x509_extensions = root
[dn]
CN = Invented authority
[root]
basicConstraints = critical, CA:TRUE
keyUsage = critical, keyCertSign
subjectKeyIdentifier = hash
[tsa]
basicConstraints = CA:FALSE
extendedKeyUsage = critical, timeStamping
keyUsage = critical, digitalSignature
[tsa_config]
dir = .
serial = ./serial
default_policy = 1.2.3.4.1
digests = sha256
signer_digest = sha256
accuracy = secs:1
tsa_name = yes
ess_cert_id_chain = no
ess_cert_id_alg = sha256
"""


class Authority:
    """A root, a certificate for time-stamping, and `openssl ts`."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        folder.mkdir()
        (folder / "tsa.cnf").write_text(CONFIG)
        (folder / "serial").write_text("01\n")
        new_key = ["-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes", "-config", "tsa.cnf"]
        self.run("req", "-x509", *new_key, "-keyout", "root.key", "-out", "root.pem", "-days", "30")
        self.run("req", *new_key, "-keyout", "tsa.key", "-out", "tsa.csr", "-subj", "/CN=Invented time-stamps")
        signing = ["-CA", "root.pem", "-CAkey", "root.key", "-CAcreateserial", "-days", "30"]
        self.run(
            "x509", "-req", "-in", "tsa.csr", *signing, "-out", "tsa.pem", "-extfile", "tsa.cnf", "-extensions", "tsa"
        )

    def run(self, *args: str) -> str:
        done = subprocess.run(["openssl", *args], cwd=self.folder, capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stderr
        return done.stdout + done.stderr

    @property
    def root(self) -> bytes:
        return (self.folder / "root.pem").read_bytes()

    def answer(self, query: bytes) -> bytes:
        (self.folder / "query.tsq").write_bytes(query)
        common = ["-config", "tsa.cnf", "-section", "tsa_config", "-signer", "tsa.pem", "-inkey", "tsa.key"]
        self.run("ts", "-reply", "-queryfile", "query.tsq", *common, "-out", "answer.tsr")
        return (self.folder / "answer.tsr").read_bytes()


@pytest.fixture(scope="module")
def authority(tmp_path_factory) -> Authority:
    return Authority(tmp_path_factory.mktemp("tsa") / "authority")


@pytest.fixture(scope="module")
def made():
    return recorded(days=1)


@pytest.fixture(scope="module")
def answer(authority, made) -> bytes:
    return authority.answer(timestamp.request(made.heads[0]))


def test_a_time_stamp_of_a_head_holds_without_a_network(authority, made, answer):
    at = timestamp.stamped_at(answer, made.heads[0], [authority.root])
    assert at.tzinfo is not None
    # OpenSSL agrees, and by the command that VERIFY.md gives
    (authority.folder / "of_head.tsr").write_bytes(answer)
    said = authority.run("ts", "-verify", "-in", "of_head.tsr", "-digest", made.heads[0].hash, "-CAfile", "root.pem")
    assert "Verification: OK" in said


def test_the_request_carries_the_hash_of_the_head_and_nothing_else_of_it(made):
    query = timestamp.request(made.heads[0])
    assert bytes.fromhex(made.heads[0].hash) in query
    assert len(query) < 100


def test_a_time_stamp_of_another_head_does_not_hold(authority, made, answer):
    with pytest.raises(RecordError) as caught:
        timestamp.stamped_at(answer, made.heads[1], [authority.root])
    assert str(caught.value) == (
        "time-stamp: it does not hold (Mismatch between messages). "
        "Ask for another one, or name the root of its authority"
    )


def test_a_time_stamp_of_an_authority_that_is_not_trusted_does_not_hold(made, answer, tmp_path):
    other = Authority(tmp_path / "other")
    with pytest.raises(RecordError, match="it does not hold"):
        timestamp.stamped_at(answer, made.heads[0], [other.root])


@pytest.mark.parametrize("junk", [b"", b"\x30\x03\x02\x01\x00", b"\xff" * 50])
def test_what_is_no_answer_is_refused(authority, made, junk):
    with pytest.raises(RecordError, match="it does not hold"):
        timestamp.stamped_at(junk, made.heads[0], [authority.root])


def test_what_is_no_certificate_is_refused(made, answer):
    with pytest.raises(RecordError, match="it does not hold"):
        timestamp.stamped_at(answer, made.heads[0], [b"no certificate"])


def test_without_the_extra_it_is_said_how_to_get_it(made, monkeypatch):
    monkeypatch.setattr("monitor.seal.timestamp.importlib.util.find_spec", lambda name: None)
    with pytest.raises(RecordError) as caught:
        timestamp.request(made.heads[0])
    assert str(caught.value) == (
        "time-stamp: time-stamps need the package rfc3161-client. pip install 'wallclime[timestamp]'"
    )


def test_a_bundle_carries_its_time_stamps_and_verify_looks_into_them(authority, made, answer, tmp_path):
    root = tmp_path / "bundle"
    bundle.write(root, contents_of(made, unsealed=[], timestamps={made.heads[0].hash: answer}), made.key)
    assert "Not looked into: 1 time-stamps; name the root certificate of their authority." in verify(root).remarks
    found = verify(root, authorities=[authority.root])
    assert found.whole
    assert any(remark.startswith("Head 1 was there on 2") for remark in found.remarks)


def test_a_time_stamp_of_no_head_or_of_another_is_a_fault(authority, made, answer, tmp_path):
    stamps = {made.heads[1].hash: answer, "ab" * 32: answer}
    root = tmp_path / "bundle"
    bundle.write(root, contents_of(made, unsealed=[], timestamps=stamps), made.key)
    found = sorted(str(one) for one in verify(root, authorities=[authority.root]).faults)
    assert found == sorted(
        [
            f"data/timestamps/{'ab' * 32}.tsr: it is of no head of the record. It says nothing of this record",
            f"data/timestamps/{made.heads[1].hash}.tsr: it does not hold (Mismatch between messages). "
            "It does not show when the head was there",
        ]
    )
