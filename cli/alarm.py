"""wallclime alarm: what stands, who has seen it, what is told nobody for a while, and whether contacts are reached."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated, Any

import typer

from cli.common import Json, Reason, Who, ascii_only, data, desk, say, who_of
from monitor.basis.errors import RecordError

if TYPE_CHECKING:
    from monitor.basis.alarm import Alarm
    from monitor.watch.desk import Desk

app = typer.Typer(no_args_is_help=True, help="Alarms: list, acknowledge, shelve, test, history.")

Ids = Annotated[list[str] | None, typer.Argument(metavar="[ID]...", help="The alarms' ids, or how they begin.")]
Id = Annotated[str, typer.Argument(metavar="ID", help="The alarm's id, or how it begins.")]
OfJob = Annotated[str | None, typer.Argument(metavar="[JOB]", help="Of this job only.")]


@app.command("list")
def list_(
    context: typer.Context,
    job: OfJob = None,
    as_json: Json = False,
    every: Annotated[bool, typer.Option("--all", help="Those too that are over.")] = False,
) -> None:
    """The alarms that stand or that nobody has acknowledged, the most pressing first, with what to do."""
    with desk(context) as opened:
        _told(opened, _in_order(_of(opened, opened.store.alarms(over=every), job)), as_json)


@app.command("ack")
def ack(
    context: typer.Context,
    ids: Ids = None,
    every: Annotated[bool, typer.Option("--all", help="All that wait for it.")] = False,
    who: Who = None,
) -> None:
    """Say that you have seen them: they are not told again while they stand, and passed on to nobody."""
    from monitor.watch.alarm_acts import acknowledge_alarms

    if bool(ids) is every:
        raise RecordError("it is not clear which", where="alarm ack", mend="Give ids, or --all for all that wait")
    with desk(context) as opened:
        found = acknowledge_alarms(opened, ids or (), who_of(who))
        _say(opened, found, "acknowledged")
    if not found:
        say("no alarm waits to be acknowledged")


@app.command("shelve")
def shelve(
    context: typer.Context,
    alarm: Id,
    reason: Reason,
    until: Annotated[str | None, typer.Option(metavar="TIME", help="Until then.")] = None,
    for_: Annotated[str | None, typer.Option("--for", metavar="DURATION", help='For so long, like "3 d".')] = None,
    who: Who = None,
) -> None:
    """Tell nobody of it until a time, for a reason; it stays listed, and is told again if it stands then."""
    from monitor.watch.alarm_acts import shelve_alarm

    with desk(context) as opened:
        found = shelve_alarm(opened, alarm, _end(opened, alarm, until, for_), reason, who_of(who))
        _say(opened, [found], "shelved")


@app.command("unshelve")
def unshelve(context: typer.Context, alarm: Id, who: Who = None) -> None:
    """Take it off the shelf before its time."""
    from monitor.watch.alarm_acts import unshelve_alarm

    with desk(context) as opened:
        _say(opened, [unshelve_alarm(opened, alarm, who_of(who))], "no longer shelved")


@app.command("test")
def try_out(
    context: typer.Context,
    contact: Annotated[str | None, typer.Argument(metavar="[CONTACT]", help="All contacts without it.")] = None,
) -> None:
    """Put a test message on its way to a contact, or to all of them and to the broker; the daemon delivers it."""
    from monitor.watch.alarm_acts import send_test
    from monitor.watch.service.awake import daemon_trouble

    with desk(context) as opened:
        made, trouble = send_test(opened, contact), daemon_trouble(opened)
        heard = opened.store.daemon_state() is not None
    for message in made:
        say(f"on its way to {message.contact}: message {message.id}")
    for line in trouble if heard else ["wallclime serve was never here; it delivers messages"]:
        say(f"mind: {line}")


@app.command("history")
def history(
    context: typer.Context,
    job: OfJob = None,
    since: Annotated[
        str | None, typer.Option(metavar="TIME", help="From then on; the last 30 days without it.")
    ] = None,
    as_json: Json = False,
) -> None:
    """Every alarm that stood or changed since a time, oldest first, whatever has become of it."""
    from monitor.basis.times import DAY, parse_time
    from monitor.watch.service.alarming import shown_to

    with desk(context) as opened:
        zone = shown_to(opened, None)(job or "").zone
        start = opened.clock.now() - 30 * DAY if since is None else parse_time(since, zone, where="--since")
        _told(opened, _of(opened, opened.store.alarm_history(since=start), job), as_json)


def _of(at: Desk, found: Sequence[Alarm], job: str | None) -> list[Alarm]:
    """Those of a job and of the sensors that it rests on; all of them without one. Raises RecordError."""
    from monitor.rules.alarm.grouping import jobs_of

    if job is not None:
        at.book.log(job)
    return [one for one in found if job is None or job in jobs_of(one)]


def _in_order(found: Sequence[Alarm]) -> list[Alarm]:
    return sorted(found, key=lambda one: (one.notice, -one.priority.rank, one.since, one.id))


def _end(at: Desk, id_: str, until: str | None, for_: str | None) -> int:
    """When a shelf ends, in the zone of the alarm's job. [ms]"""
    from monitor.basis.times import parse_time
    from monitor.basis.units import parse_duration
    from monitor.watch.alarm_acts import named
    from monitor.watch.service.alarming import shown_to

    if (until is None) == (for_ is None):
        raise RecordError("it is not clear until when", where="alarm shelve", mend='Give --until TIME or --for "3 d"')
    if for_ is not None:
        return at.clock.now() + parse_duration(for_, where="--for")
    zone = shown_to(at, None)(named(at.store.alarms(), id_).job).zone
    return parse_time(until or "", zone, where="--until")


def _told(at: Desk, found: Sequence[Alarm], as_json: bool) -> None:
    from monitor.tell.alarm.alarms import listing
    from monitor.watch.service.alarming import shown_to

    if as_json:
        data([_json(one) for one in found])
        return
    text = listing(found, shown_to(at, None))
    data(text.encode("ascii", "backslashreplace").decode() if ascii_only() else text)


def _json(alarm: Alarm) -> dict[str, Any]:
    """An alarm for machines: times in RFC 3339, figures in degC and %RH."""
    from monitor.basis.times import rfc3339
    from monitor.tell.alarm.alarm_facts import for_machines

    times = ("since", "raised", "told", "escalated", "acknowledged_at", "returned", "shelved_until")
    body = alarm.to_json()
    stamps = {name: None if body[name] is None else rfc3339(body[name]) for name in times}
    return {**body, **stamps, "facts": for_machines(alarm.facts)}


def _say(at: Desk, found: Sequence[Alarm], what: str) -> None:
    from monitor.tell.alarm.alarms import headline, standing
    from monitor.watch.service.alarming import shown_to

    shown = shown_to(at, None)
    for one in found:
        display = shown(one.job)
        say(f"{one.id} {what}: {headline(one, display)} ({standing(one, display)})")
