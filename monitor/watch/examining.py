"""How the doctor looks at a thing: a look answers what it found, or raises why that is not well or can't be told."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Literal, NamedTuple

from monitor.basis.errors import WallclimeError

Verdict = Literal["pass", "fail", "unknown"]
Look = Callable[[], str]


class Check(NamedTuple):
    """One thing that was looked at: what was found, and the mend where it is not well."""

    name: str
    verdict: Verdict
    evidence: str
    mend: str = ""


class UnknownError(Exception):
    """It can't be told: what, and the mend."""


class IllError(Exception):
    """It is not well: what, and the mend."""


def look(name: str, one: Look) -> Check:
    """What a look answers is a pass; what it raises is none."""
    try:
        return Check(name, "pass", one())
    except UnknownError as exc:
        return Check(name, "unknown", *exc.args)
    except IllError as exc:
        return Check(name, "fail", *exc.args)
    except WallclimeError as exc:
        fault = exc.faults[0]
        return Check(name, "fail", f"{fault.where}: {fault.what}", fault.mend)


def none(faults: Iterator[str], well: str, mend: str) -> str:
    """`well` where there are no faults; else the first of them, and how many more. Raises IllError."""
    found = list(faults)
    if found:
        more = f" (and {len(found) - 1} more)" if found[1:] else ""
        raise IllError(f"{found[0]}{more}", mend)
    return well
