"""wallclime seal, witness and log witness: heads made by default, codes confirmed, keys, other copies, stamps."""

from __future__ import annotations

import http.server
import re
import shutil
import subprocess
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from homes import COLUMNS, DELIVERED, NOON, Home, csv_of, steady

from monitor.basis.times import DAY, HOUR

CODE = r"[0-9A-Z]{4}(?:-[0-9A-Z]{4}){5}"
READ = ("--time", "when", "--temperature", "temp", "--humidity", "rh")
NOTHING = "job den: no head was made for it yet. wallclime seal now --job den makes one\n"


def code_in(text: str) -> str:
    return re.findall(rf"code ({CODE})", text)[0]


def lines(text: str) -> list[str]:
    """What is said of seals, codes replaced."""
    said = [line for line in text.splitlines() if "seal" in line or "send this" in line or "Please keep" in line]
    return [re.sub(CODE, "CODE", line) for line in said]


def sent(what: str, when: str) -> list[str]:
    return [
        "send this to client and contractor, and write down who confirms it (wallclime log witness):",
        f"  Please keep this message. Record of the wall den, {what}, {when}: code CODE. "
        "With it you can show later that nothing before was changed.",
    ]


def status(home: Home) -> dict:
    return home.done("seal", "status", "--json").json()


# --- heads that are made by themselves


def test_a_delivery_is_sealed_and_says_what_to_send(den):
    said = den.done("log", "deliver", "den", "--at", "2026-01-05T08:00").err
    assert lines(said) == ["sealed: head 1, code CODE", *sent("delivery", "2026-01-12 07:00 -05:00")]
    [head] = status(den)["heads"]
    assert (head["code"], head["reason"], head["closes"]) == (code_in(said), "delivery", None)


def test_start_and_finish_are_sealed_once_each(den):
    den.done("log", "deliver", "den", "--at", "2026-01-05T08:00")
    start = ("log", "install", "den", "--start", "2026-01-09T08:00", "--not-ready", "--reason", "guests")
    assert lines(den.done(*start, "--asked-by", "kim").err)[0] == "sealed: head 2, code CODE"
    finish = den.done("log", "install", "den", "--start", "2026-01-09T08:00", "--finish", "2026-01-10T12:00")
    assert lines(finish.err) == ["sealed: head 3, code CODE", *sent("finish", "2026-01-12 07:00 -05:00")]
    again = den("log", "install", "den", "--start", "2026-01-09T08:00", "--finish", "2026-01-10T12:00")
    assert (again.code, lines(again.err)) == (2, [])
    assert [head["reason"] for head in status(den)["heads"]] == ["delivery", "start", "finish"]


@pytest.fixture
def ready_den(den) -> Home:
    """A job whose conditions will all be met, and nothing sealed but its delivery."""
    den.done("log", "deliver", "den", "--at", "2026-01-05T08:00")
    den.done(
        "import", "den", den.file("den.csv", csv_of(steady(NOON - 100 * HOUR, 100))), "--sensor", "shelf", *COLUMNS
    )
    return den


def test_a_job_that_is_not_ready_is_not_sealed_by_asking(ready_den):
    assert ready_den("ready", "den").code == 1
    assert [head["reason"] for head in status(ready_den)["heads"]] == ["delivery"]


def test_what_can_not_be_sealed_is_entered_all_the_same_and_the_fault_is_said(den):
    (den.path / "keys").write_text("in the way")
    result = den("log", "deliver", "den", "--at", "2026-01-05T08:00")
    assert result.code == 0
    assert (
        f"mind: not sealed: {den.path.resolve()}/keys: the folder of the keys can't be made (File exists). "
        "Let this user write the home\n"
    ) in result.err
    assert den.kinds()[-1] == "deliver"


# --- seal now, seal status


