"""Many walls and many sensors from a list: all or none, harmless when given again; walls that were up before."""

from __future__ import annotations

from pathlib import Path

import pytest
from desks import NOW, T0, opening

from monitor.basis.errors import RecordError
from monitor.basis.times import DAY
from monitor.rules.begun import UP_BEFORE
from monitor.watch.job.life import due, items_of
from monitor.watch.job.openings import open_all, open_one
from monitor.watch.judging import assess
from monitor.watch.sensing.sensor_list import read_sensors, take_in
from monitor.watch.sensing.sensors import release_sensor

UP = "2025-05-12"


def test_all_walls_of_a_list_are_opened_and_given_again_only_what_is_new(desk):
    first = [(opening("a"), "Ada"), (opening("b"), "Ada")]
    assert [one.name for one in open_all(desk, first)] == ["a", "b"]
    again = [*first, (opening("c"), "Ada")]
    assert [one.name for one in open_all(desk, again)] == ["c"]
    assert desk.book.names() == ["a", "b", "c"]


def test_with_a_fault_in_one_wall_none_is_opened_and_every_fault_has_its_wall(desk):
    walls = [opening("a"), opening("b", up_since="2099-01-01"), opening("c", profile="none.toml")]
    with pytest.raises(RecordError) as refused:
        open_all(desk, [(one, "Ada") for one in walls])
    lines = str(refused.value).splitlines()
    assert lines[0] == (
        "b: --up-since: 2099-01-01T00:00:00Z is in the future. The log holds what has happened; check the date"
    )
    assert lines[1].startswith("c: ")
    assert desk.book.names() == []


def test_a_wall_that_was_up_before_its_record_is_judged_by_its_life_from_the_first_day(desk):
    open_one(desk, opening("a", up_since=UP), who="Ada")
    found = assess(desk, "a")
    assert (found.phase, found.before) == ("after", None)
    (install,) = [entry for entry in desk.book.log("a") if entry.kind.value == "install"]
    assert install.body["reason"] == UP_BEFORE


def test_its_care_counts_from_the_opening_since_nobody_knows_what_was_done_before(desk):
    open_one(desk, opening("a", up_since=UP), who="Ada")
    frame = desk.book.frame_at("a", NOW)
    dust = next(one for one in items_of(desk, frame, frame.finish, NOW) if one.what == "dust")
    assert dust.due == NOW + 14 * DAY
    assert due(desk).never == ()


# --- sensors ----------------------------------------------------------------------------------------------------------


def listed(folder: Path, *rows: str) -> Path:
    path = folder / "sensors.csv"
    path.write_text("\n".join(["sensor,topic,place,since,hold,near", *rows]) + "\n", encoding="utf-8")
    return path


@pytest.fixture
def hears(tmp_path, sit_down):
    source = '[[source]]\ntopic = "site/{sensor}/climate"\nformat = "json"\n'
    text = source + 'temperature = { at = "/t", unit = "degC" }\n'
    (tmp_path / "home" / "wallclime.toml").write_text(text, encoding="utf-8")
    return sit_down()


def stays(desk):
    return [(stay.sensor, stay.place, stay.start, stay.end) for stay in desk.book.stays()]


def test_the_sensors_of_a_list_are_named_and_brought_to_their_places(hears, tmp_path):
    path = listed(tmp_path, "a,site/a/climate,hall,2026-01-05,2 h,by the door", "b,site/b/climate,den,,,")
    done = take_in(hears, read_sensors(path), who="Ada")
    assert (done.added, done.brought, done.moved, done.stayed) == (["a", "b"], ["a", "b"], [], 0)
    assert stays(hears) == [("a", "hall", T0, None), ("b", "den", NOW, None)]
    assert hears.book.sensors()["a"].hold == 2 * 3_600_000


def test_given_again_nothing_changes_and_one_that_stands_elsewhere_by_the_list_is_moved(hears, tmp_path):
    take_in(hears, read_sensors(listed(tmp_path, "a,site/a/climate,hall,2026-01-05,,")), who="Ada")
    again = take_in(hears, read_sensors(listed(tmp_path, "a,site/a/climate,hall,2026-01-05,,")), who="Ada")
    assert (again.added, again.brought, again.stayed) == ([], [], 1)
    done = take_in(hears, read_sensors(listed(tmp_path, "a,site/a/climate,den,2026-01-06,,")), who="Ada")
    assert done.moved == ["a from 'hall' to 'den'"]
    assert stays(hears) == [("a", "hall", T0, T0 + DAY), ("a", "den", T0 + DAY, None)]


