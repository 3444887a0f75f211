"""Several processes over one store: months of readings, the one schedule, jobs to judge, and what each hears."""

from __future__ import annotations

import threading
from concurrent.futures import ThreadPoolExecutor

import psycopg
import pytest
from processes import soon
from sqlalchemy import text

from monitor.basis.errors import StoreError
from monitor.basis.times import DAY, HOUR, SECOND
from monitor.basis.values import LIVE, Quantity, Reading
from monitor.keep import migrate
from monitor.keep.months import begin_of, in_window, months_of, partition_of
from monitor.keep.rows import Kept, Part, Stale
from monitor.keep.turns import HELD

T = 1_767_600_000_000  # 2026-01-05T08:00Z, where the clock of `open_at` stands [ms]
JANUARY, FEBRUARY = 1_767_225_600_000, 1_769_904_000_000  # 2026-01-01 and 2026-02-01, both at 00:00Z [ms]


def reading(t: int, value: float = 45.0, stream: str = "home/hall") -> Reading:
    return Reading(stream, Quantity.AIR_HUMIDITY, t, value, "%", t, LIVE)


def partitions(store) -> dict[str, int]:
    """How many readings lie in each."""
    query = "SELECT tableoid::regclass::text AS name, count(*) FROM reading GROUP BY 1"
    with store._reading() as conn:
        found = {row.name.rpartition(".")[2]: row.count for row in conn.execute(text(query))}
        names = conn.scalars(
            text("SELECT inhrelid::regclass::text FROM pg_inherits WHERE inhparent = 'reading'::regclass")
        )
        return {name.rpartition(".")[2]: 0 for name in names} | found


# --- months ---


def test_a_month_begins_and_ends_with_its_utc_midnights():
    [month] = months_of([T])
    assert (begin_of(month), begin_of(month + 1), partition_of(month)) == (JANUARY, FEBRUARY, "reading_2026_01")
    assert months_of([JANUARY - 1, JANUARY, FEBRUARY - 1, FEBRUARY]) == {month - 1, month, month + 1}


def test_only_ten_years_and_the_month_to_come_have_partitions():
    [month] = months_of([T])
    assert in_window(range(month - 500, month + 500), T) == set(range(month - 120, month + 2))


def test_readings_lie_in_the_partition_of_their_month(open_at, postgresql_url):
    store = open_at(postgresql_url)
    assert partitions(store) == {"reading_rest": 0}
    assert store.keep_readings([reading(JANUARY - 1), reading(JANUARY), reading(T)]) == Kept(3, 0, 0)
    assert partitions(store) == {"reading_rest": 0, "reading_2025_12": 1, "reading_2026_01": 2}


def test_odd_stamps_make_no_partitions_and_are_found_all_the_same(open_at, postgresql_url):
    store = open_at(postgresql_url)
    odd = [reading(year * 31_557_600_000, float(year)) for year in range(-40, 200)]  # 1930 to 2169
    assert store.keep_readings(odd) == Kept(240, 0, 0)
    assert store.keep_readings(odd) == Kept(0, 240, 0)
    found = partitions(store)
    assert (sum(found.values()), found["reading_rest"] > 200, len(found) < 13) == (240, True, True)
    assert store.series("home/hall", Quantity.AIR_HUMIDITY).t.tolist() == [one.t for one in odd]


def test_what_came_before_its_month_was_near_moves_into_its_partition(open_at, postgresql_url, clock):
    """A clock that is behind: what is of March lies with the rest in January, until March is the month to come."""
    store, march = open_at(postgresql_url), FEBRUARY + 30 * DAY
    store.keep_readings([reading(march)])
    assert partitions(store) == {"reading_rest": 1}
    clock.move(30 * DAY)
    assert open_at(postgresql_url).keep_readings([reading(march + 1), reading(march, 46.0)]) == Kept(1, 0, 1)
    assert partitions(store) == {"reading_rest": 0, "reading_2026_03": 2}


def test_several_that_need_a_new_month_at_once_make_it_once(open_at, postgresql_url):
    stores = [open_at(postgresql_url) for _ in range(6)]
    together = threading.Barrier(len(stores))

    def keep(number: int) -> Kept:
        together.wait(20)
        return stores[number].keep_readings([reading(T - month * 31 * DAY, stream=f"s{number}") for month in range(8)])

    with ThreadPoolExecutor(len(stores)) as pool:
        assert list(pool.map(keep, range(len(stores)))) == [Kept(8, 0, 0)] * len(stores)
    assert sorted(partitions(stores[0]).values()) == [0, *[6] * 8]


