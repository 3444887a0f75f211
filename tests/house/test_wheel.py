"""The wheel, built once a run: what it carries, and that it works without the checkout."""

import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def wheel(tmp_path_factory):
    out = tmp_path_factory.mktemp("wheel")
    done = subprocess.run(
        [sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", str(out), str(ROOT)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr[-2000:]
    (found,) = out.glob("wallclime-*.whl")
    return found


def test_the_wheel_carries_its_data_and_nothing_of_the_tests(wheel):
    names = zipfile.ZipFile(wheel).namelist()
    for needed in (
        "monitor/py.typed",
        "cli/py.typed",
        "monitor/config/starter.toml",
        "monitor/config/profiles/laminate-planks.toml",
        "monitor/keep/migrations/0001_first.py",
        "monitor/tell/templates/report.html",
    ):
        assert needed in names
    assert any(name.endswith("licenses/monitor/LICENSE") for name in names)
    assert not [name for name in names if name.split("/")[0] not in ("monitor", "cli") and ".dist-info/" not in name]


def test_the_installed_wheel_opens_a_job_and_writes_a_report_away_from_the_checkout(wheel, tmp_path):
    site = tmp_path / "site"
    # without what would take seconds and says nothing here: a look for a newer pip, and bytecode of modules never used
    options = ["-q", "--no-deps", "--no-index", "--disable-pip-version-check", "--no-compile"]
    subprocess.run([sys.executable, "-m", "pip", "install", *options, "--target", str(site), str(wheel)], check=True)
    ours = {"PYTHONPATH": str(site), "PYTHONWARNINGS": "error", "WALLCLIME_HOME": str(tmp_path / "home")}
    environ = {**os.environ, **ours}
    where = subprocess.run(
        [sys.executable, "-c", "import monitor; print(monitor.__file__)"],
        env=environ,
        capture_output=True,
        text=True,
        check=True,
        cwd=tmp_path,
    )
    assert where.stdout.startswith(str(site))
    for arguments in (
        ["job", "open", "attic", "--zone", "UTC", "--length", "4 m", "--height", "2.4 m"],
        ["status", "attic"],
        ["report", "attic", "-o", str(tmp_path / "attic.html")],
    ):
        subprocess.run(
            [sys.executable, "-c", "from cli.main import main; main()", *arguments],
            env=environ,
            capture_output=True,
            check=True,
            cwd=tmp_path,
        )
    assert "attic" in (tmp_path / "attic.html").read_text(encoding="utf-8")
