"""Telling what waits: a mail server, a web hook and a broker that fail, hang, answer 500 and come back; and kill -9."""

from __future__ import annotations

import contextlib
import os
import shutil
import signal
import subprocess
import sys
import threading
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from functools import partial
from pathlib import Path

import pytest
from desks import NOW, opening
from processes import Daemon, Mosquitto, free_port, soon, write_home
from receivers import SECRET, hook, mail_server, mail_url, retained, silence, watcher

from monitor.basis.alarm import MQTT, Message
from monitor.basis.clock import SetClock, SystemClock
from monitor.basis.errors import DeliveryError, StoreError
from monitor.basis.times import DAY, HOUR, MINUTE
from monitor.config.alarms import Contact
from monitor.config.settings import load_settings
from monitor.intake.announce import Announcer
from monitor.keep.rows import Post
from monitor.tell.alarm import courier
from monitor.watch.alarm_acts import send_test
from monitor.watch.desk import Desk, open_desk
from monitor.watch.examining import IllError
from monitor.watch.job.jobs import open_job
from monitor.watch.service import delivering as module
from monitor.watch.service.delivering import Delivering, Pace, delivering
from monitor.watch.service.undelivered import examined, trouble

# what the library imports warns of a module that the next Python has not
pytestmark = pytest.mark.filterwarnings("ignore:'imghdr' is deprecated:DeprecationWarning")

QUICK = Pace(look=0.02, limit=20.0, farewell=5.0, first=0, longest=0)
LATER = "Nothing to do: it is tried again later"


def message(id_: str, contact: str = "office", **more) -> Message:
    kind = "event" if contact == MQTT else "alarm"
    return Message(id_, contact, kind, f"subject {id_}", "text", {"n": 1}, NOW, NOW, None, (), ("den",))._replace(
        **more
    )


def post(desk: Desk, *messages: Message) -> None:
    desk.store.record_alarms([], [], messages)


def with_contacts(desk: Desk, *contacts: Contact, port: int | None = None) -> Desk:
    """The desk with these contacts, and its broker on `port`."""
    broker = replace(desk.settings.broker, port=port or free_port())
    return desk._replace(settings=replace(desk.settings, contacts=contacts, brokers=(broker,)))


def counts(desk: Desk) -> tuple[int, int, int]:
    """How many messages wait, were sent, were given up."""
    found = desk.store.outbox_counts()
    return found[Post.WAITING], found[Post.SENT], found[Post.DEAD]


@pytest.fixture
def said(monkeypatch) -> list[tuple]:
    """What the log is told."""
    lines: list[tuple] = []
    monkeypatch.setattr(module, "log", lambda level, event, **fields: lines.append((level, event, fields)))
    return lines


@contextlib.contextmanager
def by_hand(desk: Desk, send, pace: Pace = QUICK) -> Iterator[Delivering]:
    """Delivery whose turns the test takes."""
    made = Delivering(desk, pace, send)
    yield made
    made.end()
    made.run()


def turn(made: Delivering) -> None:
    """One turn, what it hands over done and written down."""
    made.turn()
    soon(lambda: not any(hand.under_way for hand in made._hands.values()) or made._write_down())


# --- who takes it


def test_each_contact_is_told_its_own(desk: Desk):
    with mail_server() as mail, hook() as chat, hook() as other:
        at = with_contacts(desk, Contact("mail", mail.url), Contact("chat", chat.url), Contact("other", other.url))
        post(at, message("m1", "mail"), message("c1", "chat"), message("c2", "chat"))
        with delivering(at, pace=QUICK):
            soon(lambda: counts(at) == (0, 3, 0))
    assert [one["subject"] for one in mail.mails] == ["subject m1"]
    assert chat.ids() == ["c1", "c2"]
    assert other.told == []


def test_an_event_is_told_to_the_broker(desk: Desk, mosquitto: Mosquitto):
    at = with_contacts(desk, port=mosquitto.port)
    topic = f"wallclime/{at.settings.broker.client_id}/event"
    with watcher(mosquitto.port) as heard, delivering(at, pace=QUICK):
        post(at, message("e1", MQTT))
        soon(lambda: counts(at) == (0, 1, 0) and heard.said(topic))
    assert [(one["id"], one["n"]) for one in heard.said(topic)] == [("e1", 1)]


