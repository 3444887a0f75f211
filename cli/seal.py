"""wallclime seal: the record sealed, its keys, and what others say of it."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from cli.common import Json, Progress, Reason, data, desk, say

app = typer.Typer(
    no_args_is_help=True, help="The seals: what signs readings and log so that no change stays hidden, and the key."
)


@app.command("now")
def now(
    context: typer.Context,
    job: Annotated[str | None, typer.Option(metavar="JOB", help="Make a code for this job, to be sent.")] = None,
) -> None:
    """Close the days that are due and seal all that came since; wallclime serve does it by itself."""
    from monitor.watch.evidence import sealing, witness

    with desk(context) as opened, Progress("seal"):
        if job is not None:
            opened.book.log(job)
        closed = sealing.close_due(opened)
        for head in closed:
            say(_line(witness.view_of(head)))
        if job is not None:
            lines = witness.witnessed(opened, job, "seal")
        else:
            before = opened.store.newest_head()
            made = sealing.seal_now(opened, "seal")
            new = made is not None and (before is None or made.text != before.text)
            nothing = [] if closed else ["nothing new to seal"]
            lines = [_line(witness.view_of(made))] if new and made is not None else nothing
    for line in lines:
        say(line)


def _line(head: Any) -> str:
    closes = f"closes {head.closes}" if head.closes else head.reason
    return f"sealed: head {head.number} ({closes}), code {head.code}"


@app.command("status")
def status(context: typer.Context, as_json: Json = False) -> None:
    """The last head and its code, days closed, what is not sealed yet, the key."""
    from zoneinfo import ZoneInfo

    from monitor.tell.pages.evidence import evidence_rows
    from monitor.tell.words import Display
    from monitor.watch.evidence.witness import sealed

    with desk(context) as opened:
        found = sealed(opened)
    if as_json:
        data(_json(found))
        return
    for name, value in evidence_rows(found, Display(ZoneInfo("UTC"), "si")):
        data(f"{name + ':':<18} {value}")


def _json(found: Any) -> dict[str, Any]:
    from monitor.basis.times import rfc3339

    return {
        "heads": [
            {
                "number": head.number,
                "hash": head.hash,
                "code": head.code,
                "made": rfc3339(head.made),
                "closes": head.closes,
                "reason": head.reason,
                "leaves": head.size,
            }
            for head in found.heads
        ],
        "days_closed": found.closed,
        "unsealed_sensor_days": found.unsealed,
        "unsealed_from": None if found.unsealed_from is None else rfc3339(found.unsealed_from)[:10],
        "key": found.fingerprint or None,
        "keys": found.keys,
    }


@app.command("rotate")
def rotate(context: typer.Context, reason: Reason) -> None:
    """Exchange the key for a new one: both sign the exchange, and the log tells of it."""
    from monitor.watch.evidence.sealing import rotate as exchange

    _exchange(context, reason, exchange)


@app.command("lost")
def lost(context: typer.Context, reason: Reason) -> None:
    """Declare the key lost and go on with a new one; nothing but heads kept by others then ties the record together."""
    from monitor.watch.evidence.sealing import declare_lost

    _exchange(context, reason, declare_lost)


def _exchange(context: typer.Context, reason: str, how: Any) -> None:
    from monitor.seal.codes import grouped
    from monitor.watch.evidence import keyring, witness
    from monitor.watch.job.jobs import given_reason

    with desk(context) as opened:
        head = how(opened, given_reason(reason, "seal"))
        known = keyring.epochs(opened)
        path = keyring.key_path(opened, len(known))
    say(_line(witness.view_of(head)))
    say(f"key {len(known)}: {grouped(known[-1].fingerprint)}")
    say(f"keep a copy of {path} where nobody else can read it")


@app.command("compare")
def compare(
    context: typer.Context,
    other: Annotated[Path, typer.Argument(metavar="OTHER", help="A bundle, or a data/seals/heads.jsonl.")],
) -> None:
    """Hold the heads of another copy of the record against this one. Exit status 0 when it is a part of this one."""
    from monitor.watch.evidence.witness import compare as hold

    with desk(context) as opened:
        found = hold(opened, other)
    for line in found.faults:
        say(f"FAULT {line}")
    if found.ahead:
        say(f"FAULT the other copy has heads that are not here: {', '.join(map(str, found.ahead))}")
    data(f"the same up to head {found.common}" if found.common else "no head in common")
    raise typer.Exit(0 if found.same else 1)


@app.command("timestamp")
def timestamp(
    context: typer.Context,
    server: Annotated[str | None, typer.Option(metavar="URL", help="Ask this RFC 3161 server, over http(s).")] = None,
    query: Annotated[Path | None, typer.Option(metavar="FILE", help="Write the request here, to send it.")] = None,
    answer: Annotated[Path | None, typer.Option(metavar="FILE", help="Take the authority's answer from here.")] = None,
    head: Annotated[int | None, typer.Option(metavar="NUMBER", help="Which head; the newest by default.")] = None,
) -> None:
    """Have an authority of your choice witness when a head was there. Needs the extra wallclime[timestamp]."""
    from monitor.basis.errors import RecordError
    from monitor.watch.evidence import stamping

    if sum(one is not None for one in (server, query, answer)) != 1:
        mend = "Give one of --server URL, --query FILE, --answer FILE"
        raise RecordError("it is not said where to", where="seal timestamp", mend=mend)
    with desk(context) as opened:
        if answer is not None:
            kept = stamping.take(opened, _read(answer))
        else:
            kept, request = stamping.query(opened, head)
            if query is not None:
                _write(query, request)
                say(f"wrote {query}: about head {kept.head.number}; post it as application/timestamp-query")
                return
            kept = stamping.take(opened, stamping.ask(server or "", request))
    say(f"kept the time-stamp of head {kept.head.number}")


def _read(path: Path) -> bytes:
    from monitor.basis.errors import RecordError

    try:
        return path.read_bytes()
    except OSError as exc:
        raise RecordError(f"it can't be read ({exc.strerror})", where=str(path), mend="Check the path") from exc


def _write(path: Path, content: bytes) -> None:
    from monitor.basis.errors import ReportError

    try:
        with path.open("xb") as file:
            file.write(content)
    except OSError as exc:
        raise ReportError(f"it can't be written ({exc.strerror})", where=str(path), mend="Name a new file") from exc
