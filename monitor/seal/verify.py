"""The check of a bundle. It needs nothing but the folder, lists every fault, and says what it cannot see.

The plan; VERIFY.md tells a stranger the same steps, with the algorithms.

 1. Look through the folder: plain files only, nothing that leads elsewhere, nothing without end.
 2. The bag: every file is the one that the manifests list, none is missing or added; what the bundle says it is.
 3. The signature of the tag manifest, with the newest key and under the last head.
 4. The keys, from the first one, each brought in by the one before it or declared lost.
 5. The heads: each follows on the one before, is signed with the key of its time, part of the last; every day closed.
 6. The records: each is in the tree of the last head; of a thread none is left out between two.
 7. The readings: each segment is the one of its record, to the byte, or what the log says is left of a thinned day;
    days that are not sealed, days that were amended.
 8. The tables: CSV and SenML say what the segments say.
 9. The logs: each chain hangs together, and up to where it was sealed.
10. Photos and documents: those that the log names.
11. What was refused: in the tree of its day.
12. The heads that others kept: each code is that of a head of this record.
13. Time-stamps: what outside authorities say of when a head was there.

To judge the readings anew by the rules, and to compare that with the report, is for the one who knows the rules: it
gets the checked readings and entries from here.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

from monitor.basis.errors import RecordError
from monitor.basis.segment import decode, series_of
from monitor.basis.values import Entry, Quantity, Series
from monitor.seal import bag, codes, comparing, layout, proving, timestamp
from monitor.seal.bundle import template
from monitor.seal.chain import Withheld
from monitor.seal.comparing import Shown
from monitor.seal.findings import FaultKind, Finding, Findings
from monitor.seal.folder import Folder, look_through
from monitor.seal.heads import SignedHead
from monitor.seal.keys import Epoch
from monitor.seal.proving import About, Heard
from monitor.seal.records import ABSENCE, CLOCK_STEP, GAP, Record, Refusal

BLIND = (
    "whether a sensor measured what it should, hung where the log says, and is the one that it is said to be",
    "whether the holder of the key left out or changed readings before the day was sealed",
    "whether a second record is kept beside this one, unless heads that others were sent are compared (--head)",
    "what happened after the last head",
    "who wrote an entry: a name in it is a claim",
    "when things were really sealed, beyond what witnesses and time-stamps say: the clock is the recorder's own",
)
BLIND_TO_A_CHOICE = "whether this disclosure leaves out what comes after the last record shown of a sensor or log"


class Verified(NamedTuple):
    """What the check of a bundle found, and what can be taken from it.

    `unlisted` faults beyond those listed; `heads` oldest first; `log` and `sensors_log` the entries whose body is
    shown; `refused` what was refused; `documents` names. Take nothing from a bundle with faults for proven.
    """

    about: About
    faults: tuple[Finding, ...]
    unlisted: int
    remarks: tuple[str, ...]
    blind: tuple[str, ...]
    epochs: tuple[Epoch, ...]
    heads: tuple[SignedHead, ...]
    log: tuple[Entry, ...]
    sensors_log: tuple[Entry, ...]
    withheld: int
    refused: tuple[Refusal, ...]
    shown: dict[str, list[Shown]]
    folder: Folder

    @property
    def whole(self) -> bool:
        """Whether there is no fault at all."""
        return not self.faults

    @property
    def code(self) -> str | None:
        """The short code of the last head."""
        return codes.code_of(self.heads[-1].hash) if self.heads else None

    def series(self, stream: str, quantity: Quantity) -> Series:
        """The readings of one channel. Raises RecordError where two have the same time."""
        try:
            return series_of((decode(one.data) for one in self.shown.get(stream, ())), quantity)
        except ValueError as exc:
            raise RecordError(
                str(exc), where=f"{stream} in the bundle", mend="Compare with another copy of the bundle"
            ) from exc

    def document(self, name: str) -> bytes | None:
        """A document such as layout.ASSESSMENT or layout.PROFILE; None where it is not there. Raises RecordError."""
        path = f"data/{name}"
        try:
            return self.folder.read(path) if path in self.folder else None
        except (OSError, ValueError) as exc:
            raise RecordError(f"it can't be read ({exc})", where=path, mend="Give a copy that can be read") from exc


def verify(
    root: Path, *, heads: Sequence[str] = (), key: str | None = None, authorities: Sequence[bytes] = ()
) -> Verified:
    """Check the bundle in the folder `root`.

    Parameters
    ----------
    root : Path
        The folder of the bundle.
    heads : sequence of str
        Codes or hashes of heads as others kept them; each must be of this record.
    key : str, optional
        The fingerprint that a key of the record must have.
    authorities : sequence of bytes
        Root certificates (PEM) of time-stamp authorities that are trusted.

    Raises
    ------
    RecordError
        If there is no bundle at all, or a code was mistyped.
    """
    wanted = [codes.read_code(one) for one in heads]
    findings = Findings()
    folder = look_through(root, findings)  # 1
    if not {"bagit.txt", bag.MANIFEST, bag.TAG_MANIFEST, f"data/{layout.ABOUT}"} & set(folder.sizes):
        raise RecordError("it is no bundle", where=str(root), mend="Give the folder of a bundle")
    bag.check_bag(folder, findings, besides=layout.SIGNATURE)  # 2
    about = proving.read_about(folder, findings)
    epochs = proving.check_keys(folder, key, findings)  # 4
    heard = proving.check_heads(folder, epochs, findings)  # 5
    proving.check_signature(folder, about, epochs, heard, findings)  # 3, with the keys of 4 and the heads of 5
    records = proving.check_records(folder, about, heard, findings)  # 6
    closed = proving.last_closed(heard)
    shown = comparing.check_segments(folder, about, records, closed, findings)  # 7
    comparing.check_tables(folder, about, shown, findings)  # 8
    (job_file, job), (sensors_file, sensors) = comparing.chains_of(about)
    log = comparing.check_log(folder, job_file, job, records, findings)  # 9
    sensors_log = comparing.check_log(folder, sensors_file, sensors, records, findings)
    comparing.check_attachments(folder, [*log, *sensors_log], about, findings)  # 10
    refused = comparing.check_refused(folder, records, findings)  # 11
    _check_witnesses(wanted, heard, findings)  # 12
    timestamp.check_timestamps(folder, [one.signed for one in heard], authorities, findings)  # 13
    _check_vouched(folder, about, findings)
    _tell_silences(records, findings)
    return Verified(
        about=about,
        faults=tuple(findings.faults),
        unlisted=findings.unlisted,
        remarks=tuple(findings.remarks),
        blind=(*BLIND, *([BLIND_TO_A_CHOICE] if about.disclosure else [])),
        epochs=tuple(epochs),
        heads=tuple(one.signed for one in heard),
        log=_bodies(log),
        sensors_log=_bodies(sensors_log),
        withheld=len([one for one in [*log, *sensors_log] if isinstance(one, Withheld)]),
        refused=tuple(one.refusal for one in refused),
        shown=shown,
        folder=folder,
    )


def _bodies(entries: Sequence[Entry | Withheld]) -> tuple[Entry, ...]:
    return tuple(entry for entry in entries if isinstance(entry, Entry))


def _check_witnesses(wanted: Sequence[str], heads: Sequence[Heard], findings: Findings) -> None:
    for code in wanted:
        found = [one.head for one in heads if codes.fits(code, one.signed.hash)]
        if found:
            findings.remark(f"The code {code} is that of head {found[0].number}: all up to there is as it was then.")
        else:
            means = "The record is not the one that the code was sent of, or it was written anew since"
            findings.fault(FaultKind.UNKNOWN_HEAD, f"code {code}", "no head of the bundle has it", means)


def _check_vouched(folder: Folder, about: About, findings: Findings) -> None:
    """Of a disclosure without a signature nothing stays unproven unseen."""
    if not about.disclosure or layout.SIGNATURE in folder:
        return
    proven = ("attachments", "log", "readings", "seals", "segments", "senml", "timestamps", "unsealed")
    for path in folder.under("data/"):
        name = path.removeprefix("data/")
        if name in (layout.VERIFY, layout.STATEMENT):
            if not _same(folder, path, template(name)):
                findings.remark(f"{path} is not the one of this version of the program; do not rely on it.")
        elif name not in (layout.ABOUT, layout.QUARANTINE) and name.split("/")[0] not in proven:
            findings.fault(FaultKind.ADDED, path, "nothing vouches for it", "A disclosure without a signature has none")


def _same(folder: Folder, path: str, data: bytes) -> bool:
    try:
        return folder.equals(path, data)
    except OSError:
        return False


def _tell_silences(records: dict[int, Record], findings: Findings) -> None:
    for kind, words in (
        (GAP, "silences of sensors"),
        (ABSENCE, "times without the recorder"),
        (CLOCK_STEP, "clock steps"),
    ):
        count = sum(record["record"] == kind for record in records.values())
        if count:
            findings.remark(f"Recorded: {count} {words}.")
