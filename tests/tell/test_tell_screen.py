import textwrap
from dataclasses import replace

import invented_den as den
from hypothesis import given
from hypothesis import strategies as st

from monitor.basis.times import DAY, HOUR, MINUTE, zone_of
from monitor.basis.values import OriginKind, Quantity
from monitor.rules.assessment import ClockReading, Condition, Coverage, Excursion, Gap, Lot, Now
from monitor.tell.screen import diary_text, jobs_text, ready_text, status_text
from monitor.tell.views import JobRow, StatusView
from monitor.tell.words import Display

T, RH = Quantity.AIR_TEMPERATURE, Quantity.AIR_HUMIDITY
US = Display(zone_of("America/New_York"), "us")
VIEW = StatusView(den.ASSESSMENT, den.FACTS, den.PROFILE)

NOTHING = ClockReading(required=48 * HOUR)
EMPTY = den.ASSESSMENT._replace(
    begin=None,
    origin_share={},
    span=Coverage(),
    before=None,
    lots=(Lot("", "den", None, None, NOTHING, NOTHING, NOTHING),),
    excursions=(),
    episodes=(),
    gaps=(),
    now=Now("unknown", None),
    readiness=tuple(Condition(condition.name, "unknown", "nothing heard") for condition in den.READINESS),
)
DONE = den.CLOCK._replace(counted=48 * HOUR, completed_at=den.DELIVERED + 50 * HOUR, projected_at=None, restarts=())
FINISHED = den.ASSESSMENT._replace(
    job="hall \x1b[2J",
    phase="after",
    origin_share={OriginKind.SIMULATED: 1.0},
    lots=(den.LOT._replace(clock=DONE, strict=DONE._replace(completed_at=None, counted=9 * HOUR), guarded=DONE),),
    after=Coverage(12 * HOUR, 10 * HOUR, 9 * HOUR),
    excursions=(
        den.EXCURSION,
        Excursion(T, "low", den.AS_OF - HOUR, None, "open", 15.0, 0.42, "after", "good", False),
    ),
    now=Now("out", den.AS_OF - HOUR, {"den-1": {T: 15.1}}, den.AS_OF - MINUTE),
    gaps=(Gap(den.AS_OF - 2 * HOUR, den.AS_OF - HOUR, (RH,)),),
)


def screen(text: str) -> str:
    return textwrap.dedent(text).lstrip("\n")


def test_the_status_of_a_job_on_its_way_reads_like_this():
    assert status_text(VIEW) == screen("""
        north wall of the den                              as of 2026-01-09 20:40 -05:00
        wall 16 ft x 8 ft; boxes in den, wall in den

        NOT READY. The installation may not start yet: 37.5 h of 48 h are counted,
        complete 2026-01-10 07:10 -05:00 if the room stays in band.

        counted    [##################......] 37.5 h of 48 h
        strict     37.5 h of 48 h without a break, complete 2026-01-10 07:10 -05:00 if
                   the room stays in band
        clock      complete 2026-01-10 07:10 -05:00 if the room stays in band
        restarted  2026-01-07 19:35 -05:00: back to zero, not proven in band for more
                   than 2 h

        room now   in band since 2026-01-08 07:10 -05:00 (37 h 30 min)
        band       35.0 % to 65.0 % and 60.0 degF to 85.0 degF
        heard      den-1 46.2 %, 68.7 degF; den-2 46.6 %, 69.1 degF; last heard
                   2026-01-09 20:39 -05:00

        Not met:
          FAIL     acclimation complete: 37.5 of 48 h counted
                   > Leave the boxes closed and flat; keep the room in band.
          UNKNOWN  site check: no site check is recorded
                   > Walk along the wall, answer what is open: wallclime log check.
          UNKNOWN  wall moisture: no wall moisture is recorded
                   > Measure it beside a dry place of it: wallclime log moisture.

        1 excursion:
          2026-01-06 10:00 -05:00: humidity above 65.0 % for 2 h 10 min, at worst
            71.3 %, 6.4 %RH-hours beyond the limit

        Not heard, 13 h 35 min in all:
          nothing usable heard 2026-01-07 17:35 to 2026-01-08 07:10 -05:00
            (13 h 35 min): not counted
        """)


