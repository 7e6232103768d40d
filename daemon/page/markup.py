"""HTML made of elements: whatever is no HTML already is escaped, so that no name can become one.

The rule of this file: only what ``element`` returned is HTML; there is no other way to make some.
"""

from html import escape
from typing import TYPE_CHECKING, Final, TypeAlias

if TYPE_CHECKING:
    from collections.abc import Iterable

_EMPTY: Final = frozenset({"img", "input", "link", "meta", "source"})


class Html(str):
    """Text that is HTML already."""

    __slots__ = ()


#: What may stand in an element: text is escaped, None is nothing.
Child: TypeAlias = "str | int | Iterable[Child] | None"
Value: TypeAlias = "str | float | bool | None"


def element(tag: str, /, *children: Child, **attributes: Value) -> Html:
    """Return an element; ``class_`` is the class, an underscore a hyphen; of True only the name stands, of False and None nothing."""
    told = "".join(map(_attribute, attributes.items()))
    return Html(f"<{tag}{told}>" if tag in _EMPTY else f"<{tag}{told}>{together(children)}</{tag}>")


def _attribute(pair: tuple[str, Value]) -> str:
    name, value = pair[0].rstrip("_").replace("_", "-"), pair[1]
    if value is None or value is False:
        return ""
    return f" {name}" if value is True else f' {name}="{escape(str(value))}"'


def together(child: Child) -> Html:
    """Return children one after another."""
    if child is None:
        return Html()
    if isinstance(child, Html):
        return child
    if isinstance(child, (str, int)):
        return Html(escape(str(child)))
    return Html("".join(map(together, child)))


def document(root: Html) -> Html:
    """Return a whole page."""
    return Html(f"<!doctype html>\n{root}\n")
