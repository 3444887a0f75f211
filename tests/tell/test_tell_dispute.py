"""Two spans of one record side by side: every sentence from the data, the limits of the evidence, no side taken."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import invented_den as den
import numpy as np
from read_page import read_page

from monitor.basis.times import DAY, HOUR, MINUTE
from monitor.basis.values import Entry, Kind
from monitor.tell.dispute import Bundle, DisputePage, render_dispute
from monitor.tell.views import Cut, ReportPage, Stay

START = den.DELIVERED
FIRST = Cut(START, START + 48 * HOUR)  # all known, a humid stretch of 2 h 10 min
SECOND = Cut(START + 48 * HOUR, START + 96 * HOUR)  # a silence of 13 h 35 min, in band
NASTY = '<script>document.title="taken"</script>\u202e'
OF_ELAPSED = "of elapsed time (unknown time counted out, and in)"


def span(cut: Cut, **changes: Any) -> ReportPage:
    return den.page(cut=cut, **changes)


def page(
    first: ReportPage | None = None,
    second: ReportPage | None = None,
    *,
    names: tuple[str, str] = ("the first days", "the next days"),
    steps: tuple[Entry, ...] = (),
    bundle: Bundle | None = None,
) -> str:
    spans = (names[0], first or span(FIRST)), (names[1], second or span(SECOND))
    return render_dispute(DisputePage(spans, steps, bundle))


def squeezed(text: str) -> str:
    return " ".join(text.split())


def rows(html: str) -> dict[str, tuple[str, str]]:
    _, *found = read_page(html).tables["facts-of-both"]
    return {squeezed(name): (squeezed(first), squeezed(second)) for name, first, second in found}


def test_the_two_spans_stand_side_by_side_under_their_names():
    read = read_page(page())
    assert read.tables["facts-of-both"][0] == ["of", "the first days", "the next days"]
    assert squeezed(read.texts["verdict"]) == "north wall of the den: the first days, and the next days."
    assert rows(page())["span"] == (
        "2026-01-05 08:40 to 2026-01-07 08:40 -05:00, 48 h; before the installation.",
        "2026-01-07 08:40 to 2026-01-09 08:40 -05:00, 48 h; before the installation.",
    )


def test_coverage_is_told_of_each():
    # of the second 48 h the room was silent from 56 h 55 min to 70 h 30 min: 13 h 35 min; 34.4166 of 48 h is 71.7 %
    assert rows(page())["known"] == (
        "Known for 100.0 % of the span, without a gap.",
        "Known for 71.7 % of the span; 1 gap, 13 h 35 min in all, the longest 13 h 35 min.",
    )
    # 45 h 50 min of 48 h
    assert rows(page())["in band"] == (
        f"In band: 95.4 % of known time; 95.4 % to 95.4 % {OF_ELAPSED}, 45 h 50 min.",
        f"In band: 100.0 % of known time; 71.7 % to 100.0 % {OF_ELAPSED}, 34 h 25 min.",
    )


def test_excursions_are_told_with_their_worst_value_and_what_lay_beyond_the_limit():
    told = rows(page())
    assert told["out of band"] == (
        "1 excursion; out of band for 2 h 10 min in all.",
        "The room did not leave the band in known time.",
    )
    assert told["humidity too high"] == (
        "1 time above 65.0 %, at worst 71.3 %; 6.4 %RH-hours beyond the limit.",
        "None.",
    )
    assert told["humidity too low"] == told["temperature too high"] == ("None.", "None.")
    read = read_page(page())
    assert [squeezed(cell) for cell in read.tables["out1"][1]] == [
        "1",
        "humidity above 65.0 %",
        "2026-01-06 10:00 -05:00",
        "2 h 10 min",
        "71.3 %",
        "6.4 %RH-hours",
        "before the installation; came back into the band",
    ]
    assert "out2" not in read.tables
    assert "None: the room did not leave the band in known time." in squeezed(read.body)


def test_an_excursion_that_lasts_beyond_its_span_is_told_as_a_whole_and_said_to():
    half = Cut(START, den.WET[0] + HOUR)
    told = rows(page(span(half)))["humidity too high"][0]
    assert told.endswith("6.4 %RH-hours beyond the limit (also before or after the span).")
    assert rows(page(span(half)))["out of band"][0] == "1 excursion; out of band for 1 h in all."


def test_what_was_measured_is_of_each_span_alone():
    low, high = [], []
    for cut in (FIRST, SECOND):
        values = [
            v
            for one in den.page().channels
            if one.quantity is den.RH
            for v in one.value[(one.t >= cut.start) & (one.t < cut.end)].tolist()
        ]
        low.append(min(values))
        high.append(max(values))
    assert rows(page())["humidity"] == tuple(
        f"Measured from {a:.1f} % to {b:.1f} %, by 2 sensors." for a, b in zip(low, high, strict=True)
    )
    nothing = span(FIRST, channels=())
    assert rows(page(nothing))["temperature"][0] == "Nothing was measured."


def test_boards_are_told_as_estimates_over_the_days_of_each_span():
    packed = np.frombuffer(den.days(), den.DAYS).copy()  # 8.0 % and 0.1 more each day; the boards hang from day 3 on
    packed["grown"][3:] = (0.0, -0.4, 0.3)
    up = den.board_page(packed.tobytes())
    both = [replace(up, cut=Cut(START, START + DAY)), replace(up, cut=Cut(START + 3 * DAY, START + 5 * DAY))]
    assert rows(page(*both))["boards, estimated"] == (
        "At the ends of its days 8.0 to 8.1 % of dry mass: the central of nine estimates.",
        "At the ends of its days 8.3 to 8.5 % of dry mass, -0.4 to +0.3 points against the installation: the central "
        "of nine estimates.",
    )
    assert rows(page())["boards, estimated"] == ("Nothing is computed of boards in it.",) * 2


def test_care_events_and_causes_are_told_with_their_entries():
    said = (
        den.entry(5, Kind.CARE, START + HOUR, {"did": "dust", "text": ""}),
        den.entry(6, Kind.EVENT, START + 2 * HOUR, {"what": "heating-out", "text": "no gas", "until": None}),
    )
    told = rows(page(span(FIRST, entries=said), span(SECOND, entries=said)))
    assert told["care"] == ("dust 2026-01-05 (entry 5).", "None is entered.")
    assert told["events and causes"][0].startswith("event 2026-01-05 10:40 -05:00: ")
    assert told["events and causes"][0].endswith("(entry 6, by R. Example)")
    assert told["events and causes"][1] == "None is entered."


def test_entries_written_late_and_corrected_ones_are_counted_where_they_speak():
    assert rows(page())["entries"] == (
        "2 speak of it; written more than an hour from their time: 2; corrected since: 2.",
        "None speaks of it.",
    )


def test_the_limits_of_the_evidence_are_told():
    moved = replace(den.SENSORS[0], stays=(Stay("den", START, None, "MIND: it hangs over a heater"),))
    away = replace(den.SENSORS[1], stays=(Stay("attic", START - 9 * DAY, START - DAY),))
    told = squeezed(read_page(page(span(FIRST, sensors=(moved, away)), span(SECOND))).texts["limits"])
    assert "placement den-1, by what was entered: in den: MIND: it hangs over a heater." in told
    assert "placement den-2, by what was entered: not there in either span." in told
    assert (
        "uncertainty den-1: humidity 5.0 %RH, temperature 1.8 °F, expanded, backed by the maker's statement only."
        in told
    )
    assert "clock The computer's clock was not seen to be set in either span." in told
    assert "silences 1 gap, 13 h 35 min in all, never counted as in band." in told
    assert "Not shown: that a sensor hung where somebody says it did" in told


def test_a_clock_that_was_set_in_a_span_is_told():
    step = den.entry(7, Kind.CLOCK, START + HOUR, {"by_ms": -5 * MINUTE})
    late = den.entry(8, Kind.CLOCK, START + 40 * DAY, {"by_ms": HOUR})
    told = squeezed(read_page(page(steps=(step, late))).texts["limits"])
    assert "clock The computer's clock was set: 2026-01-05 09:40 -05:00 by -5 min (sensors' log, entry 7)." in told


def test_it_names_what_it_rests_on():
    told = squeezed(read_page(page(bundle=Bundle("den-bundle", "ab" * 32))).texts["identity"])
    assert told.startswith(f"bundle den-bundle its tag manifest, SHA-256 {'ab' * 32} ")
    assert f"head of the chain {'cd' * 32} at entry 4" in told
    assert "bundle none was named when this page was written" in squeezed(read_page(page()).texts["identity"])


def test_it_takes_no_side():
    told = squeezed(read_page(page()).body).casefold()
    assert "takes no side" in told
    assert re.findall(r"\b(?:fault|blame|guilty|negligen\w*|careless\w*|unfortunately|clearly|obviously)\b", told) == []


def test_each_span_is_drawn_with_a_caption_that_states_what_was_found():
    html = page()
    assert html.count('<svg class="chart"') == 2
    told = squeezed(read_page(html).body)
    assert "It left the band once, for 2 h 10 min in all, at worst 71.3 %." in told
    assert "It never left the band in the time that is known." in told


def test_names_cant_dress_up_the_page():
    nasty = replace(den.ASSESSMENT, job=NASTY)
    html = page(span(FIRST, assessment=nasty), names=(NASTY, NASTY), bundle=Bundle(NASTY, "ab" * 32))
    assert "<script>" not in html
    assert "\u202e" not in html


def test_a_simulated_room_is_a_training_job_here_too():
    simulated = replace(den.ASSESSMENT, origin_share={den.OriginKind.SIMULATED: 1.0})
    assert "TRAINING JOB" in page(span(FIRST, assessment=simulated))
    assert "TRAINING" not in page()
