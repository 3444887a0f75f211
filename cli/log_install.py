"""wallclime log install: the installation started, what was done, and when it was finished."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from cli.common import Job, Who, desk, say, time_of, who_of
from cli.witness import witnessed

Texts = list[str] | None
Text = str | None
Gaps = Annotated[
    Texts, typer.Option("--gap", metavar="EDGE LENGTH", help='Left free: "left 3/16 in"; right, top, bottom.')
]
Stagger = Annotated[
    Text, typer.Option("--stagger-kept", metavar="LENGTH", help="The least between joints of two rows.")
]
Areas = Annotated[Texts, typer.Option("--lot-area", metavar="LOT=WHERE", help='Such as "B7=left half"; repeatable.')]
Fastening = Annotated[Text, typer.Option(metavar="TEXT", help="Adhesive, nails, clips, floating or what it was.")]
Pinned = Annotated[Text, typer.Option(metavar="TEXT", help="What pins a row: a nail, a bead of glue, a shelf, a pipe.")]
Departures = Annotated[
    Texts, typer.Option("--departure", metavar="TEXT", help="From the maker's instructions; repeatable.")
]
Page = Annotated[
    Path | None,
    typer.Option(metavar="FILE.html|.pdf", help="The page for signature, if not ready; in the home by default."),
]


def install(
    context: typer.Context,
    job: Job,
    start: Annotated[str, typer.Option(metavar="TIME", help="When the first plank was cut.")],
    finish: Annotated[Text, typer.Option(metavar="TIME", help="When the wall was done.")] = None,
    not_ready: Annotated[
        bool, typer.Option("--not-ready", help="Start although conditions are open; they are written down.")
    ] = False,
    reason: Annotated[str, typer.Option(metavar="TEXT", help="Why, if not ready.")] = "",
    asked_by: Annotated[str, typer.Option(metavar="NAME", help="Who asked for it, if not ready.")] = "",
    page: Page = None,
    lots: Annotated[Texts, typer.Option("--lot", metavar="NAME", help="That is used; repeatable.")] = None,
    who_installed: Annotated[Text, typer.Option(metavar="NAME", help="Who put it up.")] = None,
    gaps: Gaps = None,
    stagger: Stagger = None,
    rejected: Annotated[int | None, typer.Option(metavar="COUNT", help="Planks that were not used.")] = None,
    areas: Areas = None,
    fastening: Fastening = None,
    adhesive: Annotated[Text, typer.Option(metavar="TEXT", help="Which, and its lot.")] = None,
    pinned: Pinned = None,
    departures: Departures = None,
    offcut: Annotated[Text, typer.Option(metavar="TEXT", help="Where one is kept.")] = None,
    who: Who = None,
) -> None:
    """The installation started; again with the same start and --finish when it is done, or with what was done.

    The room, the boards and every open condition at the start are taken from the record.
    """
    from monitor.tell.cautions import cautions_text
    from monitor.watch.job.installing import Installing
    from monitor.watch.job.installing import install as enter
    from monitor.watch.papers.boards import told_at_installation
    from monitor.watch.papers.printing import page_file
    from monitor.watch.papers.sheets import write_not_ready

    plain: dict[str, Any] = {
        "who_installed": who_installed,
        "fastening": fastening,
        "adhesive": adhesive,
        "pinned": pinned,
    }
    plain |= {"offcut": offcut, "departures": departures, "rejected_planks": rejected}
    facts = {key: value for key, value in plain.items() if value is not None} | _measured(gaps, stagger, areas)
    if page is not None:
        page_file(page)
    with desk(context) as opened:
        begun, done = time_of(opened, job, start, "--start") or 0, time_of(opened, job, finish, "--finish")
        told = Installing(begun, done, not_ready, reason, asked_by, tuple(lots or ()), facts)
        known = len(opened.book.log(job))
        entry = enter(opened, job, told, who=who_of(who), again=page is not None)
        say(f"entry {entry.number}: {entry.kind.value}")
        if entry.number > known:
            for line in told_at_installation(opened, entry):
                say(line)
            if "conditions" in entry.body:
                say(cautions_text("install"))
            for line in witnessed(opened, job, "start" if done is None else "finish"):
                say(line)
        if page is not None or "not_ready" in entry.body:
            written = write_not_ready(opened, job, page)
            say(f"for signature: {written}" if written else "nothing to sign: every condition was met at the start")


def _measured(gaps: Texts, stagger: str | None, areas: Texts) -> dict[str, Any]:
    """What has a length or a name in it, as the entry has it. Raises QuantityError, RecordError."""
    from cli.log_life import pairs_of
    from monitor.basis.units import parse_length

    edges = pairs_of(gaps, "--gap", "left 3/16 in", " ")
    told: dict[str, Any] = {
        "gaps_m": {edge: parse_length(text, where=f"--gap {edge}") for edge, text in edges.items()},
        "stagger_kept_m": None if stagger is None else parse_length(stagger, where="--stagger-kept"),
        "lot_areas": pairs_of(areas, "--lot-area", "B7=left half"),
    }
    return {key: value for key, value in told.items() if value not in (None, {})}