def test_the_status_of_a_job_that_nobody_has_heard_reads_like_this():
    assert status_text(StatusView(EMPTY, den.FACTS, den.PROFILE)) == screen("""
        north wall of the den                              as of 2026-01-09 20:40 -05:00
        wall 16 ft x 8 ft; boxes in den, wall in den

        NOT READY. The installation may not start yet: 0.0 h of 48 h are counted, and
        the clock is not running.

        counted    [........................] 0.0 h of 48 h
        strict     0.0 h of 48 h without a break, not complete
        clock      not complete

        room now   not known: nothing heard yet
        band       35.0 % to 65.0 % and 60.0 degF to 85.0 degF
        heard      nothing yet

        Not met:
          UNKNOWN  boxes delivered: nothing heard
                   > Enter when the boxes came, and how many: wallclime log deliver.
          UNKNOWN  acclimation complete: nothing heard
                   > Leave the boxes closed and flat; keep the room in band.
          UNKNOWN  air in band now: nothing heard
                   > Let the room be heard: see that a sensor there sends.
          UNKNOWN  sensors fresh: nothing heard
                   > See to the sensor: its battery, its range, the broker.
          UNKNOWN  sensors agree: nothing heard
                   > Put the sensors side by side, off heaters, windows and sun.
          UNKNOWN  instrument check: nothing heard
                   > Check it against a better one: wallclime sensor check.
          UNKNOWN  site check: nothing heard
                   > Walk along the wall, answer what is open: wallclime log check.
          and 2 more: wallclime ready JOB
        """)


def test_the_status_of_a_finished_training_wall_reads_like_this():
    facts = den.FACTS._replace(units="si", wall_place="hall")
    assert status_text(StatusView(FINISHED, facts, den.PROFILE)) == screen(r"""
        hall \u001b[2J                                     as of 2026-01-09 20:40 -05:00
        wall 4.877 m x 2.438 m; boxes in den, wall in hall
        *** TRAINING JOB: readings of this job were simulated. It proves nothing about a
        real room. ***

        WALL IS UP. The installation started after the acclimation was complete
        (2026-01-07 10:40 -05:00). Since the finish the room was in band 90.0 % of known
        time; 75.0 % to 91.6 % of elapsed time (unknown time counted out, and in), with
        1 excursion.

        counted    [########################] 48.0 h of 48 h
        strict     9.0 h of 48 h without a break, not complete
        clock      complete 2026-01-07 10:40 -05:00
                   Simple acceptance decides; the completion holds beyond the sensors'
                   uncertainty.

        room now   OUT OF BAND since 2026-01-09 19:40 -05:00 (1 h)
        band       35.0 % to 65.0 % and 15.6 degC to 29.4 degC
        heard      den-1 15.1 degC; last heard 2026-01-09 20:39 -05:00

        2 excursions:
          2026-01-06 10:00 -05:00: humidity above 65.0 % for 2 h 10 min, at worst
            71.3 %, 6.4 %RH-hours beyond the limit
          2026-01-09 19:40 -05:00: temperature below 15.6 degC for 1 h so far, at worst
            15.0 degC, 0.4 K-hours beyond the limit (within the sensors' uncertainty)

        Not heard, 1 h in all:
          no usable humidity heard 2026-01-09 18:40 to 19:40 -05:00 (1 h): not counted
        """)


def test_boxes_near_the_room_have_a_line_before_the_wall_and_boards_have_one_once_it_is_begun():
    near = den.ASSESSMENT._replace(lots=(den.LOT._replace(core=den.CORE),))
    lines = status_text(VIEW._replace(assessment=near)).splitlines()
    at = next(number for number, line in enumerate(lines) if line.startswith("boxes "))
    assert lines[at : at + 3] == [
        "boxes      core within 3.0 degF of the room's 24 h mean, 68.9 degF, since",
        "           2026-01-06 04:40 -05:00: estimated 68.0 degF to 69.8 degF",
        "",
    ]
    up = den.board_page()
    lines = status_text(StatusView(up.assessment, up.facts, up.profile, board=den.BOARD_VIEW)).splitlines()
    at = next(number for number, line in enumerate(lines) if line.startswith("boards "))
    assert lines[at : at + 3] == [
        "boards     estimated: 7.9 % (6.9 to 8.9) of dry mass; a row of 16 ft moves",
        "           -1.7 to +0.1 mm: pinned fits, free fits",
        "",
    ]
    assert not any(line.startswith("boxes") for line in lines)


