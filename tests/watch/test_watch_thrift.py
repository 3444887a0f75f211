"""What is free goes back to the computer; a C library that can't is let be."""

from __future__ import annotations

import ctypes
import subprocess
import sys
from types import SimpleNamespace

import pytest

from monitor.watch.service.thrift import give_back, share_heaps

# A thread leaves 40 MB in blocks too small to be mapped, behind one that stays.
_SCENE = """\
import ctypes, sys, threading
from monitor.watch.service.thrift import give_back, share_heaps
libc = ctypes.CDLL(None)
libc.malloc.restype, libc.free.argtypes = ctypes.c_void_p, [ctypes.c_void_p]
def rss():
    lines = open("/proc/self/status").read().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("VmRSS")) / 1024
def work():
    blocks = [libc.malloc(10_000) for _ in range(4_000)]
    for block in blocks:
        ctypes.memset(block, 1, 10_000)
    libc.malloc(10_000)
    for block in blocks:
        libc.free(block)
assert share_heaps()
thread = threading.Thread(target=work)
thread.start()
thread.join()
before = rss()
assert give_back()
print(before - rss())
"""


def test_what_a_thread_freed_is_given_back() -> None:
    """More than 30 of the 40 MB."""
    told = subprocess.run([sys.executable, "-c", _SCENE], stdout=subprocess.PIPE, text=True, check=True).stdout
    assert float(told) > 30


def test_another_c_library_is_let_be(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ctypes, "CDLL", lambda _: SimpleNamespace())
    assert not share_heaps()
    assert not give_back()
