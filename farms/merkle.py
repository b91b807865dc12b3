"""The Merkle tree of RFC 9162, 2.1 (as in RFC 6962): one hash for many, and a short proof that one is among them.

Leaves and nodes are hashed with different first bytes, so that neither can be passed off as the other. A proof holds
hashes only. Whoever checks one needs this file's last function and nothing else; the client has its own, since it
imports nothing of the rest (server/client/evidence.py).
"""

import hashlib
from collections.abc import Sequence

LEAF, NODE = b"\x00", b"\x01"
EMPTY = hashlib.sha256(b"").digest()


def leaf_hash(content: bytes) -> bytes:
    """HASH(0x00 || d), RFC 9162, 2.1.1."""
    return hashlib.sha256(LEAF + content).digest()


def node_hash(left: bytes, right: bytes) -> bytes:
    """HASH(0x01 || left || right), RFC 9162, 2.1.1."""
    return hashlib.sha256(NODE + left + right).digest()


def root_of(leaves: Sequence[bytes]) -> bytes:
    """The tree's head over these leaf hashes, in their order."""
    return _levels(leaves)[-1][0] if leaves else EMPTY


def path_of(leaves: Sequence[bytes], place: int) -> list[bytes]:
    """The inclusion proof of the leaf at a place (from 0): the hashes beside its way up, lowest first (2.1.3.1)."""
    path, at = [], place
    for level in _levels(leaves)[:-1]:
        beside = at ^ 1
        # Alone at the right end, a node moves up as it is.
        if beside < len(level):
            path.append(level[beside])
        at >>= 1
    return path


def root_from(leaf: bytes, place: int, size: int, path: Sequence[bytes]) -> bytes | None:
    """The head that a proof leads to (2.1.3.2), or None where it can't be of such a leaf in a tree of this size."""
    if not 0 <= place < size:
        return None
    at, last, found = place, size - 1, leaf
    for beside in path:
        if last == 0:
            return None
        if at & 1 or at == last:
            found = node_hash(beside, found)
            while not at & 1 and at:
                at, last = at >> 1, last >> 1
        else:
            found = node_hash(found, beside)
        at, last = at >> 1, last >> 1
    return found if last == 0 else None


def _levels(leaves: Sequence[bytes]) -> list[list[bytes]]:
    """All hashes from the leaves up to the head. Pairing neighbours gives the RFC's tree, which splits at 2^k < n."""
    levels = [list(leaves)]
    while len(levels[-1]) > 1:
        below = levels[-1]
        above = [node_hash(left, right) for left, right in zip(below[::2], below[1::2], strict=False)]
        levels.append(above + ([below[-1]] if len(below) % 2 else []))
    return levels
