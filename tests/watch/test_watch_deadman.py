"""The dead-man's switch: what must go on before the URL is called, and what comes of the call."""

import contextlib
import http.server
import socket
import sqlite3
import threading
import time
from dataclasses import replace
from types import SimpleNamespace

import pytest
from desks import NOW, furnish, hear, opening, steady
from processes import Daemon, free_port, soon, write_home

from monitor.basis.errors import OutOfReachError, StoreError
from monitor.basis.times import DAY, HOUR, MINUTE
from monitor.basis.values import Draft, Kind
from monitor.config.alarms import DeadMan
from monitor.intake.mqtt import Status
from monitor.watch.desk import open_desk
from monitor.watch.evidence.sealing import close_due, seal_now
from monitor.watch.job.jobs import open_job
from monitor.watch.sensing.sensors import MAKER, add_sensor, assign_sensor
from monitor.watch.service import deadman
from monitor.watch.service.deadman import Seen, Switch, stands_still
from monitor.watch.service.pulse import Pulse
from monitor.watch.service.schedule import Every


def pulse(write=lambda: None):
    broker = SimpleNamespace(host="attic", port=1883)
    return Pulse([(broker, SimpleNamespace(turned=time.monotonic(), status=Status()))], write)


def reasons(desk, seen=None, of=None):
    return list(stands_still(desk, of or pulse(), Seen() if seen is None else seen))


def change(desk, statement):
    database = sqlite3.connect(desk.settings.home / "wallclime.db")
    database.execute(statement)
    database.commit()
    database.close()


# --- what must go on


def test_of_a_house_in_which_nothing_is_expected_nothing_stands_still(desk):
    assert reasons(desk) == []


def test_a_thread_that_stands_still_or_a_store_that_takes_nothing_is_a_reason(desk):
    def busy():
        raise StoreError("another process has held it", where="store", mend="Wait")

    still = pulse(busy)
    still.links[0][1].turned -= 61
    assert reasons(desk, of=still) == [
        "the thread that hears attic:1883 stands still",
        "store: another process has held it. Wait",
    ]


def test_one_sensor_that_is_heard_speaks_for_a_house_and_silence_of_all_for_an_hour_is_a_reason(desk):
    furnish(desk, at=NOW - DAY)
    add_sensor(desk, "lamp", "site/lamp/climate", hold=30 * MINUTE, uncertainty=MAKER, who="robin")
    assign_sensor(desk, "lamp", "den", at=NOW - DAY, facts={}, who="robin")
    silent = "none of the 2 sensors that are expected was heard for 1 h"
    assert reasons(desk) == [silent]
    hear(desk, steady(NOW - HOUR, 0.5))
    assert reasons(desk) == []
    desk.clock.move(HOUR)
    assert reasons(desk) == [silent]


def test_a_sensor_that_is_read_from_files_or_stands_nowhere_now_is_not_expected(desk):
    furnish(desk, at=NOW - DAY, sensor=None)
    hear(desk, steady(NOW - DAY, 1), stream="file:stick")
    add_sensor(desk, "stick", "file:stick", hold=30 * MINUTE, uncertainty=MAKER, who="robin")
    assign_sensor(desk, "stick", "den", at=NOW - DAY, facts={}, who="robin")
    add_sensor(desk, "spare", "site/spare/climate", hold=30 * MINUTE, uncertainty=MAKER, who="robin")
    assert reasons(desk) == []


def test_a_long_hold_is_waited_for(desk):
    furnish(desk, at=NOW - DAY, sensor=None)
    add_sensor(desk, "slow", "site/slow/climate", hold=4 * HOUR, uncertainty=MAKER, who="robin")
    assign_sensor(desk, "slow", "den", at=NOW - DAY, facts={}, who="robin")
    hear(desk, steady(NOW - 3 * HOUR, 0.2), stream="site/slow/climate")
    assert reasons(desk) == []


def test_a_log_is_looked_through_from_its_beginning_and_then_from_where_it_was_left(desk):
    open_job(desk, opening(), who="robin")
    seen = Seen()
    assert reasons(desk, seen) == []
    assert seen.chains["den"] == desk.store.head("den")
    desk.store.append("den", [Draft(Kind.NOTE, NOW, "robin", {"text": "one"})])
    assert reasons(desk, seen) == []
    assert seen.chains["den"] == desk.store.head("den")
    last = desk.store.head("den")[0]
    change(desk, f"UPDATE entry SET body = replace(body, 'one', 'two') WHERE number = {last} AND kind = 'note'")
    assert reasons(desk, seen) == []  # it was looked at before: doctor and verify find it
    told = f"the log of den does not hang together: entry {last} of den: the entry or one before it was altered"
    assert reasons(desk) == [told]


