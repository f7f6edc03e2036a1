from __future__ import annotations

from xml.etree import ElementTree

from hypothesis import given
from hypothesis import strategies as st

from axledger.report.markup import Markup, heading, joined, listed, rows_table, tag


@given(st.text())
def test_any_text_comes_back_as_text_and_never_as_a_tag(words: str) -> None:
    element = ElementTree.fromstring(tag("p", words, title=words))
    assert not list(element)
    if words.isprintable():
        assert "".join(element.itertext()) == words
        assert element.get("title") == words


def test_markup_passes_and_text_inside_does_not() -> None:
    assert tag("p", tag("b", "<i>"), "&") == "<p><b>&lt;i&gt;</b>&amp;</p>"
    assert isinstance(joined(["a", "<"]), Markup)
    assert joined(["a", "<"]) == "a\n&lt;"


def test_text_put_together_with_markup_is_text_again() -> None:
    assert tag("p", f"{tag('b', 'x')}") == "<p>&lt;b&gt;x&lt;/b&gt;</p>"


def test_tables_have_scopes_and_sections_are_named_by_their_heading() -> None:
    table = ElementTree.fromstring(rows_table("c", ("x", "y"), [["1", "2"]], class_="k"))
    assert [th.get("scope") for th in table.iter("th")] == ["col", "col", "row"]
    assert table.get("class") == "k"
    section = ElementTree.fromstring(heading("Title", listed(["one"]), anchor="here"))
    assert section.get("aria-labelledby") == section[0].get("id")
