from __future__ import annotations

from xml.etree import ElementTree

from axledger.drawing.verdict_marks import MARKS, mark_of, mark_svg
from axledger.geometry.conformity import Verdict


def test_every_verdict_has_a_shape_of_its_own_in_both_alphabets() -> None:
    assert set(MARKS) == set(Verdict)
    assert len({mark.shape for mark in MARKS.values()}) == len(Verdict)
    assert len({mark.ascii for mark in MARKS.values()}) == len(Verdict)
    assert all(mark.ascii.isascii() and len(mark.ascii) == len(mark.shape) == 1 for mark in MARKS.values())


def test_the_word_stands_beside_the_shape() -> None:
    assert mark_of(Verdict.CONFORMS).text(unicode=True) == "● conforms"
    assert mark_of(Verdict.FAILS).text(unicode=False) == "X does not conform"


def test_drawn_shapes_differ_without_their_colour() -> None:
    drawn = {verdict: ElementTree.fromstring(mark_svg(verdict)) for verdict in Verdict}
    shapes = {(svg[0].tag, svg[0].get("d"), svg[0].get("r")) for svg in drawn.values()}
    assert len(shapes) == len(Verdict)
    assert all(svg.get("aria-hidden") == "true" for svg in drawn.values())
