"""wallclime bundle, verify, disclose: the record handed over, checked, and shown in part."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from cli.common import Job, Json, Progress, data, desk, say

Folder = Annotated[Path, typer.Option("--output", "-o", metavar="DIR", help="A new folder.")]
Dir = Annotated[Path, typer.Argument(metavar="DIR", help="The folder of a bundle.")]


def bundle(context: typer.Context, job: Job, output: Folder) -> None:
    """Seal what there is of a job and write all of it, with proofs, into a folder that anybody can check."""
    from monitor.watch.evidence.bundling import write_bundle
    from monitor.watch.evidence.witness import view_of

    with desk(context) as opened, Progress("bundle"):
        written = write_bundle(opened, job, output)
    head = view_of(written.head)
    say(f"wrote {output}; begin with {output}/data/VERIFY.md")
    say(f"head {head.number}, code {head.code}; SHA-256 of the tag manifest {written.digest}")
    if written.photos:
        say(
            f"mind: {written.photos} photos are in it as they were taken, and say where or by what; "
            "wallclime disclose leaves such out"
        )


def verify(
    root: Dir,
    heads: Annotated[
        list[str] | None, typer.Option("--head", metavar="CODE", help="That was sent to you; or a hash; repeatable.")
    ] = None,
    key: Annotated[str | None, typer.Option(metavar="FINGERPRINT", help="Of the key, as a report has it.")] = None,
    authorities: Annotated[
        list[Path] | None,
        typer.Option("--authority", metavar="ROOT.pem", help="Of time-stamps, that you trust; repeatable."),
    ] = None,
    as_json: Json = False,
) -> None:
    """Check a bundle; needs nothing else. Exit status 0 whole, 1 not, 2 unreadable."""
    from monitor.watch.evidence.verifying import check

    roots = [_read(path) for path in authorities or ()]
    with Progress("verify"):
        found = check(root, heads=heads or (), key=key, authorities=roots)
    if as_json:
        data(_json(found))
    else:
        _tell(found)
    raise typer.Exit(0 if found.whole else 1)


def _read(path: Path) -> bytes:
    from monitor.basis.errors import RecordError

    try:
        return path.read_bytes()
    except OSError as exc:
        raise RecordError(f"it can't be read ({exc.strerror})", where=str(path), mend="Check the path") from exc


def _tell(found: Any) -> None:
    verified = found.found
    for fault in verified.faults:
        say(f"FAULT ({fault.kind.value}) {fault}")
    for fault in found.faults:
        say(f"FAULT (verdict) {fault}")
    if verified.unlisted:
        say(f"and {verified.unlisted} faults more")
    for remark in [*verified.remarks, *found.remarks]:
        say(f"mind: {remark}")
    for what in verified.blind:
        say(f"not seen by any check: {what}")
    data("\n".join([f"{'WHOLE' if found.whole else 'BROKEN'}: {_what(verified)}", *_proven(found)]))


def _what(verified: Any) -> str:
    from monitor.tell.words import visible

    kind = "disclosure" if verified.about.disclosure else "record"
    return f"{kind} of {visible(verified.about.job)}, {len(verified.heads)} heads"


def _proven(found: Any) -> list[str]:
    from monitor.seal.codes import grouped

    verified = found.found
    lines = [f"last head: {verified.heads[-1].head.number}, code {verified.code}"] if verified.heads else []
    lines += [f"key: {grouped(verified.epochs[-1].fingerprint)}"] if verified.epochs else []
    return [*lines, "the verdict follows from the readings and the log"] if found.judged and found.whole else lines


def _json(found: Any) -> dict[str, Any]:
    verified = found.found
    return {
        "whole": found.whole,
        "job": verified.about.job,
        "disclosure": verified.about.disclosure,
        "faults": [
            {"kind": one.kind.value, "where": one.where, "what": one.what, "means": one.means}
            for one in verified.faults
        ],
        "unlisted": verified.unlisted,
        "verdict_faults": list(found.faults),
        "verdict_recomputed": found.judged,
        "remarks": [*verified.remarks, *found.remarks],
        "not_seen": list(verified.blind),
        "heads": len(verified.heads),
        "code": verified.code,
        "key": verified.epochs[-1].fingerprint if verified.epochs else None,
    }


def disclose(
    context: typer.Context,
    root: Annotated[Path, typer.Argument(metavar="BUNDLE", help="A whole bundle.")],
    output: Folder,
    first: Annotated[
        str | None, typer.Option("--from", metavar="DAY", help="The first UTC day, like 2026-01-05.")
    ] = None,
    last: Annotated[str | None, typer.Option("--to", metavar="DAY", help="The last UTC day.")] = None,
    channels: Annotated[
        list[str] | None,
        typer.Option("--channel", metavar="QUANTITY", help="Or STREAM QUANTITY; all by default; repeatable."),
    ] = None,
    entries: Annotated[
        str | None, typer.Option(metavar="NUMBERS", help='Of the job\'s log, like "1-5,9"; all by default.')
    ] = None,
    photos: Annotated[bool, typer.Option("--photos", help="Show photos that say where they were taken, too.")] = False,
) -> None:
    """Show some days, channels or entries of a bundle, proven under the same heads; the rest shows as withheld."""
    from monitor.watch.evidence.disclosing import Asked, write

    asked = Asked(first, last, tuple(channels or ()), entries, photos)
    with Progress("disclose"):
        left_out = write(root, output, asked, clock=context.obj.clock)
    say(f"wrote {output}")
    for name in left_out:
        say(f"left out, as it says more than it shows (--photos shows it): {name}")
