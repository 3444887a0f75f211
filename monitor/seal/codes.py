"""The short code of a head, to read out or to send: whoever has it can later tell whether the record is still that one.

24 signs in six groups, from 31 that are not mistaken for each other (I and L read as 1, O as 0; there is no Q, no U).
23 of them are the hash of the head modulo 31^23, 114 bits: to find another record for a code that was sent takes about
2^114 trials. The one who makes the record could prepare two before sending the code; to find such a pair takes about
2^57, which is why the code is not shorter. The last sign is a check: any one wrong sign, and any two that changed
places, are seen. The full hash of the head, 256 bits, can be sent as well and is taken wherever a code is.
"""

from __future__ import annotations

import re

from monitor.basis.errors import RecordError

SIGNS = "0123456789ABCDEFGHJKMNPRSTVWXYZ"
LENGTH = 24
_PRIME = len(SIGNS)  # 31: that it is prime is what lets the check sign see every slip
_MISREAD = str.maketrans("OIL", "011")
_HASH = re.compile(r"[0-9a-f]{64}")


def code_of(head_hash: str) -> str:
    """The code of the head of this hash (64 hex digits): "K7RT-93MD-..." with 24 signs."""
    rest, digits = int(head_hash, 16), []
    for _ in range(LENGTH - 1):
        rest, digit = divmod(rest, _PRIME)
        digits.append(digit)
    signs = "".join(SIGNS[one] for one in [*digits, _check(digits)])
    return "-".join(signs[at : at + 4] for at in range(0, LENGTH, 4))


def _check(digits: list[int]) -> int:
    """The sign for which the weighted sum of all 24, the last with weight 24, is 0 modulo 31."""
    total = sum(weight * digit for weight, digit in enumerate(digits, 1))
    return -total * pow(LENGTH, -1, _PRIME) % _PRIME


def read_code(text: str) -> str:
    """A code as `code_of` writes it, or a full hash, from what somebody typed. Raises RecordError for a slip."""
    plain = re.sub(r"[\s\-.]", "", text)
    if _HASH.fullmatch(plain.lower()):
        return plain.lower()
    signs = plain.upper().translate(_MISREAD)
    strange = sorted(set(signs) - set(SIGNS))
    if strange or len(signs) != LENGTH:
        what = f"{strange[0]!r} is no sign of a code" if strange else f"a code has {LENGTH} signs, not {len(signs)}"
        raise RecordError(what, where=f"code {text}", mend="Compare it sign by sign with what was sent")
    digits = [SIGNS.index(sign) for sign in signs]
    if _check(digits[:-1]) != digits[-1]:
        raise RecordError(
            "the check sign does not fit: a sign is wrong, or two changed places",
            where=f"code {text}",
            mend="Compare it sign by sign with what was sent",
        )
    return "-".join(signs[at : at + 4] for at in range(0, LENGTH, 4))


def fits(code: str, head_hash: str) -> bool:
    """Whether a code or hash, as `read_code` answers it, is that of the head of this hash."""
    return code in (head_hash, code_of(head_hash))


def grouped(digest: str) -> str:
    """A fingerprint or hash as people compare it: in groups of four."""
    return " ".join(digest[at : at + 4] for at in range(0, len(digest), 4))