def test_boxes_that_are_not_near_the_room_are_left_to_the_conditions():
    far = den.ASSESSMENT._replace(lots=(den.LOT._replace(core=den.CORE._replace(low=10.0, high=11.0, within=None)),))
    assert status_text(VIEW._replace(assessment=far)) == status_text(VIEW)


def test_of_several_lots_the_worst_has_the_line_with_its_name():
    near, far = (
        den.LOT._replace(core=den.CORE),
        den.LOT._replace(name="B", core=den.CORE._replace(low=10.0, within=None)),
    )
    lines = status_text(VIEW._replace(assessment=den.ASSESSMENT._replace(lots=(near, far)))).splitlines()
    at = next(number for number, line in enumerate(lines) if line.startswith("boxes "))
    assert lines[at : at + 3] == [
        "boxes      lot B, the worst: core not yet surely within 3.0 degF of the room's",
        "           24 h mean, 68.9 degF: estimated 50.0 degF to 69.8 degF",
        "",
    ]
    lines = status_text(VIEW._replace(assessment=den.ASSESSMENT._replace(lots=(near, near)))).splitlines()
    assert any(line.startswith("boxes      lot A: core within 3.0 degF") for line in lines)
    untold = den.ASSESSMENT._replace(lots=(den.LOT, den.LOT))
    assert not any(line.startswith("boxes ") for line in status_text(VIEW._replace(assessment=untold)).splitlines())


def test_gaps_of_under_a_minute_are_counted_but_not_listed():
    short = Gap(den.AS_OF - HOUR, den.AS_OF - HOUR + 30_000, (T, RH))
    alone = status_text(VIEW._replace(assessment=den.ASSESSMENT._replace(gaps=(short,) * 3)))
    assert alone.endswith("\n\nNot heard, 1 min 30 s in all, never for a minute.\n")
    exactly = short._replace(end=short.start + MINUTE)
    several = status_text(VIEW._replace(assessment=den.ASSESSMENT._replace(gaps=(exactly, short))))
    assert several.endswith(
        "Not heard, 1 min 30 s in all:\n  nothing usable heard 2026-01-09 19:40 to 19:41 -05:00 (1 min): not counted\n"
    )


def test_a_ready_job_lists_every_condition_as_passed():
    passed = tuple(Condition(condition.name, "pass", condition.evidence) for condition in den.READINESS[4:6])
    ready = den.ASSESSMENT._replace(lots=(den.LOT._replace(clock=DONE),), readiness=passed)
    assert ready_text(ready, US) == screen("""
        READY: north wall of the den
        The installation may start: every condition is met.
          PASS     sensors agree: within uncertainty
          PASS     instrument check: humidity backed by: maker; temperature backed by:
                   maker
        """)


def test_the_reasons_against_a_start_come_first_each_with_what_to_do():
    short = den.ASSESSMENT._replace(readiness=(den.READINESS[2], den.READINESS[6], den.READINESS[1]))
    assert ready_text(short, US) == screen("""
        NOT READY: north wall of the den
        The installation may not start yet: 37.5 h of 48 h are counted, complete
        2026-01-10 07:10 -05:00 if the room stays in band.
          FAIL     acclimation complete: 37.5 of 48 h counted
                   > Leave the boxes closed and flat; keep the room in band.
          UNKNOWN  site check: no site check is recorded
                   > Walk along the wall, answer what is open: wallclime log check.
          PASS     air in band now: in band for 37 h 30 min
        """)


