import base64
import hashlib
import json
import re

import invented_den as den
import numpy as np
import pytest
from plotly.offline import get_plotlyjs
from read_page import numbers, read_page

from monitor.basis.times import DAY, HOUR, zone_of
from monitor.basis.values import Kind, OriginKind, Quantity
from monitor.config.profile import Band, load_profile
from monitor.rules.assessment import RULES_VERSION, Completion, Coverage, Gap, OtherVerdict
from monitor.rules.board.causes import Explained
from monitor.rules.install.makers import Document, Span
from monitor.tell import words
from monitor.tell.pages import report
from monitor.tell.pages.evidence import HeadView, Sealed, figures_of, missing_figures
from monitor.tell.pages.page import in_script, neat
from monitor.tell.pages.profile_table import profile_rows
from monitor.tell.pages.report import render_report
from monitor.tell.pages.views import CheckLine

T, RH = Quantity.AIR_TEMPERATURE, Quantity.AIR_HUMIDITY
NASTY = '</script><script>document.title="taken"</script><img src=x onerror=alert(1)><b>bold</b>&amp; %{x} \u202edlo'
SHOWN = NASTY.replace("\u202e", "\\u202e")


@pytest.fixture(scope="module")
def html():
    return render_report(den.page())


@pytest.fixture(scope="module")
def page(html):
    return read_page(html)


def job(**changes):
    return den.page(assessment=den.ASSESSMENT._replace(**changes))


def first_number(text: str) -> float:
    return float(re.search(r"-?\d+(?:\.\d+)?", text)[0])


def test_the_sections_come_in_the_order_of_what_matters(page):
    assert page.headings == [
        "Before you rely on this",
        "The acclimation clock",
        "Humidity and temperature",
        "Calendar",
        "Moist air",
        "Readiness",
        "Excursions",
        "Gaps",
        "Coverage",
        "Sensors",
        "What the profile asks",
        "Diary",
        "What the words mean",
        "Cautions",
        "Evidence",
    ]


def test_the_verdict_is_one_sentence_with_the_name_of_the_job(page):
    assert page.texts["verdict"] == (
        "NOT READY north wall of the den: The installation may not start yet: 37.5 h of 48 h are counted, complete "
        "2026-01-10 07:10 -05:00 if the room stays in band."
    )


def test_the_page_needs_no_other_file_and_no_network(html, page):
    loads = {"src", "href", "srcset", "data", "action", "poster", "background", "xlink:href"}
    assert [(tag, attrs) for tag, attrs in page.elements if loads & attrs.keys()] == []
    assert {tag for tag, _ in page.elements}.isdisjoint({"link", "iframe", "object", "embed", "base", "form", "img"})
    outside = html.replace(page.texts["program"], "")
    assert not re.search(r"https?://|@import|url\((?!#)", outside)


def test_only_the_two_programs_of_the_page_may_run(page):
    policy = next(attrs["content"] for tag, attrs in page.elements if attrs.get("http-equiv"))
    loader = next(program for attrs, program in page.scripts if not attrs)
    hashes = [
        base64.b64encode(hashlib.sha256(program.encode()).digest()).decode() for program in (loader, page.program())
    ]
    assert policy == (
        f"default-src 'none'; script-src 'sha256-{hashes[0]}' 'sha256-{hashes[1]}'; style-src 'unsafe-inline'; "
        "base-uri 'none'; form-action 'none'"
    )
    assert [attrs for attrs, _ in page.scripts] == [
        {"type": "application/json", "id": "figure-air"},
        {"type": "application/json", "id": "figure-moist"},
        {"type": "text/plain", "id": "program"},
        {},
    ]


def test_the_program_is_the_one_of_the_installed_plotly(page):
    assert page.program() == get_plotlyjs()


def test_the_same_values_give_the_same_bytes(html):
    assert render_report(den.page()) == html