def test_a_new_entry_that_does_not_hang_on_the_one_before_is_a_reason_each_time(desk):
    open_job(desk, opening(), who="robin")
    seen = Seen()
    assert reasons(desk, seen) == []
    desk.store.append("den", [Draft(Kind.NOTE, NOW, "robin", {"text": "one"})])
    last = desk.store.head("den")[0]
    change(desk, f"UPDATE entry SET link = zeroblob(32) WHERE number = {last} AND kind = 'note'")
    told = f"the log of den does not hang together: entry {last} of den: the entry or one before it was altered"
    assert [reasons(desk, seen), reasons(desk, seen)] == [[told], [told]]


@pytest.mark.parametrize(
    "statement",
    [
        "DELETE FROM entry WHERE kind = 'note'",
        "UPDATE entry SET link = zeroblob(32) WHERE kind = 'note'",
    ],
)
def test_a_log_that_lost_or_changed_what_was_seen_is_a_reason(desk, statement):
    open_job(desk, opening(), who="robin")
    desk.store.append("den", [Draft(Kind.NOTE, NOW, "robin", {"text": "one"})])
    seen = Seen()
    assert reasons(desk, seen) == []
    change(desk, statement)
    assert reasons(desk, seen) == ["the log of den is not the one it was"]


def test_an_entry_that_was_erased_is_no_reason(desk):
    from monitor.watch.evidence.forgetting import forget
    from monitor.watch.job.jobs import close_job

    open_job(desk, opening(), who="robin")
    [note] = desk.store.append("den", [Draft(Kind.NOTE, NOW, "robin", {"text": "one"})])
    close_job(desk, "den", at=None, reason="done", who="robin")
    seen = Seen()
    assert reasons(desk, seen) == []
    forget(desk, "den", numbers=[note.number], reason="asked to", who="robin")
    assert reasons(desk, seen) == []


def two_heads(desk):
    open_job(desk, opening(), who="robin")
    seal_now(desk, "by hand")
    seen = Seen()
    assert reasons(desk, seen) == []
    assert seen.head[0] == 1
    desk.store.append("den", [Draft(Kind.NOTE, NOW, "robin", {"text": "one"})])
    seal_now(desk, "by hand")
    return seen


def test_new_heads_are_looked_at_once(desk):
    seen = two_heads(desk)
    assert reasons(desk, seen) == []
    assert seen.head[0] == 2


@pytest.mark.parametrize(
    ("statement", "told"),
    [
        ("UPDATE head SET signature = zeroblob(64) WHERE number = 2", "the signature of head 2 does not hold"),
        ("UPDATE head SET text = '{}' WHERE number = 2", "the head after 1 can't be read"),
        ("UPDATE head SET text = replace(text, '\"number\":2', '\"number\":3') WHERE number = 2",
         "head 3 does not follow on the head before it"),
        ("UPDATE head SET signature = zeroblob(64), text = replace(text, 'by hand', 'by foot') WHERE number = 1",
         "head 1 is not the one it was"),
        ("DELETE FROM head", "head 1 is not the one it was"),
    ],
)  # fmt: skip
def test_a_head_that_is_not_as_it_was_made_is_a_reason(desk, statement, told):
    seen = two_heads(desk)
    change(desk, statement)
    assert reasons(desk, seen) == [told]


def test_a_day_that_should_have_been_sealed_is_a_reason_until_it_is(desk):
    hear(desk, steady(NOW - 4 * DAY, 24))
    assert reasons(desk) == ["2026-01-13 is over and not sealed"]
    close_due(desk)
    assert reasons(desk) == []


def test_a_store_that_can_not_be_read_is_the_reason(desk, monkeypatch):
    away = StoreError("it can't be opened", where="store", mend="Look")
    monkeypatch.setattr(type(desk.store), "chain_heads", lambda _: (_ for _ in ()).throw(away))
    assert reasons(desk) == ["store: it can't be opened. Look"]


# --- the call


class Server(http.server.BaseHTTPRequestHandler):
    """Answers with the status that its path names, and remembers who asked for what."""

    def do_GET(self):
        self.server.asked.append((self.path, self.headers["User-Agent"].split("/")[0]))
        self.send_response(int(self.path.strip("/").partition("?")[0]))
        self.send_header("Location", f"http://127.0.0.1:{self.server.server_port}/200")
        self.end_headers()

    def log_message(self, *_):
        """Nothing."""


@pytest.fixture
def server():
    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), Server) as made:
        made.asked = []
        thread = threading.Thread(target=made.serve_forever, args=(0.02,))
        thread.start()
        yield made
        made.shutdown()
        thread.join()


@contextlib.contextmanager
def sends(*pieces, every=0.1):
    """A server that answers with bytes of its own, a piece after the other, until the caller is gone."""
    with socket.create_server(("127.0.0.1", 0)) as listening:

        def answer():
            link, _ = listening.accept()
            with link, contextlib.suppress(OSError):
                link.recv(4096)
                for piece in pieces:
                    link.sendall(piece)
                    time.sleep(every)
                link.recv(4096)

        thread = threading.Thread(target=answer)
        thread.start()
        yield f"http://127.0.0.1:{listening.getsockname()[1]}/hush"
        thread.join()