def test_nothing_is_told_before_its_time_or_after_it(desk: Desk):
    with hook() as chat:
        at = with_contacts(desk, Contact("office", chat.url))
        post(at, message("early", not_before=NOW + 1), message("late", expires=NOW), message("now"))
        with delivering(at, pace=QUICK):
            soon(lambda: counts(at) == (2, 1, 0))
            desk.clock.move(1)
            soon(lambda: counts(at) == (1, 2, 0))
    assert chat.ids() == ["now", "early"]


def test_what_was_told_is_not_told_again_by_the_next_daemon(desk: Desk):
    with hook() as chat:
        at = with_contacts(desk, Contact("office", chat.url))
        post(at, message("a"))
        for _ in range(2):
            with delivering(at, pace=QUICK):
                soon(lambda: counts(at) == (0, 1, 0))
    assert chat.ids() == ["a"]


# --- who does not take it


def test_a_hook_that_answers_500_is_told_once_it_is_well(desk: Desk, said):
    with hook() as chat:
        chat.code = 500
        at = with_contacts(desk, Contact("office", chat.url))
        post(at, message("a"))
        with delivering(at, pace=QUICK):
            soon(lambda: chat.asked >= 3)
            chat.code = 200
            soon(lambda: counts(at) == (0, 1, 0))
    assert chat.ids() == ["a"]
    error = f"contact office: its server is in trouble. {LATER}"
    assert said[0] == (
        "warning", "not told", {"again_in_s": 0.0, "contact": "office", "message": "a", "error": error},
    )  # fmt: skip
    assert said[-1] == ("info", "told", {"contact": "office", "message": "a", "kind": "alarm"})
    assert SECRET not in repr(said)


def test_a_mail_server_that_is_away_is_told_once_it_is_back(desk: Desk):
    with mail_server() as gone:
        pass
    at = with_contacts(desk, Contact("office", gone.url))
    post(at, message("a"))
    with delivering(at, pace=QUICK):
        soon(lambda: desk.store.outbox_failing())
        (failing,) = desk.store.outbox_failing()
        assert failing.error == "contact office: its server refuses the connection. Check host and port in its URL"
        with mail_server(gone.port) as back:
            soon(lambda: counts(at) == (0, 1, 0))
    assert [one["subject"] for one in back.mails] == ["subject a"]


def test_a_mail_server_that_says_nothing_is_told_once_it_speaks(desk: Desk, monkeypatch):
    monkeypatch.setattr(courier, "ANSWER_WITHIN", 0.2)
    port = free_port()
    at = with_contacts(desk, Contact("office", mail_url(port)))
    post(at, message("a"))
    with delivering(at, pace=QUICK):
        with silence(port):
            soon(lambda: desk.store.outbox_failing())
        assert desk.store.outbox_failing()[0].error == f"contact office: it does not answer in time. {LATER}"
        monkeypatch.setattr(courier, "ANSWER_WITHIN", 10.0)
        with mail_server(port) as back:
            soon(lambda: counts(at) == (0, 1, 0))
    assert {one["subject"] for one in back.mails} == {"subject a"}


def test_a_broker_that_hangs_is_told_once_it_goes_on_and_the_id_says_what_came_twice(
    desk: Desk, mosquitto: Mosquitto, monkeypatch
):
    monkeypatch.setattr(module, "Announcer", partial(Announcer, patience=0.3))
    at = with_contacts(desk, port=mosquitto.port)
    event = f"wallclime/{at.settings.broker.client_id}/event"
    post(at, message("e1", MQTT))
    with watcher(mosquitto.port) as heard:
        os.kill(mosquitto.pid, signal.SIGSTOP)
        try:
            with delivering(at, pace=QUICK):
                soon(lambda: desk.store.outbox_failing())
                assert desk.store.outbox_failing()[0].error == (
                    f"broker 127.0.0.1:{mosquitto.port}: it does not answer. Look at the broker's own log"
                )
                os.kill(mosquitto.pid, signal.SIGCONT)
                soon(lambda: counts(at) == (0, 1, 0) and heard.said(event))
        finally:
            os.kill(mosquitto.pid, signal.SIGCONT)
    assert {one["id"] for one in heard.said(event)} == {"e1"}