def test_seal_now_closes_what_is_due_then_seals_the_rest_and_says_when_there_is_nothing(ready_den):
    said = ready_den.done("seal", "now").err
    assert lines(said) == ["sealed: head 2 (closes 2026-01-11), code CODE", "sealed: head 3 (seal), code CODE"]
    assert ready_den.done("seal", "now").err == "nothing new to seal\n"
    ready_den.clock.move(DAY)
    assert lines(ready_den.done("seal", "now").err) == [
        "sealed: head 4 (closes 2026-01-12), code CODE",
    ]


def test_seal_now_for_a_job_says_what_to_send(den):
    assert lines(den.done("seal", "now", "--job", "den").err) == [
        "sealed: head 1, code CODE", *sent("seal", "2026-01-12 07:00 -05:00"),
    ]  # fmt: skip


def test_seal_now_for_a_job_that_is_not_there_is_refused(den):
    assert den("seal", "now", "--job", "attic").err == (
        "job attic: there is no job 'attic'. wallclime job list shows the jobs there are\n"
    )


def test_the_status_of_a_record_that_is_not_sealed(den):
    assert den.done("seal", "status").out == (
        "seal:              not sealed yet: nothing but the store itself vouches for the record\n"
    )
    assert status(den) == {
        "heads": [], "days_closed": 0, "unsealed_sensor_days": 0, "unsealed_from": None, "key": None, "keys": 0,
    }  # fmt: skip


def test_the_status_of_a_sealed_record(ready_den):
    ready_den.done("seal", "now")
    found = status(ready_den)
    last = found["heads"][-1]
    assert (found["days_closed"], found["unsealed_sensor_days"], found["keys"]) == (1, 0, 1)
    key = found["key"]
    assert ready_den.done("seal", "status").out.splitlines() == [
        "head:              3, made 2026-01-12 12:00 +00:00",
        f"hash of the head:  {last['hash']}",
        f"code of the head:  {last['code']}",
        f"key, fingerprint:  {' '.join(key[at:at + 4] for at in range(0, 64, 4))}",
        "days closed:       1, the last 2026-01-11 (UTC)",
        "not sealed yet:    nothing",
    ]  # fmt: skip


def test_days_that_are_not_sealed_are_counted(ready_den):
    assert "not sealed yet:    5 days of sensors, from 2026-01-08 on\n" in ready_den.done("seal", "status").out
    assert (status(ready_den)["unsealed_sensor_days"], status(ready_den)["unsealed_from"]) == (5, "2026-01-08")


# --- witnesses


def test_witness_says_once_more_what_was_to_be_sent(den):
    said = den.done("log", "deliver", "den", "--at", "2026-01-05T08:00").err
    assert den.done("witness", "den").err.splitlines() == [line for line in said.splitlines() if line in den.done(
        "witness", "den").err.splitlines()]  # fmt: skip
    assert code_in(den.done("witness", "den").err) == code_in(said)


def test_witness_of_a_job_without_a_head_says_how_to_make_one(den):
    result = den("witness", "den")
    assert (result.code, result.out, result.err) == (2, "", NOTHING)


def test_a_reply_is_an_entry(den):
    code = code_in(den.done("log", "deliver", "den", "--at", "2026-01-05T08:00").err)
    result = den.done(
        "log", "witness", "den", "--code", code.lower(), "--by", "Kim of the client", "--text", "kept, thanks"
    )
    assert result.err == "entry 5: witness of head 1\n"
    entry = den.log()[-1]
    [head] = status(den)["heads"]
    assert (entry["kind"], entry["who"]) == ("witness", "Kim of the client")
    assert entry["body"] == {"head": 1, "code": code, "hash": head["hash"], "text": "kept, thanks"}


def test_a_reply_with_the_whole_hash_is_taken(den):
    den.done("seal", "now", "--job", "den")
    [head] = status(den)["heads"]
    den.done("log", "witness", "den", "--code", head["hash"], "--by", "kim")
    assert den.log()[-1]["body"]["code"] == head["code"]


OTHER = "0000-0000-0000-0000-0000-0000"
SLIPS = "Compare it sign by sign with what was sent"


