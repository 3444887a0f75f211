"""What a document's bytes are: a PDF, a page, a text or a picture, told by their content."""

from __future__ import annotations

from monitor.basis.errors import RecordError
from monitor.intake.picture import JPEG, PNG, kind_of, picture_of

PDF, HTML, TEXT = "application/pdf", "text/html", "text/plain"
_NO_TEXT = frozenset(range(32)) - frozenset(b"\t\n\r\f\x1b")  # bytes that stand in no text of one byte a sign or UTF-8
_LOOKED_AT = 1024  # where the sign of a PDF and of a page stands, from its beginning and its end [bytes]


def document_type(raw: bytes, *, where: str) -> str:
    """The media type of a document. Raises RecordError for one that is cut short or none that is taken."""
    head, tail = raw[:_LOOKED_AT].lower(), raw[-_LOOKED_AT:]
    if b"%pdf-" in head:
        if b"%%EOF" not in tail:
            raise RecordError("the PDF is cut short", where=where, mend="Fetch it again, whole")
        return PDF
    if kind_of(raw) in (JPEG, PNG):
        return picture_of(raw, where=where).media_type
    if not raw.strip() or not _NO_TEXT.isdisjoint(raw):
        what = "it is no document of a kind that is taken (PDF, HTML, text, JPEG or PNG)" if raw else "it is empty"
        raise RecordError(what, where=where, mend="Save it as a PDF, or take a photo of the sheet")
    return HTML if b"<html" in head or b"<!doctype html" in head else TEXT
