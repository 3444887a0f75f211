"""A clock that is set while the daemon runs."""

import time

import pytest
from hearing import NOW, Log, Memory, listening, soon

from monitor.basis.clock import SetClock
from monitor.basis.errors import StoreError
from monitor.basis.times import HOUR
from monitor.intake import steps
from monitor.intake.steps import Steps


@pytest.fixture
def even(monkeypatch):
    """Even time, which the test moves: a list with the seconds."""
    seconds = [100.0]
    monkeypatch.setattr(steps, "steady", lambda: seconds[0])
    return seconds


class Told(list):
    """What was told; `fail` the errors that the next calls raise."""

    def __init__(self, *fail):
        super().__init__()
        self.fail = list(fail)

    def __call__(self, at_ms, by_ms):
        if self.fail:
            raise self.fail.pop(0)
        self.append((at_ms, by_ms))


def pass_by(watch, clock, even, seconds, clock_ms):
    even[0] += seconds
    clock.move(clock_ms)
    watch.look()


def test_a_clock_that_goes_with_even_time_has_not_stepped(even):
    clock, told, log = SetClock(NOW), Told(), Log()
    watch = Steps(clock, told, log)
    for seconds in (0.25, 60, 0.001, 36_000):
        pass_by(watch, clock, even, seconds, round(seconds * 1000))
    assert (told, log) == ([], [])


@pytest.mark.parametrize("by", [2_001, -2_001, HOUR, -HOUR])
def test_more_than_two_seconds_are_a_step_told_with_the_time_after_it(even, by):
    clock, told, log = SetClock(NOW), Told(), Log()
    watch = Steps(clock, told, log)
    pass_by(watch, clock, even, 10, 10_000 + by)
    assert told == [(NOW + 10_000 + by, by)]
    assert log == [("warning", "clock stepped", {"offset_s": by / 1000})]
    pass_by(watch, clock, even, 10, 10_000)
    assert len(told) == 1


@pytest.mark.parametrize("by", [2_000, -2_000])
def test_two_seconds_between_two_looks_are_no_step_nor_is_a_clock_that_is_steered_to_the_hour(even, by):
    clock, told = SetClock(NOW), Told()
    watch = Steps(clock, told, Log())
    for _ in range(100):
        pass_by(watch, clock, even, 10, 10_000 + by)
    assert told == []


def test_a_step_that_could_not_be_written_is_told_again_ten_seconds_later_and_in_order(even):
    clock, log = SetClock(NOW), Log()
    told = Told(StoreError("the disk is full", where="store", mend="Make room"))
    watch = Steps(clock, told, log)
    pass_by(watch, clock, even, 1, 1_000 + HOUR)
    pass_by(watch, clock, even, 1, 1_000 - HOUR)
    assert told == []
    assert (
        "error",
        "clock step not written",
        {"error": "store: the disk is full. Make room", "again_in_s": 10.0},
    ) in log
    pass_by(watch, clock, even, 8.9, 8_900)
    assert told == []
    pass_by(watch, clock, even, 0.2, 200)
    assert told == [(NOW + 1_000 + HOUR, HOUR), (NOW + 2_000, -HOUR)]


def test_two_readings_of_the_clocks_that_a_pause_came_between_are_taken_again(monkeypatch):
    # A process may be stopped between two instructions, for as long as a laptop sleeps.
    seconds = iter([0.0, 30.0, 30.0, 30.0, 31.0, 31.0])
    monkeypatch.setattr(steps, "steady", lambda: next(seconds))
    clock, told = SetClock(NOW), Told()
    watch = Steps(clock, told, Log())
    clock.move(1_000)
    watch.look()
    assert told == []


def test_even_time_runs_on_while_the_computer_sleeps():
    # clock_gettime(2): CLOCK_BOOTTIME is CLOCK_MONOTONIC with the time that the system was suspended
    assert steps.steady() == pytest.approx(time.clock_gettime(time.CLOCK_BOOTTIME), abs=1)


def test_the_listener_tells_a_step_also_while_there_is_no_broker(mosquitto, in_a_hurry):
    clock, told, log = SetClock(NOW), Told(), Log()
    with listening(mosquitto, Memory(), clock=clock, clock_stepped=told, log=log):
        clock.move(-HOUR)
        soon(lambda: told)
        mosquitto.stop()
        clock.move(HOUR)
        soon(lambda: len(told) == 2)
    assert [at for at, _ in told] == [NOW - HOUR, NOW]
    assert [by for _, by in told] == [pytest.approx(-HOUR, abs=2_000), pytest.approx(HOUR, abs=2_000)]
    assert log.count("clock stepped") == 2


def test_without_somebody_to_tell_the_listener_does_not_look(mosquitto, in_a_hurry):
    clock, log = SetClock(NOW), Log()
    with listening(mosquitto, Memory(), clock=clock, log=log) as listener:
        clock.move(-HOUR)
        mosquitto.stop()
        soon(lambda: not listener.status.connected)
    assert log.count("clock stepped") == 0