def test_the_clocks_of_the_page_are_those_of_the_assessment(page):
    lot = den.ASSESSMENT.lot
    assert page.texts["counted"] == "37.5 h of 48 h"
    clocks = (lot.clock, lot.strict, lot.guarded)
    assert [first_number(cell) for cell in page.column("clocks", "counted")] == [c.counted / HOUR for c in clocks]
    assert [int(cell) for cell in page.column("clocks", "restarts")] == [len(c.restarts) for c in clocks]
    assert page.column("restarts", "because the room was") == [
        "out of band for more than 1 h",
        "not proven in band for more than 2 h",
    ]


def test_the_excursions_of_the_page_are_those_of_the_assessment(page):
    (found,) = den.ASSESSMENT.excursions
    assert page.tables["excursions"][1] == [
        "1",
        "humidity above 65.0 %",
        "2026-01-06 10:00 to 12:10 -05:00",
        "2 h 10 min",
        f"{found.peak} %",
        f"{found.dose} %RH-hours",
        "before the installation; came back into the band",
    ]
    assert page.column("episodes", "excursions no.") == ["1"]


def test_the_gaps_of_the_page_are_those_of_the_assessment(page):
    assert page.tables["gaps"][1:] == [
        ["2026-01-07 17:35 -05:00", "2026-01-08 07:10 -05:00", "13 h 35 min", "nothing usable heard"]
    ]


def test_the_coverage_of_the_page_is_that_of_the_assessment_and_every_share_is_a_pair(page):
    span = den.ASSESSMENT.span
    names = page.column("coverage", "time")
    assert names == ["whole span", "before the installation"]
    known, of_known = page.column("coverage", "known share")[0], page.column("coverage", "in band of known")[0]
    assert first_number(known) == pytest.approx(span.known / span.elapsed * 100, abs=0.1)
    assert first_number(of_known) == pytest.approx(span.in_band / span.known * 100, abs=0.1)
    pair = [float(cell.split()[0]) for cell in page.column("coverage", "in band of elapsed")[0].split(" to ")]
    assert pair == pytest.approx([share * 100 for share in span.in_band_share], abs=0.1)


def test_the_readiness_of_the_page_is_that_of_the_assessment(page):
    rows = {(row[1], row[0].lower(), row[2]) for row in page.tables["readiness"][1:]}
    assert rows == {(c.name, c.verdict, c.evidence) for c in den.ASSESSMENT.readiness}
    assert all(bool(row[3]) == (row[0] != "PASS") for row in page.tables["readiness"][1:])


def test_once_the_wall_is_begun_nothing_is_to_be_done_about_readiness():
    begun = report._readiness(den.ASSESSMENT._replace(phase="after"), words.Display(zone_of("UTC"), "si"))
    assert {row[3] for row in begun.rows} == {""}
    assert begun.note == (
        "Unknown is not a pass. As they would stand now: what was open when the wall was begun is in the log."
    )


def test_the_origins_and_the_sensors_are_told(page):
    assert page.tables["origins"][1:] == [["heard live", "90.0 %"], ["sent later by the sensor", "10.0 %"]]
    assert page.tables["sensors"][1] == [
        "den-1",
        "home/den-1",
        "30 min",
        "humidity 5.0 %RH, temperature 1.8 °F",
        "the maker's statement only",
        "den from 2026-01-05 08:40 -05:00 (1.2 m high, inside wall)",
    ]


def test_every_figure_of_the_profile_has_its_source_or_says_that_it_has_none(page):
    rows = {row[0]: row[1:] for row in page.tables["profile"][1:]}
    assert rows["humidity until the wall is finished"] == ["35.0 % to 65.0 %", "[2]"]
    assert rows["longest unbroken run"] == ["40 ft", "[2]"]
    assert rows["greatest height"] == ["10 ft", "[1]"]
    assert rows["box core within, of the room's 24 h mean"] == ["3.0 °F", "[1]"]
    assert f"[1] none given. [2] {den.PRACTICE}. [3] ours, no published source." in page.body


