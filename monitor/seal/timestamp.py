"""RFC 3161 time-stamps of heads: the request, and the check of the answer without a network.

The message that is stamped is the exact signed bytes of a head, hashed with SHA-256: the hash of the head. Needs the
extra `wallclime[timestamp]`.
"""

from __future__ import annotations

import importlib.util
from collections.abc import Sequence
from datetime import datetime

from monitor.basis.errors import RecordError
from monitor.seal import keys
from monitor.seal.findings import FaultKind, Findings
from monitor.seal.folder import Folder
from monitor.seal.heads import SignedHead

LONGEST = 256 * 1024  # of an answer [bytes]


def _needs_the_extra() -> None:
    if importlib.util.find_spec("rfc3161_client") is None:
        raise RecordError(
            "time-stamps need the package rfc3161-client", where="time-stamp", mend="pip install 'wallclime[timestamp]'"
        )


def request(head: SignedHead) -> bytes:
    """The request to post to an authority as application/timestamp-query, in DER. Raises RecordError."""
    _needs_the_extra()
    from rfc3161_client import HashAlgorithm, TimestampRequestBuilder

    builder = TimestampRequestBuilder().data(keys.signed_bytes(keys.HEAD, head.text))
    builder = builder.hash_algorithm(HashAlgorithm.SHA256).nonce(nonce=True).cert_request(cert_request=True)
    return builder.build().as_bytes()


def imprint(answer: bytes) -> str:
    """The hash that an authority's answer (DER) is about, in hex; nothing of it is checked. Raises RecordError."""
    _needs_the_extra()
    from rfc3161_client import PKIStatus, decode_timestamp_response

    mend = "Ask the authority again"
    try:
        if len(answer) > LONGEST:
            raise ValueError("it is too long")
        response = decode_timestamp_response(answer)
        if response.status in (PKIStatus.GRANTED, PKIStatus.GRANTED_WITH_MODS):
            return response.tst_info.message_imprint.message.hex()
        said = "; ".join(response.status_string) or f"status {int(response.status)}"
    except ValueError as exc:
        raise RecordError(f"it is no answer of an authority ({exc})", where="time-stamp", mend=mend) from exc
    raise RecordError(f"the authority refused ({said})", where="time-stamp", mend=mend)


def stamped_at(answer: bytes, head: SignedHead, authorities: Sequence[bytes]) -> datetime:
    """When the authority saw the head, by its answer (DER) and trusted root certificates (PEM). Raises RecordError."""
    _needs_the_extra()
    from cryptography.x509 import load_pem_x509_certificates
    from rfc3161_client import VerifierBuilder, decode_timestamp_response
    from rfc3161_client.errors import VerificationError

    try:
        builder = VerifierBuilder()
        for pem in authorities:
            for certificate in load_pem_x509_certificates(pem):
                builder = builder.add_root_certificate(certificate)
        response = decode_timestamp_response(answer)
        builder.build().verify(response, bytes.fromhex(head.hash))
        return response.tst_info.gen_time
    except (VerificationError, ValueError) as exc:
        raise RecordError(
            f"it does not hold ({exc})",
            where="time-stamp",
            mend="Ask for another one, or name the root of its authority",
        ) from exc


def check_timestamps(
    folder: Folder, heads: Sequence[SignedHead], authorities: Sequence[bytes], findings: Findings
) -> None:
    """Step 13 of the check of a bundle: every time-stamp is of a head; it holds where its authority is trusted."""
    known = {f"data/timestamps/{one.hash}.tsr": one for one in heads}
    found = folder.under("data/timestamps/")
    for path in found:
        if path not in known:
            findings.fault(FaultKind.ADDED, path, "it is of no head of the record", "It says nothing of this record")
        elif authorities:
            _check(folder, path, known[path], authorities, findings)
    if found and not authorities:
        findings.remark(f"Not looked into: {len(found)} time-stamps; name the root certificate of their authority.")


def _check(folder: Folder, path: str, head: SignedHead, authorities: Sequence[bytes], findings: Findings) -> None:
    try:
        at = stamped_at(folder.read(path, LONGEST), head, authorities)
    except (OSError, ValueError, RecordError) as exc:
        what = exc.faults[0].what if isinstance(exc, RecordError) else str(exc)
        findings.fault(FaultKind.BROKEN_SIGNATURE, path, what, "It does not show when the head was there")
    else:
        findings.remark(f"Head {head.head.number} was there on {at.isoformat()}, says a time-stamp authority.")