@pytest.mark.parametrize(
    ("args", "said"),
    [
        (
            ("--code", OTHER, "--by", "kim"),
            f"code {OTHER}: no head of this record has it. Compare it with what was sent: wallclime witness den",
        ),
        (("--code", "K7RT", "--by", "kim"), f"code K7RT: a code has 24 signs, not 4. {SLIPS}"),
        (
            ("--code", OTHER, "--by", "kim", "--text", "x" * 2001),
            "--text: the text is longer than 2000 characters. Keep the letter as a document",
        ),
        (
            ("--code", OTHER, "--by", "kim", "--at", "2026-01-13T05:00Z"),
            "log witness: 2026-01-13T05:00:00Z is in the future. The log holds what has happened; check the date",
        ),
    ],
)
def test_what_log_witness_refuses(den, args, said):
    result = den("log", "witness", "den", *args)
    assert (result.code, result.err) == (2, said + "\n")


# --- the key


def test_the_key_is_exchanged_and_its_copy_asked_for(den):
    den.done("seal", "now")
    before = status(den)["key"]
    said = den.done("seal", "rotate", "--reason", "every year").err
    after = status(den)["key"]
    assert after != before
    assert re.sub(CODE, "CODE", said).splitlines() == [
        "sealed: head 2 (key exchanged), code CODE",
        f"key 2: {' '.join(after[at:at + 4] for at in range(0, 64, 4))}",
        f"keep a copy of {den.path.resolve()}/keys/seal-ed25519-2.pem where nobody else can read it",
    ]  # fmt: skip
    assert f"{after[60:]} (the 2nd)\n" in den.done("seal", "status").out


def test_a_lost_key_is_declared(den):
    den.done("seal", "now")
    (den.path / "keys" / "seal-ed25519-1.pem").unlink()
    assert "sealed: head 2 (key lost), code" in den.done("seal", "lost", "--reason", "the disk broke").err
    assert status(den)["keys"] == 2


@pytest.mark.parametrize(
    ("command", "said"),
    [
        (("rotate", "--reason", " "), "seal: no reason is given. Add --reason TEXT"),
        (("rotate", "--reason", "x"), "{keys}/seal-ed25519-1.pem: there is no key yet. It is made with the first head"),
    ],
)
def test_what_an_exchange_refuses(den, command, said):
    result = den("seal", *command)
    assert result.err == said.format(keys=den.path.resolve() / "keys") + "\n"


# --- other copies


@pytest.fixture
def two(den, tmp_path) -> tuple[Home, Home]:
    """A home with two heads, and a copy of it made after the first."""
    den.done("seal", "now")
    shutil.copytree(den.path, tmp_path / "copy")
    den.done("log", "note", "den", "heater on")
    den.done("seal", "now")
    return den, Home(tmp_path / "copy", den.clock)


def heads_file(home: Home) -> Path:
    """The heads of a home as they stand in a bundle."""
    from monitor.keep.store import open_store
    from monitor.seal import layout
    from monitor.seal.chain import link
    from monitor.seal.heads import SignedHead

    with open_store(f"sqlite:///{home.path}/wallclime.db", clock=home.clock, link=link) as store:
        rows = [layout.ProvenHead(SignedHead(row.text, row.signature), ()) for row in store.heads()]
    return home.file(f"{home.path.name}.jsonl", "".join(f"{layout.write_head(row)}\n" for row in rows))


def test_an_older_copy_is_a_part_of_the_record(two):
    home, copy = two
    assert home.done("seal", "compare", heads_file(copy)).out == "the same up to head 1\n"


def test_a_copy_that_was_put_back_is_behind(two):
    home, copy = two
    result = copy("seal", "compare", heads_file(home))
    assert (result.code, result.out, result.err) == (
        1, "the same up to head 1\n", "FAULT the other copy has heads that are not here: 2\n",
    )  # fmt: skip


def test_two_copies_that_both_went_on_are_found(two):
    home, copy = two
    copy.done("log", "note", "den", "heater off")
    copy.done("seal", "now")
    result = home("seal", "compare", heads_file(copy))
    assert (result.code, result.err) == (
        1,
        "FAULT head 2 here and head 2 there can't both belong to one record: "
        "two were kept, or a copy was put back and went on\n",
    )