def test_the_profile_shows_what_it_takes_of_planks_surface_take_off_site_and_care(page):
    rows = {row[0]: row[1] for row in page.tables["profile"][1:]}
    assert rows["core of a plank"] == "HDF"
    assert rows["planks of a box"] == "8 of 4 ft"
    assert rows["diffusivity of moisture, slow, central, fast"] == "5e-11, 2e-10, 4e-10 m2/s"
    assert rows["boards come in balance with"] == "50.0 %"
    assert rows["temperature factor of the wall's surface"] == "0.7"
    assert rows["a last row is narrow below this part of a plank"] == "33.3 %"
    assert rows["cartridge of adhesive"] == "828 ml"  # 28 fl oz of 29.5735 ml
    assert rows["plumb to"] == "1/4 in over 8 ft"
    assert (rows["a site check holds for"], rows["dust every"]) == ("30 d", "14 d")


def test_every_figure_of_a_profile_is_shown_with_the_source_that_the_profile_gives():
    profile = load_profile("laminate-planks")
    figures = profile_rows(profile, words.Display(zone_of("UTC"), "si"))
    assert {source for _, _, source in figures} == set(profile.sources.values())
    # all that a profile file can set; three stand in the row of another
    with_another = {"quality.flat_together_readings", "site.step_over", "site.plumb_over"}
    assert len(figures) == len(profile.sources.keys() - with_another)


@pytest.mark.parametrize(("points", "said"), [(1.0, "1 point"), (0.5, "0.5 points"), (2.0, "2 points")])
def test_one_point_of_the_meter_is_one(points: float, said: str):
    profile = load_profile("laminate-planks")
    profile = profile._replace(site=profile.site._replace(above_dry=points))
    rows = {name: value for name, value, _ in profile_rows(profile, words.Display(zone_of("UTC"), "si"))}
    assert rows["wall moisture above a dry reference at most"] == f"{said} of the meter"


def test_the_diary_says_what_was_late_and_what_was_corrected(page):
    assert page.tables["diary"][2] == [
        "2",
        "2026-01-05 08:40 -05:00",
        "entered 2 d later; corrected by entry 4",
        "deliver",
        "R. Example",
        "lot: A; boxes: 24; place: den",
    ]


def test_the_evidence_line_carries_head_rules_and_profile(page):
    evidence = " ".join(page.texts["evidence"].split())
    assert evidence == (
        f"head of the chain {'cd' * 32} at entry 4 profile, SHA-256 {'ab' * 32} rules version {RULES_VERSION} "
        "written by wallclime 0.1.0"
    )


def test_the_page_says_that_it_is_a_record_and_no_certificate(page):
    assert "It is not a certificate" in page.body
    assert "The maker's written instructions and local code come first." in page.body


def test_the_figure_holds_the_extremes_of_the_readings(page):
    figure = page.figure()
    lines = [trace for trace in figure["data"] if trace.get("name", "").startswith("den-")]
    assert len(lines) == len(den.page().channels)
    drawn = np.concatenate([numbers(trace["y"]) for trace in lines])
    humidity = np.concatenate([channel.value for channel in den.page().channels if channel.quantity is RH])
    assert np.nanmax(drawn) == pytest.approx(max(71.6, humidity.max()), abs=0.05)  # the warmest reading is 71.6 degF
    assert np.nanmin(drawn) == pytest.approx(humidity.min(), abs=0.05)


def test_the_line_of_the_figure_is_broken_where_the_sensor_was_silent(page):
    line = next(trace for trace in page.figure()["data"] if trace.get("name") == "den-1 (den)")
    x = numbers(line["x"])
    assert np.isnan(x).sum() == 1
    offset = -5 * HOUR  # the axis stands at the zone's winter offset
    broken = int(np.flatnonzero(np.isnan(x))[0])
    assert x[broken - 1] < den.SILENT[0] + offset < den.SILENT[1] + offset == x[broken + 1]


