"""The alarm's states, driven at random against a small model of them."""

from dataclasses import replace

from alarm_model import Model
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule

from monitor.basis.alarm import Alarm, Priority, Signal, Standing
from monitor.basis.times import DAY, HOUR, MINUTE
from monitor.config.alarms import Patience
from monitor.rules.alarm import whats
from monitor.rules.alarm.alarms import acknowledge, shelve, step

T0 = 1_767_571_200_000  # 2026-01-05T00:00Z
NAMES = {
    Standing.UNACKNOWLEDGED: "asking",
    Standing.ACKNOWLEDGED: "seen",
    Standing.RETURNED: "gone",
    Standing.NORMAL: "none",
}
START = 30 * 365 * 24 * 60  # so late that no clock is ever set to before T0 [min]
RANK = st.sampled_from([None, "low", "medium", "high"])


class Alarms(RuleBasedStateMachine):
    """One condition, looked at, acknowledged, shelved; the clock goes on, and back; the program is started anew."""

    what = whats.HUMIDITY_HIGH

    def __init__(self) -> None:
        super().__init__()
        self.model, self.minute, self.began = Model(), START, 0
        self.rank: str | None = None
        self.kept: dict[str, Alarm] = {}

    @property
    def now(self) -> int:
        return T0 + self.minute * MINUTE

    @property
    def open(self) -> Alarm | None:
        standing = [one for one in self.kept.values() if one.standing is not Standing.NORMAL]
        assert len(standing) <= 1
        return standing[0] if standing else None

    @rule(passed=st.sampled_from([1, 5, 29, 30, 31, 119, 121, 600, 24 * 60, 7 * 24 * 60]), rank=RANK)
    def look(self, passed: int, rank: str | None) -> None:
        self.minute += passed
        if rank is not None and self.rank is None:
            self.began = self.now
        self.rank = rank
        self.seen()

    @rule()
    def look_again(self) -> None:
        self.minute += 1
        self.seen()

    @precondition(lambda self: self.open is not None)
    @rule(back=st.sampled_from([2, 45, 300]))
    def look_with_a_clock_that_went_back(self, back: int) -> None:
        self.minute -= back
        self.seen()
        self.minute += back

    @precondition(lambda self: self.open is not None)
    @rule(back=st.sampled_from([2, 45, 300, 365 * 24 * 60]))
    def look_with_a_clock_that_was_set_right(self, back: int) -> None:
        self.minute -= back
        self.seen()

    def seen(self) -> None:
        signals = []
        self.began = min(self.began, self.now)
        if self.rank is not None:
            signals = [Signal(self.what, "hall wall", "hall", self.began, Priority(self.rank))]
        before = self.open
        changes = step(list(self.kept.values()), signals, self.now, Patience())
        self.kept.update((change.alarm.id, change.alarm) for change in changes)
        told = [change.tells for change in changes if change.tells is not None]
        began = (self.began - T0) // MINUTE
        expected = self.model.look(self.minute, self.rank, began, self.what in whats.GOES_UNTOLD)
        assert told == ([] if expected is None else [expected]), (before, changes)

    @precondition(lambda self: self.open is not None)
    @rule()
    def acknowledge(self) -> None:
        alarm = self.open
        assert alarm is not None
        if alarm.standing is not Standing.ACKNOWLEDGED:
            assert self.model.acknowledge(self.minute)
            self.kept[alarm.id] = acknowledge(alarm, "ann", self.now).alarm

    @precondition(lambda self: self.open is not None)
    @rule(hours=st.sampled_from([1, 30, 7 * 24]))
    def shelve(self, hours: int) -> None:
        alarm = self.open
        assert alarm is not None
        assert self.model.shelve(self.minute + hours * 60)
        until = self.now + hours * HOUR
        self.kept[alarm.id] = shelve(alarm, until, "painters", "ann", self.now, at_most=7 * DAY).alarm

    @rule()
    def start_anew(self) -> None:
        self.kept = {key: Alarm.from_json(one.to_json()) for key, one in self.kept.items()}

    @invariant()
    def stands_where_the_model_does(self) -> None:
        assert self.model.state == ("none" if self.open is None else NAMES[self.open.standing])
        if self.open is not None:
            assert self.open.priority.value == self.model.rank
            assert self.open == replace(self.open, notice=False)


class Quiet(Alarms):
    """The same of a condition whose going is no news."""

    what = whats.HUMIDITY_HEADING_HIGH


Alarms.TestCase.settings = Quiet.TestCase.settings = settings(max_examples=100, stateful_step_count=25, deadline=None)
TestAlarms, TestQuiet = Alarms.TestCase, Quiet.TestCase