def test_a_broker_that_is_away_is_told_once_it_is_back(desk: Desk, mosquitto: Mosquitto):
    mosquitto.stop(at_once=True)
    at = with_contacts(desk, port=mosquitto.port)
    post(at, message("e1", MQTT))
    with delivering(at, pace=QUICK):
        soon(lambda: desk.store.outbox_failing())
        mosquitto.start()
        soon(lambda: counts(at) == (0, 1, 0))


def test_a_contact_that_hangs_holds_up_nobody(desk: Desk):
    with hook() as stuck, hook() as chat:
        stuck.hang.set()
        at = with_contacts(desk, Contact("stuck", stuck.url), Contact("office", chat.url))
        post(at, message("s1", "stuck"), message("s2", "stuck"), *(message(f"c{n}") for n in range(5)))
        with delivering(at, pace=QUICK):
            soon(lambda: (stuck.asked, counts(at)[1]) == (1, 5))
            assert len(chat.told) == 5
            stuck.hang.clear()
            soon(lambda: counts(at) == (0, 7, 0))
    assert stuck.ids() == ["s1", "s2"]


def test_who_takes_longer_than_the_limit_has_failed_and_gets_nothing_more_until_it_has_ended(desk: Desk, said):
    going_on, sent = threading.Event(), []

    def send(contact, told):
        sent.append(told.id)
        assert going_on.wait(30)

    at = with_contacts(desk, Contact("office", "json://x.invalid"))
    post(at, message("a"), message("b", made=NOW + 1))
    with by_hand(at, send, QUICK._replace(limit=0.0, first=MINUTE, longest=HOUR)) as made:
        made.turn()
        soon(lambda: sent)
        made.turn()  # a is too late, and b has to wait for it
        errors = [one.error for one in desk.store.outbox_failing()]
        assert errors == [
            f"contact office: it does not answer in 0 s. {LATER}",
            f"contact office: it has still not answered to an earlier message. {LATER}",
        ]
        assert sent == ["a"]
        going_on.set()
        turn(made)  # it took it after all
        assert counts(at) == (1, 1, 0)
        turn(made)  # and so b is tried at once
        assert (sent, counts(at)) == (["a", "b"], (0, 2, 0))


def test_a_late_failure_of_who_took_too_long_is_not_counted_twice(desk: Desk):
    going_on = threading.Event()

    def send(contact, told):
        assert going_on.wait(30)
        raise DeliveryError("no", where="contact office", mend="Later")

    at = with_contacts(desk, Contact("office", "json://x.invalid"))
    post(at, message("a"))
    with by_hand(at, send, QUICK._replace(limit=0.0, first=MINUTE, longest=HOUR)) as made:
        made.turn()
        made.turn()
        going_on.set()
        turn(made)
        (failing,) = desk.store.outbox_failing()
        assert (failing.tries, failing.at) == (1, NOW + MINUTE)


def test_what_fails_is_tried_again_ever_less_often_and_given_up_after_a_week(desk: Desk, said):
    def send(contact, told):
        raise DeliveryError("no", where="contact office", mend="Later")

    at = with_contacts(desk, Contact("office", "json://x.invalid"))
    post(at, message("a"))
    waits = []
    with by_hand(at, send, Pace()) as made:
        while counts(at)[0]:
            turn(made)
            for failing in desk.store.outbox_failing():
                waits.append(failing.at - desk.clock.now())
                desk.clock.at_ms = failing.at
    assert made._failed == {"office": set()}
    minutes = [wait / MINUTE for wait in waits]
    assert minutes[:10] == [1, 2, 4, 8, 16, 32, 64, 128, 240, 240]
    assert set(minutes[8:]) == {240}
    assert 7 * DAY - 4 * HOUR < sum(waits) <= 7 * DAY
    assert [one.error for one in desk.store.dead_letters()] == ["contact office: no. Later"]
    assert said[-1] == (
        "error",
        "given up",
        {"contact": "office", "message": "a", "error": "contact office: no. Later"},
    )