def test_the_axis_says_the_offset_that_it_stands_at(page):
    assert page.figure()["layout"]["xaxis"]["title"]["text"] == (
        "time at UTC-05:00 throughout<br>(America/New_York at the start)"
    )


def test_a_clock_change_is_marked_on_the_axis_that_does_not_follow():
    # From memory: the clocks of New York went forward on 8 March 2026.
    move = 60 * DAY
    channels = tuple(channel._replace(t=channel.t + move) for channel in den.page().channels)
    found = den.page(
        channels=channels, assessment=den.ASSESSMENT._replace(begin=den.DELIVERED + move, as_of=den.AS_OF + move)
    )
    assert "clocks were put forward 1 h: the axis does not follow" in read_page(render_report(found)).column(
        "events", "what"
    )


def test_how_many_points_are_drawn_is_said(page):
    assert "7521 of 22540 points drawn: of each short stretch the first, lowest, highest and last. " in page.body
    assert "All of them stand in the CSV of the bundle (wallclime bundle)." in page.body


def test_names_and_notes_of_users_are_text_wherever_they_stand():
    found = den.page(
        assessment=den.ASSESSMENT._replace(
            job=NASTY,
            profile=NASTY,
            lots=(den.LOT._replace(name=NASTY), den.LOT._replace(place=NASTY)),
            readiness=(den.READINESS[0]._replace(name=NASTY, evidence=NASTY),),
        ),
        facts=den.FACTS._replace(boxes_place=NASTY, wall_place=NASTY, outdoor_place=NASTY, opened_by=NASTY),
        channels=tuple(channel._replace(sensor=NASTY, place=NASTY) for channel in den.page().channels[:2]),
        sensors=(
            den.SENSORS[0]._replace(
                name=NASTY,
                stream=NASTY,
                check=NASTY,
                stays=(den.SENSORS[0].stays[0]._replace(place=NASTY, detail=NASTY),),
            ),
        ),
        hand_readings=(den.page().hand_readings[0]._replace(who=NASTY, instrument=NASTY),),
        entries=(den.entry(1, Kind.NOTE, den.DELIVERED, {NASTY: NASTY, "more": [{"a": NASTY}]})._replace(who=NASTY),),
        profile=den.PROFILE._replace(boxes=NASTY, place=NASTY, sources={"band.humidity": NASTY}),
    )
    html = render_report(found)
    page = read_page(html)
    assert [attrs for attrs, _ in page.scripts][3:] == [{}]
    assert {tag for tag, _ in page.elements}.isdisjoint({"img", "b"})
    assert all(not name.startswith("on") for _, attrs in page.elements for name in attrs)
    for table, column in (("sensors", "sensor"), ("diary", "by"), ("readiness", "condition"), ("lots", "lot")):
        assert page.column(table, column)[0] == SHOWN
    named = [trace for trace in page.figure()["data"] if "img" in json.dumps(trace)]
    assert named
    for told in re.findall(r'"[^"]*img[^"]*"', json.dumps(named)):
        assert "<" not in told
    assert "\u202e" not in html


def test_json_in_a_script_element_can_never_end_it():
    text = json.dumps("</script><!-- & \u2028\u2029", ensure_ascii=False)
    assert in_script(text) == '"\\u003c/script\\u003e\\u003c!-- \\u0026 \\u2028\\u2029"'
    assert json.loads(in_script(text)) == json.loads(text)


def test_texts_of_ours_get_degree_signs_and_keep_times_and_units_together():
    assert neat("<b> 68.0 degF at 2026-01-05 12:00 -05:00 for 2 h 10 min") == (
        "&lt;b&gt; 68.0\u00a0°F at <time>2026-01-05 12:00 -05:00</time> for 2\u00a0h\u00a010\u00a0min"
    )