def test_heads_of_another_record_are_told(two, wallclime, tmp_path):
    home, _ = two
    other = Home(tmp_path / "other", home.clock)
    other.done("job", "open", "attic", "--zone", "UTC", "--length", "4 m", "--height", "2 m")
    other.done("seal", "now")
    result = home("seal", "compare", heads_file(other))
    assert (result.code, result.out) == (1, "no head in common\n")
    assert "FAULT head 1 there was made with a key that this store does not know\n" in result.err


def test_a_head_whose_signature_was_changed_is_told(two):
    home, _ = two
    path = heads_file(home)
    text = re.sub(r'"signature":"..', '"signature":"00', path.read_text(), count=1)
    path.write_text(text)
    assert "FAULT the signature of head 1 there does not hold\n" in home("seal", "compare", path).err


@pytest.mark.parametrize(
    ("content", "what"), [(None, "No such file or directory"), ("{}\n", "it should have head, signature, consistency")]
)
def test_heads_that_can_not_be_read_are_told(den, content, what):
    path = den.path.parent / "heads.jsonl" if content is None else den.file("heads.jsonl", content)
    assert den("seal", "compare", path).err == (
        f"{path}: its heads can't be read ({what}). Give a bundle, or its data/seals/heads.jsonl\n"
    )


# --- time-stamps, from an authority that OpenSSL plays on this computer

CONFIG = """
[req]
distinguished_name = dn
prompt = no
[dn]
CN = Invented authority
[tsa]
extendedKeyUsage = critical, timeStamping
[tsa_config]
dir = .
serial = ./serial
default_policy = 1.2.3.4.1
digests = sha256
signer_digest = sha256
ess_cert_id_chain = no
ess_cert_id_alg = sha256
"""


