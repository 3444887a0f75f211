"""The memory of a process that runs for months on a small computer: what is free goes back to the computer."""

from __future__ import annotations

import ctypes

_ARENA_MAX, _ARENAS = -8, 2  # M_ARENA_MAX of glibc's malloc.h; without it every thread keeps a heap of its own


def share_heaps() -> bool:
    """Let all threads that are started from now on share few heaps; whether the C library can (glibc)."""
    libc = ctypes.CDLL(None)
    return hasattr(libc, "mallopt") and bool(libc.mallopt(_ARENA_MAX, _ARENAS))


def give_back() -> bool:
    """Give whole pages that are free back to the computer; whether there were any, and the C library can (glibc)."""
    libc = ctypes.CDLL(None)
    return hasattr(libc, "malloc_trim") and bool(libc.malloc_trim(0))
