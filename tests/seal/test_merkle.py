"""The Merkle tree against the published roots, RFC 9162's own definitions and an independent library."""

import hashlib

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pymerkle import InmemoryTree

from monitor.seal.merkle import EMPTY_ROOT, Frontier, Tree, extends, grown, includes, leaf_hash, node_hash, root

# github.com/transparency-dev/merkle, testonly/constants.go (LeafInputs, RootHashes), commit 582a6ad: the hashing of
# RFC 6962, which RFC 9162 section 2.1 keeps.
LEAVES = [
    bytes.fromhex(text)
    for text in ("", "00", "10", "2021", "3031", "40414243", "5051525354555657", "606162636465666768696a6b6c6d6e6f")
]
ROOTS = [
    "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
    "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
    "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
    "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
    "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
    "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
    "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
    "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
]
MANY = [leaf_hash(bytes([one])) for one in range(70)]
TREE = Tree(MANY)


def by_definition(leaves: list[bytes]) -> bytes:
    """MTH of RFC 9162, 2.1.1, word by word."""
    if not leaves:
        return hashlib.sha256(b"").digest()
    if len(leaves) == 1:
        return leaves[0]
    k = 1
    while k * 2 < len(leaves):
        k *= 2
    return node_hash(by_definition(leaves[:k]), by_definition(leaves[k:]))


@pytest.mark.parametrize("size", range(9))
def test_the_root_is_the_published_one(size):
    hashes = [leaf_hash(leaf) for leaf in LEAVES]
    assert root(grown(Frontier(), hashes[:size])).hex() == ROOTS[size]
    assert Tree(hashes).root(size).hex() == ROOTS[size]


def test_the_hashes_of_leaves_and_nodes_are_kept_apart_by_their_first_byte():
    # RFC 9162, 2.1.1: 0x00 before a leaf's data, 0x01 before a node's children.
    assert leaf_hash(b"ab") == hashlib.sha256(b"\x00ab").digest()
    assert node_hash(b"a", b"b") == hashlib.sha256(b"\x01ab").digest()
    assert root(Frontier()) == EMPTY_ROOT == hashlib.sha256(b"").digest()


def test_every_size_has_the_root_of_the_definition_and_of_an_independent_library():
    other = InmemoryTree(algorithm="sha256")
    for size in range(1, len(MANY) + 1):
        other.append_entry(bytes([size - 1]))
        assert TREE.root(size) == root(grown(Frontier(), MANY[:size])) == by_definition(MANY[:size])
        assert TREE.root(size) == other.get_root()


@given(st.integers(0, 70), st.integers(0, 70))
def test_growing_in_two_steps_is_growing_in_one(first, second):
    first, second = sorted((first, second))
    half = grown(Frontier(), MANY[:first])
    assert grown(half, MANY[first:second]) == grown(Frontier(), MANY[:second])


# --- inclusion --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("size", [*range(1, 18), 31, 32, 33, 63, 64, 65, 70])
def test_every_leaf_is_shown_to_be_in_every_tree_at_its_own_place_only(size):
    for index in range(size):
        proof = TREE.inclusion(index, size)
        assert includes(TREE.root(size), size, index, MANY[index], proof)
        wrong = [other for other in range(size + 1) if includes(TREE.root(size), size, other, MANY[index], proof)]
        assert wrong == [index]


def test_the_proofs_are_those_of_the_rfc():
    # RFC 9162, 2.1.5, from memory: 7 leaves; the paths of d0, d3, d4, d6 and the proofs from 3, 4 and 6 leaves.
    a, b, c, d, e, f, j = MANY[:7]
    g, h, i = node_hash(a, b), node_hash(c, d), node_hash(e, f)
    k, m = node_hash(g, h), node_hash(i, j)
    assert TREE.inclusion(0, 7) == [b, h, m]
    assert TREE.inclusion(3, 7) == [c, g, m]
    assert TREE.inclusion(4, 7) == [f, j, k]
    assert TREE.inclusion(6, 7) == [i, k]
    assert TREE.consistency(3, 7) == [c, d, g, m]
    assert TREE.consistency(4, 7) == [m]
    assert TREE.consistency(6, 7) == [i, j, k]


@given(st.integers(1, 70), st.data())
def test_a_proof_with_a_changed_a_lost_or_a_further_hash_shows_nothing(size, data):
    index = data.draw(st.integers(0, size - 1))
    proof = TREE.inclusion(index, size)
    at = data.draw(st.integers(0, len(proof)))
    assert not includes(TREE.root(size), size, index, MANY[index], [*proof[:at], bytes(32), *proof[at:]])
    if at < len(proof):
        assert not includes(TREE.root(size), size, index, MANY[index], proof[:at] + proof[at + 1 :])
        assert not includes(TREE.root(size), size, index, MANY[index], [*proof[:at], bytes(32), *proof[at + 1 :]])


def test_hashes_of_another_length_show_nothing():
    # the class of vectors that a verifier without a length check takes: transparency-dev/merkle, testdata/inclusion
    proof = TREE.inclusion(0, 3)
    assert not includes(TREE.root(3), 3, 0, MANY[0], [proof[0] + proof[1]])
    assert not includes(TREE.root(3), 3, 0, MANY[0][:-1], proof)
    assert not includes(b"", 1, 0, b"", [])


def test_a_tree_of_no_leaves_includes_nothing():
    assert not includes(EMPTY_ROOT, 0, 0, EMPTY_ROOT, [])
    assert not includes(TREE.root(1), 1, -1, MANY[0], [])


# --- consistency ------------------------------------------------------------------------------------------------------


def test_every_tree_is_shown_to_begin_with_every_smaller_one_and_with_no_other():
    for second in [*range(1, 18), 33, 64, 70]:
        for first in range(1, second + 1):
            proof = TREE.consistency(first, second)
            assert extends(TREE.root(first), first, TREE.root(second), second, proof)
            assert not extends(bytes(32), first, TREE.root(second), second, proof)
            assert not extends(TREE.root(first), first, bytes(32), second, proof)
            assert not extends(TREE.root(first), first, TREE.root(second), second, [*proof, bytes(32)])
            assert not proof or not extends(TREE.root(first), first, TREE.root(second), second, proof[:-1])


def test_a_tree_that_was_rewritten_does_not_extend_the_old_one():
    other = Tree([leaf_hash(b"rewritten"), *MANY[1:]])
    for first in range(1, 20):
        assert not extends(TREE.root(first), first, other.root(20), 20, other.consistency(first, 20))


def test_nothing_extends_a_tree_of_no_leaves_and_none_a_larger_one():
    # size 0: the second class of vectors that a careless verifier takes, testdata/consistency of the same source
    assert not extends(EMPTY_ROOT, 0, TREE.root(4), 4, [])
    assert not extends(TREE.root(4), 4, TREE.root(3), 3, [])
    assert not extends(b"ab", 1, b"ab", 1, [])


def test_what_is_beyond_the_leaves_is_refused():
    with pytest.raises(ValueError, match="there are 70 leaves, not 71"):
        TREE.root(71)
    with pytest.raises(ValueError, match="a tree of 3 leaves has none of index 3"):
        TREE.inclusion(3, 3)
    with pytest.raises(ValueError, match="a tree of 3 leaves does not begin with one of 0"):
        TREE.consistency(0, 3)
    with pytest.raises(ValueError, match="does not begin with one of 4"):
        TREE.consistency(4, 3)
