"""The [[share]]s of wallclime.toml: lists of topics, each heard by one of several daemons over one store.

A share narrows what the sources hear. Shares do not overlap: a message has one daemon that keeps it.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import combinations
from typing import Any, NamedTuple

from monitor.basis.errors import Fault
from monitor.config import tables
from monitor.config.brokers import Broker
from monitor.config.tables import Reader

_TAKEN = "out"  # ends the client id under which the daemon tells


class Share(NamedTuple):
    """A list of topic filters, as MQTT has them (3.1.1 section 4.7), that one daemon hears under an id of its own."""

    name: str
    topics: tuple[str, ...]


def shares_of(value: Any, where: str) -> tuple[Share, ...]:
    """The reader of [[share]]."""
    if not isinstance(value, list) or not all(isinstance(item, dict) for item in value):
        raise tables.fault("these are not shares", where, "Begin each of them with the line [[share]]")
    found = []
    for spot, values in tables.each(value, _SHARE, where):
        for key, example in (("name", '"north"'), ("topics", '["site/north/#"]')):
            if key not in values:
                raise tables.fault("it is missing", f"{spot}{key}", f"Add {key} = {example}")
        found.append(Share(values["name"], values["topics"]))
    return tuple(found)


def misfits(shares: Sequence[Share], heard: Sequence[str], where: str) -> Iterator[Fault]:
    """What is wrong with the shares together, and with the topic filters that the sources hear."""
    names = [share.name for share in shares]
    for number, share in enumerate(shares, 1):
        if share.name in names[: number - 1]:
            yield Fault(
                f"there is a share {share.name!r} before", f"{where}: share {number}: name", "Name it otherwise"
            )
        for topic in share.topics:
            if not narrowed([topic], heard):
                mend = "Mend it, or add a [[source]] that it is a part of"
                yield Fault(f"no source has a topic like {topic!r}", f"{where}: share {number}: topics", mend)
    every = [(number, share.name, topic) for number, share in enumerate(shares, 1) for topic in share.topics]
    for (_, first, one), (number, second, other) in combinations(every, 2):
        if (both := common(one, other)) is not None:
            too = f"{one!r} of share {first!r}" if first != second else repr(one)
            mend = "Let each topic be in one of them, so that one daemon keeps its messages"
            yield Fault(f"{other!r} hears {both!r}, and so does {too}", f"{where}: share {number}: topics", mend)


def common(one: str, other: str) -> str | None:
    """The filter of the topics that two filters both match; None where there are none."""
    a, b = one.split("/"), other.split("/")
    both: list[str] = []
    for place in range(max(len(a), len(b)) + 1):
        left, right = a[place:], b[place:]
        if not left or not right:  # "site/#" matches "site" too
            return "/".join(both) if left in ([], ["#"]) and right in ([], ["#"]) else None
        if left[0] == "#" or right[0] == "#":
            return "/".join([*both, *(right if left[0] == "#" else left)])
        if left[0] != right[0] and "+" not in (left[0], right[0]):
            return None
        both.append(right[0] if left[0] == "+" else left[0])
    return None


def narrowed(topics: Iterable[str], heard: Sequence[str]) -> tuple[str, ...]:
    """What of the filters `heard` falls to `topics`, each once."""
    found = (common(topic, each) for topic in topics for each in heard)
    return tuple(dict.fromkeys(one for one in found if one is not None))


def broker_of(broker: Broker, share: str) -> Broker:
    """A broker as the daemon of a share reaches it: under an id of its own, the same at every start."""
    return replace(broker, client_id=f"{broker.client_id}-{share}")


def _name(value: Any, where: str) -> str:
    if not isinstance(value, str) or not re.fullmatch("[a-z0-9][a-z0-9-]*", value) or value == _TAKEN:
        raise tables.fault(f"{value!r} can't be the name of a share", where, f'Use a-z, 0-9 and -, and not "{_TAKEN}"')
    return value


def _topic(value: Any, where: str) -> str:
    text = tables.line(value, where)
    levels = text.split("/")
    if any(set("+#") & set(level) and level not in ("+", "#") for level in levels) or "#" in levels[:-1]:
        mend = 'Write it like "site/north/#"; a + stands for one level, a # at the end for all that is below'
        raise tables.fault(f"{text!r} is no filter of topics", where, mend)
    return text


_SHARE: dict[str, Reader] = {"name": _name, "topics": tables.some(_topic)}
