"""Texts that would be more than text, put through the real command line into every place that takes one, and read back
from everything that comes out: terminal, JSON, pages in a browser, PDF, tables of a bundle."""

from __future__ import annotations

import csv
import json
import re
import shutil
import unicodedata
from dataclasses import dataclass
from pathlib import Path

import pytest
from browser import Window
from homes import DELIVERED, NOON, OPEN_DEN, Home, steady
from pypdf import PdfReader

from monitor.basis.alarm import Message
from monitor.basis.clock import SetClock
from monitor.basis.times import HOUR
from monitor.basis.values import LIVE, Quantity, Reading, Refused
from monitor.intake.announce import event_json, job_of, level_of
from monitor.keep.store import open_store
from monitor.seal.chain import link
from monitor.tell.words import visible

NAMES = {
    "markup": "<img src=x onerror=\"document.title='taken'\">&amp;<b>bold</b>",
    "script": "</script><script>document.title='taken'</script>",
    "style": "</style><style>*{display:none}</style>",
    "attribute": "\" onmouseover=\"document.title='taken'\" x='",
    "formula": '=HYPERLINK("http://example.invalid/";"x")',
    "plus": "+1+1",
    "minus": "-1+1",
    "at": "@SUM(A1:A9)",
    "template": "{{ 7*7 }}{% raw %}${x} #{y}",
    "percent": "%s %n %(x)s %d {0} {job}",
    "shell": "$(touch x); `touch x` | ../../x",
    "console markup": "[red]x[/red] [link=file:///]y[/link]",
    "other letters": "\u05e9\u05dc\u05d5\u05dd \u6f22\u5b57 \u00fc\u0308 \U0001f4a7",
}
TEXTS = NAMES | {
    "turned round": "abc\u202edef\u2066ghi\u200f",
    "terminal": "\x1b]0;taken\x07\x1b[2J\x1b[31mred\x9b31m\x7f\b\b",
    "tab": "\t=1+1",
    "lines": "a\u2028b\u2029c\x85d\x0be\x0cf",
    "new line": "a\r\nNOT READY\n=1+1",
    "nothing": "a\x00b\ufeff\u200b",
    "long": "long" * 2_500,
}
NO_NAMES = {name: text for name, text in TEXTS.items() if name not in NAMES}
JOBS = ("markup", "formula", "minus", "template", "shell", "other letters")


@dataclass(frozen=True)
class Scene:
    """A home whose job "den" has all texts in its log, its lots and its sensors, and six jobs with such names."""

    home: Home
    folder: Path


def hear(home: Home) -> None:
    """Readings on topics of every name, and messages that were refused with every text in them."""
    readings = [
        Reading(f"site/{name}", quantity, row.t, value, unit, row.t, LIVE)
        for name in NAMES.values()
        for row in steady(DELIVERED, 3, step=20)
        for quantity, value, unit in (
            (Quantity.AIR_TEMPERATURE, row.temperature, "degC"),
            (Quantity.AIR_HUMIDITY, row.humidity, "%"),
        )
    ]
    refused = [
        Refused(f"site/{text}"[:900], "unreadable", f"no number: {text[:300]}", text.encode(), NOON - HOUR)
        for text in TEXTS.values()
    ]
    store = open_store(f"sqlite:///{home.path / 'wallclime.db'}", clock=SetClock(NOON), link=link)
    with store:
        store.keep_readings(readings, refused)


@pytest.fixture(scope="module")
def scene(tmp_path_factory: pytest.TempPathFactory) -> Scene:
    folder = tmp_path_factory.mktemp("hostile")
    home = Home(folder / "home")
    home.done(*OPEN_DEN)
    hear(home)
    for name in NAMES.values():
        home.done("log", "deliver", "den", "--at", "2026-01-05T08:00", f"--lot={name}", f"--by={name}")
        home.done("sensor", "add", f"--topic=site/{name}", "--hold", "30 min", f"--by={name}", "--", name)
        home.done("sensor", "assign", "--job", "den", "--at", "2026-01-05T08:00", "--", name)
    for text in TEXTS.values():
        home.done("log", "note", "den", "--at", "2026-01-06T08:00", "--", text)
    for job in JOBS:
        home.done("job", "open", *OPEN_DEN[3:], f"--boxes-place={NAMES[job]}", "--", NAMES[job])
    install(home, folder)
    return Scene(home, folder)


