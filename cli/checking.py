"""wallclime sensor check: a sensor held against salts, a second instrument or a laboratory."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated

import typer

from cli.common import Who, desk, say, spread_of, who_of

if TYPE_CHECKING:
    from monitor.basis.values import Entry, Quantity
    from monitor.watch.sensing.instruments import Checked, Compared

Texts = list[str] | None


def check(
    context: typer.Context,
    name: Annotated[str, typer.Argument(metavar="SENSOR", help="The sensor's name.")],
    read: Annotated[list[str], typer.Option(metavar="VALUE", help='What it read, such as "76.1 %"; repeatable.')],
    salt: Annotated[Texts, typer.Option(metavar="SALT", help="Over which saturated salt, such as NaCl.")] = None,
    temp: Annotated[Texts, typer.Option(metavar="TEMPERATURE", help="In the vessel; one for all, or each.")] = None,
    temp_by_sensor: Annotated[
        bool, typer.Option("--temp-by-sensor", help="The sensor itself said --temp: its own check is applied first.")
    ] = False,
    beside: Annotated[Texts, typer.Option(metavar="VALUE", help="What a second instrument beside it read.")] = None,
    beside_uncertainty: Annotated[
        Texts, typer.Option(metavar="VALUE", help="Its +/- (expanded uncertainty); 2 % and 0.5 K by default (ours).")
    ] = None,
    laboratory: Annotated[str | None, typer.Option(metavar="TEXT", help="Whose certificate, and its number.")] = None,
    reference: Annotated[Texts, typer.Option(metavar="VALUE", help="What was true by the certificate.")] = None,
    uncertainty: Annotated[
        Texts, typer.Option(metavar="VALUE", help="The +/- on the certificate (expanded uncertainty).")
    ] = None,
    at: Annotated[
        str | None, typer.Option(metavar="TIME", help="When; in the job's zone if it has no offset; now by default.")
    ] = None,
    valid: Annotated[str, typer.Option(metavar="DURATION", help="How long the check holds.")] = "365 d",
    adjusted: Annotated[
        bool, typer.Option("--adjusted", help="Adjusted or dried for it: it says nothing of the time before.")
    ] = False,
    who: Who = None,
) -> None:
    """A check of a sensor: from its time on readings are corrected by it, and judged with what it leaves uncertain.

    Left as found, the sensor is corrected for the time before too.
    """
    from monitor.basis.errors import RecordError
    from monitor.basis.times import parse_time
    from monitor.basis.units import parse_duration, parse_temperature
    from monitor.watch.sensing.instruments import check_sensor, compensated, salt_point
    from monitor.watch.sensing.sensors import zone_of_sensor

    if [bool(salt), bool(beside), laboratory is not None].count(True) != 1:
        mend = "Give one of --salt, --beside and --laboratory"
        raise RecordError("what it was compared with is not clear", where="sensor check", mend=mend)
    lasts = parse_duration(valid, where="--valid")
    with desk(context) as opened:
        when = None if at is None else parse_time(at, zone_of_sensor(opened, name), where="--at")
        if salt:
            temps = [parse_temperature(text, where="--temp") for text in _each(temp, read, "--temp")]
            if temp_by_sensor:
                temps = [compensated(opened, name, t, at=when) for t in temps]
            points = [
                salt_point(one, _humidity(text), t)
                for one, text, t in zip(_each(salt, read, "--salt", one_for_all=False), read, temps, strict=True)
            ]
        else:
            points = _beside(beside, read, beside_uncertainty) if beside else _certified(
                laboratory or "", read, reference, uncertainty
            )  # fmt: skip
        level = "salt" if salt else "side by side" if beside else "laboratory"
        done = check_sensor(
            opened, name, level, points, at=when, valid=lasts, adjusted=adjusted, who=who_of(who)  # type: ignore[arg-type]
        )  # fmt: skip
        units = {job: opened.book.job(job).units for job in done.verdicts}
    _tell(name, done, units)


def _each(given: Texts, read: Sequence[str], option: str, *, one_for_all: bool = True) -> list[str]:
    """One text a --read. Raises RecordError where they do not pair."""
    from monitor.basis.errors import RecordError

    if given and one_for_all and len(given) == 1:
        return given * len(read)
    if not given or len(given) != len(read):
        raise RecordError(
            f"{len(given or ())} {option} and {len(read)} --read do not pair", where="sensor check",
            mend=f"Give a {option} with each --read",
        )  # fmt: skip
    return given


def _humidity(text: str) -> float:
    """A humidity; over a salt a bare number is %."""
    from monitor.basis.units import parse_percent

    return parse_percent(text if text.strip()[-1:].isalpha() or "%" in text else f"{text} %", where="--read")


def _air(text: str, option: str) -> tuple[Quantity, float]:
    """A humidity or a temperature, by its unit. [%, degC]"""
    from monitor.basis.errors import QuantityError
    from monitor.basis.units import parse_percent, parse_temperature
    from monitor.basis.values import Quantity

    if text.rstrip().lower().endswith(("%", "%rh", "percent", "pct")):
        return Quantity.AIR_HUMIDITY, parse_percent(text, where=option)
    try:
        return Quantity.AIR_TEMPERATURE, parse_temperature(text, where=option)
    except QuantityError as exc:
        mend = 'Write it like "45 %" or "20 degC"'
        raise QuantityError(f"{text!r} is no humidity and no temperature", where=option, mend=mend) from exc


def _pairs(read: Sequence[str], true: Sequence[str], option: str) -> list[tuple[Quantity, float, float]]:
    from monitor.basis.errors import RecordError

    found = []
    for text, other in zip(read, true, strict=True):
        (quantity, value), (same, reference) = _air(text, "--read"), _air(other, option)
        if quantity is not same:
            mend = f"Give {option} in the order of --read"
            raise RecordError(f"{text!r} and {other!r} are not one quantity", where="sensor check", mend=mend)
        found.append((quantity, value, reference))
    return found


def _beside(beside: Sequence[str], read: Sequence[str], uncertainty: Texts) -> list[Compared]:
    from monitor.rules.instrument import Point
    from monitor.watch.sensing.instruments import BESIDE, Compared

    spread = {**BESIDE, **dict(spread_of(text, "--beside-uncertainty") for text in uncertainty or ())}
    pairs = _pairs(read, _each(list(beside), read, "--beside", one_for_all=False), "--beside")
    return [Compared(q, Point(value, true, spread[q]), "beside a second instrument") for q, value, true in pairs]


def _certified(laboratory: str, read: Sequence[str], reference: Texts, uncertainty: Texts) -> list[Compared]:
    from monitor.rules.instrument import Point
    from monitor.watch.job.jobs import checked_name
    from monitor.watch.sensing.instruments import Compared

    how = checked_name(laboratory, "--laboratory")
    pairs = _pairs(read, _each(reference, read, "--reference", one_for_all=False), "--reference")
    spreads = [spread_of(text, "--uncertainty") for text in _each(uncertainty, read, "--uncertainty")]
    for (quantity, _, _), (other, _), text in zip(pairs, spreads, read, strict=True):
        if quantity is not other:
            _unlike(text)
    return [Compared(q, Point(value, true, u), how) for (q, value, true), (_, u) in zip(pairs, spreads, strict=True)]


def _unlike(text: str) -> None:
    from monitor.basis.errors import RecordError

    mend = "Give an --uncertainty with each --read, in their order"
    raise RecordError(f"the uncertainty of {text!r} is in another unit", where="sensor check", mend=mend)


def _tell(name: str, done: Checked, units: dict[str, str]) -> None:
    from monitor.rules.cautions import CAUTIONS, Caution
    from monitor.tell import words

    for entry in done.entries:
        say(f"{name}, {_found(entry, next(iter(units.values()), 'si'))}")
    for job, verdicts in done.verdicts.items():
        for when, verdict in zip(("before", "after"), verdicts, strict=True):
            say(f"{job} {when}: {words.verdict(verdict, words.display_of(verdict, units[job]))}")  # type: ignore[arg-type]
    if done.entries[0].body["level"] == "salt":
        say(f"mind: {CAUTIONS[Caution.SALT].text}")


def _found(entry: Entry, units: str) -> str:
    """ "humidity: true = read - 0.7 %RH, uncertain by 2.7 %RH, until 2027-01-12T12:00:00Z (salt)"."""
    from monitor.basis.times import rfc3339, zone_of
    from monitor.basis.values import Quantity
    from monitor.tell import words

    body, quantity = entry.body, Quantity(entry.body["quantity"])
    display = words.Display(zone_of("UTC"), "us" if units == "us" and body["basis"] == "offset" else "si")
    offset, left = (words.difference(quantity, abs(body[key]), display) for key in ("offset", "uncertainty"))
    line = "" if body["basis"] == "offset" else f"{body['slope']:.3f} x "
    sign = "-" if body["offset"] < 0 else "+"
    before = "and for the time before it too" if body["as_found"] else "not for the time before it"
    return (
        f"{words.QUANTITY[quantity]}: true = {line}read {sign} {offset}, uncertain by {left}; "
        f"holds until {rfc3339(body['until'])}, {before} ({body['level']}: {body['how']})"
    )
