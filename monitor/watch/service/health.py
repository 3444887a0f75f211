"""Where the daemon answers how it is: /livez, /readyz and /metrics on a port that only this computer reaches.

A server of our own: one request at a time, only GET, a head of so many bytes in so many seconds, only of who calls this
computer by a name of its own (so that a page in a browser, under a name that was bent to here, reads nothing). It holds
names of sensors and jobs and figures, no topic, payload or note.
"""

from __future__ import annotations

import contextlib
import ipaddress
import os
import re
import socket
import threading
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import NamedTuple

from monitor.basis.errors import WallclimeError
from monitor.config.alarms import Health
from monitor.watch.service.journal import log

LONGEST = 8_192  # of the head of a request [bytes]
WITHIN = 2.0  # for a request to come, and for an answer to go [s]
TEXT = "text/plain; charset=utf-8"

_NAP = 0.25  # [s]
_AGAIN = 10.0  # until a port that was taken is tried again [s]
_HOST = re.compile(rb"\r\nhost:[ \t]*([^\r\n]*)", re.IGNORECASE)


class Answer(NamedTuple):
    """A status of HTTP and its reason, the kind of the body and the body."""

    status: str
    kind: str
    body: bytes


Pages = Mapping[str, Callable[[], Answer]]  # what is answered by path


def page_of(reasons: Callable[[], Iterator[str]]) -> Callable[[], Answer]:
    """A page that is 200 "ok" where there is no reason against it, else 503 with a reason a line."""

    def page() -> Answer:
        found = list(reasons())
        return told("503 Service Unavailable", *found) if found else told("200 OK", "ok")

    return page


def told(status: str, *lines: str) -> Answer:
    """An answer of text."""
    return Answer(status, TEXT, "".join(" ".join(line.split()) + "\n" for line in lines).encode())


@contextlib.contextmanager
def answering(settings: Health | None, pages: Pages) -> Iterator[None]:
    """Answer as long as the context lasts, where the settings ask for it. A port that is taken is tried again."""
    if settings is None:
        yield
        return
    stop = threading.Event()
    thread = threading.Thread(target=_serve, args=(settings, pages, stop), name="health")
    thread.start()
    try:
        yield
    finally:
        stop.set()
        thread.join()


def _serve(settings: Health, pages: Pages, stop: threading.Event) -> None:
    complained = False
    while not stop.is_set():
        try:
            with _listening(settings) as listening:
                log("info", "health_answers", host=settings.host, port=settings.port)
                _accept(listening, pages, stop)
        except OSError as exc:
            if not complained:
                log("error", "health_port", host=settings.host, port=settings.port, error=os.strerror(exc.errno or 0))
            complained = True
            stop.wait(_AGAIN)


def _listening(settings: Health) -> socket.socket:
    family = socket.AF_INET6 if ":" in settings.host else socket.AF_INET
    made = socket.create_server((settings.host, settings.port), family=family)
    made.settimeout(_NAP)
    return made


def _accept(listening: socket.socket, pages: Pages, stop: threading.Event) -> None:
    while not stop.is_set():
        try:
            link, _ = listening.accept()
        except TimeoutError:
            continue
        with link, contextlib.suppress(OSError):  # who went away needs no answer
            _answer(link, pages)


def _answer(link: socket.socket, pages: Pages) -> None:
    status, kind, body = _answered(_head(link), pages)
    head = (
        f"HTTP/1.1 {status}\r\nContent-Type: {kind}\r\nContent-Length: {len(body)}\r\nConnection: close\r\n"
        "Cache-Control: no-store\r\nX-Content-Type-Options: nosniff\r\nAllow: GET\r\n\r\n"
    )
    link.settimeout(WITHIN)
    link.sendall(head.encode() + body)
    link.shutdown(socket.SHUT_WR)


def _head(link: socket.socket) -> bytes:
    """The head of a request, whole; less where it does not end in time or is too long."""
    got, end = b"", time.monotonic() + WITHIN
    while b"\r\n\r\n" not in got and len(got) <= LONGEST and (left := end - time.monotonic()) > 0:
        link.settimeout(left)
        try:
            piece = link.recv(LONGEST)
        except TimeoutError:
            return got
        if not piece:
            return got
        got += piece
    return got


def _answered(head: bytes, pages: Pages) -> Answer:
    """What a request is answered with."""
    end = head.find(b"\r\n\r\n")
    if end < 0 or end > LONGEST:
        long = len(head) > LONGEST
        return told("431 Request Header Fields Too Large" if long else "408 Request Timeout", "this is no request")
    words = head.partition(b"\r\n")[0].decode("ascii", "replace").split(" ")
    if len(words) != 3 or not words[2].startswith("HTTP/1."):
        return told("400 Bad Request", "this is no request")
    if words[0] != "GET":
        return told("405 Method Not Allowed", "there is nothing but GET")
    if not _ours(_HOST.findall(head[:end])):
        return told("403 Forbidden", "call this computer by 127.0.0.1 or localhost")
    page = pages.get(words[1].partition("?")[0])
    return told("404 Not Found", "there is: " + ", ".join(pages)) if page is None else _made(page)


def _made(page: Callable[[], Answer]) -> Answer:
    try:
        return page()
    except WallclimeError as exc:
        return told("503 Service Unavailable", *str(exc).splitlines())
    except Exception as exc:
        log("error", "fault", error=repr(exc))
        return told("500 Internal Server Error", "a fault of wallclime: see its log")


def _ours(hosts: Sequence[bytes]) -> bool:
    """Whether a request calls this computer by a name that is its own everywhere; HTTP/1.0 needs none."""
    return all(_is_own(host.decode("ascii", "replace").strip()) for host in hosts)


def _is_own(host: str) -> bool:
    name = re.sub(r":\d+$", "", host).strip("[]")
    try:
        return name.lower() == "localhost" or ipaddress.ip_address(name).is_loopback
    except ValueError:
        return False