def install(home: Home, folder: Path) -> None:
    """The job "markup" is installed although it is not ready, with all texts but the long one in one reason."""
    job, every = NAMES["markup"], " / ".join(text for name, text in TEXTS.items() if name != "long")
    home.done("log", "deliver", "--at", "2026-01-05T08:00", "--", job)
    home.done(
        "log", "install", "--start", "2026-01-06T08:00", "--finish", "2026-01-06T18:00", "--not-ready",
        f"--reason={every}", f"--asked-by={NAMES['script']}", f"--who-installed={NAMES['style']}",
        f"--fastening={NAMES['attribute']}", f"--offcut={NAMES['percent']}", f"--departure={NAMES['template']}",
        "--page", folder / "not-ready.html", "--", job,
    )  # fmt: skip


def squeezed(text: str) -> str:
    return re.sub(r"\s", "", unicodedata.normalize("NFKC", text))


def shown(text: str) -> str:
    """How a text is shown to people, without the breaks that lines give it."""
    return squeezed(visible(text))


# --- the way in -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("text", NO_NAMES.values(), ids=NO_NAMES)
def test_a_name_that_could_not_stand_in_a_line_is_refused_in_one_that_can(scene, text):
    for args, where in (
        (("job", "open", *OPEN_DEN[3:], "--", text), "job"),
        (("sensor", "add", "--topic", "site/x", "--", text), "sensor"),
        (("log", "note", "den", f"--by={text}", "x"), "--by"),
    ):
        result = scene.home(*args)
        assert (result.code, result.out) == (2, "")
        assert result.err.endswith(" can't be a name. Use 1 to 120 printable characters without blanks around\n")
        assert result.err.startswith(where)
        assert result.err[:-1].isprintable()
        assert len(result.err) < 2_000


def test_the_log_has_what_was_said_to_the_letter(scene):
    entries = scene.home.log()
    assert [one["body"]["text"] for one in entries if one["kind"] == "note"] == list(TEXTS.values())
    assert [one["body"]["lot"] for one in entries if one["kind"] == "deliver"] == list(NAMES.values())
    assert {one["who"] for one in entries if one["kind"] == "deliver"} == set(NAMES.values())


def test_json_gives_back_every_name_and_topic_and_is_safe_to_be_looked_at(scene):
    home = scene.home
    seen = [one for one in home.done("sensor", "seen", "--json").json() if one["stream"]]
    assert {one["sensor"] for one in seen} == set(NAMES.values())
    assert {one["stream"] for one in seen} == {f"site/{name}" for name in NAMES.values()}
    assert {one["job"] for one in home.done("job", "list", "--json").json()} == {"den", *(NAMES[job] for job in JOBS)}
    topics = {one["topic"] for one in home.done("quarantine", "list", "--json").json()}
    assert topics == {f"site/{text}"[:900].replace("\x00", "\\x00") for text in TEXTS.values()}  # no store keeps NUL
    for command in (("log", "list", "den"), ("quarantine", "list"), ("assess", "den")):
        assert_harmless(home.done(*command, "--json").out)


# --- the terminal -----------------------------------------------------------------------------------------------------


def assert_harmless(said: str) -> None:
    """Nothing in it moves a cursor, turns a line round or begins another."""
    assert {
        sign for sign in said if sign != "\n" and unicodedata.category(sign) in ("Cc", "Cf", "Zl", "Zp", "Cs")
    } == set()


SCREENS = (
    ("job", "list"), ("job", "show", "den"), ("status",), ("status", "den"), ("ready", "den"), ("assess", "den"),
    ("log", "list", "den"), ("sensor", "seen"), ("sensor", "log"), ("quarantine", "list"), ("seal", "status"),
    ("care", "due"), ("alarm", "list"), ("advise", "den"), ("doctor",),
)  # fmt: skip


