"""Two spans of one record side by side: every sentence from the data, the limits of the evidence, no side taken."""

from __future__ import annotations

import re
from typing import Any

import invented_den as den
import numpy as np
from read_page import read_page

from monitor.basis.times import DAY, HOUR, MINUTE
from monitor.basis.values import Entry, Kind
from monitor.tell.pages.dispute import MEANT, Bundle, DisputePage, render_dispute
from monitor.tell.pages.views import Backing, Cut, ReportPage, SensorLine, Stay

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
        "1 time above 65.0 %, at worst 71.3 %, 6.4 %RH-hours beyond the limit.",
        "None in known time.",
    )
    assert told["humidity too low"] == told["temperature too high"] == ("None in known time.",) * 2
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
    assert "the next days The room did not leave the band in known time." in squeezed(read.body)


SILENCE = Cut(den.GAP.start, den.GAP.end)


def test_of_a_span_in_which_nothing_was_heard_it_is_not_said_that_the_band_was_kept():
    read = read_page(page(second=span(SILENCE)))
    told = rows(page(second=span(SILENCE)))
    assert told["out of band"][1] == "Not known: nothing was heard."
    for name in ("humidity too high", "humidity too low", "temperature too high", "temperature too low"):
        assert told[name] == (told[name][0], "Not known: nothing was heard of it.")
    assert "the next days Not known: nothing was heard." in squeezed(read.body)


def test_a_quantity_that_was_silent_is_named_and_says_nothing_of_the_other():
    deaf = den.ASSESSMENT._replace(gaps=(den.GAP._replace(missing=(den.RH,)),))
    told = rows(page(second=span(SILENCE, assessment=deaf)))
    assert told["out of band"][1] == "Not known: nothing was heard of humidity."
    assert told["humidity too low"][1] == "Not known: nothing was heard of it."
    assert told["temperature too low"][1] == "None in known time."
    half = den.GAP.start + 3 * HOUR
    turns = (
        den.GAP._replace(end=half, missing=(den.RH,)),
        den.GAP._replace(start=half, missing=(den.T,)),
    )
    never = span(SILENCE, assessment=den.ASSESSMENT._replace(gaps=turns))
    assert rows(page(second=never))["out of band"][1] == "Not known: never were both quantities heard."


def test_a_quantity_that_was_silent_while_the_other_was_out_is_not_known():
    out = Cut(*den.WET)
    told = rows(page(span(out, half_known=(den.WET,))))
    assert told["humidity too high"][0].startswith("1 time above 65.0 %")
    assert told["humidity too low"][0] == "None in known time."
    assert told["temperature too low"][0] == "Not known: nothing was heard of it."


def test_where_the_finished_wall_has_another_limit_each_is_named_with_its_own():
    life = den.PROFILE.life._replace(humidity=(35.0, 60.0))
    later = den.EXCURSION._replace(
        start=den.WET[1] + HOUR, end=den.WET[1] + 2 * HOUR, peak=63.0, dose=2.0, phase="after"
    )
    two = den.ASSESSMENT._replace(excursions=(den.EXCURSION, later))
    told = rows(page(span(FIRST, assessment=two, profile=den.PROFILE._replace(life=life))))["humidity too high"][0]
    assert told == (
        "1 time above 60.0 %, at worst 63.0 %, 2.0 %RH-hours beyond the limit; "
        "1 time above 65.0 %, at worst 71.3 %, 6.4 %RH-hours beyond the limit."
    )


def test_of_two_bands_both_stand_above_the_sentences():
    life = den.PROFILE.life._replace(humidity=(30.0, 60.0))
    up = den.FACTS._replace(install_start=START + HOUR, install_finish=FIRST.end)
    both = (span(cut, facts=up, profile=den.PROFILE._replace(life=life)) for cut in (FIRST, SECOND))
    assert (
        "35.0 % to 65.0 % and 60.0 °F to 85.0 °F until the wall is finished; 30.0 % to 60.0 % and 60.0 °F to 85.0 °F "
        "once it is finished"
    ) in squeezed(read_page(page(*both)).texts["about"])
    assert "interior wall: 35.0 % to 65.0 % and 60.0 °F to 85.0 °F room den" in squeezed(
        read_page(page()).texts["about"]
    )


