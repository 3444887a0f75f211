"""wallclime simulate: an invented room that speaks over MQTT, for trying and training."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Annotated

import typer

from cli.common import Progress, home_of, say

if TYPE_CHECKING:
    from monitor.config.settings import Broker, Settings, Source
    from monitor.intake.simulate import Message


def simulate(
    context: typer.Context,
    sensor: Annotated[
        list[str] | None,
        typer.Option(metavar="NAME", help="A sensor; repeatable; simulated-1 and simulated-2 by default."),
    ] = None,
    topic_template: Annotated[
        str | None,
        typer.Option(
            metavar="TOPIC", help="Where a sensor speaks, like site/{sensor}/climate; the first [[source]] by default."
        ),
    ] = None,
    hours: Annotated[
        float | None, typer.Option(min=0, help="Of the past, up to now; 72 by default, 0 with --live or --for.")
    ] = None,
    every: Annotated[str, typer.Option(metavar="DURATION", help="How often each sensor speaks.")] = "60 s",
    on_change: Annotated[
        bool, typer.Option("--on-change", help="They speak when the air changes by 0.5 K or 2 %, and every hour.")
    ] = False,
    live: Annotated[bool, typer.Option("--live", help="Go on as time goes by, until Ctrl-C.")] = False,
    lasts: Annotated[
        str | None, typer.Option("--for", metavar="DURATION", help="Go on as time goes by, for so long.")
    ] = None,
    seed: Annotated[int, typer.Option(help="The same number has the same weather and sensors.")] = 1,
    event: Annotated[
        list[str] | None, typer.Option(metavar="EVENT", help='Like "door at 30 h for 90 min"; repeatable; see above.')
    ] = None,
    zone: Annotated[str, typer.Option(metavar="ZONE", help="Of the room's days and nights.")] = "UTC",
) -> None:
    """Publish an invented room's air over MQTT, for trying and training: all of it is marked as simulated.

    It is winter; the room is heated and moistened. The broker is that of wallclime.toml, and wallclime serve should
    listen already: a broker may not keep everything for one who comes later.

    An event is NAME at DURATION, from the first reading on; "for DURATION" sets how long it lasts, and "on SENSOR"
    whom it befalls (the first by default) where it befalls one:

    \b
    door             the outer door is open (90 min)
    dry              the humidifier has run dry (24 h)
    heating-failure  the heating is off (12 h); at 0 h: the room begins cold
    outage           the gateway is out, what was measured is lost (2 h)
    back-fill        the gateway is out, and sends it all when it is back (2 h)
    stuck            a sensor says the same again and again (10 h)
    drift            a sensor's humidity drifts away by 0.25 % an hour (48 h)
    clock-ahead      a sensor's clock is an hour ahead (2 h)
    clock-unset      a sensor's clock starts in 1970 (2 h)
    """
    from monitor.basis.clock import SystemClock
    from monitor.basis.times import rfc3339, zone_of
    from monitor.basis.units import parse_duration
    from monitor.config.settings import load_settings
    from monitor.intake.happening import parse_event
    from monitor.intake.publish import publish
    from monitor.intake.simulate import Plan, messages

    settings = load_settings(home_of(context), os.environ)
    clock = context.obj.clock or SystemClock()
    now = clock.now()
    names = sensor or ["simulated-1", "simulated-2"]
    topics, source, broker = _heard(settings, topic_template, names)
    goes_on = None if lasts is None else parse_duration(lasts, where="--for")
    past = _past(hours, live=live or lasts is not None, longest=settings.service.back_fill)
    plan = Plan(
        source=source,
        topics=topics,
        start=now - past,
        end=None if live and goes_on is None else now + (goes_on or 0),
        every=_every(every),
        seed=seed,
        events=tuple(parse_event(text, names) for text in event or ()),
        zone=zone_of(zone, where="--zone"),
        on_change=on_change,
    )
    say(f"an invented room speaks from {rfc3339(plan.start)} on, marked as simulated: {', '.join(topics.values())}")
    with _until_told() as stop:
        sent = publish(_shown(messages(plan), now, past), broker, clock=clock, stop=stop)
    say(f"sent {sent} messages, all acknowledged by the broker {broker.host}:{broker.port}")


def _heard(settings: Settings, template: str | None, names: list[str]) -> tuple[dict[str, str], Source, Broker]:
    """On which topic each sensor speaks, the source that hears them, and where."""
    from monitor.intake.simulate import source_of, topics_of

    first = settings.sources[0].topic if settings.sources else "site/{sensor}/climate"
    topics = topics_of(template or first, names)
    source = source_of(settings.sources, topics[names[0]])
    return topics, source, next(broker for broker in settings.brokers if broker.name == source.broker)


def _past(hours: float | None, *, live: bool, longest: int) -> int:
    """How much of the past is told. [ms]"""
    from monitor.basis.errors import RecordError
    from monitor.basis.times import HOUR
    from monitor.basis.units import format_duration

    past = (hours if hours is not None else 0 if live else 72) * HOUR
    if not past < longest:
        what = f"readings so old are not taken from the broker, only those of the last {format_duration(longest)}"
        raise RecordError(what, where="--hours", mend="Give fewer, or raise back_fill in wallclime.toml")
    return round(past)


def _every(text: str) -> int:
    """[ms]"""
    from monitor.basis.errors import QuantityError
    from monitor.basis.times import SECOND
    from monitor.basis.units import parse_duration

    every = parse_duration(text, where="--every")
    if every < SECOND:
        raise QuantityError(f"{text!r} is too often", where="--every", mend='Give "1 s" or more')
    return every


def _shown(messages: Iterator[Message], now: int, past: int) -> Iterator[Message]:
    """The same messages, with a bar while the past is told."""
    with Progress("telling the past") as progress:
        for message in messages:
            yield message
            if message.t_ms >= now:
                break
            progress(1 - (now - message.t_ms) / past)
    yield from messages


@contextmanager
def _until_told() -> Iterator[Callable[[], bool]]:
    """Whether somebody said stop, with Ctrl-C or SIGTERM, while the block runs."""
    import signal
    import threading

    stop = threading.Event()
    before = {number: signal.signal(number, lambda *_: stop.set()) for number in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield stop.is_set
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
