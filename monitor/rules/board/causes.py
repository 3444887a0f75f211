"""What people say about an episode: its cause, its remedy, and what happened at the time. It changes no verdict."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from monitor.basis.values import Entry, Kind
from monitor.rules.assessment import Episode
from monitor.rules.excursion import EPISODE_GAP


class Explained(NamedTuple):
    """What the log says of one episode, in the order of writing."""

    causes: tuple[Entry, ...] = ()
    events: tuple[Entry, ...] = ()


def causes(entries: Iterable[Entry], episodes: Sequence[Episode]) -> tuple[Explained, ...]:
    """For each episode the cause and event entries that overlap it in time; `entries` as corrected.

    An entry lasts from the time it speaks of to its `until`, without one for that moment alone. An event that ended
    up to 6 h before an episode began belongs to it too, as excursions less than 6 h apart are one episode.
    """
    told = [entry for entry in entries if entry.kind in (Kind.CAUSE, Kind.EVENT)]
    return tuple(
        Explained(
            tuple(entry for entry in told if entry.kind is Kind.CAUSE and _overlaps(entry, episode, 0)),
            tuple(entry for entry in told if entry.kind is Kind.EVENT and _overlaps(entry, episode, EPISODE_GAP)),
        )
        for episode in episodes
    )


def _overlaps(entry: Entry, episode: Episode, early: int) -> bool:
    until = entry.at if entry.body["until"] is None else entry.body["until"]
    return until >= episode.start - early and (episode.end is None or entry.at <= episode.end)


def episode_at(episodes: Sequence[Episode], at: int) -> Episode | None:
    """The episode that `at` lies in; its last instant belongs to it. [ms]"""
    return next((one for one in episodes if one.start <= at and (one.end is None or at <= one.end)), None)
