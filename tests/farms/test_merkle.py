"""The Merkle tree against known answers and against the RFC's own recursive definition."""

import hashlib

import pytest
from hypothesis import given
from hypothesis import strategies as some

from farms.merkle import EMPTY, leaf_hash, path_of, root_from, root_of

# The eight inputs and the heads of the trees over the first n of them, as in the public tests of Certificate
# Transparency's reference implementation (RFC 6962). The values are from memory; each was computed again below by the
# definition in RFC 9162, 2.1.1, written as it stands there.
INPUTS = [
    bytes.fromhex(each)
    for each in ("", "00", "10", "2021", "3031", "40414243", "5051525354555657", "606162636465666768696a6b6c6d6e6f")
]
HEADS = [
    "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
    "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
    "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
    "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
    "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
    "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
    "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
]


def by_definition(contents: list[bytes]) -> bytes:
    """RFC 9162, 2.1.1: MTH({}) = HASH(), MTH({d0}) = HASH(0x00 || d0), MTH(D[n]) = HASH(0x01 || MTH(D[0:k]) ||
    MTH(D[k:n])), k the largest power of two smaller than n.
    """
    if not contents:
        return hashlib.sha256().digest()
    if len(contents) == 1:
        return hashlib.sha256(b"\x00" + contents[0]).digest()
    k = 1
    while 2 * k < len(contents):
        k *= 2
    return hashlib.sha256(b"\x01" + by_definition(contents[:k]) + by_definition(contents[k:])).digest()


def proof_by_definition(place: int, contents: list[bytes]) -> list[bytes]:
    """RFC 9162, 2.1.3.1, PATH(m, D[n])."""
    if len(contents) == 1:
        return []
    k = 1
    while 2 * k < len(contents):
        k *= 2
    if place < k:
        return [*proof_by_definition(place, contents[:k]), by_definition(contents[k:])]
    return [*proof_by_definition(place - k, contents[k:]), by_definition(contents[:k])]


def test_the_head_of_nothing_is_the_hash_of_nothing():
    assert root_of([]) == EMPTY == by_definition([])
    assert EMPTY.hex() == "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"


@pytest.mark.parametrize("size", range(1, 9))
def test_heads_are_those_known(size: int):
    head = root_of([leaf_hash(each) for each in INPUTS[:size]])
    assert head.hex() == HEADS[size - 1]
    assert head == by_definition(INPUTS[:size])


@pytest.mark.parametrize("size", [1, 2, 3, 5, 7, 8, 13, 64, 100])
def test_every_proof_is_the_rfcs_and_leads_to_the_head(size: int):
    contents = [str(number).encode() for number in range(size)]
    leaves = [leaf_hash(each) for each in contents]
    head = root_of(leaves)
    for place in range(size):
        path = path_of(leaves, place)
        assert path == proof_by_definition(place, contents)
        assert root_from(leaves[place], place, size, path) == head


@given(some.integers(1, 40), some.data())
def test_a_proof_of_something_else_leads_elsewhere(size: int, data):
    leaves = [leaf_hash(bytes([number])) for number in range(size)]
    place = data.draw(some.integers(0, size - 1))
    path, head = path_of(leaves, place), root_of(leaves)
    assert root_from(leaf_hash(b"else"), place, size, path) != head
    for wrong in range(size):
        # The same path from another place is no proof, unless it is the only leaf.
        assert wrong == place or root_from(leaves[place], wrong, size, path) != head
    if path:
        assert root_from(leaves[place], place, size, path[:-1]) != head
    assert root_from(leaves[place], place, size, [*path, bytes(32)]) != head
    assert root_from(leaves[place], size, size, path) is None
    assert root_from(leaves[place], -1, size, path) is None
