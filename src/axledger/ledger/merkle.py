"""Merkle tree of RFC 9162 section 2.1, as pure functions over stored nodes.

Node ``(level, position)`` covers leaves ``position * 2**level`` up to, not including,
``(position + 1) * 2**level``; leaves count from 0. Only complete nodes are ever stored, and a complete
node never changes, so appending writes about two of them and every proof reads O(log n).
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TypeAlias

__all__ = [
    "EMPTY_ROOT",
    "NodeReader",
    "Tree",
    "consistency_proof",
    "inclusion_proof",
    "leaf_hash",
    "node_hash",
    "tree_at",
    "verify_consistency",
    "verify_inclusion",
]

NodeReader: TypeAlias = Callable[[int, int], bytes]

EMPTY_ROOT = hashlib.sha256(b"").digest()


def leaf_hash(data: bytes) -> bytes:
    """Return SHA-256(0x00 || data) (RFC 9162 section 2.1.1)."""
    return hashlib.sha256(b"\x00" + data).digest()


def node_hash(left: bytes, right: bytes) -> bytes:
    """Return SHA-256(0x01 || left || right) (RFC 9162 section 2.1.1)."""
    return hashlib.sha256(b"\x01" + left + right).digest()


@dataclass(frozen=True, slots=True)
class Tree:
    """The right edge of a tree: its size and its complete subtrees, largest first."""

    size: int = 0
    peaks: tuple[bytes, ...] = ()

    def root(self) -> bytes:
        """Return the root hash; SHA-256 of nothing for the empty tree."""
        if not self.peaks:
            return EMPTY_ROOT
        root = self.peaks[-1]
        for peak in reversed(self.peaks[:-1]):
            root = node_hash(peak, root)
        return root

    def extended(self, leaf: bytes) -> tuple[Tree, bytes]:
        """Return the tree with one more leaf hash, and the hashes of the nodes it completes.

        They stand one after the other, the leaf itself first, each one level above the one before.
        """
        peaks = self.peaks
        kept, position, value, completed = len(peaks), self.size, leaf, leaf
        while position & 1:
            kept, position = kept - 1, position >> 1
            value = node_hash(peaks[kept], value)
            completed += value
        return Tree(self.size + 1, (*peaks[:kept], value)), completed


def tree_at(size: int, node: NodeReader) -> Tree:
    """Return the tree of the first ``size`` leaves, its peaks read through ``node``."""
    levels = [level for level in range(size.bit_length() - 1, -1, -1) if size >> level & 1]
    return Tree(size, tuple(node(level, (size >> level) - 1) for level in levels))


def inclusion_proof(index: int, size: int, node: NodeReader) -> tuple[bytes, ...]:
    """Return the audit path of leaf ``index`` in the first ``size`` leaves (RFC 9162 2.1.3.1).

    Raises ``IndexError`` unless ``0 <= index < size``.
    """
    if not 0 <= index < size:
        raise IndexError(f"leaf {index} is not among {size}")
    low, high, path = 0, size, list[bytes]()
    while high - low > 1:
        middle = low + _split(high - low)
        if index < middle:
            path.append(_range_root(middle, high, node))
            high = middle
        else:
            path.append(_range_root(low, middle, node))
            low = middle
    return tuple(reversed(path))


def consistency_proof(old: int, new: int, node: NodeReader) -> tuple[bytes, ...]:
    """Return the proof that the first ``old`` leaves begin the first ``new`` (RFC 9162 2.1.4.1).

    Empty where ``old`` is 0 or ``new``. Raises ``IndexError`` unless ``0 <= old <= new``.
    """
    if not 0 <= old <= new:
        raise IndexError(f"a tree of {new} has no earlier tree of {old}")
    if old in (0, new):
        return ()
    low, high, path = 0, new, list[bytes]()
    while high != old:
        middle = low + _split(high - low)
        if old <= middle:
            path.append(_range_root(middle, high, node))
            high = middle
        else:
            path.append(_range_root(low, middle, node))
            low = middle
    if low > 0:
        path.append(_range_root(low, high, node))
    return tuple(reversed(path))


def verify_inclusion(*, leaf: bytes, index: int, size: int, proof: Sequence[bytes], root: bytes) -> bool:
    """Tell whether ``proof`` shows ``leaf`` (a hash) at ``index`` of ``size`` (RFC 9162 2.1.3.2)."""
    if not 0 <= index < size:
        return False
    first, last, value = index, size - 1, leaf
    for step in proof:
        if last == 0:
            return False
        if first & 1 or first == last:
            value = node_hash(step, value)
            while not first & 1 and first:
                first, last = first >> 1, last >> 1
        else:
            value = node_hash(value, step)
        first, last = first >> 1, last >> 1
    return last == 0 and value == root


def verify_consistency(*, old: int, new: int, old_root: bytes, new_root: bytes, proof: Sequence[bytes]) -> bool:
    """Tell whether ``proof`` shows the old tree to begin the new one (RFC 9162 2.1.4.2)."""
    if not 0 <= old <= new:
        return False
    if old == new:
        return not proof and old_root == new_root
    if old == 0:
        return not proof and old_root == EMPTY_ROOT
    # A complete old tree is itself the first node of the path and therefore left out of the proof.
    path = [old_root, *proof] if old & (old - 1) == 0 else list(proof)
    if not path:
        return False
    first, last = old - 1, new - 1
    while first & 1:
        first, last = first >> 1, last >> 1
    old_value = new_value = path[0]
    for step in path[1:]:
        if last == 0:
            return False
        if first & 1 or first == last:
            old_value, new_value = node_hash(step, old_value), node_hash(step, new_value)
            while not first & 1 and first:
                first, last = first >> 1, last >> 1
        else:
            new_value = node_hash(new_value, step)
        first, last = first >> 1, last >> 1
    return last == 0 and old_value == old_root and new_value == new_root


def _split(count: int) -> int:
    """Return the largest power of two below ``count``."""
    return 1 << ((count - 1).bit_length() - 1)


def _range_root(low: int, high: int, node: NodeReader) -> bytes:
    # Every range a proof asks for starts at a multiple of its own largest power of two.
    count = high - low
    if count & (count - 1) == 0:
        level = count.bit_length() - 1
        return node(level, low >> level)
    middle = low + _split(count)
    return node_hash(_range_root(low, middle, node), _range_root(middle, high, node))
