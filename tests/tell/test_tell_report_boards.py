"""A report's parts about boxes, boards, rows and the wall's surface, read back as a reader sees them."""

import json
import re

import invented_den as den
import numpy as np
import pytest
from read_page import numbers, read_page

from monitor.basis.times import DAY
from monitor.tell.pages.report import render_report

NASTY = '<b onclick="x">shelf</b>\u202e'

pytestmark = pytest.mark.usefixtures("without_the_program")


@pytest.fixture(scope="module")
def html(without_the_program):
    return render_report(den.board_page())


@pytest.fixture(scope="module")
def page(html):
    return read_page(html)


def shown(**changes):
    return read_page(render_report(den.board_page(**changes)))


def figure(page):
    return json.loads(page.texts["figure-days"])


def test_boxes_and_boards_and_then_the_surface_come_after_the_air(page):
    assert page.headings[5:8] == ["Boxes and boards", "The wall's surface", "Readiness"]


def test_the_core_of_each_lot_is_told_with_how_the_boxes_lie(page):
    assert page.tables["boxes"] == [
        ["core near the room", "lot", "what is known of it", "how they lie", "nine tenths even out in (estimated)"],
        [
            "PASS",
            "A",
            "within 3.0 °F of the room's 24 h mean, 68.9 °F, since 2026-01-06 04:40 -05:00: estimated 68.0 °F to "
            "69.8 °F",
            "1 ft 4 in high, on the floor",
            "about 5 days (4 to 6)",
        ],
    ]
    assert (
        "What a sensor in the boxes measures outranks the estimate; more than 3.6 °F between them is told. As of the "
        "start of the installation." in page.body
    )


def test_a_sensor_in_the_boxes_outranks_the_estimate_and_a_disagreement_is_told():
    core = den.CORE._replace(measured=16.0, within=None)
    found = shown(lots=(den.LOT._replace(core=core),))
    assert found.tables["boxes"][1][:3] == [
        "FAIL",
        "A",
        "not within 3.0 °F of the room's 24 h mean, 68.9 °F: measured 60.8 °F, 7.2 °F beyond the estimated 68.0 °F to "
        "69.8 °F",
    ]


def test_what_boards_hold_is_told_with_how_it_is_known(page):
    assert page.column("moisture", "boards") == [
        "at the installation",
        "now",
        "driest, 2026-01-08",
        "dampest, 2026-01-09",
        "solid wood in the air of now",
    ]
    assert page.column("moisture", "how it is known") == [
        "the profile's figure: in balance with 50 %",
        "estimated",
        "estimated",
        "estimated",
        "computed, an index of the climate: not the planks",
    ]
    assert "Board moisture, estimated: 7.9 % (6.9 to 8.9) of dry mass" in page.body


def test_each_row_has_its_gaps_its_movements_and_the_humidity_that_closes_them(page):
    assert page.tables["along"] == [
        ["when", "from the installation (estimated)", "pinned", "free", "trim must cover", "a joint may open"],
        ["now", "moves -1.7 to +0.1 mm", "fits", "fits", "6.5 mm", "0.0 to 1.7 mm"],
        ["dampest so far", "grows 0.5 to 3.4 mm", "may close", "fits", "-", "-"],
    ]
    assert page.tables["across"][1:] == [["now", "shrinks 0.0 to 0.7 mm", "fits", "fits", "5.5 mm", "0.0 to 0.7 mm"]]
    assert "A row of 16 ft, gaps at its ends 3/16 in (4.8 mm) and 1/8 in (3.0 mm)" in page.body
    assert (
        "Estimate: humidity that lasts for weeks closes the gaps of a row of 16 ft at 66 to 72 % (pinned), at 81 to "
        "87 % (free)." in page.body
    )
    assert (
        'Recorded as pinning a row: a heavy shelf. The gap at its other end has to take all: read "pinned".'
        in page.body
    )


def test_a_gap_that_may_close_stands_out(html):
    assert re.findall(r'<td class="tight">(.*?)</td>', html) == ["may close"]


def test_excursions_are_ranked_by_what_they_did_and_their_dose_stands_beside(page):
    # 4.8768 m x 0.25 x 0.1 % = 0.12 mm to x 0.33 x 0.3 % = 0.48 mm
    assert page.tables["effects"][1] == [
        "1",
        "humidity above 65.0 %",
        "2026-01-06 10:00 -05:00",
        "+0.20 points (+0.10 to +0.30)",
        "grows 0.1 to 0.5 mm",
        "6.4 %RH-hours",
    ]
    assert (
        "Estimate: excursion 1 moved the boards most, by +0.20 points (+0.10 to +0.30) of dry mass; by the air's dose "
        "too." in page.body
    )


def test_of_many_effects_ten_are_shown_and_the_rest_is_counted():
    many = den.BOARD_VIEW._replace(effects=den.BOARD_VIEW.effects * 13)
    found = shown(view=many)
    assert len(found.tables["effects"]) == 11
    assert "by the air's dose too. 3 more moved them less." in found.body