def test_readings_of_a_store_of_an_older_version_are_moved_into_their_months(open_at, postgresql_url, monkeypatch):
    upgrade_to = migrate.scripts()._upgrade_revs

    def older(self, _wanted, current):
        return upgrade_to("0004", current)

    with monkeypatch.context() as patch:
        patch.setattr("alembic.script.ScriptDirectory._upgrade_revs", older)
        store = open_at(postgresql_url)
    with store._writing() as conn:
        conn.execute(text("INSERT INTO sensor (stream) VALUES ('home/hall')"))
        conn.execute(
            text("INSERT INTO channel (sensor_id, quantity, readings) SELECT id, 'air_humidity', 4 FROM sensor")
        )
        conn.execute(text("INSERT INTO unit (text) VALUES ('%')"))
        conn.execute(text("INSERT INTO origin (kind, detail) VALUES ('live', '')"))
        # By the clock of the server: this month, two of other years, and one of no year that has partitions.
        for t in ("now()", "now() - interval '400 days'", "now() - interval '3000 days'", "'1970-01-02Z'::timestamptz"):
            conn.execute(
                text(
                    f"INSERT INTO reading SELECT channel.id, extract(epoch FROM {t})::bigint * 1000, 45, unit.id, 0, "
                    "origin.id FROM channel, unit, origin"
                )
            )
        before = conn.scalars(text("SELECT t FROM reading ORDER BY t")).all()
    moved = open_at(postgresql_url)
    assert moved.series("home/hall", Quantity.AIR_HUMIDITY).t.tolist() == before
    assert sorted(partitions(moved).values()) == [1, 1, 1, 1]
    assert moved.keep_readings([reading(before[0])]) == Kept(0, 1, 0)
    [month] = months_of(before[-1:])
    assert partitions(moved)[partition_of(month)] == 1


def test_in_an_sqlite_store_there_are_no_months(open_at, sqlite_url):
    assert open_at(sqlite_url).keep_readings([reading(T)]) == Kept(1, 0, 0)


# --- the one schedule ---


def test_one_of_several_leads_and_another_follows_when_it_is_gone(open_at, postgresql_url):
    first, second = open_at(postgresql_url), open_at(postgresql_url)
    assert [first.lead(), second.lead(), first.lead(), second.lead()] == [True, False, True, False]
    first.close()
    soon(second.lead, what="the server has let go of the lock of a connection that is closed")


def test_whoever_leads_one_store_does_not_lead_another_of_the_same_server(open_at, postgresql_url, postgresql):
    first = open_at(postgresql_url)
    with psycopg.connect(host=postgresql, user="keeper", dbname="postgres", autocommit=True) as admin:
        admin.execute("CREATE SCHEMA neighbour")
        second = open_at(f"{postgresql_url.rpartition('search_path%3D')[0]}search_path%3Dneighbour")
        assert (first.lead(), second.lead()) == (True, True)
        second.close()
        admin.execute("SET client_min_messages = warning")
        admin.execute("DROP SCHEMA neighbour CASCADE")


def test_who_has_lost_its_connection_leads_no_more_until_it_is_asked_again(open_at, postgresql_url):
    store = open_at(postgresql_url)
    assert store.lead()
    with store._writing() as conn:
        conn.execute(text("SELECT pg_terminate_backend(pid) FROM pg_locks WHERE locktype = 'advisory'"))
    with pytest.raises(StoreError, match="the database refused: "):
        store.lead()
    assert store.lead()


def test_of_an_sqlite_file_everybody_leads(open_at, sqlite_url):
    stores = [open_at(sqlite_url) for _ in range(2)]
    assert [(one.lead(), one.is_shared) for one in stores] == [(True, False)] * 2


# --- jobs to judge ---


def heard(store, *jobs: str) -> None:
    store.settle_dirty([], [Stale(job, "home/hall", T, T) for job in jobs])


def test_a_job_that_changed_is_taken_by_one_and_not_again_once_it_was_judged(store):
    heard(store, "attic", "hall")
    assert store.take_jobs(T, 3, 10) == {"attic": 1, "hall": 1}
    assert store.take_jobs(T, 3, 10) == {}
    store.put_judged({"attic": (1, None), "hall": (1, None)}, 3)
    assert store.take_jobs(T, 3, 10) == {}
    heard(store, "hall")
    assert store.take_jobs(T, 3, 10) == {"hall": 2}


