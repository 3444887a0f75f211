"""The contractor, two years later: gaps in January, a letter from a lawyer, and a stranger who believes nobody.

The record is handed over in whole and in part. The stranger checks both with the check that stands in the record's own
VERIFY.md, in a Python that finds nothing of ours. Then somebody tampers with copies of it, in each way that the other
side could think of; and page one of the report is asked what it says to the opponent's list.
"""

from __future__ import annotations

import hashlib
import html as markup
import json
import re
import shutil
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest
from contractor_wall import JOB, lived
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.hazmat.primitives.serialization import load_pem_private_key
from invented_wall import Answer, House


@dataclass
class Case:
    """The house, the codes that others hold, the record in whole and in part, the check of a stranger, the report."""

    house: House
    codes: dict[str, str]
    record: Path
    part: Path
    check: Path
    report: str


@pytest.fixture(scope="module")
def case(tmp_path_factory: pytest.TempPathFactory) -> Case:
    house, codes = lived(tmp_path_factory.mktemp("contractor"))
    house.done("bundle", JOB, "-o", "record")
    house.done("disclose", "record", "-o", "part", "--from", "2026-12-07", "--to", "2026-12-10")
    house.done("report", JOB, "-o", "report.html")
    folder = house.folder
    page = (folder / "record/data/VERIFY.md").read_text(encoding="utf-8").partition("## A check to copy")[2]
    check = house.file("check.py", page.partition("```python\n")[2].partition("```")[0])
    return Case(house, codes, folder / "record", folder / "part", check, (folder / "report.html").read_text("utf-8"))


def stranger(case: Case, folder: Path, *codes: str) -> Answer:
    """What the check says in a Python without any package of ours or of others."""
    command = [sys.executable, "-I", "-S", case.check.name, str(folder), *codes]
    done = subprocess.run(command, cwd=case.house.folder, capture_output=True, text=True, timeout=60, check=False)
    return Answer(done.returncode, done.stdout, done.stderr)


# --- the record and a stranger ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("which", ["record", "part"])
def test_a_stranger_without_the_program_finds_the_record_and_the_disclosed_part_whole(case: Case, which: str):
    found = stranger(case, getattr(case, which), case.codes["delivery"])
    assert (found.code, found.err) == (0, "")
    first, key = found.out.splitlines()
    assert re.fullmatch(rf"WHOLE, as far as this looks: {JOB}, \d+ heads, \d+ records", first)
    ours = case.house.done("verify", getattr(case, which), "--head", case.codes["delivery"]).out
    assert key.removeprefix("key: ") == ours.partition("key: ")[2].partition("\n")[0].replace(" ", "")


def test_the_check_of_a_stranger_finds_nothing_of_ours_nor_of_others(case: Case):
    asked = (
        "import importlib.util as u; print([n for n in ('cli', 'monitor', 'cryptography', 'numpy') if u.find_spec(n)])"
    )
    done = subprocess.run(
        [sys.executable, "-I", "-S", "-c", asked], cwd=case.house.folder, capture_output=True, text=True, check=True
    )
    assert done.stdout == "[]\n"


def test_the_disclosed_part_holds_the_acclimation_and_not_the_later_life(case: Case):
    days = {path.name[:10] for path in (case.part / "data/segments").rglob("*.segment")}
    assert days == {"2026-12-07", "2026-12-08", "2026-12-09", "2026-12-10"}
    assert [path.name for path in sorted((case.part / "data/readings").rglob("*.csv"))] == ["2026-12.csv"]


# --- attempts ---------------------------------------------------------------------------------------------------------


def remade(root: Path) -> None:
    """The manifests made anew, as a forger would who knows how: only the signature is left to betray the change."""
    files = sorted(path for path in (root / "data").rglob("*") if path.is_file())

    def listed(paths: list[Path]) -> str:
        return "".join(f"{hashlib.sha256(p.read_bytes()).hexdigest()}  {p.relative_to(root)}\n" for p in paths)

    (root / "manifest-sha256.txt").write_text(listed(files), encoding="utf-8")
    info = root / "bag-info.txt"
    size = f"Payload-Oxum: {sum(path.stat().st_size for path in files)}.{len(files)}"
    info.write_text(re.sub(r"Payload-Oxum: .*", size, info.read_text(encoding="utf-8")), encoding="utf-8")
    tags = [root / name for name in ("bag-info.txt", "bagit.txt", "manifest-sha256.txt")]
    (root / "tagmanifest-sha256.txt").write_text(listed(tags), encoding="utf-8")