def test_a_training_job_says_so_and_another_does_not(page):
    training = read_page(render_report(job(origin_share={OriginKind.LIVE: 0.9999, OriginKind.SIMULATED: 0.0001})))
    banner = "TRAINING JOB: readings of this job were simulated. It proves nothing about a real room."
    assert banner in training.body
    assert banner not in page.body
    assert training.tables["origins"][1:] == [["heard live", "over 99.9 %"], ["simulated", "under 0.1 %"]]


def test_a_finished_wall_shows_phases_history_lots_and_earlier_profiles():
    clock = den.CLOCK._replace(counted=48 * HOUR, completed_at=den.DELIVERED + 60 * HOUR, projected_at=None)
    clock = clock._replace(
        history=(
            Completion(den.DELIVERED, den.DELIVERED + 50 * HOUR, den.DELIVERED + 52 * HOUR),
            Completion(den.DELIVERED + HOUR, den.DELIVERED + 60 * HOUR),
        ),
    )
    found = den.page(
        assessment=den.ASSESSMENT._replace(
            phase="after",
            lots=(den.LOT._replace(clock=clock), den.LOT._replace(name="B", boxes=None, delivered_at=None)),
            during=Coverage(HOUR, HOUR, HOUR),
            after=Coverage(2 * HOUR, 0, 0),
            other_verdicts=(OtherVerdict("older", "ef" * 32, den.DELIVERED, None, 20 * HOUR, 3),),
            conflicts=2,
        ),
        facts=den.FACTS._replace(install_start=den.AS_OF - 3 * HOUR, install_finish=den.AS_OF - 2 * HOUR),
        profile=den.PROFILE._replace(life=Band((30.0, 60.0), (15.0, 30.0))),
    )
    page = read_page(render_report(found))
    assert page.column("coverage", "time") == [
        "whole span",
        "before the installation",
        "during the installation",
        "after the installation",
    ]
    assert page.column("coverage", "in band of elapsed")[-1] == "0.0 % to 100.0 %"
    assert page.column("coverage", "in band of known")[-1] == "-"
    assert page.column("history", "lapsed") == ["2026-01-07 12:40 -05:00", "in force"]
    assert page.column("lots", "lot") == ["A", "B"]
    assert page.tables["others"][1] == ["older", "2026-01-05 08:40 -05:00", "20.0 h", "-", "3", "ef" * 8]
    assert "the installation was finished" in page.column("events", "what")
    assert "2 readings contradicted one already kept" in page.body


def test_a_job_that_nobody_has_heard_has_a_page_without_programs():
    silent = den.page(
        assessment=den.ASSESSMENT._replace(begin=None),
        channels=(),
        runs=(),
        sensors=(),
        entries=(),
        hand_readings=(),
        head=None,
    )
    page = read_page(render_report(silent))
    assert page.scripts == []
    assert "script-src 'none'" in next(attrs["content"] for _, attrs in page.elements if attrs.get("http-equiv"))
    assert "Nothing has been heard, so there is nothing to draw." in page.body
    assert "No sensor was ever here." in page.body


def test_a_year_of_minutes_of_two_sensors_stays_under_3_mb():
    hours = range(2, 8_760, 3)
    stormy = den.ASSESSMENT._replace(
        as_of=den.DELIVERED + 365 * DAY,
        excursions=tuple(
            den.EXCURSION._replace(start=den.DELIVERED + k * HOUR, end=den.DELIVERED + k * HOUR + k, dose=1.0)
            for k in hours
        ),
        gaps=tuple(Gap(den.DELIVERED + k * HOUR, den.DELIVERED + (k + 1) * HOUR, (T,)) for k in hours),
    )
    runs = tuple(
        (den.DELIVERED + k * HOUR, den.DELIVERED + (k + 1) * HOUR, ("in", "out", "unknown")[k % 3])
        for k in range(8_760)
    )
    html = render_report(den.page(365 * DAY, assessment=stormy, runs=runs))
    assert len(html.encode()) <= 3_000_000
    page = read_page(html)
    assert len(page.tables["excursions"]) == 201
    assert "200 of 2920 shown, the longest; the record has all." in page.body
    shown = words.display_of(stormy, "us")  # what a verifier looks for is what the page shows of them
    assert missing_figures(html, [one for one in figures_of(stormy, shown, 0) if one[0] == "an excursion"]) == []
    assert page.column("excursions", "no.")[-1] == "2920"
    drawn = np.concatenate([numbers(t["y"]) for t in page.figure()["data"] if t.get("name", "").startswith("den-")])
    assert np.nanmax(drawn) == pytest.approx(71.6, abs=0.05)  # the humid hour of the second day is not thinned away


