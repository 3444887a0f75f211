"""What lags behind the room is live what it is in one pass: boards, box cores, the wall's skin, and the days."""

import itertools
import random
from dataclasses import replace

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from rooms import HUMIDITY, TEMPERATURE, Room, Shelf, frame, minutes

from monitor.basis.times import DAY, HOUR
from monitor.basis.values import Quantity
from monitor.climate.lag import State
from monitor.rules.codec import product_from_bytes, product_to_bytes, state_from_bytes, state_to_bytes
from monitor.rules.fold import FoldState, fold, joined
from monitor.rules.frame import Delivery, Frame, Stack
from monitor.rules.judge import judge
from monitor.rules.replay import heard
from monitor.rules.stays import Stay

SURFACE, BOX = Quantity.SURFACE_TEMPERATURE, Quantity.BOX_TEMPERATURE
CHANNELS = (
    ("a", TEMPERATURE), ("a", HUMIDITY), ("b", TEMPERATURE), ("b", HUMIDITY), ("out", TEMPERATURE), ("out", HUMIDITY),
    ("skin", SURFACE), ("skin", TEMPERATURE), ("box", BOX), ("box", TEMPERATURE),
)  # fmt: skip
MEAN = {TEMPERATURE: 20.0, HUMIDITY: 62.0, SURFACE: 14.0, BOX: 17.0}
STACKS = (
    Stack(),
    Stack(height=0.2),
    Stack(height=0.4, width=0.3, box_c=5.0, moisture=6.5),
    Stack(spacers=True, box_c=12.0),
    Stack(height=0.3, floor_c=11.0),
)
Message = tuple[str, Quantity, float, float]


def channel(rng: random.Random, name: str, quantity: Quantity, days: int) -> list[Message]:
    """One channel in pieces: alive, standing still, silent."""
    found: list[Message] = []
    at, step, mean = rng.choice((0, 0, 700, 3000)), rng.choice((15, 30, 55)), MEAN[quantity]
    mean -= 18.0 if name == "out" else 0.0
    while at < days * 1440:
        end, kind = at + rng.choice((200, 600, 1440, 2500)), rng.choice(("alive", "alive", "alive", "still", "silent"))
        for minute in range(at, min(end, days * 1440), step):
            if kind != "silent":
                found.append((name, quantity, minute, mean + (rng.uniform(-2, 2) if kind == "alive" else 0.0)))
        at = end
    return found


def home(rng: random.Random, days: int) -> Frame:
    """A job with boxes in the hall and in a shed, a wall that may be elsewhere, and sensors that come and go."""
    wall = rng.choice(("hall", "den"))
    stays = [Stay("a", "hall", minutes(0), None)]
    for name, place, role in (
        ("b", wall, "air"), ("out", "yard", "air"), ("skin", wall, "surface"), ("box", "hall", "box"),
    ):  # fmt: skip
        first, last = rng.choice((0, 0, 2000, 5000)), rng.choice((None, None, 6000, 7200))
        stays.append(Stay(name, place, minutes(first), None if last is None else minutes(last), role))
    start = rng.choice((None, 1440, 3100))
    found = frame(
        "a", "b", "out", "skin", "box",
        hold=rng.choice((30, 90, 300)), stays=stays, wall=wall, outdoors="yard", start=start,
        finish=None if start is None else rng.choice((None, start + 500)),
    )  # fmt: skip
    lots = [Delivery("one", "hall", minutes(rng.choice((0, 100, 900))), 4, rng.choice(STACKS))]
    lots += [Delivery("two", rng.choice(("hall", "shed")), minutes(1000), 4, rng.choice(STACKS))] * rng.randrange(2)
    return replace(found, deliveries=tuple(lots), stays=tuple(sorted(stays, key=lambda s: (s.start, s.sensor))))


def say(room: Room, shelf: Shelf, messages: list[Message]) -> None:
    for name, quantity in sorted({message[:2] for message in messages}):
        shelf.touch(name, room.say(name, quantity, [m[2:] for m in messages if m[:2] == (name, quantity)]))


def whole(fr: Frame, as_of: int, room: Room, shelf: Shelf | None = None) -> tuple[object, bytes]:
    found = judge(fr, as_of, room, shelf)
    return found.to_json(), found.packed_days


@settings(max_examples=12, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.integers(0, 10**9))
def test_shuffled_late_and_restarted_gives_boards_boxes_skin_and_days_of_one_pass(seed):
    rng, days = random.Random(seed), 6
    fr = home(rng, days)
    chosen = [one for one in CHANNELS if rng.random() < 0.8]
    messages = [message for one in chosen for message in channel(rng, *one, days)]
    messages.sort(key=lambda m: (m[2], m[0], m[1]))
    for _ in range(rng.choice((0, 3, 30))):
        messages.insert(rng.randrange(len(messages) + 1), messages.pop(rng.randrange(len(messages))))
    room, shelf = Room(), Shelf()
    size = len(messages) // rng.choice((2, 6, 12)) + 1
    for first in range(0, len(messages), size):
        say(room, shelf, messages[first : first + size])
        newest = max(max(said) for said in room.kept.values())
        for as_of in (newest + 1, newest + rng.randrange(1, 3 * HOUR), newest - rng.randrange(2 * DAY)):
            known = replace(fr, start=None if fr.start is None or fr.start > as_of else fr.start)
            if as_of > minutes(1000):
                assert whole(known, as_of, room, shelf) == whole(known, as_of, room)


def folded(fr: Frame, room: Room, edges: list[int], as_of: int) -> tuple[bytes, bytes]:
    """The state and all that happened, carried over these edges by way of the bytes of a checkpoint."""
    state, products = FoldState(), []
    for start, end in itertools.pairwise(edges):
        product, _ = fold(fr, state, heard(fr, as_of, room, start, end), start, end)
        products.append(product_from_bytes(product_to_bytes(product)))
        state = state_from_bytes(state_to_bytes(state))
    return state_to_bytes(state), product_to_bytes(joined(products))


@settings(max_examples=10, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.integers(0, 10**9), st.sets(st.integers(1, 39)), st.sampled_from((0, 1, 333)))
def test_a_block_of_a_month_gives_to_the_last_bit_what_days_give(seed, cuts, past):
    rng, days = random.Random(seed), 40
    fr, room = home(rng, days), Room()
    say(room, Shelf(), [message for one in CHANNELS if rng.random() < 0.9 for message in channel(rng, *one, days)])
    as_of = minutes(days * 1440 + past)
    edges = [minutes(0), *(minutes(1440 * day) for day in sorted(cuts)), as_of]
    by_day = [*range(minutes(0), as_of, DAY), as_of]
    assert folded(fr, room, edges, as_of) == folded(fr, room, by_day, as_of)


def test_a_state_survives_its_bytes():
    fr, room = home(random.Random(4), 6), Room()
    say(room, Shelf(), [message for one in CHANNELS for message in channel(random.Random(4), *one, 6)])
    state = FoldState()
    fold(fr, state, heard(fr, minutes(6 * 1440), room, minutes(0), minutes(6 * 1440)), minutes(0), minutes(6 * 1440))
    kept = state_from_bytes(state_to_bytes(state)).lagging
    for part in (kept.boards, kept.cores, kept.trail[""], kept.mould.unknown_h):
        assert part, "all that it may hold"
    assert kept == state.lagging
    assert [type(body) for body in kept.boards] == [State] * 9
    assert [type(body) for core in kept.cores.values() for body in core.bodies] == [State] * 3 * len(kept.cores)