def test_a_contact_that_takes_one_message_gets_those_it_failed_to_take_at_once(desk: Desk):
    well = threading.Event()
    sent = []

    def send(contact, told):
        if not well.is_set():
            raise DeliveryError("no", where="contact office", mend="Later")
        sent.append(told.id)

    at = with_contacts(desk, Contact("office", "json://x.invalid"))
    post(at, message("a"))
    with by_hand(at, send, Pace()) as made:
        turn(made)
        well.set()
        post(at, message("b", made=NOW + 1))
        turn(made)
        turn(made)
    assert (sent, counts(at)) == (["b", "a"], (0, 2, 0))


def test_a_heap_of_messages_for_a_contact_nobody_names_holds_up_nobody(desk: Desk, monkeypatch):
    monkeypatch.setattr(module, "AT_ONCE", 2)
    sent = []
    at = with_contacts(desk, Contact("office", "json://x.invalid"))
    post(at, *(message(f"barn {number}", "barn") for number in range(3)), message("mine", made=NOW + 1))
    with by_hand(at, lambda _contact, told: sent.append(told.id)) as made:
        turn(made)
    assert sent == ["mine"]


def test_what_waits_for_a_contact_that_this_daemon_does_not_know_is_left_to_others_for_a_week(desk: Desk):
    at = with_contacts(desk)
    post(at, message("a", "barn"))
    with by_hand(at, courier.tell, Pace()) as made:
        desk.clock.at_ms = NOW + 7 * DAY
        made.turn()
        assert counts(at) == (1, 0, 0)
        desk.clock.move(1)
        made.turn()
    assert [one.error for one in desk.store.dead_letters()] == [
        "contact barn: no wallclime.toml names it. Name it, or take no notice"
    ]


def test_two_daemons_of_one_store_tell_each_message_once(desk: Desk):
    with hook() as chat:
        at = with_contacts(desk, Contact("office", chat.url))
        ids = [f"m{n}" for n in range(20)]
        post(at, *map(message, ids))
        with delivering(at, pace=QUICK), delivering(at, pace=QUICK):
            soon(lambda: counts(at) == (0, 20, 0))
    assert sorted(chat.ids()) == sorted(ids)


def test_what_was_claimed_by_a_daemon_that_is_gone_is_told_when_its_claim_is_over(desk: Desk):
    with hook() as chat:
        at = with_contacts(desk, Contact("office", chat.url))
        post(at, message("a"))
        assert at.store.outbox_claim("a", NOW, NOW + MINUTE)
        assert not at.store.outbox_claim("a", NOW, NOW + MINUTE)
        with delivering(at, pace=QUICK):
            desk.clock.move(MINUTE)
            soon(lambda: counts(at) == (0, 1, 0))
    assert chat.ids() == ["a"]


def test_a_fault_of_ours_shows_no_url_and_loses_nothing(desk: Desk):
    def send(contact, told):
        raise RuntimeError(contact.url)

    at = with_contacts(desk, Contact("office", f"json://{SECRET}"))
    post(at, message("a"))
    with by_hand(at, send, Pace()) as made:
        turn(made)
    (failing,) = desk.store.outbox_failing()
    assert failing.error == "a fault of wallclime: RuntimeError"


def test_a_store_out_of_reach_is_waited_for_and_nothing_is_sent_again(desk: Desk, said, monkeypatch):
    with hook() as chat:
        at = with_contacts(desk, Contact("office", chat.url))
        post(at, message("a"))
        store, out = type(desk.store), StoreError("it is locked", where="store", mend="Wait")
        written, failing = store.outbox_sent, [out, out, out]

        def sent(self, id_, when):
            if failing:
                raise failing.pop()
            written(self, id_, when)

        monkeypatch.setattr(store, "outbox_sent", sent)
        with delivering(at, pace=QUICK):
            soon(lambda: counts(at) == (0, 1, 0))
    assert chat.ids() == ["a"]
    assert said[0] == ("error", "outbox out of reach", {"error": "store: it is locked. Wait"})


