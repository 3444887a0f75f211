"""The installation's key: made once, kept by its owner alone, exchanged or declared lost in writing.

Ed25519 (RFC 8032). What is signed is always a line of our own, which says what kind of thing it is, and the exact bytes
of a text: `wallclime-head 1` LF text. A signature for one kind of thing is none for another.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Sequence
from pathlib import Path
from typing import Any, NamedTuple

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

from monitor.basis.errors import StoreError
from monitor.seal.canonical import bytes_of_hex, text_of, value_of

Key = Ed25519PrivateKey

HEAD, BUNDLE, KEY = "head", "bundle", "key"  # the kinds of things that are signed
FIRST, ROTATION, LOST = "first", "rotation", "lost"  # how a key came in

_FIELDS = {
    FIRST: {"statement", "at", "key"},
    ROTATION: {"statement", "at", "key", "old", "head", "reason"},
    LOST: {"statement", "at", "key", "old", "head", "reason"},
}


def signed_bytes(kind: str, text: str) -> bytes:
    """The exact bytes that a signature of `text` as a thing of this kind is over."""
    return f"wallclime-{kind} 1\n{text}".encode()


def sign(key: Key, kind: str, text: str) -> bytes:
    """The signature of `text` as a thing of this kind: 64 bytes, always the same ones."""
    return key.sign(signed_bytes(kind, text))


def is_signed(public: bytes, kind: str, text: str, signature: bytes) -> bool:
    """Whether the holder of the key `public` (32 bytes) signed `text` as a thing of this kind."""
    try:
        Ed25519PublicKey.from_public_bytes(public).verify(signature, signed_bytes(kind, text))
    except (InvalidSignature, ValueError):
        return False
    return True


def public_of(key: Key) -> bytes:
    """The public half of a key: 32 bytes."""
    return key.public_key().public_bytes_raw()


def fingerprint(public: bytes) -> str:
    """SHA-256 of the 32 bytes of a public key, in hex."""
    return hashlib.sha256(public).hexdigest()


# --- the file ---------------------------------------------------------------------------------------------------------


def make_key(path: Path) -> Key:
    """Make a key and write it to `path`, for its owner alone; never over another one. Raises StoreError."""
    key = Ed25519PrivateKey.generate()
    text = key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    try:
        with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
    except FileExistsError:
        raise StoreError(
            "there is a key already", where=str(path), mend="Exchange it with a rotation; never write over it"
        ) from None
    except OSError as exc:
        raise StoreError(
            f"the key can't be written ({exc.strerror})",
            where=str(path),
            mend="Make room, or give the folder to wallclime",
        ) from exc
    return key


def load_key(path: Path) -> Key:
    """The key that was written to `path`. Raises StoreError, also where others than its owner can read it."""
    try:
        with path.open("rb") as file:
            others = os.fstat(file.fileno()).st_mode & 0o077 if os.name == "posix" else 0
            text = file.read(10_000)
    except OSError as exc:
        raise StoreError(
            f"the key can't be read ({exc.strerror})",
            where=str(path),
            mend="Put it back from a backup, or declare it lost",
        ) from exc
    if others:
        raise StoreError(
            "others than its owner can read the key",
            where=str(path),
            mend=f"chmod 600 {path}, and exchange the key if in doubt",
        )
    try:
        key = serialization.load_pem_private_key(text, password=None)
    except (TypeError, ValueError) as exc:
        raise StoreError("it is no key", where=str(path), mend="Put it back from a backup, or declare it lost") from exc
    if not isinstance(key, Ed25519PrivateKey):
        raise StoreError("it is a key of another kind", where=str(path), mend="An Ed25519 key is needed")
    return key


# --- statements about keys --------------------------------------------------------------------------------------------


class Statement(NamedTuple):
    """What is said of a key, in canonical JSON, signed by the new key and (an exchange) by the `old` one."""

    text: str
    new: bytes
    old: bytes = b""


class Epoch(NamedTuple):
    """A key, how it came in and when [ms]; `last` is the hash of the last head that the key before it signed."""

    public: bytes
    how: str
    at: int
    last: str | None = None
    reason: str = ""

    @property
    def fingerprint(self) -> str:
        """SHA-256 of the public key, in hex."""
        return fingerprint(self.public)


def first_statement(key: Key, at: int) -> Statement:
    """That the record begins with this key. `at`: UTC ms."""
    text = text_of({"statement": FIRST, "at": at, "key": public_of(key).hex()})
    return Statement(text, sign(key, KEY, text))


def rotation(old: Key, new: Key, *, at: int, head: str | None, reason: str) -> Statement:
    """That `new` takes the place of `old`, whose last signed head has the hash `head` (None: none). Signed by both."""
    text = _replacing(ROTATION, fingerprint(public_of(old)), new, at, head, reason)
    return Statement(text, sign(new, KEY, text), sign(old, KEY, text))


def declared_lost(old: str, new: Key, *, at: int, head: str | None, reason: str) -> Statement:
    """That the key of the fingerprint `old` is lost and `new` takes its place: nobody but `new` can sign that."""
    text = _replacing(LOST, old, new, at, head, reason)
    return Statement(text, sign(new, KEY, text))


def _replacing(how: str, old: str, new: Key, at: int, head: str | None, reason: str) -> str:
    said = {"statement": how, "at": at, "key": public_of(new).hex(), "old": old, "head": head, "reason": reason}
    return text_of(said)


def follow(statements: Sequence[Statement]) -> list[Epoch]:
    """The keys one after the other, each vouched for by its statement. Raises ValueError at the first that is not."""
    epochs: list[Epoch] = []
    for number, statement in enumerate(statements, 1):
        try:
            epochs.append(_epoch(statement, epochs[-1] if epochs else None))
        except ValueError as exc:
            raise ValueError(f"statement {number} about the keys: {exc}") from None
    if not epochs:
        raise ValueError("there is no statement about the key")
    return epochs


def _epoch(statement: Statement, before: Epoch | None) -> Epoch:
    said = _said(statement.text)
    public, how = bytes_of_hex(said["key"], 32), said["statement"]
    if (how == FIRST) != (before is None):
        raise ValueError("only the first key begins the record")
    if not is_signed(public, KEY, statement.text, statement.new):
        raise ValueError("the new key did not sign it")
    if before is None:
        return Epoch(public, how, said["at"])
    if said["old"] != before.fingerprint:
        raise ValueError("it does not follow on the key before")
    if how == ROTATION and not is_signed(before.public, KEY, statement.text, statement.old):
        raise ValueError("the old key did not sign it")
    if said["head"] is not None:
        bytes_of_hex(said["head"], 32)
    return Epoch(public, how, said["at"], said["head"], said["reason"])


def _said(text: str) -> dict[str, Any]:
    said = value_of(text)
    if not isinstance(said, dict) or set(said) != _FIELDS.get(str(said.get("statement"))):
        raise ValueError("it is none that there is")
    if type(said["at"]) is not int or not isinstance(said.get("reason", ""), str):
        raise ValueError("its time or reason can't be read")
    return said
