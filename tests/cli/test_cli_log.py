"""wallclime log: deliver, reading, note, correct, list."""

from __future__ import annotations

import pytest
from homes import COLUMNS, DELIVERED, OPEN_DEN, Home, csv_of, steady

from monitor.basis.times import HOUR, MINUTE

NO_JOB = "job attic: there is no job 'attic'. wallclime job list shows the jobs there are"
NAMES = "Use 1 to 120 printable characters without blanks around"
HAPPENED = "The log holds what has happened; check the date"
TIMES = "Write it like 2026-01-05T06:40 or 2026-01-05T06:40:00+02:00"
CLOCKS = 'where the clocks were changed. Give the time with its offset, such as "+01:00"'
SETTINGS = 'Write it like "boxes=12", "lot=B7" or "finish=TIME"'
START = ("--start", "2026-01-09T08:00")
WHY = ("--reason", "x")

FAULTS = [
    (("deliver", "attic"), NO_JOB),
    (
        ("deliver", "den", "--at", "2026-01-12T12:00:01Z"),
        f"log deliver: 2026-01-12T12:00:01Z is in the future. {HAPPENED}",
    ),
    (("deliver", "den", "--at", "Monday"), f"--at: 'Monday' is not a time. {TIMES}"),
    (
        ("deliver", "den", "--at", "2025-11-02T01:00"),
        f"--at: 2025-11-02 01:00:00 happened twice in America/New_York, {CLOCKS}",
    ),
    (("deliver", "den", "--lot", ""), f"--lot: '' can't be a name. {NAMES}"),
    (("deliver", "den", "--place", " hall"), f"--place: ' hall' can't be a name. {NAMES}"),
    (("deliver", "den", "--boxes", "100001"), "--boxes: 100001 boxes are not delivered. Give 1 to 100000"),
    (("deliver", "den", "--by", " "), f"--by: ' ' can't be a name. {NAMES}"),
    (
        ("deliver", "den", "--at", "2026-01-05T08:00", "--lot", "B7", "--boxes", "3"),
        "log of den: entry 4 says so already. Give another lot its own --lot NAME",
    ),
    (("reading", "attic", "--humidity", "45 %"), NO_JOB),
    (("reading", "den"), "log reading: nothing was read. Give --temperature or --humidity, or both"),
    (("reading", "den", "--humidity", "45"), "--humidity: '45' is not a percentage. Write it like \"45 %\""),
    (("reading", "den", "--humidity", "wet"), "--humidity: 'wet' is not a number with a unit. Write it like \"45 %\""),
    (
        ("reading", "den", "--temperature", "68"),
        '--temperature: \'68\' is not a temperature. Write it like "68 degF" or "20 degC"',
    ),
    (("reading", "den", "--humidity", "105.1 %"), "log reading: 105.1 % is no air of a room. Read it again: 0 to 105"),
    (
        ("reading", "den", "--temperature", "68 K"),
        "log reading: -205.15 degC is no air of a room. Read it again: -40 to 85",
    ),
    (
        ("reading", "den", "--humidity", "45 %", "--at", "2026-01-12T07:01"),
        f"log reading: 2026-01-12T12:01:00Z is in the future. {HAPPENED}",
    ),
    (("note", "attic", "x"), NO_JOB),
    (("note", "den", " \n"), "log note: the note is empty. Write what happened"),
    (("note", "den", "\udce9"), "command line: '\\udce9' is not UTF-8 text. Write it, or name the file, anew"),
    (
        ("note", "den", "x", "--at", "2100-01-01"),
        "--at: '2100-01-01' is outside the years 2000 to 2099. Check the year and the clock",
    ),
    (("note", "den", "x", "--at", "2099-01-01Z"), f"log note: 2099-01-01T00:00:00Z is in the future. {HAPPENED}"),
    (("correct", "attic", "3", "--withdraw", *WHY), NO_JOB),
    (
        ("correct", "den", "8", "--withdraw", *WHY),
        "log of den: there is no entry 8 to correct. See wallclime log list den",
    ),
    (
        ("correct", "den", "0", "--withdraw", *WHY),
        "log of den: there is no entry 0 to correct. See wallclime log list den",
    ),
    (("correct", "den", "4", *WHY), "log correct: nothing is corrected. Give --at TIME, --set KEY=VALUE or --withdraw"),
    (
        ("correct", "den", "4", *WHY, "--withdraw", "--set", "boxes=3"),
        "log correct: it can't be both withdrawn and set right. Give --at TIME, --set KEY=VALUE or --withdraw",
    ),
    (("correct", "den", "4", "--withdraw", "--reason", " "), "log correct: no reason is given. Add --reason TEXT"),
    (
        ("correct", "den", "4", *WHY, "--at", "2026-01-12T08:00"),
        f"log correct --at: 2026-01-12T13:00:00Z is in the future. {HAPPENED}",
    ),
    (("correct", "den", "4", *WHY, "--at", "then"), f"--at: 'then' is not a time. {TIMES}"),
    *(
        (
            ("correct", "den", number, *WHY, "--withdraw"),
            f"log of den: entry {number} ({kind}) can't be corrected. Write a note instead: wallclime log note",
        )
        for number, kind in ((1, "job"), (2, "profile"), (5, "import"), (6, "completion"))
    ),
    *(
        (("correct", "den", "4", *WHY, "--set", setting), f"--set: {setting!r} sets nothing. {SETTINGS}")
        for setting in ("boxes", "boxes=", "lot=", "=B7")
    ),
    *(
        (
            ("correct", "den", "4", *WHY, "--set", f"boxes={text}"),
            f"--set boxes: {text!r} is no whole number. Write it like 12",
        )
        for text in ("many", "-1", "1.5", "1234567890")
    ),
    (
        ("correct", "den", "4", *WHY, "--set", "colour=oak"),
        "--set: entry 4 (deliver) has no colour. See wallclime log list den --json",
    ),
    (("correct", "den", "4", *WHY, "--set", "boxes=0"), "--boxes: 0 boxes are not delivered. Give 1 to 100000"),
    (("correct", "den", "4", *WHY, "--set", "lot= B8"), f"--lot: ' B8' can't be a name. {NAMES}"),
    (("correct", "den", "4", *WHY, "--set", "place=a\tb"), f"--place: 'a\\tb' can't be a name. {NAMES}"),
    (("correct", "den", "7", *WHY, "--set", "text= "), "log note: the note is empty. Write what happened"),
    (
        ("correct", "den", "7", *WHY, "--set", "finish=noon"),
        "--set: entry 7 (note) has no finish. See wallclime log list den --json",
    ),
    (
        ("correct", "den", "7", *WHY, "--set", "boxes=3"),
        "--set: entry 7 (note) has no boxes. See wallclime log list den --json",
    ),
    (("list", "attic"), NO_JOB),
]


