"""The record of conditions before an installation: its words, its numbers, its code, and that it is one sheet."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import invented_den as den
import pytest
import segno
from read_page import read_page

from monitor.basis.times import HOUR
from monitor.rules.assessment import Condition
from monitor.rules.install.makers import Document, Span
from monitor.seal.codes import code_of
from monitor.tell.drawn.qr import QUIET, qr
from monitor.tell.pages.evidence import HeadView, Sealed
from monitor.tell.pages.record import KNOWN_BY, LIMITS, MEANT, SIGNED, RecordPage, code_text, render_record

HASH, KEY = "0123456789abcdef" * 4, "fe" * 32
HEAD = HeadView(7, HASH, code_of(HASH), den.AS_OF, None, "record of conditions", 12)
SEALED = Sealed(heads=(HEAD,), fingerprint=KEY, keys=1)
NASTY = '<script>document.title="taken"</script>\u202e'
TOLD = {"site check": "2026-01-09 15:40 -05:00 by O. Example"}


def document(**limits: Span) -> Document:
    return Document(9, den.AS_OF, "How to put up ash-look planks", "C", "2025-11", "planks.pdf", "ab" * 32, limits)


LOOSER = (
    "The maker asks for 40 to 60 %RH while planks acclimate and are put up; this profile allows 35 to 65 %RH, which is "
    "looser."
)
BACKED = "humidity backed by a laboratory certificate; temperature backed by a side-by-side check"
HOURS, HUMIDITY = Span(48.0, None), Span(40.0, 60.0)


def page(**changes: Any) -> RecordPage:
    found = RecordPage(
        assessment=den.ASSESSMENT,
        facts=den.FACTS,
        profile=den.PROFILE,
        documents=(),
        told=TOLD,
        sensors=(("den-1", "humidity and temperature backed by the maker's statement only"),),
        sealed=SEALED,
        started=None,
        written_at=den.AS_OF,
        software="wallclime 0.1.0",
        building="mill house",
    )
    return found._replace(**changes)


def read(**changes: Any):
    return read_page(render_record(page(**changes)))


def squeezed(text: str) -> str:
    return " ".join(text.split())


def facts(**changes: Any) -> str:
    return squeezed(read(**changes).texts["facts"])


def test_it_says_how_many_conditions_are_met_as_of_when():
    told = read()
    assert squeezed(told.texts["verdict"]) == (
        "1 NOT MET, 2 NOT KNOWN north wall of the den: 6 of 9 conditions are met."
    )
    assert "Record of conditions before installation, as of 2026-01-09 20:40 -05:00" in squeezed(told.body)


def test_where_every_condition_is_met_it_says_so_and_nothing_of_an_approval():
    met = den.ASSESSMENT._replace(readiness=tuple(one._replace(verdict="pass") for one in den.READINESS))
    told = read(assessment=met)
    assert squeezed(told.texts["verdict"]) == "ALL MET north wall of the den: all 9 conditions are met."
    assert "It is not a certificate and not an approval." in squeezed(told.body)


def test_what_the_maker_asks_for_beyond_this_profile_stands_in_the_headline():
    met = den.ASSESSMENT._replace(readiness=tuple(one._replace(verdict="pass") for one in den.READINESS))
    told = squeezed(read(assessment=met, facts=den.FACTS._replace(looser=(LOOSER,) * 5)).texts["verdict"])
    assert told == (
        f"ALL MET north wall of the den: all 9 conditions are met. {LOOSER} {LOOSER} Looser too: 3 other limits."
    )


def test_its_own_three_sentences_say_how_it_is_known_what_it_is_and_what_a_signature_says():
    told = squeezed(read().body)
    assert KNOWN_BY == (
        "The air is measured; hours, shares and verdicts are computed from it and from what was entered; the core of "
        "the boxes is estimated where no sensor lies in them."
    )
    assert MEANT == (
        "This is a record of what was measured, computed and said up to the time above. It is not a certificate and "
        "not an approval. The maker's written instructions and local code decide."
    )
    assert SIGNED == (
        "I have read this record. A signature says no more than that; who was said to have done something is a claim "
        "of whoever entered it."
    )
    assert KNOWN_BY in told
    assert f"{MEANT} {SIGNED}" in told


SITE = (
    "wall flat over 10 ft to 3/16 in, worst 1/8 in at 6 ft; plumb 1/8 in over 8 ft; first row level to 1/16 in; no old "
    "paint or texture; no heat source near; studs known; the wall is secure, dry, clean and sound; nothing hangs loose"
)


def test_the_line_of_the_site_check_has_its_name_and_date_and_where_there_is_room_all_that_was_found():
    checked = den.ASSESSMENT._replace(readiness=(*den.READINESS[:6], Condition("site check", "pass", SITE)))
    rows = read(assessment=checked).tables["conditions"]
    assert [row[2] for row in rows if row[1] == "site check"] == [f"{TOLD['site check']}: {SITE}"]
    crowded = (Condition("site check", "unknown", SITE * 5), *(Condition("air", "fail", SITE * 5),) * 11)
    rows = read(assessment=den.ASSESSMENT._replace(readiness=crowded)).tables["conditions"][1:]
    assert next(row[2] for row in rows if row[1] == "site check").startswith(f"{TOLD['site check']}: wall flat over")
    assert 1_900 < sum(len(row[2]) for row in rows) < 2_100
    assert {row[2].removesuffix(" ...").split()[-1] for row in rows} <= {*SITE.split(), *(SITE * 2).split()}
    assert all(row[2].endswith(" ...") for row in rows)


def test_of_a_wall_that_was_begun_before_it_says_when():
    assert squeezed(read(started=den.AS_OF - HOUR).texts["verdict"]).endswith(
        "6 of 9 conditions are met; the installation was begun 2026-01-09 19:40 -05:00."
    )


def test_every_condition_stands_with_its_evidence_what_is_open_first_and_who_looked():
    rows = read().tables["conditions"]
    assert rows[:4] == [
        ["met", "condition", "evidence"],
        ["NOT MET", "acclimation complete", "37.5 of 48 h counted"],
        ["NOT KNOWN", "site check", f"{TOLD['site check']}: no site check is recorded"],
        ["NOT KNOWN", "wall moisture", "no wall moisture is recorded"],
    ]
    assert len(rows) == 1 + len(den.READINESS)
    assert {row[0] for row in rows[4:]} == {"met"}


def test_the_hours_are_those_of_both_readings_of_the_rule():
    told = facts()
    assert (
        "hours, by the profile 37.5 h of 48 h counted, complete 2026-01-10 07:10 -05:00 if the room stays in band; "
        "set back to zero 2 times hours, strictly 37.5 h of 48 h counted"
    ) in told
    assert "(hours without any break)" in told


def test_the_room_the_wall_and_the_sensors_are_told():
    told = facts()
    assert told.startswith("wall 16 ft x 8 ft, in den, mill house boxes in den; lot A profile")
    assert "room, measured in band since 2026-01-08 07:10 -05:00 (37 h 30 min); den-1 46.2 %, 68.7 °F" in told
    assert "in band 97.7 % of known time" in told
    assert told.endswith("sensors den-1: humidity and temperature backed by the maker's statement only")


def test_a_job_without_a_delivery_or_a_sensor_says_so():
    told = facts(assessment=den.ASSESSMENT._replace(lots=(den.LOT._replace(delivered_at=None),)), sensors=())
    assert "boxes in den; no delivery is recorded" in told
    assert told.endswith("sensors none is assigned")


def test_the_makers_limits_stand_beside_ours_the_looser_ones_first():
    told = read(documents=(document(hours=HOURS, humidity=HUMIDITY),)).tables["limits"]
    assert told == [
        ["figure", "this profile", "the maker", "looser", "document"],
        ["humidity until the wall is finished", "35 to 65 %RH", "40 to 60 %RH", "the profile", DOCUMENT],
        ["hours of acclimation", "at least 48 h", "at least 48 h", "neither", DOCUMENT],
    ]


DOCUMENT = "How to put up ash-look planks, revision C, 2025-11"


def test_without_a_document_the_profile_stands_alone():
    assert "No document of the maker is recorded with limits: this profile stands alone." in render_record(page())


def test_of_many_limits_the_first_stand_here_and_the_rest_in_the_report():
    many = (document(hours=HOURS, humidity=HUMIDITY),) * 5
    told = read(documents=many)
    assert len(told.tables["limits"]) == 1 + LIMITS
    assert [row[3] for row in told.tables["limits"][1:]] == ["the profile"] * LIMITS
    assert "6 more in the report." in squeezed(told.body)


def test_three_can_sign_with_name_company_and_date():
    assert read().tables["sign"] == [
        ["who signs", "name", "company", "date", "signature"],
        ["who installs", "", "", "", ""],
        ["whom the wall is for", "", "", "", ""],
        ["witness", "", "", "", ""],
    ]


def test_it_is_bound_to_the_head_and_the_key():
    grouped = " ".join(HASH[at : at + 4] for at in range(0, 64, 4))
    assert squeezed(read().texts["evidence"]) == (
        f"head 7, made 2026-01-09 20:40 -05:00 its SHA-256 {grouped} its code {code_of(HASH)} "
        f"key, fingerprint {' '.join(['fefe'] * 16)} written 2026-01-09 20:40 -05:00 by wallclime 0.1.0"
    )
    assert code_text(SEALED) == f"WALLCLIME HEAD 7 SHA-256 {HASH.upper()} KEY {KEY.upper()}"


def test_without_a_seal_there_is_no_code_and_it_says_so():
    html = render_record(page(sealed=Sealed()))
    assert "not sealed yet: nothing but the store itself vouches for the record" in html
    assert 'class="qr"' not in html


def test_the_drawing_of_the_code_is_its_matrix_with_a_quiet_zone():
    text = code_text(SEALED)
    matrix = [list(row) for row in segno.make(text, error="m", micro=False).matrix]
    size = len(matrix) + 2 * QUIET
    drawn = [[0] * size for _ in range(size)]
    svg = str(qr(text, "beside it"))
    for run in svg.split('d="')[1].split('"')[0].split("z")[:-1]:
        x, rest = run[1:].split(" ")
        y, length = rest.split("v")[0].split("h")
        for at in range(int(x), int(x) + int(length)):
            drawn[int(y)][at] = 1
    assert [row[QUIET:-QUIET] for row in drawn[QUIET:-QUIET]] == matrix
    assert not any(map(any, [*drawn[:QUIET], *drawn[-QUIET:]]))
    assert f'viewBox="0 0 {size} {size}" role="img" aria-label="beside it"' in svg


def test_a_simulated_room_is_a_training_job_here_too():
    simulated = den.ASSESSMENT._replace(origin_share={den.OriginKind.SIMULATED: 1.0})
    assert "TRAINING JOB" in render_record(page(assessment=simulated))
    assert "TRAINING" not in render_record(page())


def nastiest() -> RecordPage:
    """Names and evidence of the longest, every condition open, as many limits as there can be."""
    name = (NASTY + " a long name of a wall" * 6)[:120].strip()
    more = ("box core", "suitability", "sensors not flat")
    open_ = [Condition(one.name, "fail", NASTY + " evidence" * 1_000) for one in den.READINESS]
    open_ += [Condition(one, "unknown", f"{one} " * 200) for one in more]
    simulated = {den.OriginKind.SIMULATED: 1.0}
    values = {f"{name}{k}": den.ASSESSMENT.now.values["den-1"] for k in range(9)}
    found = den.ASSESSMENT._replace(job=name, readiness=tuple(open_), origin_share=simulated)
    found = found._replace(now=replace(found.now, values=values))
    facts = den.FACTS._replace(wall_place=name, boxes_place=name, looser=(LOOSER,) * 9)
    papers = tuple(document(hours=Span(72.0, None), humidity=HUMIDITY)._replace(title=name) for _ in range(9))
    sensors = tuple((f"{name}{k}", BACKED) for k in range(9))
    return page(
        assessment=found, facts=facts, documents=papers, sensors=sensors, building=name, told={"box core": name}
    )


def crowded(**more: Any) -> RecordPage:
    """An ordinary wall of whose every condition there is much to say."""
    long = tuple(Condition(one.name, one.verdict, SITE * 5) for one in (*den.READINESS, *den.READINESS[:3]))
    return page(assessment=den.ASSESSMENT._replace(readiness=long), **more)


def crowded_and_looser() -> RecordPage:
    """The same, where the maker's limits stand beside ours too."""
    papers = (document(hours=HOURS, humidity=HUMIDITY),) * 5
    return crowded(documents=papers, facts=den.FACTS._replace(looser=(LOOSER,) * 5))


def test_names_cant_dress_up_the_page():
    html = render_record(nastiest())
    assert "<script>" not in html
    assert "\u202e" not in html


@pytest.mark.parametrize("units", ["us", "si"])
@pytest.mark.parametrize("make", [page, crowded, crowded_and_looser, nastiest])
def test_it_is_one_sheet_whatever_the_names(window, units: str, make):
    assert len(window.printed(render_record(make()), units).pages) == 1
