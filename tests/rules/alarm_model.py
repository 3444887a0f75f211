"""A small model of one alarm, written from the definitions of monitor/README.md and not from the program.

It knows one condition at one place, in whole minutes, and keeps a diary instead of fields: what it is follows from what
was written last. `look` gives what its contacts are told.
"""

from __future__ import annotations

from dataclasses import dataclass, field

RANKS = {"low": 0, "medium": 1, "high": 2}
PASSED_ON_AFTER = {"low": None, "medium": 120, "high": 30}  # of the default patience, in minutes
REMIND, KEEP = 24 * 60, 7 * 24 * 60
AHEAD, SHELF = 5, 7 * 24 * 60


@dataclass
class Model:
    """`state`: none, asking (unacknowledged), seen (acknowledged) or gone (returned, unacknowledged)."""

    state: str = "none"
    rank: str = "low"
    shelf: int | None = None  # until when
    began: int = 0
    diary: list[tuple[int, str]] = field(default_factory=list)  # (minute, what was done), oldest first

    def when(self, *what: str) -> int | None:
        """When one of these was done last, since it was raised."""
        return next((minute for minute, done in reversed(self.diary) if done in what), None)

    def latest(self) -> int:
        """The last minute of the diary."""
        return max((minute for minute, _ in self.diary), default=-1)

    def set_right(self, now: int) -> None:
        """The clock ran ahead: what was written ahead of it was done now."""
        if self.latest() > now + AHEAD or (self.shelf or 0) > now + SHELF + AHEAD:
            self.diary = [(min(minute, now), done) for minute, done in self.diary]
            self.began = min(self.began, now)
            self.shelf = None if self.shelf is None else min(self.shelf, now + SHELF)

    def look(self, now: int, rank: str | None, began: int = 0, quiet: bool = False) -> str | None:
        """One look that finds it at `rank` since `began`, or not at all (None).

        `quiet`: a condition whose going is no news, and that has no delay of its own.
        """
        self.set_right(now)
        if now < self.latest():
            return None
        if self.state == "none":
            lately = quiet and now - (self.when("gone") or -KEEP) < 24 * 60
            return None if rank is None else self._begin(now, rank, min(self.began, began) if lately else began)
        if self.shelf is not None and self.shelf <= now:
            self.shelf = None
            if self.state == "asking" and rank is not None:
                self._note(now, "asks", "told")
                return "again"
            return None
        if rank is None:
            return self._absent(now, quiet)
        return self._present(now, rank, began, quiet)

    def _begin(self, now: int, rank: str, began: int) -> str:
        self.state, self.rank, self.shelf, self.began, self.diary = "asking", rank, None, began, []
        self._note(now, "asks", "told")
        return "first"

    def _note(self, now: int, *what: str) -> None:
        self.diary += [(now, each) for each in what]

    def _tell(self, now: int, how: str) -> str | None:
        if self.shelf is not None:
            return None
        self._note(now, "told")
        return how

    def _absent(self, now: int, quiet: bool) -> str | None:
        if self.state == "gone":
            if now - (self.when("gone") or 0) >= KEEP and self.shelf is None:
                self.state = "none"
            return None
        asks = self.when("asks") or 0
        if quiet and now - asks < min(max(60, asks - self.began), 24 * 60):
            return None
        over = self.state == "seen" and self.shelf is None
        self.state = "none" if over else "gone"
        self._note(now, "gone")
        return None if quiet else self._tell(now, "returned")

    def _present(self, now: int, rank: str, began: int, quiet: bool) -> str | None:
        if self.state == "gone":
            lately = quiet and now - (self.when("gone") or 0) < 24 * 60
            self.began = min(self.began, began) if lately else began
            return self._return(now, rank)
        if RANKS[rank] > RANKS[self.rank]:
            self.state, self.rank = "asking", rank
            self._note(now, "asks")
            return self._tell(now, "again")
        if self.state == "seen" or self.shelf is not None:
            return None
        asks = self.when("asks") or 0
        passed = self.when("passed on")
        wait = PASSED_ON_AFTER[self.rank]
        if wait is not None and (passed is None or self._before("passed on", "asks")) and now - asks >= wait:
            self._note(now, "passed on")
            return "second contact"
        if now - (self.when("told") or 0) >= REMIND:
            self._note(now, "told")
            return "again"
        return None

    def _before(self, one: str, other: str) -> bool:
        """Whether `one` was last done before `other` was."""
        order = [done for _, done in self.diary if done in (one, other)]
        return order[-1] == other

    def _return(self, now: int, rank: str) -> str | None:
        silent = (self.when("told") or 0) < (self.when("gone") or 0)  # nobody was told that it had gone
        told, worse = self.when("told") or 0, RANKS[rank] > RANKS[self.rank]
        self.state, self.rank = "asking", rank
        self._note(now, "asks")
        if silent and now - told < REMIND and not worse:
            return None
        return self._tell(now, "again")

    def acknowledge(self, now: int) -> bool:
        """Whether that was possible."""
        if self.state == "asking":
            self.state = "seen"
        elif self.state == "gone":
            self.state = "none"
        else:
            return False
        self._note(now, "seen")
        return True

    def shelve(self, until: int) -> bool:
        """Whether that was possible."""
        if self.state == "none":
            return False
        self.shelf = until
        return True