def test_the_season_ahead_is_told(page):
    assert "The season ahead, as this room was measured a year ago: day means of 28 to 62 %RH" in page.body


def test_the_surface_is_told_with_care(page):
    assert page.tables["surface"][1] == [
        "coldest hour of the last day",
        "54.0 °F",
        "computed from the air outdoors, as of an outside wall (temperature factor 0.7, assumed by the profile)",
    ]
    assert (
        "Computed: mean humidity at the surface over the last 30 days 82.4 %, above the 80 % of ISO 13788; mould index "
        "1.4, it begins, to be seen under a microscope only." in page.body
    )
    assert "it is an index and not an inspection" in page.body
    assert "Call a professional where growth is to be seen on more than about 1 m2" in page.body


def test_a_sensor_on_the_wall_is_measured_and_not_computed():
    found = shown(view=den.BOARD_VIEW._replace(surface_heard=True))
    assert found.column("surface", "how it is known")[0] == (
        "measured at the surface, computed from the air outdoors, as of an outside wall (temperature factor 0.7, "
        "assumed by the profile) where the sensor is silent"
    )


# --- the chart over days ----------------------------------------------------------------------------------------------


def test_the_captions_of_the_chart_state_what_it_shows(page):
    # boards 8.0 + 0.1 a day over days 0 to 5, day 3 not heard; surface 76 + 2 a day; index 0.3 a day
    assert (
        "Board moisture, estimated, ran from 8.0 % (2026-01-05) to 8.5 % (2026-01-10) of dry mass in the central "
        "estimate; the band is what differs from board to board." in page.body
    )
    assert (
        "Humidity at the wall's surface, computed, day means: highest 86 % (2026-01-10); 2 days above the dashed line "
        "of 80 %." in page.body
    )
    assert (
        "The mould index, computed, came to 1.5 at most (2026-01-10): it begins, to be seen under a microscope only."
        in page.body
    )


def test_the_figure_has_a_panel_each_with_its_unit_on_one_axis_of_days(page):
    layout = figure(page)["layout"]
    assert [note["text"] for note in layout["annotations"]] == [
        "board moisture, % of dry mass (estimated)",
        "humidity at the wall's surface, % (computed)",
        "mould index, 0 to 6 (computed, no inspection)",
        "installation",
    ]
    start = den.DELIVERED // DAY * DAY
    assert layout["xaxis"]["range"] == [start, start + 6 * DAY]
    domains = [layout[axis]["domain"] for axis in ("yaxis", "yaxis2", "yaxis3")]
    assert domains[0][1] == 1.0
    assert domains[2][0] == pytest.approx(0.0)
    assert domains[0][0] > domains[1][1] > domains[1][0] > domains[2][1]


def test_the_lines_are_those_of_the_days_and_are_broken_where_nothing_was_heard(page):
    lines = {trace["name"]: numbers(trace["y"]) for trace in figure(page)["data"] if "name" in trace}
    assert lines["board"] == pytest.approx([8.0, 8.1, 8.2, np.nan, 8.4, 8.5], nan_ok=True, abs=1e-5)
    assert lines["skin"] == pytest.approx([76, 78, 80, np.nan, 84, 86], nan_ok=True)
    assert lines["mould"] == pytest.approx([0.0, 0.3, 0.6, np.nan, 1.2, 1.5], nan_ok=True, abs=1e-6)


def test_the_band_is_a_ring_for_each_stretch_that_is_known(page):
    (band,) = [trace for trace in figure(page)["data"] if trace.get("fill") == "toself"]
    ring = [9.0, 9.1, 9.2, 7.2, 7.1, 7.0, np.nan, 9.4, 9.5, 7.5, 7.4, np.nan]
    assert numbers(band["y"]) == pytest.approx(np.array(ring), nan_ok=True, abs=1e-5)


def test_the_ring_of_ten_years_has_fewer_corners_and_holds_every_day():
    found = json.loads(read_page(render_report(den.board_page(den.days(3652, silent=None)))).texts["figure-days"])
    (band,) = [trace for trace in found["data"] if trace.get("fill") == "toself"]
    x, y = numbers(band["x"]), numbers(band["y"])
    assert len(x) == len(y) <= 2 * 1001 + 1
    # boards from 7.0 to 9.0 % on the first day, 0.1 % more each day
    assert (np.nanmin(y), np.nanmax(y)) == pytest.approx((7.0, 9.0 + 0.1 * 3651), abs=1e-3)
    assert np.nanmax(x) - np.nanmin(x) == 3651 * DAY


def test_the_dashed_line_is_the_criterion(page):
    (limit,) = [trace for trace in figure(page)["data"] if trace["line"].get("dash")]
    assert (limit["y"], limit["yaxis"]) == ([80.0, 80.0], "y2")


def test_the_table_behind_it_has_a_row_a_day(page):
    assert page.tables["boarddays"][1] == ["2026-01-05", "7.0", "8.0", "9.0", "76", "53.6 °F", "0.00"]
    assert page.tables["boarddays"][4] == ["2026-01-08", "-", "-", "-", "-", "-", "-"]
    assert len(page.tables["boarddays"]) == 7