def test_every_fault_of_a_list_of_sensors_is_a_line_and_nothing_is_done(hears, tmp_path):
    path = listed(tmp_path, "a,site/a/climate,,,,", "b,,hall,,,")
    with pytest.raises(RecordError) as refused:
        read_sensors(path)
    assert str(refused.value).splitlines() == [
        f"{path}, line 2: no place is given. Fill in that column",
        f"{path}, line 3: no topic is given. Fill in that column",
    ]
    path = listed(tmp_path, "a,site/a/climate,hall,,1 y,", "a,site/a/climate,hall,,,")
    with pytest.raises(RecordError, match="line 2: hold"):
        read_sensors(path)
    path = listed(tmp_path, "a,site/a/climate,hall,,,", "a,site/a/climate,den,,,")
    with pytest.raises(RecordError, match=r"line 3: 'a' is listed twice\. Keep one row a sensor"):
        read_sensors(path)
    path = listed(tmp_path, "a,site/a/climate,hall,,,", "b,other/b,hall,,,", "c,site/c/climate,hall,2099-01-01,,")
    with pytest.raises(RecordError) as refused:
        take_in(hears, read_sensors(path), who="Ada")
    assert [line.partition(". ")[0] for line in str(refused.value).splitlines()] == [
        f"{path}, line 3: sensor b: no source in wallclime.toml hears the topic 'other/b'",
        f"{path}, line 4: since: 2099-01-01T00:00:00Z is in the future",
    ]
    assert stays(hears) == []


def test_a_sensor_that_was_elsewhere_later_than_the_list_says_stops_it_before_anything_is_done(hears, tmp_path):
    take_in(hears, read_sensors(listed(tmp_path, "a,site/a/climate,hall,2026-01-06,,")), who="Ada")
    before = stays(hears)
    for since in ("2026-01-05", "2026-01-06"):
        path = listed(tmp_path, "b,site/b/climate,hall,,,", f"a,site/a/climate,den,{since},,")
        with pytest.raises(RecordError) as refused:
            take_in(hears, read_sensors(path), who="Ada")
        assert str(refused.value) == (
            f"{path}, line 3: sensor a: it came to 'hall' at 2026-01-06T00:00:00Z. Give a later time as its since"
        )
    assert stays(hears) == before
    release_sensor(hears, "a", at=T0 + 2 * DAY, who="Ada")
    with pytest.raises(RecordError, match="sensor a: it left 'hall' at 2026-01-07T00:00:00Z"):
        take_in(hears, read_sensors(listed(tmp_path, "a,site/a/climate,den,2026-01-06T12:00:00Z,,")), who="Ada")
    take_in(hears, read_sensors(listed(tmp_path, "a,site/a/climate,den,2026-01-07,,")), who="Ada")
    assert stays(hears)[-1] == ("a", "den", T0 + 2 * DAY, None)


def test_a_name_that_another_device_has_is_refused(hears, tmp_path):
    take_in(hears, read_sensors(listed(tmp_path, "a,site/a/climate,hall,,,")), who="Ada")
    path = listed(tmp_path, "a,site/new/climate,hall,,,")
    with pytest.raises(RecordError) as refused:
        take_in(hears, read_sensors(path), who="Ada")
    assert str(refused.value) == (
        f"{path}, line 2: sensor a: it is the sensor at 'site/a/climate' by the log. "
        "Give the new device a name of its own, and release the old one: wallclime sensor release"
    )


def test_two_names_for_one_device_are_refused_before_anything_is_done(hears, tmp_path):
    path = listed(tmp_path, "a,site/a/climate,hall,,,", "b,site/b/climate,hall,,,", "c,site/a/climate,den,,,")
    with pytest.raises(RecordError) as refused:
        take_in(hears, read_sensors(path), who="Ada")
    assert str(refused.value) == f"{path}, line 4: 'site/a/climate' is that of 'a' too. Give each device one row"
    assert (stays(hears), hears.book.sensors()) == ([], {})
    take_in(hears, read_sensors(listed(tmp_path, "a,site/a/climate,hall,,,")), who="Ada")
    path = listed(tmp_path, "b,site/b/climate,hall,,,", "c,site/a/climate,den,,,")
    with pytest.raises(RecordError) as refused:
        take_in(hears, read_sensors(path), who="Ada")
    assert str(refused.value) == (f"{path}, line 3: sensor c: 'site/a/climate' is called 'a' already. Use the name 'a'")
    assert list(hears.book.sensors()) == ["a"]
