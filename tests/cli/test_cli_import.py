"""wallclime import: a data logger's file."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from homes import COLUMNS, DELIVERED, NOON, OPEN_DEN, Home, Row, csv_of, steady

from monitor.basis.times import HOUR, MINUTE, rfc3339

HEAD = "when,temp,rh\n"
ROWS = "2026-01-06 08:00,21,50\n2026-01-06 08:10,21.5,50.5\n"
SHELF = ("--sensor", "shelf")
HOLDS = '--hold: a reading can\'t speak for so long or so short a time. Give "1 s" to "7 d"'
COLUMN_NUMBERS = "There are 'when', 'temp', 'rh'; a number such as \"#3\" names a column too"


def nothing_kept(home: Home) -> bool:
    return home.kinds() == ["job", "profile", "take-off"] and home.done("sensor", "seen", "--json").json() == []


# --- what is refused --------------------------------------------------------------------------------------------------

BAD_OPTIONS = [
    (
        ("--zone", "Mars/Crater"),
        '--zone: there is no time zone \'Mars/Crater\'. Give an IANA name such as "UTC" or "America/New_York"',
    ),
    (("--temperature-unit", "%"), "--temperature-unit: '%' is no unit of air_temperature. Use one of degC, degF, K"),
    (("--humidity-unit", "degC"), "--humidity-unit: 'degC' is no unit of air_humidity. Use one of %, fraction"),
    (("--dst", "first"), "--dst: 'first' is not understood. Use earlier or later"),
    (("--decimal", ";"), "--decimal: ';' is not understood. Use . or ,"),
    (
        ("--delimiter", "::"),
        "--delimiter: '::' can't set columns apart. Give one sign, or one of semicolon, tab, bar, comma, blanks",
    ),
    (("--hold", "soon"), '--hold: \'soon\' is not a duration. Write it like "30 min", "48 h" or "7 d"'),
    (("--hold", "0 s"), HOLDS),
    (("--hold", "169 h"), HOLDS),
    (
        ("--sensor", " shelf"),
        "--sensor: ' shelf' can't be a name. Use 1 to 120 printable characters without blanks around",
    ),
    (("--by", "\n"), "--by: '\\n' can't be a name. Use 1 to 120 printable characters without blanks around"),
]


@pytest.mark.parametrize(("more", "said"), BAD_OPTIONS)
def test_an_option_that_cant_be_read_is_named(den: Home, more, said):
    result = den("import", "den", den.file("den.csv", HEAD + ROWS), *SHELF, *COLUMNS, *more)
    assert (result.code, result.out, result.err.splitlines()[-1]) == (2, "", said)
    assert nothing_kept(den)


BAD_FILES = [
    (
        HEAD + ROWS + "2026-01-06 08:20,21,wet\n",
        (),
        "{file}, row 4, column rh: 'wet' is not a number. If it stands for no reading, give --missing 'wet'",
    ),
    (
        HEAD + ROWS + '2026-01-06 08:20,"21,5",50\n',
        (),
        "{file}, row 4, column temp: '21,5' is not a number. Give --decimal \",\" if that is the decimal "
        "mark of the whole file",
    ),
    (
        HEAD + ROWS + "2026-01-06 25:20,21,50\n",
        (),
        "{file}, row 4, column when: '2026-01-06 25:20' is not a time of the form ISO 8601. Give the right "
        '--time-format, such as "%d.%m.%Y %H:%M"',
    ),
    (
        HEAD + ROWS + "1999-01-06 08:20,21,50\n",
        (),
        "{file}, row 4, column when: '1999-01-06 08:20' is outside the years 2000 to 2099. Check the logger's clock",
    ),
    (
        HEAD + ROWS + "2026-01-06 08:20,21,50,7\n",
        (),
        "{file}, row 4: the row has 4 fields, not 3. Check it, or give --delimiter or --decimal",
    ),
    (
        HEAD + "2025-11-02 01:30,21,50\n",
        (),
        "{file}, row 2, column when: 2025-11-02 01:30:00 happened twice in America/New_York, where the "
        'clocks were changed. Give the time with its offset, such as "+01:00", or choose --dst earlier or '
        "--dst later",
    ),
    (
        HEAD + "2025-03-09 02:30,21,50\n",
        (),
        "{file}, row 2, column when: 2025-03-09 02:30:00 does not exist in America/New_York, where the "
        'clocks were changed. Give the time with its offset, such as "+01:00", or choose --dst earlier or '
        "--dst later",
    ),
    (
        HEAD + "5/6/2026 8:00,21,50\n",
        (),
        "{file}, row 2, column when: '5/6/2026 8:00' may have the day first or the month first, and no row "
        'tells which. Give --time-format "%d/%m/%Y %H:%M" or "%m/%d/%Y %H:%M"',
    ),
    (
        HEAD + "08:00 Monday,21,50\n",
        (),
        "{file}, row 2, column when: the form of the time '08:00 Monday' is unknown. Give --time-format, "
        'such as "%d.%m.%y %H:%M"',
    ),
    (
        HEAD + ROWS,
        ("--time-format", "%d.%m.%Y %H:%M"),
        "{file}, row 2, column when: '2026-01-06 08:00' is not a time of the form %d.%m.%Y %H:%M. Give the "
        'right --time-format, such as "%d.%m.%Y %H:%M"',
    ),
    (
        HEAD + "2026-01-06 08:00,,\n",
        (),
        "{file}: there is no reading in the file. Check the columns, and what --missing names",
    ),
    (HEAD, (), "{file}: there is no row below the header. Check that it was copied whole"),
    ("", (), "{file}: the file is empty. Check that it was copied whole"),
    (
        HEAD + ROWS,
        ("--temperature", "tmp"),
        f"{{file}}, row 1: there is no column 'tmp'. Did you mean 'temp'? {COLUMN_NUMBERS}",
    ),
    (HEAD + ROWS, ("--humidity", "#4"), f"{{file}}, row 1: there are 3 columns, no #4. {COLUMN_NUMBERS}"),
    (
        HEAD + ROWS,
        ("--encoding", "klingon"),
        "{file}: there is no encoding 'klingon'. Give the right --encoding, such as utf-8, cp1252 or utf-16",
    ),
    (
        HEAD + ROWS,
        ("--encoding", "utf-16"),
        "{file}: the file is not utf-16 text. Give the right --encoding, such as utf-8, cp1252 or utf-16",
    ),
    (
        HEAD + "2026-01-12 07:02:01,21,50\n",
        (),
        "{file}: its last reading, 2026-01-12T12:02:01Z, is in the future. Check the logger's clock, --zone "
        "and --time-format",
    ),
]


@pytest.mark.parametrize(("text", "more", "said"), BAD_FILES)
def test_of_a_file_with_a_fault_nothing_is_kept(den: Home, text, more, said):
    file = den.file("den.csv", text)
    result = den("import", "den", file, *SHELF, *COLUMNS, *more)
    assert (result.code, result.out, result.err) == (2, "", said.format(file=file) + "\n")
    assert nothing_kept(den)


def test_a_fault_far_down_a_long_file_is_found_before_anything_is_kept(den: Home):
    rows = csv_of(steady(NOON - 90 * 24 * HOUR, 89 * 24, step=5))
    assert rows.count("\n") > 25_000  # more than one chunk of reading
    result = den("import", "den", den.file("den.csv", rows + "2026-01-11T12:00Z,21,-\n"), *SHELF, *COLUMNS)
    assert result.err.endswith(
        "row 25634, column rh: '-' is not a number. If it stands for no reading, give --missing '-'\n"
    )
    assert nothing_kept(den)


def test_a_file_that_is_not_there_is_named(den: Home):
    result = den("import", "den", "/none/den.csv", *SHELF, *COLUMNS)
    said = "/none/den.csv: the file can't be read: No such file or directory. Check the path and its rights\n"
    assert (result.code, result.err) == (2, said)


def test_a_file_without_a_column_of_values_is_refused(den: Home):
    file = den.file("den.csv", HEAD + ROWS)
    result = den("import", "den", file, *SHELF, "--time", "when")
    said = f"{file}: no column of values is named. Name --temperature, --humidity or both\n"
    assert (result.code, result.err) == (2, said)


def test_a_file_for_a_job_that_is_not_there_is_refused(wallclime: Home):
    result = wallclime("import", "attic", wallclime.file("a.csv", HEAD + ROWS), *SHELF, *COLUMNS)
    said = "job attic: there is no job 'attic'. wallclime job list shows the jobs there are\n"
    assert (result.code, result.err) == (2, said)


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (("--time", "when"), "'--sensor'"),
        (SHELF, "'--time'"),
        ((*SHELF, *COLUMNS, "--skip-rows", "-1"), "'--skip-rows'"),
    ],
)
def test_a_command_that_is_not_whole_names_what_is_missing(den: Home, more, said):
    result = den("import", "den", den.file("den.csv", HEAD + ROWS), *more)
    assert result.code == 2
    assert said in result.err.splitlines()[-1]


def test_another_hold_of_a_known_sensor_is_refused(record: Home):
    file = record.path.parent / "den.csv"
    result = record("import", "den", file, *SHELF, *COLUMNS, "--hold", "45 min")
    assert (result.code, result.err) == (
        2,
        "sensor shelf: its hold is 30 min. "
        "Leave --hold out: it belongs to the sensor, and its record would be judged anew\n",
    )
    assert record("import", "den", file, *SHELF, *COLUMNS, "--hold", "30 min").code == 0


def test_a_further_file_that_neither_adjoins_nor_overlaps_is_refused(record: Home, tmp_path: Path):
    file = tmp_path / "later.csv"
    file.write_text(csv_of(steady(DELIVERED + 103 * HOUR, 1)), encoding="utf-8")
    result = record("import", "den", file, *SHELF, *COLUMNS)
    assert (result.code, result.err) == (
        2,
        "sensor shelf: the file (2026-01-09T20:00:00Z to 2026-01-09T20:50:00Z) neither adjoins nor overlaps the time "
        "in which it was at 'den'. Say where it was: wallclime sensor assign shelf --place den --at TIME\n",
    )


# --- what is understood -----------------------------------------------------------------------------------------------


def test_an_import_says_how_the_file_is_read_before_it_keeps_it(den: Home):
    result = den.done("import", "den", den.file("den.csv", HEAD + ROWS), *SHELF, *COLUMNS)
    assert (result.out, result.err.splitlines()) == (
        "",
        [
            "read as:",
            "  encoding utf-8, delimiter comma, decimal mark '.', header in row 1",
            "  times ISO 8601, without an offset in America/New_York",
            "  first row (2): when = '2026-01-06 08:00', temp = '21' degC, rh = '50' %",
            "new sensor shelf at 'den': a reading speaks for 30 min (proposed from its intervals; --hold sets it)",
            "kept 4 readings; 0 were known, 0 in conflict went to quarantine",
        ],
    )
    body = den.log()[3]["body"]
    assert (body["file"], body["sensor"], body["place"], body["new"]) == ("den.csv", "shelf", "den", 4)
    assert (body["first"], body["last"]) == (NOON - 143 * HOUR, NOON - 143 * HOUR + 10 * MINUTE)
    assert body["read_as"] == [line.strip() for line in result.err.splitlines()[1:4]]


@pytest.mark.parametrize(
    ("rows", "units", "said"),
    [
        (
            "68.00,45\n2026-01-06 08:10,69.00,46\n2026-01-06 08:20,20,46\n",
            (),
            ["mind: the temperatures would be 154 degF; if the file is in degF, add --temperature-unit degF"],
        ),
        ("68.00,45\n", ("--temperature-unit", "degF"), []),
        ("45,1.01\n", (), []),
        (
            "21,0.45\n2026-01-06 08:10,21,1\n",
            (),
            ["mind: all humidity is at most 1 %; if the file has fractions, add --humidity-unit fraction"],
        ),
        ("21,0.45\n", ("--humidity-unit", "fraction"), []),
    ],
)
def test_values_that_no_room_has_are_minded_and_kept(den: Home, rows, units, said):
    result = den.done("import", "den", den.file("den.csv", HEAD + "2026-01-06 08:00," + rows), *SHELF, *COLUMNS, *units)
    lines = result.err.splitlines()
    assert [line for line in lines if line.startswith("mind:")] == said == lines[5 : 5 + len(said)]
    assert lines[-1].startswith("kept ")


def test_repeating_an_import_is_harmless(record: Home):
    before = record.assess()
    result = record.done("import", "den", record.path.parent / "den.csv", *SHELF, *COLUMNS)
    assert result.err.splitlines()[-2:] == [
        "sensor shelf at 'den': a reading speaks for 30 min (as before)",
        "kept 0 readings; 1200 were known, 0 in conflict went to quarantine",
    ]
    assert record.assess() == before


def test_a_longer_file_adds_what_is_new_and_extends_the_stay(den: Home):
    rows = steady(DELIVERED, 60)
    den.done("import", "den", den.file("short.csv", csv_of(rows[:180])), *SHELF, *COLUMNS)
    assert den.assess()["coverage"]["known_h"] == pytest.approx(30 - 1 / 6 + 0.5)
    result = den.done("import", "den", den.file("long.csv", csv_of(rows)), *SHELF, *COLUMNS)
    assert result.err.splitlines()[-1] == "kept 360 readings; 360 were known, 0 in conflict went to quarantine"
    assert den.assess()["coverage"]["known_h"] == pytest.approx(60 - 1 / 6 + 0.5)
    whole = Home(den.path.parent / "other")
    whole.done(*OPEN_DEN)
    whole.done("import", "den", den.path.parent / "long.csv", *SHELF, *COLUMNS)
    assert whole.assess() == den.assess()


def test_a_new_sensor_is_there_from_its_first_reading_until_its_last_has_spoken(den: Home):
    den.done("import", "den", den.file("den.csv", csv_of(steady(DELIVERED, 2))), *SHELF, *COLUMNS, "--hold", "1 h")
    result = den("sensor", "assign", "shelf", "--place", "hall", "--at", rfc3339(DELIVERED + HOUR))
    assert "shelf is at 'den' from 2026-01-05T13:00:00Z to 2026-01-05T15:50:00Z" in result.err


def test_the_hold_is_proposed_from_the_intervals(den: Home):
    result = den.done("import", "den", den.file("den.csv", csv_of(steady(DELIVERED, 40, step=25))), *SHELF, *COLUMNS)
    assert "a reading speaks for 1 h 15 min (proposed from its intervals; --hold sets it)" in result.err


def test_a_conflict_stays_out_goes_to_quarantine_and_is_counted(den: Home):
    den.done("import", "den", den.file("a.csv", HEAD + ROWS), *SHELF, *COLUMNS)
    other = ROWS.replace("50.5", "60.5")
    result = den.done("import", "den", den.file("b.csv", HEAD + other), *SHELF, *COLUMNS)
    assert result.err.splitlines()[-1] == "kept 0 readings; 3 were known, 1 in conflict went to quarantine"
    assessment = den.assess("--at", "2026-01-06T08:15")
    assert assessment["conflicts"] == 1
    assert assessment["now"]["values"]["shelf"]["air_humidity"] == 50.5
    assert den.log()[-1]["body"]["conflicts"] == 1


def test_a_wrong_unit_mended_is_told_though_it_adds_nothing(den: Home):
    file = den.file("den.csv", HEAD + ROWS)
    den.done("import", "den", file, *SHELF, *COLUMNS, "--temperature-unit", "degF")
    den.done("import", "den", file, *SHELF, "--time", "when", "--temperature", "temp")
    assert [entry["body"]["conflicts"] for entry in den.log() if entry["kind"] == "import"] == [0, 2]


def test_an_import_that_was_broken_off_before_its_entry_is_told_when_it_is_repeated(den: Home, monkeypatch):
    file = den.file("den.csv", HEAD + ROWS)
    with monkeypatch.context() as broken:
        broken.setattr("monitor.watch.sensing.imports._entry", lambda *_: (_ for _ in ()).throw(KeyboardInterrupt))
        assert den("import", "den", file, *SHELF, *COLUMNS).code == 130  # as a shell says it of Ctrl-C
    assert "import" not in den.kinds()
    den.done("import", "den", file, *SHELF, *COLUMNS)
    den.done("import", "den", file, *SHELF, *COLUMNS)
    assert den.kinds().count("import") == 1


def test_two_walls_of_one_room_share_what_was_imported_for_one(den: Home):
    second = ("--zone", "UTC", "--length", "3 m", "--height", "2 m", "--boxes-place", "den")
    den.done("job", "open", "other wall", *second)
    for job in ("den", "other wall"):
        den.done("log", "deliver", job, "--at", rfc3339(DELIVERED))
    den.done("import", "den", den.file("den.csv", csv_of(steady(DELIVERED, 60))), *SHELF, *COLUMNS)
    assert [den.kinds(job).count("completion") for job in ("den", "other wall")] == [1, 1]


def test_after_the_start_a_file_is_of_the_walls_place(wallclime: Home):
    wallclime.done(*OPEN_DEN, "--boxes-place", "hall", "--wall-place", "den")
    start = ("--start", rfc3339(DELIVERED + 2 * HOUR), "--not-ready", "--reason", "guests")
    wallclime.done("log", "install", "den", *start)
    for name, hour in (("before", 0), ("after", 2)):
        file = wallclime.file(f"{name}.csv", csv_of(steady(DELIVERED + hour * HOUR, 1)))
        wallclime.done("import", "den", file, "--sensor", name, *COLUMNS)
    places = [entry["body"]["place"] for entry in wallclime.log() if entry["kind"] == "import"]
    assert places == ["hall", "den"]


# --- options ----------------------------------------------------------------------------------------------------------

TENTH = datetime(2026, 1, 6, 13, 10, tzinfo=UTC)  # what every file below says in its second row
LAYOUTS = {
    "a date and a time column": (
        "date,time,temp,rh\n2026-01-06,08:00,21,50\n2026-01-06,08:10,21.5,50.5\n",
        ("--time", "date", "--time", "time", "--temperature", "temp", "--humidity", "rh"),
    ),
    "semicolons and decimal commas": ("when;temp;rh\n2026-01-06 08:00;21;50\n2026-01-06 08:10;21,5;50,5\n", COLUMNS),
    "a decimal mark that is given": (
        "when;temp;rh\n2026-01-06 08:00;21;50\n2026-01-06 08:10;21,5;50,5\n",
        (*COLUMNS, "--decimal", ",", "--delimiter", ";"),
    ),
    "tabs": (
        "when\ttemp\trh\n2026-01-06 08:00\t21\t50\n2026-01-06 08:10\t21.5\t50.5\n",
        (*COLUMNS, "--delimiter", "tab"),
    ),
    "blanks": (
        "day when temp rh\n2026-01-06 08:00  21 50\n2026-01-06 08:10  21.5 50.5\n",
        ("--time", "day", *COLUMNS, "--delimiter", "blank"),
    ),
    "the month first": (
        "when,temp,rh\n1/6/2026 8:00 AM,21,50\n1/6/2026 8:10 AM,21.5,50.5\n",
        (*COLUMNS, "--time-format", "%m/%d/%Y %I:%M %p"),
    ),
    "another zone": (
        "when,temp,rh\n2026-01-06 14:00,21,50\n2026-01-06 14:10,21.5,50.5\n",
        (*COLUMNS, "--zone", "Europe/Helsinki", "--zone", "Europe/Paris"),
    ),
    "offsets": ("when,temp,rh\n2026-01-06T13:00Z,21,50\n2026-01-06T15:10+02:00,21.5,50.5\n", COLUMNS),
    "numbers for names, no header": (
        "2026-01-06 08:00,21,50\n2026-01-06 08:10,21.5,50.5\n",
        ("--time", "#1", "--temperature", "#2", "--humidity", "#3"),
    ),
    "lines above the header": (
        "serial 0815\nwhen,temp,rh of a preview\nwhen,temp,rh\n2026-01-06 08:00,21,50\n2026-01-06 08:10,21.5,50.5\n",
        (*COLUMNS, "--skip-rows", "2"),
    ),
    "cells that say nothing": (
        "when,temp,rh\n2026-01-06 08:00,21,50\n2026-01-06 08:05,---,n/a\n"
        "2026-01-06 08:10,21.5,50.5\n2026-01-06 08:11,,nan\n",
        (*COLUMNS, "--missing", "---", "--missing", "n/a"),
    ),
    "a fraction": (
        "when,temp,rh\n2026-01-06 08:00,21,0.5\n2026-01-06 08:10,21.5,0.505\n",
        (*COLUMNS, "--humidity-unit", "fraction"),
    ),
    "degrees Fahrenheit": (
        "when,temp,rh\n2026-01-06 08:00,69.8,50\n2026-01-06 08:10,70.7,50.5\n",
        (*COLUMNS, "--temperature-unit", "degF"),
    ),
    "kelvin": (
        "when,temp,rh\n2026-01-06 08:00,294.15,50\n2026-01-06 08:10,294.65,50.5\n",
        (*COLUMNS, "--temperature-unit", "K"),
    ),
}  # fmt: skip


@pytest.mark.parametrize("layout", LAYOUTS)
def test_files_of_other_layouts_say_the_same(den: Home, layout):
    text, options = LAYOUTS[layout]
    result = den.done("import", "den", den.file("den.csv", text), *SHELF, *options)
    assert result.err.splitlines()[-1] == "kept 4 readings; 0 were known, 0 in conflict went to quarantine"
    said = den.assess("--at", (TENTH + timedelta(minutes=1)).isoformat())
    assert said["now"]["values"]["shelf"] == pytest.approx({"air_temperature": 21.5, "air_humidity": 50.5})
    assert said["now"]["last_heard"] == rfc3339(int(TENTH.timestamp() * 1000))


def test_a_file_in_another_encoding_is_read_as_it_is_said(den: Home):
    file = den.path.parent / "den.csv"
    file.write_bytes("when,Luft °C,rh\n2026-01-06 08:00,21,50\n".encode("utf-16-le"))
    options = ("--time", "when", "--temperature", "Luft °C", "--humidity", "rh", "--encoding", "utf-16-le")
    result = den.done("import", "den", file, *SHELF, *options)
    assert "  encoding utf-16-le, delimiter comma, decimal mark '.', header in row 1" in result.err.splitlines()


def test_one_quantity_alone_is_imported(den: Home):
    den.done("import", "den", den.file("den.csv", HEAD + ROWS), *SHELF, "--time", "when", "--humidity", "rh")
    assert den.done("sensor", "seen", "--json").json()[0]["quantities"] == ["air_humidity"]


@pytest.mark.parametrize(("dst", "utc"), [("earlier", "2025-11-02T05:30:00Z"), ("later", "2025-11-02T06:30:00Z")])
def test_a_time_that_happened_twice_is_the_one_that_is_chosen(den: Home, dst, utc):
    file = den.file("den.csv", HEAD + "2025-11-02 01:30,21,50\n")
    result = den.done("import", "den", file, *SHELF, *COLUMNS, "--dst", dst)
    assert f"without an offset in America/New_York, of two by a clock change the {dst}" in result.err
    assert den.done("sensor", "seen", "--json").json()[0]["last"] == utc


def test_times_in_any_order_are_put_in_order(den: Home):
    rows = [Row(row.t, row.temperature, row.humidity) for row in reversed(steady(DELIVERED, 24))]
    den.done("import", "den", den.file("den.csv", csv_of(rows)), *SHELF, *COLUMNS)
    assert den.assess("--at", rfc3339(DELIVERED + 24 * HOUR))["coverage"]["known_h"] == 24.0


def test_a_logger_in_the_boxes_is_told_so(den: Home):
    file = den.file("core.csv", csv_of(steady(DELIVERED, 6)))
    said = den.done("import", "den", file, "--sensor", "core", *COLUMNS, "--as", "box").err
    assert "new sensor core in the boxes at 'den': a reading speaks for 30 min" in said
    assert den.assess()["coverage"]["known_h"] == 0.0


def test_what_a_logger_can_hear_is_listed(den: Home):
    result = den("import", "den", den.file("den.csv", HEAD + ROWS), *SHELF, *COLUMNS, "--as", "floor")
    assert (result.code, result.err) == (2, "--as: 'floor' is not understood. Use air or box or surface\n")
