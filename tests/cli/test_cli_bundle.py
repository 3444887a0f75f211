"""wallclime bundle, verify and disclose: what they say, and with which exit status."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest
from homes import COLUMNS, DELIVERED, OPEN_DEN, Home, Result, csv_of, steady

from monitor.seal.verify import BLIND, BLIND_TO_A_CHOICE

CODE = r"[0-9A-Z]{4}(?:-[0-9A-Z]{4}){5}"
KEY = r"[0-9a-f]{4}(?: [0-9a-f]{4}){15}"


@pytest.fixture(scope="module")
def handed_over(tmp_path_factory) -> tuple[Home, Path, Result]:
    """A home with two days of readings, the bundle of its job, and what writing it said."""
    home = Home(tmp_path_factory.mktemp("bundle") / "home")
    home.done(*OPEN_DEN)
    home.done("log", "deliver", "den", "--at", "2026-01-05T08:00", "--lot", "B7")
    readings = home.file("den.csv", csv_of(steady(DELIVERED, 48, step=30)))
    home.done("import", "den", readings, "--sensor", "shelf", *COLUMNS)
    target = home.path.parent / "bundle"
    return home, target, home.done("bundle", "den", "-o", target)


@pytest.fixture
def copy(handed_over, tmp_path) -> Path:
    """A copy of the bundle, to be changed."""
    shutil.copytree(handed_over[1], tmp_path / "bundle")
    return tmp_path / "bundle"


@pytest.fixture
def anywhere(tmp_path) -> Home:
    """The command, where there is no home."""
    return Home(tmp_path / "nowhere")


def plain(text: str) -> list[str]:
    return re.sub(KEY, "KEY", re.sub(CODE, "CODE", text)).splitlines()


def test_a_bundle_says_where_to_begin_and_what_to_compare(handed_over):
    _, target, result = handed_over
    first, second = plain(result.err)
    assert first == f"wrote {target}; begin with {target}/data/VERIFY.md"
    assert re.fullmatch("head 2, code CODE; SHA-256 of the tag manifest [0-9a-f]{64}", second)
    assert result.out == ""


def test_a_whole_bundle_is_said_to_be_whole_with_what_no_check_sees(handed_over, anywhere):
    result = anywhere.bare("verify", handed_over[1])
    assert result.code == 0
    assert plain(result.out) == [
        "WHOLE: record of den, 2 heads",
        "last head: 2, code CODE",
        "key: KEY",
        "the verdict follows from the readings and the log",
    ]
    assert plain(result.err) == [
        "mind: The key is what the bundle says it is. Compare its fingerprint with an earlier report: KEY",
        *(f"not seen by any check: {what}" for what in BLIND),
    ]
    assert not anywhere.path.exists()


def test_a_code_and_a_key_that_were_kept_are_compared(handed_over, anywhere):
    home, target, _ = handed_over
    found = home.done("seal", "status", "--json").json()
    code = found["heads"][0]["code"]
    result = anywhere.bare("verify", target, "--head", code, "--key", found["key"])
    assert result.code == 0
    assert result.err.splitlines()[0] == (
        f"mind: The code {code} is that of head 1: all up to there is as it was then."
    )


def test_a_code_and_a_key_of_others_are_faults(handed_over, anywhere):
    code = "0000-0000-0000-0000-0000-0000"
    result = anywhere.bare("verify", handed_over[1], "--head", code, "--key", "ab" * 32)
    assert result.code == 1
    assert result.err.splitlines()[:2] == [
        f"FAULT (wrong key) data/seals/keys.jsonl: no key of the record has the fingerprint {' '.join(['abab'] * 16)}. "
        "It is the record of somebody else, or a forged one",
        f"FAULT (unknown head) code {code}: no head of the bundle has it. "
        "The record is not the one that the code was sent of, or it was written anew since",
    ]
    assert result.out.splitlines()[0] == "BROKEN: record of den, 2 heads"
    assert "the verdict follows" not in result.out


def test_every_fault_is_told_with_where_and_what_it_means(copy, anywhere):
    (copy / "data/profile.toml").write_text("other")
    (copy / "data/extra.txt").write_text("x")
    result = anywhere.bare("verify", copy)
    assert result.code == 1
    told = [line for line in result.err.splitlines() if line.startswith("FAULT")]
    assert told == [
        "FAULT (added) data/extra.txt: no manifest lists it. It was put in after the bundle was made",
        "FAULT (altered) data/profile.toml: it is not the file that the manifest lists. "
        "Compare with another copy of the bundle",
        told[2],
    ]
    assert told[2].startswith("FAULT (altered) bag-info.txt: it states ")
    assert "mind: The verdict was not computed anew, as the bundle has faults.\n" in result.err


def test_the_findings_for_machines(copy, anywhere):
    whole = anywhere.bare("verify", copy, "--json").json()
    assert (whole["whole"], whole["verdict_recomputed"], whole["heads"], whole["faults"]) == (True, True, 2, [])
    assert whole["not_seen"] == list(BLIND)
    (copy / "data/profile.toml").unlink()
    result = anywhere.bare("verify", copy, "--json")
    assert (result.code, result.json()["whole"]) == (1, False)
    assert result.json()["faults"][0] == {
        "kind": "missing",
        "where": "data/profile.toml",
        "what": "the manifest lists it and it is not there",
        "means": "Compare with another copy of the bundle",
    }


@pytest.mark.parametrize(
    ("args", "said"),
    [
        (("nowhere",), "nowhere: there is no such folder. Give the folder of a bundle"),
        ((".",), ".: it is no bundle. Give the folder of a bundle"),
        ((".", "--head", "K7RT"), "code K7RT: a code has 24 signs, not 4. Compare it sign by sign with what was sent"),
        ((".", "--authority", "no.pem"), "no.pem: it can't be read (No such file or directory). Check the path"),
    ],
)
def test_what_verify_can_not_read(anywhere, tmp_path, monkeypatch, args, said):
    monkeypatch.chdir(tmp_path)
    result = anywhere.bare("verify", *args)
    assert (result.code, result.out, result.err) == (2, "", said + "\n")


def test_a_bundle_is_written_over_nothing(handed_over):
    home, target, _ = handed_over
    assert home("bundle", "den", "-o", target).err == (
        f"{target}: there is something already. Name a new folder with -o DIR\n"
    )


# --- disclose


def shown(anywhere: Home, source: Path, target: Path, *args: object) -> tuple[str, str]:
    """The tables and the logs of a disclosure; it is whole."""
    assert anywhere.bare("disclose", source, "-o", target, *args).err == f"wrote {target}\n"
    result = anywhere.bare("verify", target)
    assert (result.code, result.out.splitlines()[0]) == (0, "WHOLE: disclosure of den, 2 heads")
    assert f"not seen by any check: {BLIND_TO_A_CHOICE}\n" in result.err
    assert "mind: The verdict was not computed anew: a disclosure does not hold all of it.\n" in result.err
    tables = "".join(path.read_text() for path in target.rglob("*.csv"))
    return tables, "".join(path.read_text() for path in target.rglob("log/*.jsonl"))


def test_chosen_days_channels_and_entries_are_shown_and_nothing_else(handed_over, anywhere, tmp_path):
    choice = ("--from", "2026-01-06", "--to", "2026-01-06", "--channel", "air_humidity", "--entries", "1,4-5")
    tables, text = shown(anywhere, handed_over[1], tmp_path / "part", *choice)
    assert ("2026-01-06T01:00" in tables, "2026-01-05T" in tables, "2026-01-07T0" in tables) == (True, False, False)
    assert "air_temperature" not in tables
    assert ('\\"kind\\":\\"deliver\\"' in text, '\\"kind\\":\\"profile\\"' in text) == (True, False)
    assert '\\"kind\\":\\"assignment\\"' in text


def test_all_is_shown_that_is_not_narrowed_down(handed_over, anywhere, tmp_path):
    tables, text = shown(anywhere, handed_over[1], tmp_path / "part", "--channel", "file:shelf air_temperature")
    assert ("2026-01-05T1" in tables, "2026-01-07T0" in tables, "air_humidity" in tables) == (True, True, False)
    assert '\\"kind\\":\\"profile\\"' in text


@pytest.mark.parametrize(
    ("args", "said"),
    [
        (("--from", "5 January"), "--from: '5 January' is no day. Write it like 2026-01-05"),
        (("--to", "2026-02-30"), "--to: '2026-02-30' is no day. Write it like 2026-01-05"),
        (
            ("--from", "2026-01-07", "--to", "2026-01-06"),
            "days: the last day is before the first. Give the first day, then the last",
        ),
        (
            ("--channel", "humidity"),
            "--channel: 'humidity' is no quantity. Quantities are air_temperature, air_humidity, surface_temperature, "
            "box_temperature, wall_moisture, battery; sensors file:shelf",
        ),
        (
            ("--channel", "attic air_humidity"),
            "--channel: there is no sensor 'attic' in the bundle. Quantities are air_temperature, air_humidity, "
            "surface_temperature, box_temperature, wall_moisture, battery; sensors file:shelf",
        ),
        (("--entries", "first"), "--entries: 'first' is no number of an entry. Write it like \"1-5,9\""),
        (("--entries", "90-99"), "--entries: there is no entry 90-99. The log shows 1 to 6"),
        (("--entries", "3-2"), "--entries: there is no entry 3-2. The log shows 1 to 6"),
    ],
)
def test_what_disclose_refuses(handed_over, anywhere, tmp_path, args, said):
    result = anywhere.bare("disclose", handed_over[1], "-o", tmp_path / "part", *args)
    assert (result.code, result.err) == (2, said + "\n")
    assert not (tmp_path / "part").exists()


def test_nothing_is_disclosed_of_a_bundle_with_faults(copy, anywhere, tmp_path):
    (copy / "data/profile.toml").write_text("other")
    assert anywhere.bare("disclose", copy, "-o", tmp_path / "part").err == (
        f"{copy}: the bundle has faults. Check it first, and disclose from a whole one\n"
    )
