"""Whatever happens to a record in whatever order, its bundle is whole, and an earlier head stays a head of it."""

import tempfile
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st
from independent_verify import is_whole
from record_scene import ATTIC, HALL, JOB, MONDAY, begun, contents_of, day_text, key_of, readings_of_day

from monitor.basis.times import DAY, HOUR, MINUTE
from monitor.basis.values import Draft, Kind
from monitor.seal import bundle, codes, records
from monitor.seal.chain import withheld
from monitor.seal.heads import conflicts
from monitor.seal.verify import verify

STEPS = ("day", "late", "entry", "erase", "rotate", "lose", "witness", "absence", "refused")


def step(made, what: str, state: dict) -> None:
    day = state["day"]
    at = day + HOUR
    if what == "day":
        for stream in (HALL, ATTIC):
            state["sealed"][stream, day] = made.seal(stream, day, readings_of_day(stream, day, 8 * HOUR))
        made.head(day + DAY + MINUTE, day_text(day))
        state["day"] = day + DAY
    elif what == "late" and day > MONDAY:
        state["late"] += 1
        late = [one._replace(t=one.t + state["late"]) for one in readings_of_day(HALL, day - DAY, 12 * HOUR)]
        made.amend(HALL, day - DAY, late, state["sealed"][HALL, day - DAY])
    elif what == "entry":
        made.log(JOB, Draft(Kind.NOTE, at, "ben", {"text": f"note {len(made.leaves)}"}))
    elif what == "erase":
        state["erased"].add(len(made.logs[JOB]))
    elif what in ("rotate", "lose") and made.heads:
        state["keys"] += 1
        (made.rotate if what == "rotate" else made.lose)(key_of(state["keys"]), at)
    elif what == "witness":
        made.head(at, reason="witness")
    elif what == "absence":
        made.add(records.absence_record(day, at, **made.before("recorder")))
    elif what == "refused":
        made.refuse(day, [records.Refusal(HALL, "unreadable", "", None, None, at + len(made.leaves), b"?")])


@settings(max_examples=25)
@given(st.lists(st.sampled_from(STEPS), max_size=14))
def test_whatever_happened_the_bundle_is_whole_and_contains_every_head_ever_shown(steps):
    made = begun()
    state = {"day": MONDAY, "sealed": {}, "late": 0, "erased": set(), "keys": 1}
    for what in steps:
        step(made, what, state)
    made.head(state["day"] + 2 * HOUR, reason="bundle")
    log = [withheld(entry) if entry.number in state["erased"] else entry for entry in made.logs[JOB]]
    named = [] if 3 in state["erased"] else contents_of(made).attachments
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder, "bundle")
        bundle.write(root, contents_of(made, unsealed=[], log=log, attachments=named), made.key)
        shown = [codes.code_of(one.hash) for one in made.heads]
        found = verify(root, heads=shown)
        assert (found.faults, is_whole(root, shown)) == ((), (True, ""))
        assert [one.hash for one in found.heads] == [one.hash for one in made.heads]


def test_a_record_that_went_on_from_an_old_copy_is_found_when_heads_are_compared():
    # two days, a backup, two more days; the backup is put back and goes on from there
    made, restored = begun(), begun()
    for day in range(MONDAY, MONDAY + 4 * DAY, DAY):
        made.seal(HALL, day, readings_of_day(HALL, day))
        made.head(day + DAY, day_text(day))
        restored.seal(HALL, day, readings_of_day(HALL, day, HOUR if day < MONDAY + 2 * DAY else 2 * HOUR))
        restored.head(day + DAY, day_text(day))
    pairs = conflicts(made.heads, restored.heads)
    assert [(one.head.number, other.head.number) for one, other in pairs] == [(3, 3), (4, 4)]
