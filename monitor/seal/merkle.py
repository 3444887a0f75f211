"""The Merkle tree of RFC 9162, section 2.1, with SHA-256: roots, proofs, and their verification.

A leaf is hashed after a byte 0x00, a node's two children after 0x01; a tree of n leaves splits at the largest power of
two below n. A *frontier* is all one needs to let a tree grow: the roots of its full subtrees, largest first.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence
from typing import NamedTuple

EMPTY_ROOT = hashlib.sha256(b"").digest()
HASH = 32  # [bytes]


def leaf_hash(data: bytes) -> bytes:
    """The hash of a leaf that holds `data`: 32 bytes."""
    return hashlib.sha256(b"\x00" + data).digest()


def node_hash(left: bytes, right: bytes) -> bytes:
    """The hash of a node over its children: 32 bytes."""
    return hashlib.sha256(b"\x01" + left + right).digest()


class Frontier(NamedTuple):
    """A tree of `size` leaves as the roots of its full subtrees, largest first: one for each bit of `size`."""

    size: int = 0
    roots: tuple[bytes, ...] = ()


def grown(frontier: Frontier, leaves: Iterable[bytes]) -> Frontier:
    """The frontier after the leaves of these hashes have been added."""
    size, roots = frontier.size, list(frontier.roots)
    for leaf in leaves:
        node, rest = leaf, size
        while rest & 1:
            node = node_hash(roots.pop(), node)
            rest >>= 1
        roots.append(node)
        size += 1
    return Frontier(size, tuple(roots))


def root(frontier: Frontier) -> bytes:
    """The root hash of the tree; that of no leaves is SHA-256 of nothing."""
    if not frontier.roots:
        return EMPTY_ROOT
    node = frontier.roots[-1]
    for left in reversed(frontier.roots[:-1]):
        node = node_hash(left, node)
    return node


class Tree:
    """The hashes of all full subtrees of given leaves, for proofs about the tree as it was at any size."""

    def __init__(self, leaves: Iterable[bytes]) -> None:
        self._levels = [list(leaves)]
        while len(below := self._levels[-1]) > 1:
            self._levels.append([node_hash(a, b) for a, b in zip(below[::2], below[1::2], strict=False)])

    def __len__(self) -> int:
        return len(self._levels[0])

    def root(self, size: int) -> bytes:
        """The root hash of the first `size` leaves. Raises ValueError beyond the leaves there are."""
        self._within(size)
        return self._hash(0, size) if size else EMPTY_ROOT

    def inclusion(self, index: int, size: int) -> list[bytes]:
        """The proof that leaf `index` is in the tree of `size` leaves: RFC 9162, 2.1.3.1. Raises ValueError."""
        self._within(size)
        if not 0 <= index < size:
            raise ValueError(f"a tree of {size} leaves has none of index {index}")
        proof, begin, end = [], 0, size
        while end - begin > 1:
            middle = begin + _split(end - begin)
            if index < middle:
                proof.append(self._hash(middle, end))
                end = middle
            else:
                proof.append(self._hash(begin, middle))
                begin = middle
        return proof[::-1]

    def consistency(self, first: int, second: int) -> list[bytes]:
        """The proof that the tree of `second` leaves begins with that of `first`: RFC 9162, 2.1.4.1."""
        self._within(second)
        if not 0 < first <= second:
            raise ValueError(f"a tree of {second} leaves does not begin with one of {first}")
        proof, begin, end, whole = [], 0, second, True
        while end - begin > 1 and first != end:
            middle = begin + _split(end - begin)
            if first <= middle:
                proof.append(self._hash(middle, end))
                end = middle
            else:
                proof.append(self._hash(begin, middle))
                begin, whole = middle, False
        return ([] if whole else [self._hash(begin, end)]) + proof[::-1]

    def _within(self, size: int) -> None:
        if not 0 <= size <= len(self):
            raise ValueError(f"there are {len(self)} leaves, not {size}")

    def _hash(self, begin: int, end: int) -> bytes:
        """The root of the leaves from `begin` to `end`, which is aligned to a power of two at least as long."""
        length = end - begin
        if length & (length - 1) == 0:
            level = length.bit_length() - 1
            return self._levels[level][begin >> level]
        middle = begin + _split(length)
        return node_hash(self._hash(begin, middle), self._hash(middle, end))


def _split(size: int) -> int:
    """The largest power of two smaller than `size`."""
    return 1 << ((size - 1).bit_length() - 1)


def _are_hashes(hashes: Sequence[bytes]) -> bool:
    return all(len(one) == HASH for one in hashes)


def includes(root: bytes, size: int, index: int, leaf: bytes, proof: Sequence[bytes]) -> bool:
    """Whether `proof` shows the leaf of hash `leaf` at `index` in the tree of `size` and `root`: RFC 9162, 2.1.3.2."""
    if not 0 <= index < size or not _are_hashes([root, leaf, *proof]):
        return False
    fn, sn, r = index, size - 1, leaf
    for p in proof:
        if sn == 0:
            return False
        if fn & 1 or fn == sn:
            r = node_hash(p, r)
            while not fn & 1 and fn:
                fn, sn = fn >> 1, sn >> 1
        else:
            r = node_hash(r, p)
        fn, sn = fn >> 1, sn >> 1
    return sn == 0 and r == root


def extends(first_root: bytes, first: int, second_root: bytes, second: int, proof: Sequence[bytes]) -> bool:
    """Whether `proof` shows that the second tree begins with the first: RFC 9162, 2.1.4.2.

    No tree extends an empty one.
    """
    if not 0 < first <= second or not _are_hashes([first_root, second_root, *proof]):
        return False
    if first == second:
        return not proof and first_root == second_root
    path = [first_root, *proof] if first & (first - 1) == 0 else list(proof)
    if not path:
        return False
    fn, sn = first - 1, second - 1
    while fn & 1:
        fn, sn = fn >> 1, sn >> 1
    fr = sr = path[0]
    for c in path[1:]:
        if sn == 0:
            return False
        if fn & 1 or fn == sn:
            fr, sr = node_hash(c, fr), node_hash(c, sr)
            while not fn & 1 and fn:
                fn, sn = fn >> 1, sn >> 1
        else:
            sr = node_hash(sr, c)
        fn, sn = fn >> 1, sn >> 1
    return sn == 0 and fr == first_root and sr == second_root
