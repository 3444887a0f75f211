"""Files that people hand in, photos and documents: their bytes as they came, known by their SHA-256."""

from __future__ import annotations

import hashlib
from typing import NamedTuple

from sqlalchemy import select

from monitor.basis.errors import StoreError
from monitor.keep.connect import Connected, insert
from monitor.keep.schema import attachment


class Attachment(NamedTuple):
    """A file as it came; `media_type` such as "image/jpeg"."""

    media_type: str
    content: bytes


class Attachments(Connected):
    """What the store does with files."""

    def keep_attachment(self, content: bytes, media_type: str) -> str:
        """Keep a file, once however often it comes; its SHA-256 in hex.

        To be kept before the entry that names it: a file that no entry names harms nothing.
        """
        digest = hashlib.sha256(content)
        row = {"sha256": digest.digest(), "media_type": media_type, "size": len(content), "bytes": content}
        with self._writing() as conn:
            conn.execute(insert(conn, attachment).on_conflict_do_nothing(), row)
        return digest.hexdigest()

    def attachment(self, sha256: str) -> Attachment | None:
        """The file of that SHA-256 in hex, None where none is kept. Raises StoreError where it has become another."""
        query = select(attachment.c.media_type, attachment.c.bytes).where(attachment.c.sha256 == bytes.fromhex(sha256))
        with self._reading() as conn:
            row = conn.execute(query).one_or_none()
        if row is None:
            return None
        found = Attachment(*row)
        if hashlib.sha256(found.content).hexdigest() != sha256:
            raise StoreError(
                f"the file {sha256[:12]} is not what it was",
                where=self._where,
                mend="Put the store aside unchanged and continue from a backup",
            )
        return found
