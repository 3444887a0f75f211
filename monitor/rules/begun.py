"""How an installation was begun: with how many conditions open, also where its start was corrected since."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from monitor.basis.values import Entry, Kind
from monitor.rules.assessment import Assessment
from monitor.rules.frame import effective

UP_BEFORE = "the wall was up before its record began"  # the reason of an installation that is entered at the opening


def up_before(entries: Sequence[Entry]) -> bool:
    """Whether the log, as corrected, says that the wall hung already when its record began."""
    return any(entry.kind is Kind.INSTALL and entry.body.get("reason") == UP_BEFORE for entry in entries)


def open_at_start(entries: Sequence[Entry], as_of: int, judged: Callable[[int], Assessment]) -> int:
    """How many conditions were open at the start: as written down then; of a start that was moved, as `judged` anew.

    `entries`: the whole log of the job; `judged`: its Assessment as of a time [ms].
    """
    told = {entry.number: entry.at for entry in entries}
    installs = [entry for entry in effective(entries) if entry.kind is Kind.INSTALL and entry.at <= as_of]
    if any(entry.at != told[entry.number] for entry in installs):
        return sum(condition.verdict != "pass" for condition in judged(installs[0].at).readiness)
    return sum(len(entry.body.get("not_ready", ())) for entry in installs)