def refused(url, **more):
    with pytest.raises(OutOfReachError) as error:
        deadman.call(url, **more)
    assert "hush" not in str(error.value)
    return str(error.value)


def test_a_url_of_this_computer_is_called_with_its_question(server):
    deadman.call(f"http://127.0.0.1:{server.server_port}/204?name=hush")
    assert server.asked == [("/204?name=hush", "wallclime")]


def test_a_redirect_is_not_followed(server):
    assert refused(f"http://127.0.0.1:{server.server_port}/302?hush") == (
        "dead-man's URL: it answers 302. Give the address that it moved to"
    )
    assert len(server.asked) == 1


def test_any_other_answer_than_a_success_is_told(server):
    assert refused(f"http://127.0.0.1:{server.server_port}/500?hush") == (
        "dead-man's URL: it answers 500. Ask whoever runs it"
    )


@pytest.mark.parametrize(
    "url", ["http://hush.invalid/x", "http://192.0.2.1/hush", "ftp://127.0.0.1/hush", "file:///hush", "hush"]
)
def test_what_is_not_https_leaves_this_computer_never(url):
    assert refused(url) == "dead-man's URL: it is not https. Write one that begins with https:// into its file"


def test_nobody_there_is_told():
    assert refused(f"http://127.0.0.1:{free_port()}/hush") == (
        "dead-man's URL: it can't be called: Connection refused. Check it, and the way there"
    )


def test_a_server_that_says_nothing_or_drips_is_left_in_time():
    for pieces in ([], [b"HTTP/1.1 200 OK\r\n", *[b"X"] * 200]):
        began = time.monotonic()
        with sends(*pieces) as url:
            assert refused(url, within=0.3) == (
                "dead-man's URL: it can't be called: no answer in 0.3 s. Check it, and the way there"
            )
        assert time.monotonic() - began < 10


def test_what_is_no_http_or_no_tls_is_told():
    with sends(b"hush\r\n\r\n") as url:
        assert "what comes back is no answer" in refused(url)
    with sends(b"hush\r\n\r\n") as url:
        assert "TLS fails" in refused(url.replace("http:", "https:"))


# --- the switch


def switch(desk, url):
    settings = replace(desk.settings, dead_man=DeadMan(url))
    return Switch(desk._replace(settings=settings))


def test_it_calls_while_all_goes_on_and_says_when(desk, server):
    made = switch(desk, f"http://127.0.0.1:{server.server_port}/200")
    [work] = made.works(pulse())
    work.run("")
    assert (made.said(), len(server.asked)) == ({"dead_man": {"called": NOW, "trouble": ""}}, 1)
    assert (work.name, work.trigger) == ("dead-man's URL", Every(5 * MINUTE, soon=True))


def test_without_a_url_there_is_no_work_and_nothing_to_say(desk):
    assert (list(Switch(desk).works(pulse())), Switch(desk).said()) == ([], {})


def test_it_does_not_call_while_something_stands_still_and_says_why_once(desk, server, caplog):
    furnish(desk, at=NOW - DAY)
    made = switch(desk, f"http://127.0.0.1:{server.server_port}/200")
    [work] = made.works(pulse())
    work.run("")
    work.run("")
    silent = "none of the 1 sensors that are expected was heard for 1 h"
    assert (made.said(), server.asked) == ({"dead_man": {"called": None, "trouble": silent}}, [])
    assert [(one.getMessage(), one.fields) for one in caplog.records] == [("dead_man_not_called", {"why": silent})]
    hear(desk, steady(NOW - 10 * MINUTE, 0.2))
    work.run("")
    assert (made.called, made.trouble, len(server.asked)) == (NOW, "", 1)


def test_a_call_that_fails_is_work_that_failed_and_its_trouble_is_kept(desk, server, caplog):
    made = switch(desk, f"http://127.0.0.1:{server.server_port}/503?hush")
    [work] = made.works(pulse())
    with pytest.raises(OutOfReachError):
        work.run("")
    assert (made.called, made.trouble) == (None, "it answers 503")
    assert "hush" not in caplog.text + repr(DeadMan("https://hush.invalid"))


def test_a_daemon_calls_it_from_its_start_and_says_so_in_its_home_and_never_where(tmp_path, server, mosquitto):
    home = write_home(tmp_path / "home", mosquitto.port)
    (home / "url").write_text(f"http://127.0.0.1:{server.server_port}/200?hush")
    (home / "url").chmod(0o600)
    file = home / "wallclime.toml"
    file.write_text(f'{file.read_text()}[dead_man]\nurl_file = "url"\n')
    daemon = Daemon(home)
    daemon.start()
    soon(lambda: server.asked == [("/200?hush", "wallclime")], what="it is called")
    with open_desk(home) as opened:
        soon(lambda: opened.store.daemon_state().state.get("dead_man", {}).get("called"), what="it says so")
        assert "hush" not in str(opened.store.daemon_state())
    assert daemon.stop() == 0
    assert "hush" not in (home / "daemon.log").read_text()