@pytest.mark.parametrize(("args", "said"), FAULTS)
def test_what_a_log_command_refuses(record: Home, args, said):
    result = record("log", *args)
    assert (result.code, result.out, result.err) == (2, "", said + "\n")


@pytest.mark.parametrize(
    ("args", "said"),
    [
        (("deliver", "den", "--boxes", "0"), "'--boxes'"),
        (("deliver", "den", "--boxes", "some"), "'--boxes'"),
        (("correct", "den", "first", *WHY), "'NUMBER'"),
        (("correct", "den", "4", "--withdraw"), "'--reason'"),
        (("note", "den"), "'TEXT'"),
    ],
)
def test_a_command_that_cant_be_read_exits_2_and_names_the_option(record: Home, args, said):
    result = record("log", *args)
    assert (result.code, result.out) == (2, "")
    assert said in result.err.splitlines()[-1]


# --- deliver ----------------------------------------------------------------------------------------------------------


def test_a_delivery_says_lot_place_and_boxes(den: Home):
    said = den.done(
        "log", "deliver", "den", "--at", "2026-01-05 08:00", "--lot", "B7", "--boxes", "12", "--place", "hall"
    )
    assert said.out == ""
    assert said.err.startswith("entry 4: deliver, B7, 12 boxes at 'hall'\n")
    entry = den.log()[3]
    assert entry["at"] == "2026-01-05T13:00:00Z"
    assert entry["body"] == {"lot": "B7", "place": "hall", "boxes": 12}