def test_of_more_excursions_than_a_table_holds_a_bundle_has_all():
    many = tuple(den.EXCURSION._replace(start=START + k * MINUTE, end=START + k * MINUTE + 1) for k in range(101))
    told = squeezed(read_page(page(span(FIRST, assessment=den.ASSESSMENT._replace(excursions=many)))).body)
    assert "100 of 101 shown, the first; an evidence bundle has all." in told


def test_an_excursion_that_lasts_beyond_its_span_is_told_as_a_whole_and_said_to():
    half = Cut(START, den.WET[0] + HOUR)
    told = rows(page(span(half)))["humidity too high"][0]
    assert told.endswith("6.4 %RH-hours beyond the limit (also before or after the span).")
    assert rows(page(span(half)))["out of band"][0] == "1 excursion; out of band for 1 h in all."
    drawn = squeezed(read_page(page(span(half))).body)
    assert "at worst 71.3 % in the whole excursion, which lasts beyond what is shown." in drawn


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
    both = [up._replace(cut=Cut(START, START + 2 * DAY)), up._replace(cut=Cut(START + 3 * DAY, START + 6 * DAY))]
    assert rows(page(*both))["boards, estimated"] == (
        "At the ends of its days of UTC 8.0 to 8.1 % of dry mass: the central of nine estimates.",
        "At the ends of its days of UTC 8.3 to 8.5 % of dry mass, -0.4 to +0.3 points against the installation: the "
        "central of nine estimates.",
    )
    assert rows(page())["boards, estimated"] == (NO_BOARDS, NO_BOARDS)


NO_BOARDS = "Nothing is computed of boards at the end of a day of UTC in it."


def test_a_span_before_the_start_says_nothing_of_boards():
    packed = np.frombuffer(den.days(), den.DAYS).copy()
    packed["board"][:3] = np.nan  # the first day with boards is that in which the installation began
    up = den.board_page(packed.tobytes())
    started = up._replace(facts=den.FACTS._replace(install_start=den.INSTALLED))
    told = rows(
        page(started._replace(cut=Cut(START, den.INSTALLED)), started._replace(cut=Cut(den.INSTALLED, den.AS_OF)))
    )
    # it began at 13:40 UTC: the end of that day lies after the first span and in the second
    assert told["boards, estimated"][0] == NO_BOARDS
    assert told["boards, estimated"][1].startswith("At the ends of its days of UTC 8.3 to ")


def test_the_end_of_a_day_belongs_to_the_span_that_it_ends():
    midnight = START // DAY * DAY + DAY
    up = den.board_page()
    told = rows(page(up._replace(cut=Cut(START, midnight)), up._replace(cut=Cut(midnight, midnight + DAY))))
    assert [text[31:43] for text in told["boards, estimated"]] == ["8.0 to 8.0 %", "8.1 to 8.1 %"]


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
    told = limits()
    assert "clock The computer's clock was not" not in told
    assert "clock No jump of the computer's clock was seen in either span. written late" in told
    assert "silences 1 gap, 13 h 35 min in all, never counted as in band." in told
    assert "Not shown: that a sensor hung where somebody says it did" in told


def limits(*sensors: SensorLine, **changes: Any) -> str:
    spans = (span(cut, **changes)._replace(sensors=sensors or den.SENSORS) for cut in (FIRST, SECOND))
    return squeezed(read_page(page(*spans)).texts["limits"])


def placed(*stays: Stay) -> str:
    told = limits(den.SENSORS[0]._replace(stays=stays))
    return told.split("den-1, by what was entered: ")[1].split(". ")[0]


def test_where_a_sensor_was_is_said_of_each_span():
    here = Stay("den", START, None, "MIND: it hangs over a heater")
    assert placed(here) == "in both spans in den (MIND: it hangs over a heater)"
    assert placed(here._replace(end=FIRST.end, detail="")) == (
        "in the first days in den (nothing said); in the next days not there"
    )
    assert placed(Stay("attic", START - 9 * DAY, START)) == "not there in either span"
    assert placed(Stay("attic", SECOND.end, None)) == "not there in either span"


