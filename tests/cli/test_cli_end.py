"""How the installed command ends: at once, but with all that it printed, and with the exit status of `run`."""

from __future__ import annotations

import subprocess
from pathlib import Path

from processes import WALLCLIME

from monitor.rules.cautions import Caution
from monitor.tell.cautions import catalogue


def ran(home: Path, *args: str, **streams: int) -> subprocess.CompletedProcess[str]:
    streams = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, **streams}
    return subprocess.run([*WALLCLIME, "--home", str(home), *args], text=True, check=False, **streams)


def test_all_that_is_printed_comes_out_and_the_exit_status_is_that_of_the_command(tmp_path):
    listed = ran(tmp_path, "cautions")
    assert (listed.returncode, listed.stderr) == (0, "")
    assert listed.stdout == catalogue(tuple(Caution)) + "\n"
    refused = ran(tmp_path, "status", "den")
    assert (refused.returncode, refused.stdout) == (2, "")
    assert refused.stderr == "job den: there is no job 'den'. wallclime job list shows the jobs there are\n"


def test_on_a_full_disk_it_is_said_in_a_line(tmp_path):
    with open("/dev/full", "w") as full:
        found = ran(tmp_path, "cautions", stdout=full.fileno())
    assert found.returncode == 2
    said = "stdout: it can't be written (No space left on device). Free some space, or send it elsewhere\n"
    assert found.stderr == said
