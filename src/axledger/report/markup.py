"""HTML built from text: whatever is not markup already is escaped, so that no name or reading becomes a tag."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape

from axledger.drawing.printable import printable

__all__ = ["Markup", "heading", "joined", "listed", "rows_table", "tag"]


class Markup(str):
    """Text that is HTML. Only this module and the drawings make it."""

    __slots__ = ()


Content = str | Markup


def _safe(content: Content) -> str:
    return content if isinstance(content, Markup) else escape(printable(content), quote=True)


def tag(element: str, *content: Content, **attributes: str) -> Markup:
    """Return an element; ``class_`` and the like lose their underscore, ``data_x`` becomes ``data-x``."""
    named = "".join(
        f' {name.rstrip("_").replace("_", "-")}="{escape(printable(value), quote=True)}"'
        for name, value in attributes.items()
    )
    return Markup(f"<{element}{named}>{''.join(_safe(part) for part in content)}</{element}>")


def joined(parts: Iterable[Content]) -> Markup:
    """Return the parts one after the other, a line each."""
    return Markup("\n".join(_safe(part) for part in parts))


def heading(title: str, *content: Content, anchor: str) -> Markup:
    """Return a section with a heading of the second level, named by it."""
    name = f"{anchor}-title"
    return tag("section", tag("h2", title, id=name), joined(content), id=anchor, aria_labelledby=name)


def listed(items: Iterable[Content]) -> Markup:
    """Return an unordered list."""
    return tag("ul", joined(tag("li", item) for item in items))


def rows_table(caption: str, columns: Iterable[str], rows: Iterable[Iterable[Content]], *, class_: str = "") -> Markup:
    """Return a table whose first cell of each row heads the row; columns and rows carry their scope."""
    head = tag("thead", tag("tr", joined(tag("th", column, scope="col") for column in columns)))
    body = tag("tbody", joined(_row(list(row)) for row in rows))
    attributes = {"class_": class_} if class_ else {}
    return tag("table", tag("caption", caption), head, body, **attributes)


def _row(cells: list[Content]) -> Markup:
    first, *rest = cells
    return tag("tr", tag("th", first, scope="row"), *(tag("td", cell) for cell in rest))
