from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from axledger.ledger.merkle import (
    EMPTY_ROOT,
    Tree,
    consistency_proof,
    inclusion_proof,
    leaf_hash,
    node_hash,
    tree_at,
    verify_consistency,
    verify_inclusion,
)

LARGEST = 70


def naive_root(leaves: list[bytes]) -> bytes:
    """Compute the root word for word as RFC 9162 section 2.1.1 defines it."""
    if not leaves:
        return EMPTY_ROOT
    if len(leaves) == 1:
        return leaves[0]
    split = 1
    while split * 2 < len(leaves):
        split *= 2
    return node_hash(naive_root(leaves[:split]), naive_root(leaves[split:]))


LEAVES = [leaf_hash(bytes([number])) for number in range(LARGEST)]


def grow(leaves: list[bytes]) -> tuple[Tree, dict[tuple[int, int], bytes]]:
    tree, nodes = Tree(), dict[tuple[int, int], bytes]()
    for index, leaf in enumerate(leaves):
        tree, completed = tree.extended(leaf)
        for level in range(len(completed) // 32):
            nodes[level, index >> level] = completed[32 * level :][:32]
    return tree, nodes


NODES = grow(LEAVES)[1]


def read(level: int, position: int) -> bytes:
    return NODES[level, position]


sizes = st.integers(0, LARGEST)


@given(st.lists(st.binary(max_size=8), max_size=40))
def test_growing_gives_the_root_of_the_definition(data: list[bytes]) -> None:
    leaves = [leaf_hash(item) for item in data]
    assert grow(leaves)[0].root() == naive_root(leaves)


@given(sizes)
def test_the_tree_of_any_earlier_size_is_read_from_stored_nodes(size: int) -> None:
    assert tree_at(size, read) == grow(LEAVES[:size])[0]


@given(st.data())
def test_every_entry_proves_its_place_and_no_other(data: st.DataObject) -> None:
    size = data.draw(st.integers(1, LARGEST))
    index = data.draw(st.integers(0, size - 1))
    other = data.draw(st.integers(0, size - 1))
    root = naive_root(LEAVES[:size])
    proof = inclusion_proof(index, size, read)
    assert verify_inclusion(leaf=LEAVES[index], index=index, size=size, proof=proof, root=root)
    fits = verify_inclusion(leaf=LEAVES[index], index=other, size=size, proof=proof, root=root)
    assert fits == (other == index)


@given(st.data())
def test_every_earlier_tree_begins_the_later_one(data: st.DataObject) -> None:
    new = data.draw(sizes)
    old = data.draw(st.integers(0, new))
    old_root, new_root = naive_root(LEAVES[:old]), naive_root(LEAVES[:new])
    proof = consistency_proof(old, new, read)
    assert verify_consistency(old=old, new=new, old_root=old_root, new_root=new_root, proof=proof)
    assert not verify_consistency(old=old, new=new, old_root=b"x" * 32, new_root=new_root, proof=proof)
    assert not verify_consistency(old=old, new=new, old_root=old_root, new_root=new_root, proof=[*proof, b"x" * 32])


@settings(max_examples=300)
@given(st.data())
def test_a_damaged_proof_proves_nothing(data: st.DataObject) -> None:
    new = data.draw(st.integers(2, LARGEST))
    old = data.draw(st.integers(1, new - 1))
    proof = list(consistency_proof(old, new, read))
    place = data.draw(st.integers(0, len(proof) - 1))
    damaged = [*proof]
    damaged[place] = bytes([damaged[place][0] ^ 1]) + damaged[place][1:]
    roots = {"old_root": naive_root(LEAVES[:old]), "new_root": naive_root(LEAVES[:new])}
    assert not verify_consistency(old=old, new=new, proof=damaged, **roots)
    assert not verify_consistency(old=old, new=new, proof=proof[:-1], **roots)


def test_places_outside_the_tree() -> None:
    with pytest.raises(IndexError):
        inclusion_proof(3, 3, read)
    with pytest.raises(IndexError):
        consistency_proof(4, 3, read)
    assert not verify_inclusion(leaf=LEAVES[0], index=1, size=1, proof=(), root=LEAVES[0])
    assert not verify_inclusion(leaf=LEAVES[0], index=0, size=1, proof=[b"x"], root=LEAVES[0])
    assert not verify_consistency(old=2, new=1, old_root=b"", new_root=b"", proof=())
    assert not verify_consistency(old=3, new=5, old_root=b"", new_root=b"", proof=())