def test_the_table_over_all_jobs_gives_a_long_name_a_line_of_its_own():
    long = den.ASSESSMENT._replace(job="north wall of the den behind the stove")
    rows = (JobRow(den.ASSESSMENT), JobRow(long), JobRow(FINISHED), JobRow(EMPTY, closed_at=den.AS_OF))
    assert jobs_text(rows) == screen(r"""
        JOB                     VERDICT     ROOM  COUNTED       COMPLETE
        north wall of the den   NOT READY   in    37.5 of 48 h  2026-01-10 07:10 -05:00?
        north wall of the den behind the stove
                                NOT READY   in    37.5 of 48 h  2026-01-10 07:10 -05:00?
        hall \u001b[2J (TRAINING)
                                WALL IS UP  out   48.0 of 48 h  2026-01-07 10:40 -05:00
        north wall of the den   CLOSED      -     0.0 of 48 h   -
        """)


def test_no_job_says_how_to_open_one():
    assert jobs_text(()) == (
        'No job yet. Open one: wallclime job open NAME --zone ZONE --length "16 ft" --height "8 ft"\n'
    )


def test_the_diary_says_what_was_entered_late_and_what_was_corrected():
    assert diary_text(den.ENTRIES, US).splitlines() == [
        "   1  2026-01-05 07:40 -05:00  job, R. Example",
        "      zone: America/New_York; length: 16 ft; height: 8 ft",
        "   2  2026-01-05 08:40 -05:00  deliver, R. Example [entered 2 d later; corrected",
        "      by entry 4]",
        "      lot: A; boxes: 24; place: den",
        "   3  2026-01-06 10:40 -05:00  note, R. Example",
        "      text: plasterers next door, door left open",
        "   4  2026-01-06 14:40 -05:00  correction, R. Example",
        "      corrects entry 2; instead: boxes 26",
    ]
    assert diary_text((), US) == "No entry yet.\n"


def test_a_screen_can_be_had_in_ascii():
    view = VIEW._replace(assessment=den.ASSESSMENT._replace(job="kök"))
    assert status_text(view, ascii_only=True).startswith("k\\xf6k ")
    assert status_text(view, ascii_only=True).isascii()
    assert not status_text(view).isascii()


conditions = st.lists(
    st.builds(
        Condition,
        st.sampled_from([condition.name for condition in den.READINESS]),
        st.sampled_from(["pass", "fail", "unknown"]),
        st.text(st.characters(codec="ascii", exclude_categories=["Cc"]), max_size=300),
    ),
    max_size=14,
)


@given(conditions, st.integers(0, 40), st.integers(1, 14), st.sampled_from(["before", "during", "after"]))
def test_a_status_is_one_screen_of_thirty_lines_and_eighty_columns(readiness, gaps, sensors, phase):
    many = den.ASSESSMENT._replace(
        phase=phase,
        readiness=tuple(readiness),
        gaps=tuple(Gap(den.DELIVERED + k * DAY, den.DELIVERED + k * DAY + HOUR, (T, RH)) for k in range(gaps)),
        excursions=(den.EXCURSION,) * gaps,
        now=replace(den.ASSESSMENT.now, values={f"sensor-{k}": {T: 20.0, RH: 45.0} for k in range(sensors)}),
        lots=(den.LOT._replace(core=den.CORE),),
        board=None if phase == "before" else den.BOARD,
        after=Coverage(12 * HOUR, 10 * HOUR, 9 * HOUR),
    )
    lines = status_text(VIEW._replace(assessment=many, board=den.BOARD_VIEW)).splitlines()
    assert max(map(len, lines)) <= 80
    assert len(lines) <= 36


def test_where_the_profile_is_looser_than_the_maker_the_verdict_says_so():
    looser = (
        "The maker asks for 40 to 60 %RH until the wall is finished; this profile allows 35 to 65 %RH, which is looser."
    )
    status = status_text(VIEW._replace(facts=VIEW.facts._replace(looser=(looser,))))
    assert looser in " ".join(status.split())
    assert looser in " ".join(ready_text(den.ASSESSMENT, US, looser=(looser,)).split())