def signed_anew(root: Path) -> None:
    """The bundle signed with a key of the forger's own, whose statement takes the place of the true one."""
    key = Ed25519PrivateKey.generate()
    public = key.public_key().public_bytes_raw().hex()

    def canonical(value: object) -> str:
        return json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=False)

    def signature(kind: str, text: str) -> str:
        return key.sign(f"wallclime-{kind} 1\n{text}".encode()).hex()

    keys = root / "data/seals/keys.jsonl"
    line = json.loads(keys.read_text(encoding="utf-8"))
    statement = canonical({**json.loads(line["statement"]), "key": public})
    keys.write_text(canonical({**line, "statement": statement, "new": signature("key", statement)}) + "\n", "utf-8")
    remade(root)
    own = root / "signature.json"
    said = json.loads(json.loads(own.read_text(encoding="utf-8"))["statement"])
    said["tagmanifest"] = hashlib.sha256((root / "tagmanifest-sha256.txt").read_bytes()).hexdigest()
    said["key"] = hashlib.sha256(bytes.fromhex(public)).hexdigest()
    text = canonical(said)
    own.write_text(canonical({"statement": text, "signature": signature("bundle", text)}) + "\n", encoding="utf-8")


def signed_by_the_holder(root: Path) -> None:
    """The manifests made anew and signed with the true key: by whoever runs the installation himself."""
    remade(root)
    (pem,) = (root.parent / "home/keys").glob("*.pem")
    key = load_pem_private_key(pem.read_bytes(), None)
    assert isinstance(key, Ed25519PrivateKey)
    own = root / "signature.json"
    said = json.loads(json.loads(own.read_text(encoding="utf-8"))["statement"])
    said["tagmanifest"] = hashlib.sha256((root / "tagmanifest-sha256.txt").read_bytes()).hexdigest()
    text = json.dumps(said, sort_keys=True, separators=(",", ":"))
    value = {"signature": key.sign(f"wallclime-bundle 1\n{text}".encode()).hex(), "statement": text}
    own.write_text(json.dumps(value, sort_keys=True, separators=(",", ":")) + "\n", encoding="utf-8")


def first_segment(root: Path) -> Path:
    return min((root / "data/segments").rglob("2026-12-08-*.segment"))


def a_reading_is_edited(root: Path) -> None:
    path = first_segment(root)
    data = bytearray(path.read_bytes())
    data[-1] ^= 1
    path.write_bytes(bytes(data))


def an_entry_is_edited(root: Path) -> None:
    path = root / "data/log/job.jsonl"
    text = path.read_text(encoding="utf-8")
    assert text.count("Vera asks") >= 1
    path.write_text(text.replace("Vera asks", "Vera begs"), encoding="utf-8")


def a_day_is_dropped(root: Path) -> None:
    first_segment(root).unlink()


def the_profile_is_replaced(root: Path) -> None:
    path = root / "data/profile.toml"
    path.write_text(path.read_text(encoding="utf-8").replace("35 %", "25 %"), encoding="utf-8")


def nothing(root: Path) -> None:
    pass


FORGERIES: list[tuple[Callable[[Path], None], Callable[[Path], None], str, str]] = [
    # what is done, what is done to hide it, what verify says of it, what the stranger's check says
    (a_reading_is_edited, nothing, "2026-12-08-", "2026-12-08-"),
    (a_reading_is_edited, remade, "2026-12-08-", "another bundle was signed"),
    (an_entry_is_edited, remade, "log/job.jsonl", "another bundle was signed"),
    (a_day_is_dropped, remade, "the readings of 2026-12-08 that leaf ", "another bundle was signed"),
    (a_day_is_dropped, signed_by_the_holder, "the readings of 2026-12-08 that", "readings of record 2 are missing"),
    (the_profile_is_replaced, remade, "tagmanifest-sha256.txt: it is not the one that was signed", "another bundle"),
    (the_profile_is_replaced, signed_by_the_holder, "data/profile.toml: it is not the profile that the log has", ""),
    (nothing, signed_anew, "head", "head 1 is of a strange key"),
]  # fmt: skip


