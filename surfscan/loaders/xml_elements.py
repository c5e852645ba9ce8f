"""Children of XML elements by local name: namespaces change with a schema's year, or are left out."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element


def local_name(element: Element) -> str:
    """Name of an element without its namespace."""
    return str(element.tag).rsplit("}", 1)[-1]


def children(element: Element, name: str) -> list[Element]:
    """Direct children of that local name."""
    return [child for child in element if local_name(child) == name]


def child(element: Element, name: str) -> Element | None:
    """First direct child of that local name; None where there is none."""
    return next(iter(children(element, name)), None)
