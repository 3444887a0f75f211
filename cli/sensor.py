"""wallclime sensor: what is heard, what it is called, where it is."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from shlex import quote
from typing import TYPE_CHECKING, Annotated

import typer

from cli import checking, placing, sensor_list, sensor_log, sensor_thin
from cli.common import Json, Who, data, desk, one_of, say, who_of
from monitor.basis.errors import RecordError

if TYPE_CHECKING:
    from monitor.basis.values import Quantity
    from monitor.rules.frame import Job
    from monitor.watch.desk import Desk
    from monitor.watch.sensing.refused import Unheard

_SHOWN = 200  # of a payload [characters]

app = typer.Typer(no_args_is_help=True, help="Sensors: heard, named, brought to a place, taken away.")
BY_MAKER = "The +/- that its maker states (expanded uncertainty)."

Name = Annotated[str, typer.Argument(metavar="SENSOR", help="The sensor's name.")]
When = Annotated[
    str | None,
    typer.Option(metavar="TIME", help="When it was; in the zone of the job there if it has no offset; now by default."),
]


@app.command("seen")
def seen(context: typer.Context, as_json: Json = False) -> None:
    """Everything that was heard: its address, name, place, last reading and the hold its intervals suggest."""
    from monitor.basis.times import rfc3339
    from monitor.basis.units import format_duration, format_percent
    from monitor.tell.words import visible
    from monitor.watch.sensing.found import add_command, looks, unnamed
    from monitor.watch.sensing.refused import unheard
    from monitor.watch.sensing.sensors import seen as heard

    with desk(context) as at:
        rows, strange = heard(at), unheard(at)
        said = {stream: [*looks(at, stream), add_command(at, stream)] for stream in unnamed(at)}
    if as_json:
        data(
            [
                {
                    "stream": row.heard.stream,
                    "sensor": row.heard.name,
                    "place": row.place,
                    "quantities": [quantity.value for quantity in row.heard.quantities],
                    "readings": row.heard.readings,
                    "last": None if row.heard.last_t is None else rfc3339(row.heard.last_t),
                    "proposed_hold_min": row.proposed_hold / 60_000,
                    "interval_s": None if row.interval is None else row.interval / 1000,
                    "battery": row.battery,
                    "topic": row.topic,
                    "payload": row.payload,
                    "read_as": row.read_as,
                    "stamped": row.stamped,
                }
                for row in rows
            ]
            + [{"stream": None, **asdict(refused)} for refused in strange]
        )
        return
    if not rows and not strange:
        say("nothing was heard yet: is wallclime serve running, and do the sensors send to its broker?")
    for row in rows:
        last = "never" if row.heard.last_t is None else rfc3339(row.heard.last_t)
        where = f"at {row.place!r}" if row.place else "at no place"
        often = "" if row.interval is None else f", every {format_duration(row.interval)}"
        data(f"{visible(row.heard.stream)}\n  {row.heard.name or 'no name yet'}, {where}")
        if row.battery is not None:
            data(f"  battery {format_percent(row.battery, places=0)}")
        data(f"  {row.heard.readings} readings{often}, last {last}; proposed hold {format_duration(row.proposed_hold)}")
        if row.heard.name is not None:
            continue
        if row.payload:
            data(f"  last payload on {visible(row.topic)}: {visible(row.payload)}")
        if row.read_as:
            data(f"  read as {row.read_as}")
        if row.stamped is False:
            data("  it carries no time: what waits at the broker while wallclime is away is lost. Let it send one")
            if not row.read_as.startswith("plain"):
                data('  and say where it stands: time = { at = "/time", as = "rfc3339" } in its [[source]]')
        for line in said[row.heard.stream]:
            data(f"  {line}")
    for refused in strange:
        _tell_unheard(refused)


def _tell_unheard(refused: Unheard) -> None:
    """A topic that is refused only: why, and what it sends."""
    from monitor.tell.words import visible

    cut = refused.payload[:_SHOWN] + ("..." if len(refused.payload) > _SHOWN else "")
    data(f"{visible(refused.topic)}\n  never understood: refused {refused.count} x ({visible(refused.reason)})")
    data(f"  last payload: {visible(cut)}\n  {visible(refused.detail)}")


@app.command("add")
def add(
    context: typer.Context,
    name: Annotated[str | None, typer.Argument(metavar="[SENSOR]", help="The sensor's name.")] = None,
    topic: Annotated[
        str | None, typer.Option(metavar="TOPIC", help="The MQTT topic it is heard on, or its address as seen.")
    ] = None,
    hold: Annotated[
        str | None,
        typer.Option(metavar="DURATION", help="How long a reading speaks; from the intervals heard by default."),
    ] = None,
    job: Annotated[
        str | None, typer.Option(metavar="JOB", help="It lies beside this job's boxes, from now on.")
    ] = None,
    place: Annotated[str | None, typer.Option(metavar="PLACE", help="It is at this place, from now on.")] = None,
    unit: Annotated[
        list[str] | None,
        typer.Option(metavar="degF|degC|K|fraction|%", help="What it sends, if not what is said there; repeatable."),
    ] = None,
    humidity_uncertainty: Annotated[str, typer.Option(metavar="PERCENT", help=BY_MAKER)] = "5 %",
    temperature_uncertainty: Annotated[str, typer.Option(metavar="DIFFERENCE", help=BY_MAKER)] = "1 K",
    from_file: Annotated[
        Path | None, typer.Option("--from", metavar="FILE.csv", help="A list: a row each, see below.")
    ] = None,
    who: Who = None,
) -> None:
    """Give a name to a sensor and say where it is; sensor assign says more of that, or says it later.

    Many at once: --from a list with the columns sensor, topic, place and, where they are said, since, hold and near.
    Repeating it is harmless; a sensor that stands elsewhere by the log is moved from since on.
    """
    if from_file is not None:
        sensor_list.add_all(context, from_file, who_of(who))
        return
    if name is None or topic is None:
        raise RecordError(
            "it is not clear which", where="sensor add", mend="Give SENSOR and --topic, or --from FILE.csv"
        )
    from monitor.basis.units import format_duration, parse_duration, parse_percent, parse_temperature_difference
    from monitor.basis.values import Quantity
    from monitor.watch.sensing.sensors import add_sensor, never_heard, sends

    uncertainty = {
        Quantity.AIR_TEMPERATURE: parse_temperature_difference(
            temperature_uncertainty, where="--temperature-uncertainty"
        ),
        Quantity.AIR_HUMIDITY: parse_percent(humidity_uncertainty, where="--humidity-uncertainty"),
    }
    given = None if hold is None else parse_duration(hold, where="--hold")
    if place is not None and job is not None:
        raise RecordError("the place is not clear", where="sensor add", mend="Give --place PLACE or --job JOB")
    units = _units(unit or [])
    with desk(context) as at:
        of_job = None if job is None else at.book.job(job)
        entry, proposed = add_sensor(at, name, topic, hold=given, uncertainty=uncertainty, who=who_of(who))
        sends(at, name, units, who_of(who))
        unheard = never_heard(at, name)
        how = "proposed from the intervals heard; --hold sets it" if proposed else "as given"
        say(f"added {name}: a reading speaks for {format_duration(entry.body['hold_ms'])} ({how})")
        for line in unheard:
            say(f"mind: {line}")
        if of_job is None and place is None:
            say(f"next: wallclime sensor assign {quote(name)} --place PLACE")
        else:
            _bring(at, name, place or (of_job.boxes_place if of_job else ""), of_job, who_of(who))


def _units(texts: list[str]) -> dict[Quantity, str]:
    """The units that were given, each of its quantity. Raises QuantityError."""
    from monitor.basis.units import unit_of
    from monitor.basis.values import Quantity

    humid = ("%", "fraction")
    which = [Quantity.AIR_HUMIDITY if text in humid else Quantity.AIR_TEMPERATURE for text in texts]
    return {quantity: unit_of(text, quantity, where="--unit") for quantity, text in zip(which, texts, strict=True)}


def _bring(at: Desk, name: str, where: str, of_job: Job | None, who: str) -> None:
    """Assign a sensor from now on; of a terminal it is asked how it hangs there."""
    from monitor.basis.times import rfc3339
    from monitor.watch.sensing.sensors import assign_sensor

    placement, facts = placing.placed({}, None, None)
    entry = assign_sensor(at, name, where, at=None, facts=facts, who=who)
    say(f"{name} is at {where!r} from {rfc3339(entry.at)}")
    placing.tell(placement, of_job.units if of_job else "si")


@app.command("assign")
def assign(
    context: typer.Context,
    name: Name,
    place: Annotated[str | None, typer.Option(metavar="PLACE", help="Where it is.")] = None,
    job: Annotated[str | None, typer.Option(metavar="JOB", help="At the place of this job's boxes.")] = None,
    at: When = None,
    height: Annotated[str | None, typer.Option(metavar="LENGTH", help="Above the floor.")] = None,
    to_boxes: Annotated[str | None, typer.Option(metavar="LENGTH", help="From the boxes.")] = None,
    to_heater: Annotated[str | None, typer.Option(metavar="LENGTH", help="From the nearest heater.")] = None,
    to_vent: Annotated[str | None, typer.Option(metavar="LENGTH", help="From the nearest air vent.")] = None,
    to_window: Annotated[str | None, typer.Option(metavar="LENGTH", help="From the nearest window.")] = None,
    to_outside_wall: Annotated[str | None, typer.Option(metavar="LENGTH", help="From the nearest one.")] = None,
    in_sun: Annotated[bool | None, typer.Option("--in-sun/--no-sun", help="Whether the sun reaches it.")] = None,
    photo: Annotated[Path | None, typer.Option(metavar="FILE", help="Its name and SHA-256 are kept.")] = None,
    near: Annotated[str | None, typer.Option(metavar="TEXT", help="What else is near.")] = None,
    role: Annotated[
        str,
        typer.Option("--as", metavar="air|box|surface", help="What it hears: the room, inside the boxes, the wall."),
    ] = "air",
    who: Who = None,
) -> None:
    """Say that a sensor is at a place, from now or --at on.

    On a terminal it asks for what was not said of the place.
    """
    from monitor.basis.times import parse_time, rfc3339
    from monitor.watch.sensing.sensors import assign_sensor, known, zone_at

    if (place is None) == (job is None):
        raise RecordError("the place is not clear", where="sensor assign", mend="Give --place PLACE or --job JOB")
    one_of(role, ("air", "box", "surface"), "--as")
    lengths = (height, to_boxes, to_heater, to_vent, to_window, to_outside_wall)
    with desk(context) as opened:
        known(opened, name)
        of_job = None if job is None else opened.book.job(job)
        where = of_job.boxes_place if of_job else place or ""
        start = None if at is None else parse_time(at, zone_at(opened, where), where="--at")
        placement, kept = placing.placed(dict(zip(placing.LENGTHS, lengths, strict=True)), in_sun, photo)
        facts = {**kept, **({"near": near} if near else {}), **({} if role == "air" else {"role": role})}
        entry = assign_sensor(opened, name, where, at=start, facts=facts, who=who_of(who))
    say(f"{name} is at {where!r} from {rfc3339(entry.at)}")
    feet = any(mark in text for text in lengths if text for mark in ("f", "i", "'", '"'))
    if role == "air":
        placing.tell(placement, of_job.units if of_job else "us" if feet else "si")


@app.command("release")
def release(context: typer.Context, name: Name, at: When = None, who: Who = None) -> None:
    """Say that a sensor leaves its place, now or --at."""
    from monitor.basis.times import parse_time, rfc3339
    from monitor.watch.sensing.sensors import release_sensor, zone_of_sensor

    with desk(context) as opened:
        end = None if at is None else parse_time(at, zone_of_sensor(opened, name), where="--at")
        entry = release_sensor(opened, name, at=end, who=who_of(who))
    say(f"{name} left its place at {rfc3339(entry.at)}")


app.command("check")(checking.check)
app.command("unit")(sensor_log.unit)
app.command("log")(sensor_log.log)
app.command("withdraw")(sensor_log.withdraw)
app.command("thin")(sensor_thin.thin)
