"""A first run: the home is made for the broker that somebody names."""

from __future__ import annotations

from pathlib import Path

import pytest

from monitor.basis.errors import SettingsError
from monitor.config.settings import load_settings
from monitor.watch.beginning import PASSWORD, begin_at, begin_here


def test_the_broker_that_is_named_is_written_once_and_naming_it_again_changes_nothing(tmp_path: Path):
    path = tmp_path / "wallclime.toml"
    assert begin_at(tmp_path, "192.0.2.7:1884") == [f"wrote {path}"]
    text = path.read_text(encoding="utf-8")
    broker = load_settings(tmp_path, {}).broker
    assert (broker.host, broker.port, broker.user) == ("192.0.2.7", 1884, None)
    assert begin_at(tmp_path, "192.0.2.7:1884") == []
    with pytest.raises(SettingsError) as refused:
        begin_at(tmp_path, "192.0.2.8")
    assert str(refused.value) == f"{path}: it is there already. Edit that file, or move it away first"
    assert path.read_text(encoding="utf-8") == text


@pytest.mark.parametrize("text", ["", ":1883", "hall:port", "hall:70000", "hall\n"])
def test_what_is_no_broker_is_refused(tmp_path: Path, text: str):
    with pytest.raises(SettingsError) as refused:
        begin_at(tmp_path, text)
    said = f"--broker: {text!r} is not a broker. Write HOST or HOST:PORT, such as 192.168.1.5:1883"
    assert str(refused.value) == said
    assert not (tmp_path / "wallclime.toml").exists()


def test_a_broker_of_our_own_asks_for_the_password_that_is_told(tmp_path: Path):
    told = begin_here(tmp_path, 1885)
    broker = load_settings(tmp_path, {}).broker
    assert (broker.host, broker.port, broker.user) == ("0.0.0.0", 1885, "wallclime")
    assert broker.password == (tmp_path / PASSWORD).read_text(encoding="utf-8").strip()
    assert told[0].endswith(f"port 1885, user wallclime, password {broker.password}")


def test_the_password_is_for_its_owner_only_and_one_that_is_there_already_is_left_as_it_is(tmp_path: Path):
    begin_here(tmp_path / "new")
    assert (tmp_path / "new" / PASSWORD).stat().st_mode & 0o777 == 0o600
    (tmp_path / PASSWORD).write_text("of another broker", encoding="utf-8")
    with pytest.raises(SettingsError) as refused:
        begin_here(tmp_path)
    assert str(refused.value) == (
        f"{tmp_path / PASSWORD}: it is there already. Move it away first; "
        "or write wallclime.toml for the broker that it is of"
    )
    assert (tmp_path / PASSWORD).read_text(encoding="utf-8") == "of another broker"
    assert not (tmp_path / "wallclime.toml").exists()


def test_a_home_that_was_made_for_another_broker_is_left_as_it_is(tmp_path: Path):
    begin_at(tmp_path, "192.0.2.7")
    with pytest.raises(SettingsError) as refused:
        begin_here(tmp_path)
    assert str(refused.value) == (
        f"{tmp_path / 'wallclime.toml'}: it was not made for --broker-here. "
        'Say serve --embedded-broker, or set host = "0.0.0.0", user and password_file there'
    )
    assert not (tmp_path / PASSWORD).exists()
