"""The form for a qualified person's statement, with what the record itself knows filled in."""

from __future__ import annotations

import re
from collections.abc import Iterable

from monitor.basis.times import rfc3339
from monitor.basis.values import Entry, Kind
from monitor.rules.assessment import Assessment
from monitor.rules.frame import effective
from monitor.seal import bundle, layout
from monitor.seal.heads import SignedHead
from monitor.tell.words import visible
from monitor.watch.desk import Desk
from monitor.watch.evidence import sealing
from monitor.watch.evidence.rejudging import Material


def filled(desk: Desk, found: Assessment, material: Material, head: SignedHead) -> str:
    """The form of one job; what nobody but the person knows stays in brackets."""
    sensors, places = _sensors(material.sensors_log)
    said = {
        "[name of the job]": visible(found.job),
        "[first day]": "[first day]" if found.begin is None else rfc3339(found.begin)[:10],
        "[last day]": rfc3339(found.as_of)[:10],
        "[names and kinds]": f"{sensors} [kinds]",
        "[places]": places,
        "[name and version]": sealing.SOFTWARE,
        "[dates, against what]": _checks(material.sensors_log),
        "key of the fingerprint [64 digits]": f"key of the fingerprint {head.head.key}",
        "5. **Heads kept by others.** The code [24 signs] was sent to [whom] on [date] by [means]; it is that of head "
        "[number] of the record.": f"5. **Heads kept by others.** {_witnesses(material.log)}",
    }
    text = bundle.template(layout.STATEMENT).decode()
    for blank, known in said.items():
        text = re.sub(re.escape(blank).replace(r"\ ", r"\s+"), known.replace("\\", r"\\"), text)
    return text


def _listed(found: Iterable[str]) -> str:
    return ", ".join(dict.fromkeys(map(visible, found))) or "[none]"


def _sensors(log: Iterable[Entry]) -> tuple[str, str]:
    entries = [entry for entry in effective(list(log)) if entry.kind is Kind.ASSIGNMENT and "place" in entry.body]
    return _listed(entry.body["sensor"] for entry in entries), _listed(entry.body["place"] for entry in entries)


def _checks(log: Iterable[Entry]) -> str:
    return _listed(
        f"{rfc3339(entry.at)[:10]} {entry.body['sensor']}: {entry.body['level']}"
        for entry in effective(list(log))
        if entry.kind is Kind.CHECK
    )


def _witnesses(log: Iterable[Entry]) -> str:
    told = [
        f"The code {entry.body['code']} of head {entry.body['head']} was confirmed by {visible(entry.who)} on "
        f"{rfc3339(entry.at)[:10]}, the log says [by means]."
        for entry in effective(list(log))
        if entry.kind is Kind.WITNESS
    ]
    return " ".join(told) or "The log tells of none [or: the code [24 signs] was sent to [whom] on [date] by [means]]."
