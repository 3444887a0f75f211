"""Names that are SQL are names: bound, never put into a statement."""

import pytest

from monitor.basis.values import LIVE, Draft, Kind, Quantity, Reading, Refused

T = 1_767_600_000_000  # 2026-01-05T08:00Z [ms]
HOSTILE = (
    "'; DROP TABLE reading; --",
    '"; DELETE FROM entry; --',
    "x' OR '1'='1",
    "%(name)s :name ? $1 {0} %s",
    "\\'; SELECT pg_sleep(9); --",
)


@pytest.mark.parametrize("name", HOSTILE)
def test_a_name_that_is_sql_comes_back_as_it_was_and_nothing_else_is_gone(store, name):
    def heard(stream):
        return Reading(stream, Quantity.AIR_HUMIDITY, T, 45.0, "%", T, LIVE)

    store.append("hall", [Draft(Kind.NOTE, T, "Ada", {"text": "stays"})], new=True)
    store.keep_readings([heard("site/hall"), heard(name)], [Refused(name, name, name, name.encode(), T)])
    (entry,) = store.append(name, [Draft(Kind.NOTE, T, name, {name: name})], new=True)
    assert (entry.who, entry.body) == (name, {name: name})
    assert store.chains() == sorted(["hall", name])
    assert store.entries(name) == [entry]
    assert [len(store.series(stream, Quantity.AIR_HUMIDITY)) for stream in ("site/hall", name)] == [1, 1]
    assert store.quarantine_counts() == {(name, name): 1}
    assert store.entries("hall")[0].body == {"text": "stays"}