def test_a_sensor_that_was_there_only_between_the_spans_was_in_neither():
    between = den.SENSORS[0]._replace(stays=(Stay("den", START + 10 * HOUR, START + 20 * HOUR),))
    spans = [span(Cut(START + h * HOUR, START + (h + 8) * HOUR), sensors=(between,)) for h in (0, 24)]
    told = squeezed(read_page(page(*spans)).texts["limits"])
    assert "den-1, by what was entered: not there in either span." in told
    assert "den-1, expanded" not in told


def test_sensors_outdoors_in_boxes_and_on_the_wall_are_said_to_be_there():
    for hears, told in (
        ("outdoors", "outdoors, porch (nothing said)"),
        ("box", "in boxes at porch (nothing said)"),
        ("surface", "on the wall's surface in porch (nothing said)"),
    ):
        assert placed(Stay("porch", START, None, "", hears)) == f"in both spans {told}"
    assert "expanded" not in limits(den.SENSORS[0]._replace(stays=(Stay("porch", START, None, "", "outdoors"),)))


def backed(*backings: Backing) -> str:
    told = limits(den.SENSORS[0]._replace(backings=backings, check="run out"))
    return told.split("den-1, expanded: ")[1].split(". ")[0]


def test_what_backed_a_sensor_within_each_span_is_told_and_not_what_does_today():
    salt = Backing(den.RH, 0, FIRST.end, "salt", 2.5, START - DAY)
    gone = Backing(den.RH, FIRST.end, None, "run out", 5.0)
    maker = Backing(den.T, 0, None, "maker", 1.0)
    assert backed(salt, gone, maker) == (
        "in the first days humidity 2.5 %RH, backed by a salt check of 2026-01-04, temperature 1.8 °F, backed by the "
        "maker's statement only; in the next days humidity 5.0 %RH, backed by nothing any more: its check has run out, "
        "temperature 1.8 °F, backed by the maker's statement only"
    )
    both = Backing(den.RH, 0, None, "maker", 5.0), maker
    assert backed(*both) == "in both spans humidity 5.0 %RH, temperature 1.8 °F, backed by the maker's statement only"
    assert backed(maker) == "in both spans temperature 1.8 °F, backed by the maker's statement only"


def test_a_change_of_what_backs_a_sensor_within_a_span_has_its_time():
    early = Backing(den.RH, 0, START + HOUR, "maker", 5.0)
    assert backed(early, Backing(den.RH, START + HOUR, None, "never checked", 5.0)).startswith(
        "in the first days humidity 5.0 %RH, backed by the maker's statement only, from 2026-01-05 09:40 -05:00 on "
        "humidity 5.0 %RH, backed by nothing any more: the maker's statement has run out, and no check was made; in"
    )


def test_the_clocks_of_loggers_are_said_to_be_unseen():
    filed = den.ASSESSMENT._replace(origin_share={den.OriginKind.FILE: 0.5, den.OriginKind.LIVE: 0.5})
    assert (
        "No jump of the computer's clock was seen in either span. Readings from loggers' files have the times of the "
        "loggers' own clocks, which nobody looks after here: one that was set or that drifted is not seen."
    ) in limits(assessment=filed)
    assert "loggers' own clocks" not in limits()


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


def test_what_the_page_is_and_is_not_stands_on_top():
    meant = (
        "Both spans are of one record and judged by the same rules. The sentences are made from the record alone: this "
        "page says what was measured, computed and entered, and takes no side. What caused what, and who answers for "
        "it, is not for it to say. Air is measured, times, shares and sums are computed from it, boards are estimated."
    )
    assert meant == MEANT
    assert squeezed(read_page(page()).texts["meant"]) == meant


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
    nasty = den.ASSESSMENT._replace(job=NASTY)
    html = page(span(FIRST, assessment=nasty), names=(NASTY, NASTY), bundle=Bundle(NASTY, "ab" * 32))
    assert "<script>" not in html
    assert "\u202e" not in html


def test_a_simulated_room_is_a_training_job_here_too():
    simulated = den.ASSESSMENT._replace(origin_share={den.OriginKind.SIMULATED: 1.0})
    assert "TRAINING JOB" in page(span(FIRST, assessment=simulated))
    assert "TRAINING" not in page()
