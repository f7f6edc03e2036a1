"""Merkle tree against published values.

Source of leaves, roots and proofs: tests of the public repository transparency-dev/merkle, which follow
RFC 6962 (2013) section 2.1 and RFC 9162 (2021) section 2.1; the rules are those of the RFCs.
"""

from __future__ import annotations

import hashlib

import pytest

from axledger.ledger.merkle import (
    EMPTY_ROOT,
    Tree,
    consistency_proof,
    inclusion_proof,
    leaf_hash,
    node_hash,
    verify_consistency,
    verify_inclusion,
)

LEAVES = [
    bytes.fromhex(text)
    for text in (
        "",
        "00",
        "10",
        "2021",
        "3031",
        "40414243",
        "5051525354555657",
        "606162636465666768696a6b6c6d6e6f",
    )
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
LEAF_4_5_SIBLING = "bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b"
NODE_6_7 = "ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0"


def tree_and_nodes(count: int) -> tuple[Tree, dict[tuple[int, int], bytes]]:
    tree, nodes = Tree(), dict[tuple[int, int], bytes]()
    for index, data in enumerate(LEAVES[:count]):
        tree, completed = tree.extended(leaf_hash(data))
        for level in range(len(completed) // 32):
            nodes[level, index >> level] = completed[32 * level : 32 * level + 32]
    return tree, nodes


@pytest.mark.parametrize("size", range(9))
def test_roots_of_sizes_0_to_8(size: int) -> None:
    assert tree_and_nodes(size)[0].root().hex() == ROOTS[size]


def test_an_empty_leaf_is_not_an_empty_tree() -> None:
    assert hashlib.sha256(b"").digest() == EMPTY_ROOT
    assert leaf_hash(b"").hex() == ROOTS[1]


def test_hashes_of_a_leaf_and_of_a_node() -> None:
    assert leaf_hash(b"L123456").hex() == "395aa064aa4c29f7010acfe3f25db9485bbd4b91897b6ad7ad547639252b4d56"
    expected = "aa217fe888e47007fa15edab33c2b492a722cb106c64667fc2b044444de66bbb"
    assert node_hash(b"N123", b"N456").hex() == expected


def test_inclusion_of_leaf_5_in_8() -> None:
    _, nodes = tree_and_nodes(8)
    proof = inclusion_proof(5, 8, lambda level, position: nodes[level, position])
    assert [step.hex() for step in proof] == [LEAF_4_5_SIBLING, NODE_6_7, ROOTS[4]]
    root = bytes.fromhex(ROOTS[8])
    assert verify_inclusion(leaf=leaf_hash(LEAVES[5]), index=5, size=8, proof=proof, root=root)
    assert not verify_inclusion(leaf=leaf_hash(LEAVES[4]), index=5, size=8, proof=proof, root=root)


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        (
            6,
            8,
            ["0ebc5d3437fbe2db158b9f126a1d118e308181031d0a949f8dededebc558ef6a", NODE_6_7, ROOTS[4]],
        ),
        (
            3,
            7,
            [
                "0298d122906dcfc10892cb53a73992fc5b9f493ea4c9badb27b791b4127a7fe7",
                "07506a85fd9dd2f120eb694f86011e5bb4662e5c415a62917033d4a9624487e7",
                ROOTS[2],
                "837dbb152e9b079010717e84e865da4ebc0fa198a806d59d31bf15accef22d0e",
            ],
        ),
    ],
)
def test_consistency(old: int, new: int, expected: list[str]) -> None:
    _, nodes = tree_and_nodes(new)
    proof = consistency_proof(old, new, lambda level, position: nodes[level, position])
    assert [step.hex() for step in proof] == expected
    old_root, new_root = bytes.fromhex(ROOTS[old]), bytes.fromhex(ROOTS[new])
    assert verify_consistency(old=old, new=new, old_root=old_root, new_root=new_root, proof=proof)
    assert not verify_consistency(old=old, new=new, old_root=new_root, new_root=new_root, proof=proof)