def test_the_end_waits_for_what_is_on_its_way_but_not_for_who_hangs(desk: Desk):
    with hook() as slow:
        at = with_contacts(desk, Contact("office", slow.url))
        post(at, message("a"))
        slow.hang.set()
        with delivering(at, pace=QUICK):
            soon(lambda: slow.asked)
            threading.Timer(0.2, slow.hang.clear).start()
        assert counts(at) == (0, 1, 0)
    with silence() as port:
        at = with_contacts(desk, Contact("office", f"json://127.0.0.1:{port}"))
        post(at, message("b"))
        with delivering(at, pace=QUICK._replace(farewell=0.1)):
            soon(lambda: any(thread.name == "telling office" for thread in threading.enumerate()))
        assert counts(at)[0] == 1


# --- states


def test_states_are_retained_told_once_and_anew_when_the_broker_was_away(desk: Desk, mosquitto: Mosquitto):
    at = with_contacts(desk, port=mosquitto.port)
    topic = f"wallclime/{at.settings.broker.client_id}/job/den/state"
    with delivering(at, pace=QUICK) as made:
        made.announce({"den": {"room": "in", "as_of": "x"}})
        soon(lambda: retained(mosquitto.port) == {topic: {"room": "in", "as_of": "x"}})
        made.announce({"den": {"room": "out", "as_of": "y"}})
        soon(lambda: retained(mosquitto.port) == {topic: {"room": "out", "as_of": "y"}})
        mosquitto.stop(at_once=True)
        mosquitto.start()
        soon(lambda: retained(mosquitto.port) == {topic: {"room": "out", "as_of": "y"}})
        made.announce({})
        soon(lambda: retained(mosquitto.port) == {})


def test_states_that_the_broker_was_away_for_are_told_later_and_its_trouble_is_logged_once(
    desk: Desk, mosquitto: Mosquitto, said
):
    mosquitto.stop(at_once=True)
    at = with_contacts(desk, port=mosquitto.port)
    with delivering(at, pace=QUICK) as made:
        made.announce({"den": {"room": "in"}})
        soon(lambda: said)
        mosquitto.start()
        soon(lambda: len(retained(mosquitto.port)) == 1)
    where = f"broker 127.0.0.1:{mosquitto.port}"
    error = f"{where}: Connection refused. Start the broker, or mend host and port in wallclime.toml"
    assert said == [("warning", "states not told", {"error": error})]


def test_a_state_that_can_not_be_written_as_json_ends_no_thread(desk: Desk, mosquitto: Mosquitto, said):
    at = with_contacts(desk, port=mosquitto.port)
    with delivering(at, pace=QUICK) as made:
        made.announce({"den": {"share": float("nan")}})
        soon(lambda: said)
        post(at, message("e1", MQTT))
        soon(lambda: counts(at) == (0, 1, 0))
        made.announce({"den": {"share": 0.5}})
        soon(lambda: len(retained(mosquitto.port)) == 1)
    error = "a fault of wallclime: ValueError('Out of range float values are not JSON compliant"  # newer Pythons go on
    assert said[0][:2] == ("warning", "states not told")
    assert said[0][2]["error"].startswith(error)


# --- what people are told of it


def test_who_can_not_be_reached_is_said_and_what_was_given_up_of_late(desk: Desk):
    assert (trouble(desk), examined(desk)) == ([], "0 messages on the way, 0 told, none of them in vain")
    post(desk, message("a"), message("b", made=NOW - MINUTE), message("c", "barn"), message("d", "barn"), message("e"))
    desk.store.outbox_failed("a", NOW, "contact office: no. Later", NOW + MINUTE)
    desk.store.outbox_failed("b", NOW, "contact office: not yet. Later", NOW + 2 * MINUTE)
    waiting = (
        "office: 2 messages could not be told yet, the first of 2026-01-16T23:59:00Z: contact office: not yet. Later"
    )
    assert trouble(desk) == [waiting]
    desk.store.outbox_failed("c", NOW, "contact barn: no. Later", None)
    given_up = "barn: 1 message was given up, the last at 2026-01-17T00:00:00Z: contact barn: no. Later"
    assert trouble(desk) == [waiting, given_up]
    with pytest.raises(IllError) as caught:
        examined(desk)
    assert caught.value.args == (waiting, "See to the contact, then try it: wallclime alarm test")
    desk.clock.move(MINUTE)
    desk.store.outbox_failed("d", NOW + MINUTE, "contact barn: gone. Later", None)
    assert trouble(desk)[1] == (
        "barn: 2 messages were given up, the last at 2026-01-17T00:01:00Z: contact barn: gone. Later"
    )
    desk.clock.move(7 * DAY)
    assert trouble(desk) == [waiting]


