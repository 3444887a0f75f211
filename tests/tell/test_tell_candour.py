"""Page one: what was written late or changed, both readings of the rule, what the silences may hide."""

import invented_den as den
import pytest

from monitor.basis.times import DAY, HOUR, MINUTE, rfc3339
from monitor.basis.values import Kind, OriginKind, Quantity
from monitor.rules.assessment import Coverage, Excursion, Gap, OtherVerdict
from monitor.rules.thinning import ThinnedDays
from monitor.tell.diary import MOST_NUMBERS
from monitor.tell.pages.candour import LOGGERS, PROVEN, candour, front
from monitor.tell.pages.evidence import HeadView, Sealed
from monitor.tell.pages.views import SensorLine, Stay
from monitor.tell.words import display_of, when

T0 = den.DELIVERED


def told(**changes) -> dict[str, str]:
    page = den.page(**changes)
    return dict(candour(page, display_of(page.assessment, "us")))


def judged(**changes):
    return den.ASSESSMENT._replace(**changes)


def dry(start: int, end: int | None) -> Excursion:
    return Excursion(Quantity.AIR_HUMIDITY, "low", start, end, "return", 30.0, 1.0, "before", "good", True)


def test_entries_written_in_time_are_said_to_be():
    entries = (den.entry(1, Kind.NOTE, T0, {"text": "x"}),)
    assert told(entries=entries)["written late"] == (
        "Nobody wrote an entry more than an hour from the time it speaks of."
    )


def test_what_was_written_late_is_named_and_the_furthest_apart():
    entries = (
        den.entry(4, Kind.NOTE, T0, {"text": "x"}, later=2 * HOUR),
        den.entry(5, Kind.NOTE, T0, {"text": "x"}, later=3 * DAY),
        den.entry(6, Kind.NOTE, T0, {"text": "x"}),
    )
    assert told(entries=entries)["written late"] == (
        "More than an hour from the time spoken of: entries 4, 5; the furthest is entry 5, entered 3 d later."
    )
    assert told(entries=entries[:1])["written late"] == (
        "More than an hour from the time spoken of: entry 4; the furthest is entry 4, entered 2 h later."
    )


def test_of_many_late_entries_the_first_are_named():
    entries = tuple(den.entry(k, Kind.NOTE, T0, {"text": "x"}, later=DAY + k) for k in range(1, MOST_NUMBERS + 4))
    assert "11, 12 and 3 more; the furthest is entry 15" in told(entries=entries)["written late"]


def test_what_the_program_itself_entered_later_is_nobodys_lateness():
    own = [
        den.entry(k, kind, T0, {}, later=DAY)._replace(who="wallclime")
        for k, kind in enumerate((Kind.COMPLETION, Kind.COMPLETION_REVISED, Kind.ALARM, Kind.ALARM_SETTINGS), 5)
    ]
    assert told(entries=tuple(own))["written late"] == (
        "Nobody wrote an entry more than an hour from the time it speaks of."
    )
    note = den.entry(9, Kind.NOTE, T0, {"text": "x"}, later=DAY)._replace(who="wallclime")
    named = (*(one._replace(who="K. Example") for one in own), note)
    assert "entries 5, 6, 7, 8, 9;" in told(entries=named)["written late"]  # a name alone takes nobody out


def corrected() -> tuple:
    return (den.entry(9, Kind.CORRECTION, T0, {"reason": "typing"}, corrects=4),)


def other(**changes) -> OtherVerdict:
    clock = den.ASSESSMENT.lot.clock
    same = OtherVerdict("planks", "00", T0, clock.completed_at, clock.counted, len(den.ASSESSMENT.excursions))
    return same._replace(**changes)


@pytest.mark.parametrize(
    ("uncorrected", "effect"),
    [
        (other(), "As first written the verdict would be the same."),
        (
            other(counted=12 * HOUR, completed_at=None, excursions=3),
            "As first written: 12.0 h counted, not complete, 3 excursions.",
        ),
        (
            None,
            "As first written the entries contradict each other, so no verdict stands beside this one.",
        ),
    ],
)
def test_a_correction_is_named_with_what_it_did(uncorrected, effect):
    said = told(entries=corrected(), uncorrected=uncorrected)["corrected"]
    assert said == f"entry 9 corrects what others said; both stay in the diary. {effect}"


def test_without_corrections_that_is_said():
    assert told(entries=())["corrected"] == "Nothing in the log was corrected."


def test_both_readings_of_the_rule_and_the_guarded_one_stand_side_by_side():
    said = told()["both readings of the rule"]
    assert said.startswith("By the profile ")
    assert "; read strictly, as hours without a break, " in said
    assert "; with the limits drawn in by the sensors' uncertainty " in said


def test_a_profile_that_was_changed_is_told_with_what_the_others_say():
    assert told()["profile"] == "The profile has not changed since the job was opened."
    changed = judged(other_verdicts=(other(profile="older", excursions=7),))
    said = told(assessment=changed)["profile"]
    assert said.startswith("The job had 2 profiles; under older, in force from ")
    assert said.endswith(", 7 excursions.")


def test_the_share_in_band_is_a_pair():
    span = Coverage(10 * HOUR, 8 * HOUR, 6 * HOUR)
    assert "60.0 % to 80.0 %" in told(assessment=judged(span=span))["in band"]