@pytest.mark.parametrize(("change", "hide", "ours", "strangers"), FORGERIES)
def test_an_attempt_is_named_by_verify_and_by_the_check_of_a_stranger(
    case: Case, change: Callable, hide: Callable, ours: str, strangers: str
):
    forged = case.house.folder / "forged"  # beside the home, whose key the holder has
    shutil.rmtree(forged, ignore_errors=True)
    shutil.copytree(case.record, forged)
    change(forged)
    hide(forged)
    found = case.house("verify", forged)
    assert found.code == 1
    assert found.out.startswith("BROKEN: ")
    faults = [line for line in found.err.splitlines() if line.startswith("FAULT ")]
    assert any(ours in line for line in faults), faults
    own = stranger(case, forged)
    if not strangers:  # it does not judge anew, and says so
        assert (own.code, own.out[:26]) == (0, "WHOLE, as far as this look")
        return
    assert own.code == 1
    assert own.err.startswith("BROKEN: ")
    assert strangers in own.err


def test_a_code_of_another_record_is_in_none_of_the_heads(case: Case):
    strange = "0000-0000-0000-0000-0000-0000"
    assert case.house("verify", case.record, "--head", strange).code == 1
    assert stranger(case, case.record, strange).err == f"BROKEN: no head has the code {strange}\n"


# --- page one ---------------------------------------------------------------------------------------------------------


def page_one(case: Case) -> dict[str, str]:
    """The answers under "Before you rely on this"."""
    listed = re.search(r'<dl[^>]*id="candour"[^>]*>(.*?)</dl>', case.report, re.DOTALL)
    assert listed is not None
    pairs = re.findall(r"<dt[^>]*>(.*?)</dt>\s*<dd[^>]*>(.*?)</dd>", listed[1], re.DOTALL)
    plain = [[" ".join(markup.unescape(re.sub(r"<[^>]+>", "", text)).split()) for text in pair] for pair in pairs]
    return dict(plain)


def test_page_one_answers_the_list_of_the_other_side(case: Case):
    told = page_one(case)
    assert told["placement"] == (
        "By what was entered: stairs at stair wall (how, nobody said). Whether it was so no record can show."
    )
    assert told["clock"].startswith(
        "No jump of the computer's clock was written down. Readings from loggers' files have the times of the loggers'"
    )
    assert re.fullmatch(
        r"The key that seals is (?:[0-9a-f]{4} ?){16}\. Others hold a head, by entry \d+: what that head seals its "
        r"holder could not write anew\.",
        told["key"],
    )
    assert told["profile"] == "The profile has not changed since the job was opened."
    assert told["written late"].startswith("More than an hour from the time spoken of: entries ")  # backdating
    assert told["corrected"] == "Nothing in the log was corrected."
    assert "between two excursions of one side: not shown in band, probably out." in told["silences"]
    assert told["what this shows"].startswith("Shown: what the sensors said, when it arrived, ")


def test_the_two_januaries_stand_side_by_side_with_what_was_not_heard(case: Case):
    spans = ("--span", "2026-12-07..2026-12-10", "--span", "2027-01-01..2027-02-01")
    case.house.done("dispute", JOB, *spans, "--bundle", "record", "-o", "dispute.html")
    page = (case.house.folder / "dispute.html").read_text(encoding="utf-8")
    text = " ".join(markup.unescape(re.sub(r"<[^>]+>", " ", page)).split())
    manifest = hashlib.sha256((case.record / "tagmanifest-sha256.txt").read_bytes()).hexdigest()
    assert manifest in text
