"""wallclime log: entries of the condition log, and the log itself."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from cli import log_deliver, log_install, log_life, log_papers, log_site, witness
from cli.common import At, Job, Json, Who, ascii_only, data, desk, entry_json, say, spread_of, time_of, who_of

app = typer.Typer(no_args_is_help=True, help="The condition log: what happened, when, who says so; never edited.")


def _written(entry: Any) -> None:
    say(f"entry {entry.number}: {entry.kind.value}")


app.command("deliver")(log_deliver.deliver)
app.command("install")(log_install.install)
app.command("care")(log_life.care)
app.command("inspect")(log_life.inspect)
app.command("event")(log_life.event)
app.command("cause")(log_life.cause)


@app.command("reading")
def reading(
    context: typer.Context,
    job: Job,
    temperature: Annotated[str | None, typer.Option(metavar="TEMPERATURE", help='Such as "68 degF".')] = None,
    humidity: Annotated[str | None, typer.Option(metavar="PERCENT", help='Such as "45 %".')] = None,
    instrument: Annotated[str, typer.Option(metavar="TEXT", help="What it was read off.")] = "",
    uncertainty: Annotated[
        list[str] | None,
        typer.Option(metavar="VALUE", help="Its +/- (expanded uncertainty); 2 % and 0.5 K by default; repeatable."),
    ] = None,
    at: At = None,
    who: Who = None,
) -> None:
    """A reading by hand: drawn and held against the sensors; the clock does not count it."""
    from monitor.basis.units import parse_percent, parse_temperature
    from monitor.basis.values import Quantity
    from monitor.watch.job.diary import hand_reading
    from monitor.watch.papers.pages import hand_told

    values = {}
    if temperature is not None:
        values[Quantity.AIR_TEMPERATURE] = parse_temperature(temperature, where="--temperature")
    if humidity is not None:
        values[Quantity.AIR_HUMIDITY] = parse_percent(humidity, where="--humidity")
    with desk(context) as opened:
        when = time_of(opened, job, at)
        spread = dict(spread_of(text, "--uncertainty") for text in uncertainty or ())
        entry = hand_reading(
            opened, job, values, at=when, instrument=instrument, who=who_of(who), uncertainty=spread
        )  # fmt: skip
        told = hand_told(opened, job, entry)
    _written(entry)
    for line in told:
        say(line)


@app.command("note")
def note(
    context: typer.Context,
    job: Job,
    text: Annotated[str, typer.Argument(metavar="TEXT", help="What happened.")],
    at: At = None,
    who: Who = None,
) -> None:
    """A remark."""
    from monitor.watch.job.diary import note as enter

    with desk(context) as opened:
        _written(enter(opened, job, text, at=time_of(opened, job, at), who=who_of(who)))


@app.command("correct")
def correct(
    context: typer.Context,
    job: Job,
    number: Annotated[int, typer.Argument(metavar="NUMBER", help="Of the entry, as wallclime log list shows it.")],
    reason: Annotated[str, typer.Option(metavar="TEXT", help="Why it was wrong.")],
    at: At = None,
    settings: Annotated[
        list[str] | None,
        typer.Option("--set", metavar="KEY=VALUE", help="A key as log list --json has it: boxes=12; repeatable."),
    ] = None,
    withdraw: Annotated[bool, typer.Option("--withdraw", help="It did not happen.")] = False,
    who: Who = None,
) -> None:
    """Say that an entry was wrong: its time, what it said, or all of it. Both stay; the verdicts are shown."""
    from cli.setting import settings_of
    from monitor.tell import words
    from monitor.watch.job.diary import correct as enter

    with desk(context) as opened:
        instead = settings_of(opened, job, number, settings or ())
        done = enter(
            opened,
            job,
            number,
            at=time_of(opened, job, at),
            instead=instead,
            withdraw=withdraw,
            reason=reason,
            who=who_of(who),
        )
        units = opened.book.job(job).units
    told = (("before", done.before, done.open_before), ("after", done.after, done.open_after))
    for when, verdict, still_open in told:
        say(f"{when}: {words.verdict(verdict, words.display_of(verdict, units), still_open)}")  # type: ignore[arg-type]
    for entry in done.entries:
        _written(entry)


@app.command("list")
def list_(context: typer.Context, job: Job, as_json: Json = False) -> None:
    """The log of a job, like a diary."""
    from monitor.tell.screen import diary_text
    from monitor.tell.words import Display
    from monitor.watch.job.diary import entries
    from monitor.watch.papers.shown import display

    with desk(context) as opened:
        found = entries(opened, job)
        shown: Display = display(opened, job)
    data([entry_json(entry) for entry in found] if as_json else diary_text(found, shown, ascii_only=ascii_only()))


app.command("photo")(log_papers.photo)
app.command("document")(log_papers.document)
app.command("import")(log_papers.import_)
app.command("check")(log_site.check)
app.command("moisture")(log_site.moisture)
app.command("witness")(witness.log_witness)
