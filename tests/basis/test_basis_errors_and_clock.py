"""An error says what, where and the mend; a clock is an argument."""

import struct
import time

import pytest

from monitor.basis.clock import Clock, SetClock, SystemClock, offset_of
from monitor.basis.errors import (
    BrokerError,
    Fault,
    OutOfReachError,
    PayloadError,
    ProfileError,
    StoreError,
    StoreTooNewError,
    WallclimeError,
)


def test_an_error_is_one_line_what_where_and_the_mend():
    error = WallclimeError("there is no job 'hall'", where="hall", mend="See `wallclime job list`")
    assert str(error) == "hall: there is no job 'hall'. See `wallclime job list`"
    assert error.faults == (Fault("there is no job 'hall'", "hall", "See `wallclime job list`"),)


def test_an_error_of_many_faults_has_a_line_for_each_and_keeps_its_class():
    error = ProfileError.of([Fault("a", "here", "Mend a"), Fault("b", "there", "Mend b")])
    assert isinstance(error, ProfileError)
    assert str(error) == "here: a. Mend a\nthere: b. Mend b"


def test_an_error_without_a_fault_is_a_mistake_of_ours():
    with pytest.raises(ValueError, match="an error needs at least one fault"):
        ProfileError.of([])


def test_a_refused_payload_names_its_drawer():
    assert PayloadError("not JSON", where="site/den", mend="Send JSON").reason == "unreadable"
    assert PayloadError("old", where="site/den", mend="Set it", reason="too-old").reason == "too-old"


@pytest.mark.parametrize("kind", [OutOfReachError, StoreError, StoreTooNewError, BrokerError])
def test_what_is_out_of_reach_ends_with_3_and_all_else_with_2(kind):
    assert kind.exit_code == 3
    assert ProfileError.exit_code == WallclimeError.exit_code == 2


def test_the_system_clock_tells_whole_milliseconds_of_now():
    before = time.time_ns() // 1_000_000
    now = SystemClock().now()
    assert before <= now <= time.time_ns() // 1_000_000
    assert isinstance(now, int)


def test_a_set_clock_stands_still_until_it_is_moved_backwards_too():
    clock: Clock = SetClock(1_000)
    assert (clock.now(), clock.now()) == (1_000, 1_000)
    clock.move(-1)
    assert clock.now() == 999
    clock.at_ms = 5
    assert clock.now() == 5


@pytest.mark.parametrize(
    ("offset", "status", "ms"),
    [
        (1_500_000, 0x2001, 2),  # STA_NANO, STA_PLL: nanoseconds, rounded
        (-250_000_000, 0x2001, -250),
        (1_500, 0x0001, 2),  # microseconds
        (0, 0x2001, 0),
        (0, 0x2041, None),  # STA_UNSYNC: no source keeps it
    ],
)
def test_the_clocks_offset_is_what_the_kernel_tells_of_it(offset, status, ms):
    # struct timex of adjtimex(2), Linux with 64-bit words: modes, offset, freq, maxerror, esterror, status
    answer = struct.pack("=i4xqqqqi", 0, offset, 7, 8, 9, status) + bytes(100)
    assert offset_of(answer) == ms


def test_the_system_says_an_offset_or_that_it_is_not_known():
    assert isinstance(SystemClock().offset(), int | None)
    assert SetClock(1_000).offset() is None