def test_what_came_while_a_job_was_judged_has_it_judged_again(store):
    heard(store, "hall")
    store.take_jobs(T, 3, 10)
    heard(store, "hall")
    store.put_judged({"hall": (1, None)}, 3)
    assert store.take_jobs(T, 3, 10) == {"hall": 2}


def test_a_job_is_due_when_time_alone_would_complete_it(store):
    heard(store, "hall")
    store.take_jobs(T, 3, 10)
    store.put_judged({"hall": (1, T + HOUR)}, 3)
    assert store.take_jobs(T + HOUR - 1, 3, 10) == {}
    assert store.take_jobs(T + HOUR, 3, 10) == {"hall": 1}


def test_other_rules_have_every_job_judged_again(store):
    heard(store, "hall")
    store.take_jobs(T, 3, 10)
    store.put_judged({"hall": (1, None)}, 3)
    assert store.take_jobs(T, 4, 10) == {"hall": 1}


@pytest.mark.parametrize("later", [HELD, -HELD - 1])
def test_what_a_judge_that_died_had_in_hand_is_given_to_another(store, later):
    """After two minutes, or when the clock was put back."""
    heard(store, "hall")
    store.take_jobs(T, 3, 10)
    assert store.take_jobs(T + HELD - 1, 3, 10) == {}
    assert store.take_jobs(T + later, 3, 10) == {"hall": 1}


def test_what_a_judge_has_in_hand_is_not_taken_by_one_whose_clock_is_behind(store):
    heard(store, "hall")
    assert store.take_jobs(T, 3, 10) == {"hall": 1}
    assert store.take_jobs(T - SECOND, 3, 10) == {}


def test_several_judges_that_take_at_once_get_every_job_once(open_at, postgresql_url):
    stores = [open_at(postgresql_url) for _ in range(4)]
    jobs = [f"wall {n:03}" for n in range(200)]
    heard(stores[0], *jobs)
    together = threading.Barrier(len(stores))

    def take(store) -> list[str]:
        together.wait(20)
        taken: list[str] = []
        while found := store.take_jobs(T, 3, 7):
            taken += found
        return taken

    with ThreadPoolExecutor(len(stores)) as pool:
        taken = list(pool.map(take, stores))
    assert sorted(job for one in taken for job in one) == jobs


def test_who_takes_does_not_wait_for_who_has_not_finished_taking(open_at, postgresql_url):
    """SKIP LOCKED: a judge whose transaction hangs holds up nobody."""
    store = open_at(postgresql_url)
    heard(store, "attic", "hall")
    store.put_judged({}, 3)
    assert store.take_jobs(T - 10 * HELD, 3, 10) == {"attic": 1, "hall": 1}
    with store._writing() as conn:
        conn.execute(text("SELECT * FROM judged WHERE job = 'attic' FOR UPDATE"))
        assert open_at(postgresql_url).take_jobs(T, 3, 10) == {"hall": 1}


def test_marks_that_two_settle_at_once_raise_a_generation_once(open_at, postgresql_url):
    stores = [open_at(postgresql_url) for _ in range(4)]
    stores[0].keep_readings([reading(T + n, stream=f"s{n}") for n in range(50)])
    marks = stores[0].dirty()
    together = threading.Barrier(len(stores))

    def settle(store) -> None:
        together.wait(20)
        store.settle_dirty([one.id for one in marks], [Stale(one.stream, one.stream, T, T) for one in marks])

    with ThreadPoolExecutor(len(stores)) as pool:
        list(pool.map(settle, stores))
    assert set(stores[0].generations().values()) == {1}
    assert stores[0].dirty() == []


# --- what each hears ---


def test_a_daemon_says_its_part_once_and_keeps_it(store):
    north = Part("intake", "north", ("site/north/+",))
    number = store.wake(north)
    store.stay_awake(number, {"version": "1"})
    store.wake()
    told = [(one.part, dict(one.state)) for one in store.daemons(0)]
    assert told == [(north, {"version": "1"}), (None, {})]
    assert store.awake() == [(T, T, ("site/north/+",)), (T, T, None)]
    assert store.daemon_state().part is None