@pytest.mark.parametrize("command", SCREENS, ids=" ".join)
def test_no_byte_of_a_text_reaches_the_terminal_but_as_a_sign(scene, command):
    result = scene.home(*command)
    assert result.code in (0, 1), result.err
    assert_harmless(result.out)
    assert_harmless(result.err)


@pytest.mark.parametrize("text", TEXTS.values(), ids=TEXTS)
def test_a_fault_that_repeats_what_was_said_is_one_harmless_line(scene, text):
    path = f"no {text[:200]}".replace("\x00", "")  # which no system passes on in a path
    for args in (("ready", f"no {text}"), ("verify", path), ("log", "note", "den", f"--at={text}", "x")):
        result = scene.home(*args)
        assert (result.code, result.out) == (2, "")
        assert result.err.count("\n") == 1
        assert_harmless(result.err)


def test_a_loggers_file_with_such_columns_is_looked_over_harmlessly(scene, tmp_path):
    head = [TEXTS[name] for name in ("terminal", "turned round", "formula", "lines", "tab")]
    file = tmp_path / "den \x1b[2J.csv"
    with file.open("w", encoding="utf-8", newline="") as opened:
        rows = csv.writer(opened)
        rows.writerow(["when", "rh", *head])
        rows.writerows(["2026-01-05T09:00:00Z", 50 + k, *head] for k in range(3))
    columns = ("--time", "when", "--sensor", "logger")
    said = [
        scene.home("import", "den", file, *columns, "--humidity", "no such"),
        scene.home("import", "den", file, *columns, f"--humidity={TEXTS['terminal']}"),
    ]
    assert [one.code for one in said] == [2, 2]
    for one in said:
        assert_harmless(one.err)


def test_the_diary_shows_every_text_and_of_a_long_one_the_beginning(scene):
    said = squeezed(scene.home.done("log", "list", "den").out)
    assert [name for name, text in TEXTS.items() if shown(text)[:400] not in said] == []


def test_the_quarantine_shows_bytes_of_any_kind(scene):
    for row in scene.home.done("quarantine", "list", "--json").json():
        result = scene.home.done("quarantine", "show", row["number"])
        assert_harmless(result.out)
        assert shown(row["topic"]) in squeezed(result.out)


@pytest.mark.parametrize("job", JOBS)
def test_a_job_of_any_name_is_found_by_it_and_shown(scene, job):
    name = NAMES[job]
    for command in ("status", "ready", "assess"):
        result = scene.home(command, "--", name)
        assert result.code in (0, 1), result.err
        assert_harmless(result.out)
    assert shown(name) in squeezed(scene.home("ready", "--", name).out)


# --- pages ------------------------------------------------------------------------------------------------------------


SPANS = ("--span", "2026-01-05T08:00..2026-01-05T12:00", "--span", "2026-01-06..2026-01-07")
WHOLE = tuple(TEXTS)
PAGES = {  # the command and the texts that its page has
    "report": (("report", "--", "den"), WHOLE),
    "form": (("form", "--", NAMES["template"]), ("template",)),
    "sheet": (("form", "--paper", "--", NAMES["formula"]), ("formula",)),
    "record": (("record", "--", NAMES["minus"]), ("minus",)),
    "handover": (("handover", "--", NAMES["markup"]), ("markup", "style", "attribute", "percent")),
    "dispute": (("dispute", *SPANS, "--", "den"), ()),
    "summary": (("summary", "--month", "2026-01"), JOBS),
    "not-ready": ((), ("markup", "script", *(name for name in TEXTS if name != "long"))),
}


@pytest.mark.parametrize("name", PAGES)
def test_in_a_browser_every_text_is_text_and_nothing_of_it_runs(scene, window: Window, name):
    command, texts = PAGES[name]
    path = scene.folder / f"{name}.html"
    if command:
        scene.home.done(command[0], "-o", path, *command[1:])
    with window.open(path.read_text(encoding="utf-8"), width=360) as page:
        page.drawn()
        said = squeezed(page.page.locator("body").text_content() or "")
        assert page.page.title() != "taken"
        assert page.run("document.querySelectorAll('img, iframe, object, [onerror], [onmouseover]').length") == 0
        assert (page.console, page.requests) == ([], [])
        page.until("document.documentElement.scrollWidth === 360")
    assert [key for key in texts if shown(TEXTS[key]) not in said] == []