def test_lots_without_a_name_are_numbered_past_names_that_are_taken(den: Home):
    for more in ((), ("--lot", "lot 3"), (), ()):
        den.done("log", "deliver", "den", *more)
    assert [entry["body"]["lot"] for entry in den.log()[3:]] == ["lot 1", "lot 3", "lot 2", "lot 4"]


def test_a_delivery_is_now_at_the_boxes_place_unless_something_else_is_said(den: Home):
    den.done("log", "deliver", "den")
    entry = den.log()[3]
    assert (entry["at"], entry["body"]) == ("2026-01-12T12:00:00Z", {"lot": "lot 1", "place": "den", "boxes": None})


# --- reading and note -------------------------------------------------------------------------------------------------


def test_a_hand_reading_is_kept_in_degrees_celsius_and_percent_with_its_instrument(den: Home):
    said = den.done(
        "log", "reading", "den", "--temperature", "68 degF", "--humidity", "45 %RH", "--instrument", "old dial",
        "--at", "2026-01-06T09:30",
    )  # fmt: skip
    assert said.err == "entry 4: reading\n"
    entry = den.log()[3]
    assert entry["body"]["values"] == {"air_temperature": pytest.approx(20.0), "air_humidity": 45.0}
    assert (entry["at"], entry["body"]["instrument"]) == ("2026-01-06T14:30:00Z", "old dial")


def test_a_hand_reading_does_not_feed_the_clock(den: Home):
    den.done("log", "deliver", "den", "--at", "2026-01-12T06:00")
    before = den.assess()
    den.done("log", "reading", "den", "--humidity", "45 %", "--temperature", "20 degC", "--at", "2026-01-12T06:30")
    assert den.assess() == before


def test_a_note_holds_lines_and_letters_of_any_language(den: Home):
    text = "Fönster öppet\nпо утрам"
    assert den.done("log", "note", "den", text, "--at", "2026-01-06").err == "entry 4: note\n"
    assert den.log()[3]["body"] == {"text": text}
    assert den.log()[3]["at"] == "2026-01-06T05:00:00Z"  # a date alone is its first instant in the job's zone


# --- correct ----------------------------------------------------------------------------------------------------------


@pytest.fixture
def installed(den: Home) -> Home:
    """The job with an installation that started 2026-01-09T13:00Z: entry 4 the delivery, 5 the start."""
    den.done("log", "deliver", "den", "--at", "2026-01-05T08:00", "--lot", "B7")
    den.done("log", "install", "den", *START, "--not-ready", "--reason", "guests")
    return den


def test_a_correction_changes_the_verdict_and_both_verdicts_are_said(wallclime: Home):
    wallclime.done(*OPEN_DEN)
    wallclime.clock.at_ms = DELIVERED + 60 * HOUR
    wallclime.done("log", "deliver", "den", "--at", "2026-01-06T08:00")
    rows = csv_of(steady(DELIVERED, 60))
    wallclime.done("import", "den", wallclime.file("den.csv", rows), "--sensor", "shelf", *COLUMNS)
    said = wallclime.done("log", "correct", "den", "4", "--at", "2026-01-05T08:00", "--reason", "the day before")
    before, after, entry = said.err.splitlines()
    assert before == (
        "before: The installation may not start yet: 36.0 h of 48 h are counted, "
        "complete 2026-01-08 08:00 -05:00 if the room stays in band."
    )
    assert after.startswith("after: The installation may not start yet: the acclimation is complete, but ")
    assert entry == "entry 6: correction"
    assert wallclime.kinds() == ["job", "profile", "take-off", "deliver", "import", "correction", "completion"]
    assert [entry["number"] for entry in wallclime.log()] == [1, 2, 3, 4, 5, 6, 7]
    correction = wallclime.log()[5]
    assert correction["corrects"] == 4
    assert correction["body"] == {"reason": "the day before", "at": DELIVERED}


@pytest.mark.parametrize(
    ("setting", "key", "value"),
    [("lot=C1", "lot", "C1"), ("place=hall", "place", "hall"), ("boxes=3", "boxes", 3)],
)
def test_what_a_delivery_said_is_set_right(den: Home, setting, key, value):
    den.done("log", "deliver", "den", "--lot", "B7", "--boxes", "12")
    den.done("log", "correct", "den", "4", "--set", setting, "--reason", "misread")
    assert den.log()[4]["body"] == {"reason": "misread", "instead": {key: value}}
    lot = den.assess()["acclimation"]["lots"][0]
    assert lot[key] == value


