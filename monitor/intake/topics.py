"""Topics with named levels: home/{sensor}/climate is heard as home/+/climate; the names make the sensor's address.

A last level # stands for all that follows, which is then {sensor}; what the broker says ($...), what this program says,
and what would be the address of a sensor known from files is none of it.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from functools import lru_cache
from typing import NamedTuple

from monitor.basis.errors import SettingsError
from monitor.basis.values import FILE_ADDRESS
from monitor.config.settings import Source

_NAMED = re.compile(r"\{([A-Za-z_][A-Za-z0-9_]*)\}")
_NOT_HEARD = rf"\$|wallclime/|{FILE_ADDRESS}"  # by #: none may speak for a sensor that is known from files


class Topic(NamedTuple):
    """A topic with named levels, compiled: `text` as written, `filter` as MQTT wants it (3.1.1 section 4.7)."""

    text: str
    filter: str
    pattern: re.Pattern[str]

    def match(self, topic: str) -> dict[str, str] | None:
        """The names of a topic that was heard, or None where it is not one of these."""
        found = self.pattern.fullmatch(topic)
        return None if found is None else found.groupdict()


@lru_cache(maxsize=1024)  # every sensor is asked after by each
def compile_topic(text: str, *, where: str = "topic") -> Topic:
    """A topic of wallclime.toml. A level is plain text or one {name}; each name stands once. Raises SettingsError."""
    if text == "#" or (text.endswith("/#") and not set("+#{}\0") & set(text[:-1])):
        return Topic(text, text, re.compile(rf"(?!{_NOT_HEARD}){re.escape(text[:-1])}(?P<sensor>.+)", re.DOTALL))
    levels = [(level, _NAMED.fullmatch(level)) for level in text.split("/")]
    names = [found[1] for _, found in levels if found]
    plain = [level for level, found in levels if not found]
    if not text or len(set(names)) < len(names) or any(set("+#{}\0") & set(level) for level in plain):
        raise SettingsError(
            f"{text!r} is not a topic", where=where, mend="Write it like home/{sensor}/climate, each named level once"
        )
    pattern = "/".join(f"(?P<{found[1]}>[^/]*)" if found else re.escape(level) for level, found in levels)
    return Topic(text, "/".join("+" if found else level for level, found in levels), re.compile(pattern, re.DOTALL))


def address(template: str, names: Mapping[str, str], *, where: str = "stream") -> str:
    """The sensor's address: the template with the names of the topic put in. Raises SettingsError."""
    unknown = set(_NAMED.findall(template)) - set(names)
    if unknown:
        raise SettingsError(
            f"the address {template!r} names {{{min(unknown)}}}, which its topic does not",
            where=where,
            mend="Use the names that stand in the topic",
        )
    return _NAMED.sub(lambda found: names[found[1]], template)


def stream_of_topic(sources: Sequence[Source], topic: str) -> str | None:
    """The address of the sensor that speaks on `topic`, by the first source that covers it; None where none does.

    A topic of SenML tells no sensor: its records name theirs.
    """
    for source in sources:
        names = compile_topic(source.topic).match(topic)
        if names is not None:
            return None if source.format == "senml" else address(source.stream, names)
    return None


def filters_of_stream(sources: Sequence[Source], stream: str) -> list[str]:
    """The topics, as filters, on which the sensor of an address may speak, of each source that may make it."""
    found = []
    for source in sources:
        if source.topic.endswith("#"):  # the address is the topic itself
            found += [stream] if compile_topic(source.topic).match(stream) is not None else []
            continue
        pieces = _NAMED.split(source.stream)
        made = "".join(f"(?P<{one}>[^/]*)" if place % 2 else re.escape(one) for place, one in enumerate(pieces))
        names = re.fullmatch(made + (".*" if source.format == "senml" else ""), stream, re.DOTALL)
        if names is not None:
            known = names.groupdict()
            found.append(_NAMED.sub(lambda name, known=known: known.get(name[1], "+"), source.topic))  # type: ignore[misc]
    return found


def covering(filters: Iterable[str]) -> list[str]:
    """The filters, each once, without those that another one with # at its end covers: a broker may send twice else."""
    found = list(dict.fromkeys(filters))
    wide = [filter_[:-1] for filter_ in found if filter_ == "#" or filter_.endswith("/#")]
    return [one for one in found if not any(one.startswith(front) and one != f"{front}#" for front in wide)]