def test_each_plank_of_the_wall_is_an_hour_and_the_last_is_cut_at_what_is_counted(html):
    wall = re.search(r'<svg class="wall".*?</svg>', html, re.DOTALL)[0]
    assert 'aria-label="37.5 h of 48 h counted"' in wall
    laid = [float(width) for width in re.findall(r'class="laid"[^>]* width="([\d.]+)"', wall)]
    whole = max(laid)
    assert len(re.findall(r'class="plank"', wall)) == 48
    assert sum(laid) / whole == pytest.approx(37.5)


def test_the_drawing_for_paper_shows_every_sensor_limit_and_excursion(html):
    chart = re.search(r'<svg class="chart".*?</svg>', html, re.DOTALL)[0]
    assert len(re.findall(r'<path class="line"', chart)) == len(den.page().channels)
    assert len(re.findall(r'class="limit"', chart)) == 4
    assert len(re.findall(r'class="outside"', chart)) == 1
    assert len(re.findall(r'class="lane unknown"', chart)) == 1
    assert all(label in chart for label in ("limit 65.0", "limit 35.0", "limit 85.0", "limit 60.0"))


ASKS = Document(7, den.DELIVERED, "Hall planks", "3", "2025-11", "hall.pdf", "00" * 32, {"humidity": Span(40.0, 60.0)})
LOOSER = (
    "The maker asks for 40 to 60 %RH until the wall is finished; this profile allows 35 to 65 %RH, which is looser."
)


def test_where_the_profile_is_looser_than_the_maker_the_verdict_says_so_and_a_table_stands_beside():
    page = read_page(render_report(den.page(documents=(ASKS,), facts=den.page().facts._replace(looser=(LOOSER,)))))
    assert page.texts["verdict"].endswith(LOOSER)
    assert page.tables["makers"][1:] == [
        [
            "humidity until the wall is finished",
            "35 to 65 %RH",
            "40 to 60 %RH",
            "the profile",
            "Hall planks, revision 3, 2025-11",
        ]
    ]


def test_without_a_makers_document_nothing_stands_beside(page):
    assert "makers" not in page.tables


def test_an_episode_says_what_the_log_says_of_it():
    cause = den.entry(
        8, Kind.CAUSE, den.DELIVERED, {"cause": "wet plaster", "remedy": "a dryer overnight", "until": None}
    )
    event = den.entry(9, Kind.EVENT, den.DELIVERED, {"what": "works-next-door", "text": "tiling", "until": None})
    told = read_page(render_report(den.page(explained=(Explained((cause,), (event,)),))))
    assert told.tables["episodes"][1] == [
        "1",
        "2026-01-06 10:00 to 12:10 -05:00",
        "2 h 10 min",
        "1",
        "71.3 % (humidity above 65.0 %)",
        "6.4 %RH-hours",
        "wet plaster (entry 8)",
        "a dryer overnight (entry 8)",
        "works next door: tiling (entry 9)",
        "-",
    ]
    silent = read_page(render_report(den.page(explained=(Explained(),)))).tables["episodes"][1]
    assert silent[6:9] == ["nobody said", "-", "-"]