# --- the daemon


def test_the_daemon_tells_contacts_and_broker_and_lets_it_retain_how_a_job_stands(tmp_path: Path, mosquitto: Mosquitto):
    home = write_home(tmp_path / "home", mosquitto.port, judge_every="1 s")
    with hook() as chat, watcher(mosquitto.port) as heard:
        (home / "office.url").write_text(chat.url)
        (home / "office.url").chmod(0o600)
        with (home / "wallclime.toml").open("a") as settings:
            settings.write('[[contact]]\nname = "office"\nurl_file = "office.url"\n')
        with open_desk(home, environ={}) as desk:
            open_job(desk, opening("the den/1"), who="robin")
            send_test(desk, None)
        daemon = Daemon(home)
        try:
            daemon.start(until="started")
            soon(lambda: chat.told)
            topics = ["/job/the den%2F1/state", "/event"]
            soon(
                lambda: (
                    {topic for topic, *_ in heard.heard if topic.endswith(tuple(topics))}
                    == {f"wallclime/{client_id(home)}{topic}" for topic in topics}
                )
            )
            assert daemon.stop() == 0
        finally:
            daemon.kill()
        assert SECRET not in (home / "daemon.log").read_text()
    assert chat.told[0]["title"].startswith("Test")
    (state,) = heard.said(f"wallclime/{client_id(home)}/job/the den%2F1/state")[:1]
    assert (state["job"], state["phase"], state["room"]) == ("the den/1", "before", "unknown")


def client_id(home: Path) -> str:
    return load_settings(home, {}).broker.client_id


# --- kill -9

CHILD = """
import sys, time
from pathlib import Path
from monitor.watch.service import delivering as module
from monitor.watch.service.delivering import Pace, delivering
from monitor.watch.desk import open_desk
with open_desk(Path(sys.argv[1])) as desk:
    with delivering(desk, pace=Pace(look=0.005, first=0, longest=0)):
        print("delivering", flush=True)
        time.sleep(60)
"""


def test_killed_at_any_moment_nothing_is_lost_and_only_what_was_on_its_way_is_told_twice(
    tmp_path: Path, empty: Path, mosquitto: Mosquitto
):
    home = tmp_path / "home"
    shutil.copytree(empty, home)
    kills, each = 3, 8
    with hook() as chat:
        (home / "office.url").write_text(chat.url)
        (home / "office.url").chmod(0o600)
        (home / "wallclime.toml").write_text(
            f'[broker]\nport = {mosquitto.port}\n[[contact]]\nname = "office"\nurl_file = "office.url"\n'
        )
        with open_desk(home, environ={}, clock=SetClock(NOW)) as desk, watcher(mosquitto.port) as heard:
            topic = f"wallclime/{desk.settings.broker.client_id}/event"
            for round_ in range(kills):
                ids = [f"{round_}-{n}" for n in range(each)]
                post(desk, *(message(one) for one in ids), *(message(f"e{one}", MQTT) for one in ids))
                before = len(chat.told)
                child = subprocess.Popen([sys.executable, "-c", CHILD, str(home)], stdout=subprocess.PIPE)
                try:
                    enough = before + 1 + 2 * round_
                    soon(lambda enough=enough: len(chat.told) >= enough)  # between commit and delivery, somewhere
                finally:
                    child.kill()
                    child.communicate()
            late = SetClock(SystemClock().now() + HOUR)  # when what was claimed by those that are gone is free
            with delivering(desk._replace(clock=late), pace=QUICK):
                soon(lambda: counts(desk) == (0, 2 * kills * each, 0))
            every = {f"{round_}-{n}" for round_ in range(kills) for n in range(each)}
            events = Counter(one["id"] for one in heard.said(topic))
    told = Counter(chat.ids())
    assert set(told) == every
    assert set(events) == {f"e{one}" for one in every}
    assert sum(told.values()) - len(told) <= kills  # one contact has one message on its way
    assert sum(events.values()) - len(events) <= kills
