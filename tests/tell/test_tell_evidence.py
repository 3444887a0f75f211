"""How far a record is sealed, in words; what is sent; and whether a report shows the figures of its Assessment."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import pytest

from monitor.basis.times import DAY
from monitor.tell.pages.evidence import (
    HeadView,
    Sealed,
    evidence_rows,
    missing_figures,
    names_digest,
    ordinal,
    to_send,
    unsealed,
    with_digest,
)
from monitor.tell.words import Display

T0 = 1_767_571_200_000  # 2026-01-05T00:00Z [ms]
DEN = Display(ZoneInfo("America/New_York"), "us")
CODE = "K7RT-93MD-0000-0000-0000-0000"
HEAD = HeadView(3, "ab" * 32, CODE, T0 + DAY, "2026-01-05", "day", 40)
EVENT = HeadView(4, "cd" * 32, CODE, T0 + DAY, None, "start", 41)


def test_a_record_that_is_not_sealed_says_so():
    assert evidence_rows(Sealed(), DEN) == [
        ("seal", "not sealed yet: nothing but the store itself vouches for the record")
    ]


def test_a_sealed_record_says_head_code_key_and_days():
    found = Sealed((HEAD, EVENT), 1, 3, T0 + DAY, "0123456789abcdef", 2)
    assert evidence_rows(found, DEN) == [
        ("head", "4, made 2026-01-05 19:00 -05:00"),
        ("hash of the head", "cd" * 32),
        ("code of the head", CODE),
        ("key, fingerprint", "0123 4567 89ab cdef (the 2nd)"),
        ("days closed", "1, the last 2026-01-05 (UTC)"),
        ("not sealed yet", "3 days of sensors, from 2026-01-06 on"),
    ]


def test_a_record_without_a_closed_day_says_so():
    assert dict(evidence_rows(Sealed((EVENT,), fingerprint="00", keys=1), DEN)) | {"head": ""} == {
        "head": "", "hash of the head": "cd" * 32, "code of the head": CODE, "key, fingerprint": "00",
        "days closed": "none", "not sealed yet": "nothing",
    }  # fmt: skip


def test_one_day_that_is_not_sealed_is_one():
    assert unsealed(Sealed(unsealed=1, unsealed_from=T0)) == "1 day of a sensor, from 2026-01-05 on"


@pytest.mark.parametrize(
    ("number", "text"),
    [(1, "1st"), (2, "2nd"), (3, "3rd"), (4, "4th"), (11, "11th"), (12, "12th"), (21, "21st"), (113, "113th")],
)
def test_ordinals(number, text):
    assert ordinal(number) == text


def test_what_is_sent_can_be_sent_as_it_is():
    assert to_send("den\u202e", EVENT, DEN) == [
        f"sealed: head 4, code {CODE}",
        "send this to client and contractor, and write down who confirms it (wallclime log witness):",
        "  Please keep this message. Record of the wall den\\u202e, start, 2026-01-05 19:00 -05:00: "
        f"code {CODE}. With it you can show later that nothing before was changed.",
    ]


def test_a_page_names_its_assessment_and_no_other():
    page = with_digest("<head><title>x</title></head>", b"{}")
    assert names_digest(page, b"{}")
    assert not names_digest(page, b"{ }")
    assert not names_digest(with_digest(page, b"{ }"), b"{}")
    assert not names_digest("<head></head>", b"{}")


def test_figures_are_looked_for_in_what_a_reader_sees():
    page = "<script>47 h</script><p>48&nbsp;h of <b>48</b>\u00a0h at 21\u00a0°C &amp; more</p>"
    said = [("a", "48 h of 48 h"), ("b", "21 degC & more"), ("c", "47 h")]
    assert missing_figures(page, said) == [("c", "47 h")]