def test_an_episode_says_what_it_did_to_the_boards_once_they_are_up():
    up = den.board_page()
    early = up._replace(facts=up.facts._replace(install_start=den.WET[0] - HOUR))
    none = early._replace(board=den.BOARD_VIEW._replace(effects=()))
    told = [read_page(render_report(page)).column("episodes", "the boards") for page in (up, early, none)]
    assert told == [
        ["in closed boxes: hardly at all"],
        ["+0.20 points (+0.10 to +0.30) of dry mass"],
        ["less than can be told"],
    ]


def test_a_check_that_has_run_out_since_is_told_as_what_it_was_when_the_wall_was_begun():
    sensor = den.page().sensors[0]._replace(check="run out", check_then="salt")
    told = read_page(render_report(den.page(sensors=(sensor,)))).column("sensors", "backed by")
    assert told == ["a salt check when the wall was begun; nothing any more: its check has run out now"]


def test_a_check_that_was_made_only_after_the_start_says_when():
    then = den.page().sensors[0]._replace(check_then="side by side", checked_later=den.AS_OF)
    for check, now in (
        ("side by side", "a side-by-side check now"),
        ("run out", "nothing any more: its check has run out now"),
    ):
        told = read_page(render_report(den.page(sensors=(then._replace(check=check),)))).column("sensors", "backed by")
        assert told == [f"a side-by-side check when the wall was begun (checked later, on 2026-01-09); {now}"]


SALT = CheckLine(
    at=den.DELIVERED,
    until=den.DELIVERED + 365 * DAY,
    sensor="den-1",
    quantity=den.RH,
    level="salt",
    how="NaCl at 20.0 degC",
    points=((73.0, 75.5, 0.2),),
    slope=1.0,
    offset=2.5,
    uncertainty=2.7,
    who="O. Example",
)
LINE = SALT._replace(
    quantity=den.T,
    level="laboratory",
    how="certificate 12",
    points=((0.0, -0.2, 0.1), (20.0, 20.2, 0.1)),
    slope=1.02,
    offset=-0.2,
    uncertainty=0.1,
)


def test_every_check_of_a_sensor_stands_in_the_report_with_its_correction():
    found = read_page(render_report(den.page(checks=(SALT, LINE))))
    assert found.tables["checks"] == [
        ["when", "sensor", "quantity", "how", "reference", "correction", "uncertainty left", "valid until", "by"],
        [
            "2026-01-05 08:40 -05:00",
            "den-1",
            "humidity",
            "a salt check",
            "NaCl at 68.0 °F: read 73.0 %, true 75.5 % within 0.2 %RH",
            "+2.5 %RH",
            "2.7 %RH",
            "2027-01-05 08:40 -05:00",
            "O. Example",
        ],
        [
            "2026-01-05 08:40 -05:00",
            "den-1",
            "temperature",
            "a laboratory certificate",
            "certificate 12: read 32.0 °F, true 31.6 °F within 0.2 °F; read 68.0 °F, true 68.4 °F within 0.2 °F",
            "1.020 times what it reads, -1.0 °F",  # 68 -> 68.36: 20.0 -> 20.2 degC by the same line
            "0.2 °F",
            "2027-01-05 08:40 -05:00",
            "O. Example",
        ],
    ]
    assert "The correction is applied to every reading for which the check holds" in found.body


def test_without_a_check_the_report_says_so():
    assert "No sensor of the job was checked against another instrument." in render_report(den.page())


def test_the_evidence_says_how_far_the_record_is_sealed_and_by_which_key():
    told = read_page(render_report(den.page(sealed=Sealed(fingerprint="ab" * 32, keys=1))))
    assert "not sealed yet: nothing but the store itself vouches for the record" in told.texts["evidence"]
    head = HeadView(3, "cd" * 32, "ABCD-EFGH", den.DELIVERED, "2026-01-05", "day", 12)
    whole = Sealed((head,), 1, 0, None, "ab" * 32, 1)
    told = read_page(render_report(den.page(sealed=whole)))
    for said in ("ABCD-EFGH", "cd" * 32, "abab abab", "1, the last 2026-01-05 (UTC)"):
        assert said in told.texts["evidence"]
