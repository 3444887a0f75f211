"""An evidence keeps its times in UTC; whoever reads it reads them in the job's zone, on every page and screen."""

from __future__ import annotations

import invented_den as den
from test_tell_alarms import made
from test_tell_notready import CONDITIONS, OPEN, entry
from test_tell_notready import page as not_ready
from test_tell_record import page as record

from monitor.basis.times import rfc3339, zone_of
from monitor.rules.alarm import whats
from monitor.rules.assessment import Condition
from monitor.tell.alarm.alarm_facts import how_bad
from monitor.tell.pages.record import render_record
from monitor.tell.pages.report import render_report
from monitor.tell.screen import diary_text, ready_text, status_text
from monitor.tell.views import StatusView
from monitor.tell.words import Display

UTC = rfc3339(den.DELIVERED)
LOCAL = "2026-01-05 08:40 -05:00"
EVIDENCE = f"the record ends {UTC}; nothing is heard now"
US = Display(zone_of("America/New_York"), "us")
FOUND = den.ASSESSMENT._replace(readiness=(Condition("sensors fresh", "unknown", EVIDENCE),))
BODY = {
    "not_ready": [{**OPEN[0], "evidence": EVIDENCE}],
    "conditions": {**CONDITIONS, "boards": {**OPEN[0], "evidence": EVIDENCE}},
}


def test_no_page_or_screen_tells_a_time_of_an_evidence_in_utc():
    told = {
        "report": render_report(den.page(assessment=FOUND, entries=(entry(**BODY),))),
        "record": render_record(record(assessment=FOUND)),
        "not ready": not_ready(entry(**BODY)),
        "status": status_text(StatusView(FOUND, den.FACTS, den.PROFILE)),
        "ready": ready_text(FOUND, US),
        "diary": diary_text([entry(**BODY)], US),
        "alarm": how_bad(made(whats.NO_LONGER_READY, {"conditions": {"sensors fresh": EVIDENCE}}), US),
    }
    for name, text in told.items():
        assert UTC not in text, name
        assert LOCAL in " ".join(text.split()), name