class Authority:
    """A certificate for time-stamping, and `openssl ts` behind a server."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        (folder / "tsa.cnf").write_text(CONFIG)
        (folder / "serial").write_text("01\n")
        new = ["-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes", "-config", "tsa.cnf"]
        self.run("req", "-x509", *new, "-keyout", "tsa.key", "-out", "tsa.pem", "-days", "9", "-extensions", "tsa")

    def run(self, *args: str) -> None:
        subprocess.run(["openssl", *args], cwd=self.folder, capture_output=True, check=True)

    def answer(self, query: bytes) -> bytes:
        (self.folder / "query.tsq").write_bytes(query)
        own = ["-config", "tsa.cnf", "-section", "tsa_config", "-signer", "tsa.pem", "-inkey", "tsa.key"]
        self.run("ts", "-reply", "-queryfile", "query.tsq", *own, "-out", "answer.tsr")
        return (self.folder / "answer.tsr").read_bytes()


@pytest.fixture(scope="module")
def authority(tmp_path_factory) -> Authority:
    return Authority(tmp_path_factory.mktemp("authority"))


@pytest.fixture
def server(authority) -> Iterator[str]:
    class Answering(http.server.BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            asked = self.rfile.read(int(self.headers["Content-Length"]))
            good = self.headers["Content-Type"] == "application/timestamp-query" and self.path == "/stamp"
            body = authority.answer(asked) if good else b"no"
            self.send_response(200 if good else 404)
            self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            self.wfile.write(body)

        def log_message(self, *_args: object) -> None: ...

    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), Answering) as running:
        thread = threading.Thread(target=running.serve_forever, args=(0.01,))
        thread.start()
        yield f"http://127.0.0.1:{running.server_port}"
        running.shutdown()
        thread.join()


def test_a_server_stamps_the_newest_head(den, server):
    den.done("seal", "now")
    assert den.done("seal", "timestamp", "--server", f"{server}/stamp").err == "kept the time-stamp of head 1\n"
    again = den("seal", "timestamp", "--server", f"{server}/stamp")
    assert (again.code, again.err) == (2, "time-stamp: head 1 has one already. Nothing needs to be done\n")


def test_request_and_answer_can_be_carried_as_files(den, authority, tmp_path):
    den.done("seal", "now")
    query, answer = tmp_path / "a.tsq", tmp_path / "a.tsr"
    said = den.done("seal", "timestamp", "--query", query).err
    assert said == f"wrote {query}: about head 1; post it as application/timestamp-query\n"
    answer.write_bytes(authority.answer(query.read_bytes()))
    den.done("log", "note", "den", "meanwhile")
    den.done("seal", "now")
    assert den.done("seal", "timestamp", "--answer", answer).err == "kept the time-stamp of head 1\n"


def test_an_answer_about_something_else_is_refused(den, authority, tmp_path):
    den.done("seal", "now")
    authority.run("ts", "-query", "-data", "tsa.cnf", "-sha256", "-out", "other.tsq")
    answer = tmp_path / "a.tsr"
    answer.write_bytes(authority.answer((authority.folder / "other.tsq").read_bytes()))
    assert den("seal", "timestamp", "--answer", answer).err == (
        "time-stamp: it is about no head of this record. Send the file that --query wrote\n"
    )


def test_what_is_no_answer_is_refused(den, tmp_path):
    den.done("seal", "now")
    answer = tmp_path / "a.tsr"
    answer.write_bytes(b"<html>")
    said = den("seal", "timestamp", "--answer", answer).err
    assert re.fullmatch(r"time-stamp: it is no answer of an authority \(.*\)\. Ask the authority again\n", said, re.S)


def test_a_refusal_of_the_authority_is_told(den, authority, tmp_path):
    den.done("seal", "now")
    authority.run("ts", "-query", "-data", "tsa.cnf", "-sha1", "-out", "weak.tsq")
    answer = tmp_path / "a.tsr"
    answer.write_bytes(authority.answer((authority.folder / "weak.tsq").read_bytes()))
    assert den("seal", "timestamp", "--answer", answer).err == (
        "time-stamp: the authority refused (Message digest algorithm is not supported.). Ask the authority again\n"
    )


CARRY = "Try again, or carry the files yourself with --query and --answer"


@pytest.mark.parametrize(
    ("address", "said"),
    [
        ("{server}/other", "{server}/other: the server gave no time-stamp (HTTP Error 404: Not Found). " + CARRY),
        (
            "http://127.0.0.1:1/stamp",
            "http://127.0.0.1:1/stamp: the server gave no time-stamp "
            "(<urlopen error [Errno 111] Connection refused>). " + CARRY,
        ),
        ("file:///etc/passwd", "file:///etc/passwd: it is no address of a server. Write it like https://HOST/PATH"),
    ],
)
def test_a_server_that_gives_no_stamp_is_told(den, server, address, said):
    den.done("seal", "now")
    result = den("seal", "timestamp", "--server", address.format(server=server))
    assert (result.code, result.err) == (2, said.format(server=server) + "\n")


@pytest.mark.parametrize(
    ("args", "said"),
    [
        ((), "seal timestamp: it is not said where to. Give one of --server URL, --query FILE, --answer FILE"),
        (("--query", "{file}"), "seal timestamp: nothing is sealed yet. See wallclime seal status"),
        (("--query", "{file}", "--head", 7), "seal timestamp: there is no head 7. See wallclime seal status"),
        (("--answer", "{file}"), "{file}: it can't be read (No such file or directory). Check the path"),
    ],
)
def test_what_seal_timestamp_refuses(den, tmp_path, args, said):
    file = str(tmp_path / "x")
    result = den("seal", "timestamp", *(str(arg).format(file=file) for arg in args))
    assert (result.code, result.err) == (2, said.format(file=file) + "\n")


def test_a_request_is_written_over_nothing(den, tmp_path):
    den.done("seal", "now")
    (tmp_path / "a.tsq").write_text("there")
    assert den("seal", "timestamp", "--query", tmp_path / "a.tsq").err == (
        f"{tmp_path}/a.tsq: it can't be written (File exists). Name a new file\n"
    )
    assert DELIVERED < NOON
