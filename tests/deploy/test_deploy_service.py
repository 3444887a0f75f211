"""The unit of the service: systemd takes it, finds little that it may do, and it fits the program."""

import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from cli.main import tree
from monitor.basis.errors import SettingsError, StoreError
from monitor.watch.service import deadman, pulse

UNIT = Path(__file__).resolve().parents[2] / "deploy" / "wallclime.service"
ANALYZE = shutil.which("systemd-analyze")
COMMAND = "/opt/wallclime/bin/wallclime"
MOST = 2.0  # exposure by systemd-analyze security: 0 to 10; below 2.0 it calls it "OK"


def lines() -> list[tuple[str, str]]:
    """Every setting of the unit in order: its name and what it is set to."""
    return re.findall(r"^([A-Za-z]+)=(.*)$", UNIT.read_text(encoding="utf-8"), re.M)


def setting(name: str) -> str:
    found = [value for key, value in lines() if key == name]
    assert len(found) == 1, f"{name} stands {len(found)} times"
    return found[0]


def seconds(text: str) -> float:
    number, unit = re.fullmatch(r"(\d+)(min)?", text).groups()
    return int(number) * (60 if unit else 1)


def analyze(folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    if ANALYZE is None:
        pytest.fail("this test needs systemd-analyze: apt-get install systemd", pytrace=False)
    unit = folder / UNIT.name
    unit.write_text(UNIT.read_text(encoding="utf-8").replace(COMMAND, sys.executable), encoding="utf-8")
    return subprocess.run([ANALYZE, *words, unit], capture_output=True, text=True, timeout=60, check=False)


def test_systemd_finds_nothing_wrong_with_the_unit(tmp_path):
    run = analyze(tmp_path, "verify")
    assert (run.returncode, run.stdout + run.stderr) == (0, "")


def test_systemd_finds_a_misspelt_setting(tmp_path, monkeypatch):
    # that the test above can fail
    wrong = tmp_path / "wrong" / UNIT.name
    wrong.parent.mkdir()
    wrong.write_text(UNIT.read_text(encoding="utf-8").replace("WatchdogSec=", "WatchDogSec="), encoding="utf-8")
    monkeypatch.setattr(sys.modules[__name__], "UNIT", wrong)
    assert "'WatchDogSec'" in analyze(tmp_path, "verify").stderr


def test_systemd_finds_that_the_service_may_do_little(tmp_path):
    run = analyze(tmp_path, "security", "--offline=true", "--no-pager", f"--threshold={MOST * 10:.0f}")
    assert run.returncode == 0, run.stdout + run.stderr
    overall = re.search(r"Overall exposure level for wallclime\.service: ([\d.]+)", run.stdout)
    assert float(overall[1]) <= MOST


def test_it_starts_a_command_that_there_is_in_the_folder_that_it_may_write():
    command, *words = setting("ExecStart").split()
    assert command == COMMAND
    assert words == ["--home", f"/var/lib/{setting('StateDirectory')}", "serve"]
    assert "serve" in tree().commands
    assert (setting("StateDirectoryMode"), setting("UMask")) == ("0700", "0077")
    assert setting("User") == setting("Group") == "wallclime"  # always the same, so that commands can run beside it


def test_it_is_started_again_but_for_settings_that_are_wrong():
    assert (setting("Type"), setting("NotifyAccess")) == ("notify", "main")
    assert (setting("Restart"), setting("StartLimitIntervalSec")) == ("on-failure", "0")
    assert setting("RestartPreventExitStatus") == str(SettingsError.exit_code)
    assert str(StoreError.exit_code) not in setting("RestartPreventExitStatus")


def test_its_patience_is_longer_than_what_may_take_long():
    # half of it is between two signs of life, in which a listener must go round once
    assert seconds(setting("WatchdogSec")) / 2 > pulse.TURNS_WITHIN
    assert seconds(setting("TimeoutStopSec")) > 2 * deadman.WITHIN


def test_it_may_ask_how_far_the_clock_is_off_and_not_set_it():
    given = [value for key, value in lines() if key == "SystemCallFilter"]
    assert given == ["@system-service", "~@privileged @resources", "adjtimex clock_adjtime clock_adjtime64"]
    assert setting("CapabilityBoundingSet") == setting("AmbientCapabilities") == ""
    assert "ProtectClock" not in dict(lines())


def test_every_setting_stands_once_but_the_filter_of_calls():
    names = [name for name, _ in lines() if name not in ("SystemCallFilter",)]
    assert sorted(names) == sorted(set(names))