def test_several_things_are_set_right_at_once(den: Home):
    den.done("log", "deliver", "den")
    settings = ("--set", "boxes=3", "--set", "lot=B7=2", "--at", "2026-01-12T06:00")
    den.done("log", "correct", "den", "4", *settings, "--reason", "misread")
    lot = den.assess()["acclimation"]["lots"][0]
    assert (lot["boxes"], lot["lot"], lot["delivered_at"]) == (3, "B7=2", "2026-01-12T11:00:00Z")


def test_what_is_withdrawn_did_not_happen_and_cant_be_corrected_again(den: Home):
    den.done("log", "deliver", "den")
    den.done("log", "correct", "den", "4", "--withdraw", "--reason", "the other wall")
    assert den.assess()["acclimation"]["delivered_at"] is None
    again = den("log", "correct", "den", "4", "--withdraw", "--reason", "twice")
    assert again.err == "log of den: there is no entry 4 to correct. See wallclime log list den\n"


def test_a_note_and_a_hand_reading_can_be_corrected(den: Home):
    den.done("log", "note", "den", "heater of")
    den.done("log", "correct", "den", "4", "--set", "text=heater off", "--reason", "typo")
    den.done("log", "reading", "den", "--humidity", "45 %")
    den.done("log", "correct", "den", "6", "--withdraw", "--reason", "read upside down")
    assert den.kinds()[3:] == ["note", "correction", "reading", "correction"]


def test_the_start_is_corrected_in_every_entry_that_says_it(installed: Home):
    installed.done("log", "install", "den", *START, "--finish", "2026-01-09T18:00")
    said = installed.done("log", "correct", "den", "5", "--at", "2026-01-09T09:00", "--reason", "misread")
    assert said.err.splitlines()[-2:] == ["entry 7: correction", "entry 8: correction"]
    assert [entry["corrects"] for entry in installed.log()[-2:]] == [5, 6]
    assert installed.assess("--at", "2026-01-09T08:59")["phase"] == "before"
    assert installed.assess("--at", "2026-01-09T09:00")["phase"] == "during"
    installed.done("log", "correct", "den", "6", "--at", "2026-01-09T10:00", "--reason", "once more")
    assert installed.assess("--at", "2026-01-09T09:59")["phase"] == "before"


def test_the_start_withdrawn_takes_the_finish_along_but_not_the_other_way_round(installed: Home):
    installed.done("log", "install", "den", *START, "--finish", "2026-01-09T18:00")
    installed.done("log", "correct", "den", "6", "--withdraw", "--reason", "not done yet")
    assert installed.assess()["phase"] == "during"
    installed.done("log", "install", "den", *START, "--finish", "2026-01-09T19:00")
    installed.done("log", "correct", "den", "5", "--withdraw", "--reason", "the other wall")
    assert installed.assess()["phase"] == "before"


def test_a_finish_is_set_right_where_it_stands(installed: Home):
    installed.done("log", "install", "den", *START, "--finish", "2026-01-09T18:00")
    finish = ("--set", "finish=2026-01-09T17:00", "--reason", "misread")
    wrong = installed("log", "correct", "den", "5", *finish)
    assert (wrong.code, wrong.err) == (
        2,
        "job den: the installation was finished 2026-01-09T22:00:00Z by the log. Give that time, or correct it: "
        "wallclime log correct den 5 --set finish=TIME --reason TEXT\n",
    )
    installed.done("log", "correct", "den", "6", *finish)
    assert installed.assess("--at", "2026-01-09T17:00")["phase"] == "after"


@pytest.mark.parametrize(
    ("setting", "said"),
    [
        ("finish=2026-01-09T07:00", "log install: the finish is before the start. Check the two times\n"),
        ("finish=2026-01-12T08:00", f"--set finish: 2026-01-12T13:00:00Z is in the future. {HAPPENED}\n"),
    ],
)
def test_a_finish_cant_be_set_where_it_cant_have_been(installed: Home, setting, said):
    result = installed("log", "correct", "den", "5", "--set", setting, "--reason", "x")
    assert (result.code, result.err) == (2, said)
    assert len(installed.log()) == 5