def test_a_silence_between_two_excursions_of_one_side_is_probably_out():
    gap = Gap(T0 + 2 * HOUR, T0 + 5 * HOUR, (Quantity.AIR_HUMIDITY,))
    around = (dry(T0, T0 + 2 * HOUR), dry(T0 + 5 * HOUR, T0 + 6 * HOUR))
    said = told(assessment=judged(gaps=(gap,), excursions=around))["silences"]
    assert said == (
        "1 gap, 3 h in all, never counted as in band. 1 of them, 3 h, between two excursions of one side: not shown in "
        "band, probably out."
    )


def test_a_silence_beside_excursions_of_other_sides_or_far_from_them_is_only_a_silence():
    gap = Gap(T0 + 2 * HOUR, T0 + 5 * HOUR, (Quantity.AIR_HUMIDITY,))
    damp = dry(T0 + 5 * HOUR, T0 + 6 * HOUR)._replace(side="high")
    late = dry(T0 + 7 * HOUR, T0 + 8 * HOUR)
    for after in (damp, late):
        found = judged(gaps=(gap,), excursions=(dry(T0, T0 + 2 * HOUR), after))
        assert told(assessment=found)["silences"] == "1 gap, 3 h in all, never counted as in band."
    assert told(assessment=judged(gaps=()))["silences"] == "The room was known all the time."


def test_what_is_shown_and_what_is_not_comes_last():
    assert list(told().items())[-1] == ("what this shows", PROVEN)
    assert PROVEN == (
        "Shown: what the sensors said, when it arrived, and that nothing sealed was changed since; the verdict follows "
        "by rules that are written down. Not shown: that a sensor hung where somebody says it did, what happened where "
        "no sensor was, who really wrote an entry (every name is a claim), and anything about planks, glue or wall "
        "that nobody measured. The key that signs is held by whoever runs this installation: heads that others keep "
        "bind it."
    )


def test_thinned_days_are_marked_with_what_is_left_and_what_that_does():
    days = (ThinnedDays("hall", 30 * MINUTE, (T0 - T0 % DAY, T0 - T0 % DAY + DAY)), ThinnedDays("attic", DAY, (0,)))
    page = den.page(thinned=days)
    told_of = candour(page, display_of(page.assessment, "us"))
    found = [text for name, text in told_of if name == "thinned"]
    first, last = (rfc3339(day)[:10] for day in days[0].days)
    assert found == [
        f"Of hall 2 days from {first} to {last} (UTC) were thinned: of each 30 min the first, lowest, highest and last "
        "reading are left. Excursions then may read shorter or longer than they did.",
        "Of attic the day 1970-01-01 (UTC) was thinned: of each 24 h the first, lowest, highest and last "
        "reading are left. Excursions then may read shorter or longer than they did.",
    ]
    assert "thinned" not in told()


# --- where the sensors were, whose clock, whose key ---


def first_page(**changes) -> dict[str, str]:
    page = den.page(**changes)
    return dict(front(page, display_of(page.assessment, "us")))


def test_page_one_has_all_that_candour_says_and_ends_with_what_is_shown():
    page = den.page()
    shown = display_of(page.assessment, "us")
    assert list(dict(front(page, shown)))[-4:] == ["placement", "clock", "key", "what this shows"]
    assert dict(candour(page, shown)).items() <= dict(front(page, shown)).items()


def test_where_the_sensors_were_is_told_as_it_was_entered():
    stay = Stay("den", T0, None, "height 1 ft")
    one = SensorLine("den-1", "x", HOUR, {}, (stay, Stay("outdoors", T0, None, hears="outdoors")), "maker")
    other = SensorLine("den-2", "y", HOUR, {}, (Stay("den", T0, None),), "maker")
    assert first_page(sensors=(one, other))["placement"] == (
        "By what was entered: den-1 at den (height 1 ft); den-2 at den (how, nobody said). "
        "Whether it was so no record can show."
    )
    assert first_page(sensors=())["placement"] == "No sensor was ever entered as being at these places."


def test_steps_of_the_clock_are_told_and_that_loggers_have_clocks_of_their_own():
    step = den.entry(3, Kind.CLOCK, T0, {"by_ms": HOUR})
    page = den.page(steps=(step,))
    at = when(T0, display_of(page.assessment, "us"))
    assert first_page(steps=(step,))["clock"] == f"The computer's clock was set {at} by 1 h."
    filed = judged(origin_share={OriginKind.FILE: 1.0})
    assert first_page(assessment=filed)["clock"] == f"No jump of the computer's clock was written down.{LOGGERS}"


def test_whether_others_hold_a_head_is_told_with_the_key():
    assert first_page(sealed=None)["key"] == (
        "Nothing is sealed yet: nothing but the store itself vouches for the record."
    )
    head = HeadView(1, "ab" * 32, "0XRP", T0, None, "delivery", 3)
    sealed = Sealed(heads=(head,), fingerprint="ab" * 32, keys=2)
    key = f"The key that seals is {' '.join(['abab'] * 16)}, the 2nd"
    assert first_page(sealed=sealed)["key"] == (
        f"{key}. That somebody else holds a head is written nowhere: its holder could have sealed another record."
    )
    held = (den.entry(4, Kind.WITNESS, T0, {"code": "0XRP"}),)
    assert first_page(sealed=sealed, entries=held)["key"] == (
        f"{key}. Others hold a head, by entry 4: what that head seals its holder could not write anew."
    )
