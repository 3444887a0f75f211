"""A wrong unit found later is an entry of the log: the readings stay as sent and are judged as they were meant."""

from dataclasses import replace

from rooms import HUMIDITY, PROFILE, TEMPERATURE, Room, Shelf, frame, minutes, steady

from monitor.basis.times import LATEST
from monitor.basis.values import SENSORS_CHAIN, Entry, Kind
from monitor.rules.frame import UnitClaim, claims_of, frame_of
from monitor.rules.judge import judge

DAY = 1440


def claimed(*claims: UnitClaim):
    fr = frame("a", profile=PROFILE)
    return replace(fr, sensors={"a": fr.sensors["a"]._replace(claims=claims)})


def in_fahrenheit(days: int = 2) -> Room:
    """A sensor at 70 degF (21.1 degC) that was thought to send degC: as such it is 70 degC, far above the band."""
    room = Room()
    room.hear("a", [(m, 70.0 + 0.1 * (m // 10 % 7), h) for m, _, h in steady(days * DAY)])
    return room


def test_read_in_the_claimed_unit_the_room_is_in_band():
    room = in_fahrenheit()
    thought = judge(frame("a"), minutes(2 * DAY), room)
    meant = judge(claimed(UnitClaim(TEMPERATURE, "degF", minutes(0), minutes(9 * DAY))), minutes(2 * DAY), room)
    assert (thought.now.state, meant.now.state) == ("out", "in")
    assert meant.lot.clock.completed_at == minutes(2 * DAY)
    assert meant.now.values["a"][TEMPERATURE] == (room.kept["a", TEMPERATURE][minutes(2 * DAY - 10)] - 32) / 1.8


def test_a_claim_speaks_of_its_time_and_quantity_only():
    room = in_fahrenheit()
    found = judge(claimed(UnitClaim(TEMPERATURE, "degF", minutes(600), minutes(1200))), minutes(2 * DAY), room)
    assert [(one.start, one.end) for one in found.excursions] == [(minutes(0), minutes(600)), (minutes(1200), None)]
    other = judge(claimed(UnitClaim(HUMIDITY, "%", minutes(0), minutes(9 * DAY))), minutes(2 * DAY), room)
    assert other.excursions == judge(frame("a"), minutes(2 * DAY), room).excursions


def test_checkpoints_before_the_claimed_time_stand():
    room, shelf = in_fahrenheit(4), Shelf()
    judge(frame("a"), minutes(4 * DAY), room, shelf)
    kept = dict(shelf.rows)
    late = claimed(UnitClaim(TEMPERATURE, "degF", minutes(2 * DAY + 60), minutes(9 * DAY)))
    assert judge(late, minutes(4 * DAY), room, shelf).to_json() == judge(late, minutes(4 * DAY), room).to_json()
    assert [m for m in kept if kept[m] is shelf.rows[m]] == [minutes(DAY), minutes(2 * DAY)]


def test_a_claim_is_what_its_entry_says():
    body = {"sensor": "a", "quantity": "air_temperature", "unit": "degF", "from": 5, "to": 9}
    entry = Entry(SENSORS_CHAIN, 1, Kind.UNIT, 5, 99, "Ada", body, None, b"", b"")
    assert claims_of([entry]) == {"a": (UnitClaim(TEMPERATURE, "degF", 5, 9),)}
    still = Entry(SENSORS_CHAIN, 1, Kind.UNIT, 5, 99, "Ada", {**body, "to": None}, None, b"", b"")
    assert claims_of([still]) == {"a": (UnitClaim(TEMPERATURE, "degF", 5, LATEST),)}


def test_a_claim_reaches_the_frame_of_the_job_whatever_time_is_asked_for():
    said = {"name": "a", "stream": "s/a", "hold_ms": 1, "uncertainty": {"air_temperature": 1, "air_humidity": 5}}
    stay = {"sensor": "a", "place": "hall", "from": minutes(0), "to": None}
    claim = {"sensor": "a", "quantity": "air_temperature", "unit": "degF", "from": minutes(500), "to": minutes(900)}
    house = [
        Entry(SENSORS_CHAIN, number, kind, at, 0, "Ada", body, None, b"", b"")
        for number, (kind, at, body) in enumerate(
            [(Kind.SENSOR, 0, said), (Kind.ASSIGNMENT, minutes(0), stay), (Kind.UNIT, minutes(500), claim)], 1
        )
    ]
    job = {"zone": "UTC", "boxes_place": "hall", "wall_place": "hall", "length_m": 4.0, "height_m": 2.4, "units": "si"}
    log = [Entry("wall", 1, Kind.JOB, minutes(0), 0, "Ada", job, None, b"", b"")]
    found = frame_of(log, house, PROFILE, minutes(100)).sensors["a"]
    assert found.claims == (UnitClaim(TEMPERATURE, "degF", minutes(500), minutes(900)),)
