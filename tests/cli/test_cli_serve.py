"""serve and its parts: what it refuses before it begins."""

import json
from unittest import mock

import pytest

from monitor.basis.times import MINUTE
from monitor.keep.rows import Part
from monitor.watch.desk import open_desk


@pytest.mark.parametrize(
    ("options", "told"),
    [
        (("--role", "hear"), "serve --role: 'hear' is not known. Known here: all, intake, judge, schedule"),
        (
            ("--role", "judge"),
            "serve --role judge: an SQLite store has one daemon, which does all. Leave --role and --share out; several "
            "daemons need a PostgreSQL, see [store] url in wallclime.toml",
        ),
    ],
)
def test_a_part_that_can_not_be_is_refused_in_a_line(wallclime, options, told):
    with mock.patch("monitor.watch.service.daemon.ended"):  # signals are those of the tests
        found = wallclime("serve", *options)
    assert (found.code, found.err) == (2, f"{told}\n")


TOML = """
[[source]]
topic = "site/{site}/{sensor}"
format = "number"
quantity = "air_temperature"
unit = "degC"
stream = "site/{site}/{sensor}"
[[share]]
name = "north"
topics = ["site/north/#"]
"""


def test_the_status_of_all_jobs_has_a_line_of_each_of_several_daemons(wallclime):
    wallclime.path.mkdir()
    (wallclime.path / "wallclime.toml").write_text(TOML, encoding="utf-8")
    with open_desk(wallclime.path, environ={}, clock=wallclime.clock) as desk:
        for part in (Part("intake", "north", ("site/north/+",)), Part("judge", None, ())):
            desk.store.stay_awake(desk.store.wake(part), {})
        desk.clock.move(3 * MINUTE)
        desk.store.stay_awake(desk.store.wake(Part("schedule", None, ())), {})
    found = wallclime("status", "--json")
    assert json.loads(found.out) == []
    assert found.err.splitlines() == [
        "serve intake of share north: not there since 2026-01-12 12:00+00:00",
        "serve judge: not there since 2026-01-12 12:00+00:00",
        "serve schedule: last sign of life 0 s ago",
        "mind: nobody judges: start wallclime serve --role judge",
        "mind: nobody hears share north: start wallclime serve --role intake --share north",
    ]
