"""The daemon's log: one event a line, whatever is in it; what journald gets; secrets in no line."""

import ast
import io
import json
import logging
import os
import re
from pathlib import Path

import pytest
from processes import Daemon, free_port, write_home

from monitor.config.settings import Logging
from monitor.watch.service import journal
from monitor.watch.service.journal import LIBRARY, Lines, to_journald

MONITOR = Path(journal.__file__).parents[1]
TIME = r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z"
FORGED = "den\n2026-01-05T00:00:00.000Z info connected\r\x1b[31m\x85\u2028\udc80"


def record(event="connected", level=logging.INFO, **fields):
    made = logging.LogRecord("wallclime", level, "", 0, event, None, None)
    made.fields = fields
    return made


def said_by(name, message, *args, exc_info=None):
    return logging.LogRecord(name, logging.WARNING, "", 0, message, args, exc_info)


def test_an_event_is_a_line_of_its_time_level_name_and_fields():
    line = Lines("text").format(record(broker="127.0.0.1:1883", session_present=True))
    assert re.fullmatch(TIME + r" info connected broker='127\.0\.0\.1:1883' session_present=True", line)


def test_an_event_for_machines_is_a_json_object():
    line = json.loads(Lines("json").format(record(kept=3, lost={"conflict": 1})))
    assert re.fullmatch(TIME, line.pop("at"))
    assert line == {"level": "info", "event": "connected", "kept": 3, "lost": {"conflict": 1}}


@pytest.mark.parametrize("form", ["text", "json"])
@pytest.mark.parametrize("priority", [False, True])
def test_no_sign_in_a_name_or_a_value_begins_another_line(form, priority):
    odd = {FORGED: FORGED, "raw": FORGED.encode("utf-8", "surrogatepass"), "list": [FORGED], "object": Path(FORGED)}
    line = Lines(form, priority=priority).format(record(FORGED, **odd))
    assert line.isprintable()
    assert len(line.splitlines()) == 1


def test_a_field_can_not_take_the_place_of_the_event():
    made = record()
    made.fields = {"event": "stopped", "at": "never", "level": "debug"}
    line = json.loads(Lines("json").format(made))
    assert (line["event"], line["level"]) == ("connected", "info")
    assert re.fullmatch(TIME, line["at"])


def test_what_a_library_says_is_an_event_too_and_its_error_is_told_in_the_same_line():
    try:
        raise ValueError("no\nway")
    except ValueError as exc:
        made = said_by("somebody", "it failed:\n%s", "x", exc_info=(ValueError, exc, exc.__traceback__))
    line = json.loads(Lines("json").format(made))
    assert line["event"] == LIBRARY
    assert (line["logger"], line["said"], line["error"]) == ("somebody", "it failed:\nx", "ValueError('no\\nway')")
    assert len(Lines("text").format(made).splitlines()) == 1


def test_a_long_value_is_cut_and_its_length_told():
    line = json.loads(Lines("json").format(record(detail="x" * 5_000)))
    assert line["detail"] == "x" * 2_000 + "... (5000 characters)"


@pytest.mark.parametrize(
    ("level", "number"),
    # sd-daemon(3): SD_DEBUG 7, SD_INFO 6, SD_WARNING 4, SD_ERR 3
    [(logging.DEBUG, 7), (logging.INFO, 6), (logging.WARNING, 4), (logging.ERROR, 3)],
)
def test_journald_gets_the_priority_in_front(level, number):
    assert Lines("text", priority=True).format(record(level=level)).startswith(f"<{number}>2")


def test_only_the_stream_that_journald_reads_gets_priorities(tmp_path):
    # systemd.exec(5): $JOURNAL_STREAM holds the device and inode of the stream, as decimal numbers, with a colon.
    with (tmp_path / "out").open("w") as out, (tmp_path / "other").open("w") as other:
        found = os.fstat(out.fileno())
        environ = {"JOURNAL_STREAM": f"{found.st_dev}:{found.st_ino}"}
        assert to_journald(out, environ)
        assert not to_journald(other, environ)
        assert not to_journald(out, {})
    assert not to_journald(io.StringIO(), environ)
    assert not to_journald(out, environ)  # it is closed


@pytest.fixture
def said():
    """A log that is written here instead of stderr, and put back."""
    touched = [logging.getLogger(name) for name in ("", "wallclime", "apprise", "urllib3", "requests")]
    before = [(one.handlers[:], one.level, one.propagate) for one in touched]
    touched[0].handlers = []
    yield io.StringIO()
    for one, (handlers, level, propagate) in zip(touched, before, strict=True):
        one.handlers, one.propagate = handlers, propagate
        one.setLevel(level)


def test_set_up_it_logs_from_its_level_on_and_what_may_name_urls_is_not_repeated(said):
    journal.set_up(Logging("warning", "json"), stream=said, environ={})
    journal.log("info", "connected")
    journal.log("warning", "refused", count=2)
    logging.getLogger("sender").warning("it is late")
    for name in ("apprise", "urllib3.connectionpool", "requests"):
        logging.getLogger(name).error("https://hush.invalid/hook")
    events = [json.loads(line) for line in said.getvalue().splitlines()]
    assert [(line["event"], line.get("count"), line.get("said")) for line in events] == [
        ("refused", 2, None), (LIBRARY, None, "it is late"),
    ]  # fmt: skip


def test_no_password_and_no_secret_url_is_in_the_log_of_a_daemon(tmp_path, monkeypatch):
    port = free_port()
    home = write_home(tmp_path / "home", port)
    for name, text in {"word": "pass-hush", "url": f"http://127.0.0.1:{port}/url-hush"}.items():
        (home / name).write_text(text)
        (home / name).chmod(0o600)
    file = home / "wallclime.toml"
    broker = '[broker]\nuser = "hall"\npassword_file = "word"\n'
    dead_man = '[dead_man]\nurl_file = "url"\n'
    level = '[log]\nlevel = "debug"\n'
    text = file.read_text().replace("[broker]\n", broker).replace("[log]\n", level)
    file.write_text(text + dead_man)
    monkeypatch.setenv("WALLCLIME_STORE_PASSWORD", "store-hush")
    daemon = Daemon(home)
    daemon.start(until="broker")
    assert daemon.stop() == 0
    written = (home / "daemon.log").read_text()
    assert "hush" not in written


def logged():
    """Every call of log in the program: where, its arguments, and the names of its fields."""
    for path in sorted(MONITOR.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and ast.unparse(node.func) in ("log", "self._log"):
                fields = [keyword.arg for keyword in node.keywords if keyword.arg]
                yield f"{path.name}:{node.lineno}", node.args, fields


def test_every_event_of_the_program_has_a_level_a_name_of_its_own_and_named_fields():
    events = list(logged())
    assert len(events) > 25
    for where, (level, event), fields in events:
        assert isinstance(level, ast.Constant), where
        assert level.value in ("debug", "info", "warning", "error"), where
        # an entry of the log of a job is an event of its kind
        name = event.value if isinstance(event, ast.Constant) else {"entry.kind.value": "entry"}.get(ast.unparse(event))
        assert isinstance(name, str), f"{where}: the name of an event is not made of what happens to be in it"
        assert re.fullmatch(r"[a-z][a-z' _]*", name), where
        assert not {"at", "level", "event", "payload", "raw", "url", "password"} & set(fields), where