def test_a_correction_cant_say_a_delivery_twice(den: Home):
    for lot in ("B7", "B8"):
        den.done("log", "deliver", "den", "--lot", lot)
    result = den("log", "correct", "den", "5", "--set", "lot=B7", "--reason", "x")
    assert (result.code, result.err) == (
        2,
        "log of den: entry 4 says so already. Give another lot its own --lot NAME\n",
    )


def test_a_changed_profile_can_be_withdrawn_but_not_the_one_of_the_opening(den: Home):
    oak = den.file("oak.toml", 'name = "oak"\n')
    den.done("job", "profile", "den", oak, "--reason", "wrong box")
    assert den.assess()["profile"]["name"] == "oak"
    den.done("log", "correct", "den", "4", "--withdraw", "--reason", "right box")
    assert den.assess()["profile"]["name"] == "laminate planks, interior wall"


# --- list -------------------------------------------------------------------------------------------------------------


def test_the_log_reads_like_a_diary(den: Home):
    den.done("log", "deliver", "den", "--at", "2026-01-05T08:00", "--lot", "B7", "--boxes", "12")
    den.done("log", "note", "den", "heater on")
    den.done("log", "correct", "den", "4", "--set", "boxes=11", "--reason", "counted again", "--by", "kim")
    assert den.done("log", "list", "den").out.splitlines()[-7:] == [
        "   4  2026-01-05 08:00 -05:00  deliver, robin [entered 6 d later; corrected by",
        "      entry 6]",
        "      lot: B7; place: den; boxes: 12",
        "   5  2026-01-12 07:00 -05:00  note, robin",
        "      text: heater on",
        "   6  2026-01-12 07:00 -05:00  correction, kim",
        "      corrects entry 4; reason: counted again; instead: boxes 11",
    ]


def test_entries_for_machines_have_their_link(record: Home):
    entries = record.log()
    assert [entry["number"] for entry in entries] == [1, 2, 3, 4, 5, 6, 7]
    assert [entry["kind"] for entry in entries] == [
        "job",
        "profile",
        "take-off",
        "deliver",
        "import",
        "completion",
        "note",
    ]
    assert all(len(bytes.fromhex(entry["link"])) == 32 for entry in entries)
    assert set(entries[0]) == {
        "number", "kind", "at", "entered", "entered_late", "who", "body", "corrects", "link"
    }  # fmt: skip
    assert entries[5]["who"] == "wallclime"
    assert entries[5]["body"] == {"delivery": 4, "lot": "B7", "place": "den", "completed": DELIVERED + 48 * HOUR}


def test_an_entry_more_than_an_hour_after_the_fact_says_so(den: Home):
    for at in ("2026-01-12T10:59:59Z", "2026-01-12T11:00:00Z"):
        den.done("log", "note", "den", "heater on", "--at", at)
    assert [entry["entered_late"] for entry in den.log()[3:]] == [True, False]
    told = den.done("log", "list", "den").out
    assert told.count("[entered 1 h later]") == 1


def test_the_time_of_entering_is_the_clocks_and_never_given(den: Home):
    den.clock.move(5 * MINUTE)
    den.done("log", "note", "den", "heater on", "--at", "2026-01-06")
    assert den.log()[3]["entered"] == "2026-01-12T12:05:00Z"


def test_another_start_is_refused_by_the_entry_that_says_it_whatever_was_corrected_before(den: Home):
    den.done("log", "note", "den", "one")
    den.done("log", "note", "den", "two")
    for number in (4, 5):
        den.done("log", "correct", "den", number, "--withdraw", "--reason", "no")
    den.done("log", "install", "den", "--start", "2026-01-12T03:00", "--not-ready", "--reason", "asked")
    refused = den("log", "install", "den", "--start", "2026-01-12T04:00")
    assert (refused.code, refused.err) == (
        2,
        "job den: the installation started 2026-01-12T08:00:00Z by the log. "
        "Give that time, or correct it: wallclime log correct den 8 --at TIME --reason TEXT\n",
    )
