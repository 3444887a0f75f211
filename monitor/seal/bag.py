"""A BagIt 1.0 bag (RFC 8493): written so that the same content gives the same bytes, and checked."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable, Sequence
from pathlib import Path

from monitor.basis.errors import ReportError
from monitor.seal.findings import FaultKind, Findings
from monitor.seal.folder import Folder

DECLARATION = b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"  # RFC 8493, 2.1.1
INFO, MANIFEST, TAG_MANIFEST = "bag-info.txt", "manifest-sha256.txt", "tagmanifest-sha256.txt"
TAGS = ("bag-info.txt", "bagit.txt", "manifest-sha256.txt")

_LINE = re.compile(r"([0-9a-f]{64})  (\S.*)")
_OXUM = re.compile(r"^Payload-Oxum: (\d{1,18}\.\d{1,18})$", re.M)
_COMPARE = "Compare with another copy of the bundle"


def write_bag(root: Path, payload: Iterable[tuple[str, bytes]], info: Sequence[tuple[str, str]]) -> str:
    """Write the payload (name under `data/` with "/", content) into a new folder `root` as a bag.

    `info` are the lines of bag-info.txt; Payload-Oxum is added. Answers the SHA-256 of the tag manifest, in hex.
    Raises ReportError when there is something at `root` already or it can't be written.
    """
    try:
        root.mkdir(parents=True)
        sums, total = {}, 0
        for name, content in payload:
            sums[f"data/{name}"] = _write(root / "data" / name, content)
            total += len(content)
        lines = [*info, ("Payload-Oxum", f"{total}.{len(sums)}")]
        tags = {
            "bagit.txt": DECLARATION,
            INFO: "".join(f"{label}: {' '.join(value.split())}\n" for label, value in lines).encode(),
            MANIFEST: manifest(sums),
        }
        tag_manifest = manifest({name: _write(root / name, content) for name, content in tags.items()})
        return _write(root / TAG_MANIFEST, tag_manifest)
    except FileExistsError as exc:
        raise ReportError("there is something already", where=str(root), mend="Name a new folder with -o DIR") from exc
    except OSError as exc:
        raise ReportError(
            f"it can't be written ({exc.strerror})", where=str(root), mend="Make room, or name another folder"
        ) from exc


def _write(path: Path, content: bytes) -> str:
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("xb") as file:
        file.write(content)
    return hashlib.sha256(content).hexdigest()


def manifest(sums: dict[str, str]) -> bytes:
    """The lines of a manifest, in order of the names: RFC 8493, 2.1.3."""
    return "".join(f"{sums[name]}  {encoded(name)}\n" for name in sorted(sums)).encode()


def encoded(name: str) -> str:
    """A name as a manifest has it: CR, LF and % are percent-encoded, and only those (RFC 8493, 2.1.3)."""
    return name.replace("%", "%25").replace("\r", "%0D").replace("\n", "%0A")


def decoded(text: str) -> str:
    """The name that a manifest's text stands for."""
    return re.sub("%(0[Dd]|0[Aa]|25)", lambda found: chr(int(found[1], 16)), text)


def read_manifest(data: bytes) -> dict[str, str]:
    """Name -> SHA-256 in hex. Raises ValueError for a line that is none, and a name that stands there twice."""
    found: dict[str, str] = {}
    for line in data.decode().split("\n")[:-1]:
        parts = _LINE.fullmatch(line)
        if parts is None or decoded(parts[2]) in found:
            raise ValueError(f"{line[:100]!r} is no line of a manifest, or a second one for its file")
        found[decoded(parts[2])] = parts[1]
    if data and not data.endswith(b"\n"):
        raise ValueError("its last line is cut short")
    return found


# --- the check --------------------------------------------------------------------------------------------------------


def check_bag(folder: Folder, findings: Findings, *, besides: str) -> None:
    """Compare all that is there with the manifests; `besides` is the one file that no manifest lists."""
    if _read(folder, "bagit.txt", findings) not in (DECLARATION, None):
        findings.fault(FaultKind.ALTERED, "bagit.txt", "it does not declare a bag of version 1.0", _COMPARE)
    payload = _manifest(folder, MANIFEST, findings)
    tags = _manifest(folder, TAG_MANIFEST, findings)
    if tags is not None and sorted(tags) != sorted(TAGS):
        findings.fault(FaultKind.ALTERED, TAG_MANIFEST, f"it does not list just {', '.join(TAGS)}", _COMPARE)
    listed = {**(payload or {}), **(tags or {})}
    for name in sorted({*listed, *folder.sizes} - {TAG_MANIFEST, besides}):
        _compare(folder, name, listed.get(name), findings)
    if payload is not None:
        _check_oxum(folder, payload, findings)


def _read(folder: Folder, name: str, findings: Findings) -> bytes | None:
    try:
        return folder.read(name)
    except (OSError, ValueError) as exc:
        kind = FaultKind.UNREADABLE if name in folder else FaultKind.MISSING
        findings.fault(kind, name, f"it can't be read ({exc})", "Without it the bundle can't be checked in full")
    return None


def _manifest(folder: Folder, name: str, findings: Findings) -> dict[str, str] | None:
    data = _read(folder, name, findings)
    if data is None:
        return None
    try:
        return read_manifest(data)
    except ValueError as exc:
        findings.fault(FaultKind.ALTERED, name, str(exc), "The files that it lists can't be compared")
    return None


def _compare(folder: Folder, name: str, expected: str | None, findings: Findings) -> None:
    if expected is None:
        findings.fault(FaultKind.ADDED, name, "no manifest lists it", "It was put in after the bundle was made")
    elif name not in folder:
        out = name.startswith("/") or ".." in name.split("/") or "\\" in name or ":" in name
        what = "the manifest leads out of the bundle" if out else "the manifest lists it and it is not there"
        findings.fault(FaultKind.REFUSED if out else FaultKind.MISSING, name, what, _COMPARE)
    else:
        try:
            if folder.sha256(name) != expected:
                findings.fault(FaultKind.ALTERED, name, "it is not the file that the manifest lists", _COMPARE)
        except OSError as exc:
            findings.fault(FaultKind.UNREADABLE, name, f"it can't be read ({exc.strerror})", _COMPARE)


def _check_oxum(folder: Folder, payload: dict[str, str], findings: Findings) -> None:
    """Bytes and number of the payload files: RFC 8493, 2.2.2."""
    info = _read(folder, INFO, findings)
    if info is None:
        return
    stated = _OXUM.findall(info.decode(errors="replace"))
    files = folder.under("data/")
    counted = f"{sum(folder.sizes[name] for name in files)}.{len(files)}"
    if stated != [counted]:
        what = f"it states {stated[0] if len(stated) == 1 else 'no'} Payload-Oxum and the payload has {counted}"
        findings.fault(FaultKind.ALTERED, INFO, what, "Files were added, lost or changed in length")