@pytest.mark.parametrize(("length", "rows"), [(62, 62), (63, 9), (1100, 158), (1101, 40)])
def test_the_rows_of_a_long_record_are_weeks_and_then_four_weeks(length, rows):
    assert len(shown(packed=den.days(length)).tables["boarddays"]) == rows + 1


def test_the_drawing_for_paper_shows_the_same(html):
    drawing = re.findall(r'<svg class="chart".*?</svg>', html, re.DOTALL)[2]
    assert len(re.findall(r'<path class="line"', drawing)) == 6  # three lines in two stretches
    assert len(re.findall(r'<path class="range"', drawing)) == 2
    assert len(re.findall(r'class="limit"', drawing)) == 1
    assert "limit 80 %<" in drawing
    assert re.search(r'<text class="value" x="[\d.]+" y="13">installation<', drawing)  # of the later half: to its left
    assert ">2026-01-05<" in drawing


def test_an_index_that_never_stirred_is_not_drawn():
    assert [trace["name"] for trace in figure(shown())["data"] if "name" in trace] == ["board", "skin", "mould"]
    still = np.frombuffer(den.days(6), dtype=den.DAYS).copy()
    still["mould"] = 0.04
    page = shown(packed=still.tobytes())
    assert [trace["name"] for trace in figure(page)["data"] if "name" in trace] == ["board", "skin"]
    assert "mould index, computed, came to" not in page.body


def test_ten_years_of_days_stay_a_small_page():
    small, large = (len(render_report(den.board_page(den.days(length)))) for length in (10, 3653))
    assert large - small < 600_000


# --- less than all of it ----------------------------------------------------------------------------------------------


def test_without_a_surface_there_is_no_such_section():
    found = read_page(render_report(den.board_page(den.days(skin=False), skin=None)))
    assert "The wall's surface" not in found.headings
    assert [trace["name"] for trace in figure(found)["data"] if "name" in trace] == ["board"]


def test_before_the_installation_the_rows_are_an_outlook_and_the_surface_has_the_chart():
    before = den.page(board=den.BOARD_VIEW._replace(pinned="", effects=(), season=None))._replace(
        assessment=den.ASSESSMENT._replace(skin=den.SKIN, packed_days=den.days(board=False)),
    )
    found = read_page(render_report(before))
    assert (
        "The planks are not on the wall yet: in closed boxes their moisture hardly changes in days, so it is taken to "
        "be what they came with. What is said of rows is an outlook." in found.body
    )
    assert found.column("moisture", "boards") == ["solid wood in the air of now"]
    assert "effects" not in found.tables
    assert "Nobody recorded what pins a row." in found.body
    assert [trace["name"] for trace in figure(found)["data"] if "name" in trace] == ["skin", "mould"]
    assert found.body.index("The wall's surface") < found.body.index("Humidity at the wall's surface, computed, day")
    assert "As of the start of the installation." not in found.body


def test_planks_of_pvc_or_mineral_are_not_moved_by_moisture_and_the_page_says_so():
    vinyl = den.PROFILE._replace(board=den.PROFILE.board._replace(core="PVC or mineral"))
    view = den.BOARD_VIEW._replace(closing=(), effects=(), season=None)
    shown = den.board_page(den.days(board=False), view, board=None)._replace(profile=vinyl)
    found = read_page(render_report(shown))
    assert (
        "A core of PVC or mineral is not moved by moisture, so no board moisture is computed of it; what follows is by "
        "warmth, from one kind of core to the other." in found.body
    )
    assert {"moisture", "effects"}.isdisjoint(found.tables)
    assert len(found.tables["along"]) == 3
    assert "humidity that lasts for weeks" not in found.body


def test_a_job_without_boxes_or_wall_has_no_such_sections():
    bare = den.page(
        board=den.BOARD_VIEW, assessment=den.ASSESSMENT._replace(lots=(den.LOT._replace(delivered_at=None),))
    )
    assert {"Boxes and boards", "The wall's surface"}.isdisjoint(read_page(render_report(bare)).headings)


def test_a_wall_begun_without_a_delivery_in_the_log_says_so():
    found = shown(lots=(den.LOT._replace(delivered_at=None),), view=den.BOARD_VIEW._replace(lying=()))
    assert "No boxes were delivered by the log." in found.body
    assert "boxes" not in found.tables


def test_one_day_is_no_chart():
    found = read_page(render_report(den.board_page(den.days(1))))
    assert "figure-days" not in found.texts
    assert "boarddays" not in found.tables


def test_what_people_wrote_of_boards_is_text():
    html = render_report(
        den.board_page(view=den.BOARD_VIEW._replace(pinned=NASTY), lots=(den.LOT._replace(name=NASTY, core=den.CORE),))
    )
    found = read_page(html)
    assert NASTY.replace("\u202e", "\\u202e") in found.body
    assert found.column("boxes", "lot") == [NASTY.replace("\u202e", "\\u202e")]
    assert "b" not in {tag for tag, _ in found.elements}