def test_a_page_over_all_walls_shows_every_name_and_names_its_files_harmlessly(scene, window: Window):
    scene.home.done("board", "-o", scene.folder / "board")
    found = [path.relative_to(scene.folder / "board") for path in (scene.folder / "board").rglob("*") if path.is_file()]
    assert all(re.fullmatch(r"[\w.-]+", str(path)) for path in found)
    with window.open((scene.folder / "board" / "index.html").read_text(encoding="utf-8")) as page:
        said = squeezed(page.page.locator("body").text_content() or "")
        assert page.page.title() != "taken"
        assert page.run("document.querySelectorAll('img, iframe, object, [onerror], [onmouseover]').length") == 0
        assert {link.split(":")[0] for link in page.run("[...document.links].map((one) => one.href)")} <= {"file"}
        assert (page.console, page.requests) == ([], [])
    assert [job for job in JOBS if shown(NAMES[job]) not in said] == []


def test_a_pdf_shows_every_text_whole(scene):
    scene.home.done("report", "den", "-o", scene.folder / "den.pdf")
    sheets = PdfReader(scene.folder / "den.pdf").pages
    foot = re.compile(rf"page\d+of{len(sheets)}|den:notready")
    said = foot.sub("", squeezed("".join(sheet.extract_text() for sheet in sheets)))
    # letters from right to left come in the order in which they are drawn; what fills sheets has their heads in it
    apart = {"other letters", "long"}
    assert [key for key, text in TEXTS.items() if key not in apart and shown(text) not in said] == []
    assert said.count("long") >= 2_500 - len(sheets)


# --- the bundle -------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def bundle(scene: Scene) -> Path:
    scene.home.done("bundle", "den", "-o", scene.folder / "bundle")
    return scene.folder / "bundle"


def test_a_bundle_with_such_texts_is_whole_and_says_so_harmlessly(scene, bundle):
    result = scene.home.bare("verify", bundle)
    assert result.code == 0
    assert_harmless(result.out + result.err)


def test_a_file_put_into_a_bundle_is_named_harmlessly(scene, bundle, tmp_path):
    shutil.copytree(bundle, tmp_path / "bundle")
    for name in ("terminal", "turned round", "new line"):
        (tmp_path / "bundle" / "data" / TEXTS[name].replace("/", "")).write_text("x", encoding="utf-8")
    result = scene.home.bare("verify", tmp_path / "bundle")
    assert result.code == 1
    assert r"data/\x1b]0;taken" in result.err
    assert_harmless(result.out + result.err)
    assert [line for line in result.err.splitlines() if line.startswith(("NOT READY", "=1"))] == []


def test_no_cell_of_a_table_begins_a_formula_and_an_apostrophe_less_is_the_text(bundle):
    sensors = set()
    for path in bundle.rglob("*.csv"):
        with path.open(encoding="utf-8-sig", newline="") as file:
            for row in csv.DictReader(file):
                assert [cell for cell in row.values() if cell.startswith(("=", "+", "-", "@", "\t", "\r", "\n"))] == []
                sensors.add(row["sensor"].removeprefix("'"))
    assert sensors == {f"site/{name}" for name in NAMES.values()}


def test_the_files_of_a_bundle_have_harmless_names(bundle):
    assert [path.name for path in bundle.rglob("*") if not re.fullmatch(r"[\w.-]+", path.name)] == []


# --- the broker -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("text", TEXTS.values(), ids=TEXTS)
def test_a_broker_is_told_a_job_as_one_level_and_a_message_as_json(text):
    level = level_of(text)
    assert job_of(level) == text
    assert not set(level) & set("/+#\x00")  # MQTT 3.1.1, 4.7: separators, wildcards, U+0000
    message = Message("1", "mqtt", "alarm", text, text, {"x": text}, NOON, NOON, jobs=(text,))
    said = json.loads(event_json(message))
    assert (said["subject"], said["text"], said["jobs"], said["x"]) == (text, text, [text], text)
