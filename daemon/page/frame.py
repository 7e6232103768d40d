"""The frame of every page: its head, where one is, and the ways to the others."""

from http import HTTPStatus
from typing import Final, NamedTuple

from wardian.daemon.page.asked import Answer
from wardian.daemon.page.markup import Child, Html, document, element

#: Where the pages are, and what they are called.
PLACES: Final = (
    ("/", "Bench"),
    ("/batches", "Batches"),
    ("/journal", "Journal"),
    ("/figures", "Figures"),
)
#: Where whoever has not signed in is; no way leads on from there.
SIGN_IN: Final = "/sign-in"


class Frame(NamedTuple):
    """What stands around a page."""

    title: str
    site: str
    place: str = ""
    #: What was just done, or why not.
    said: str = ""
    is_refused: bool = False
    has_password: bool = False
    token: str = ""


def page(frame: Frame, *children: Child, status: HTTPStatus = HTTPStatus.OK) -> Answer:
    """Return a whole page."""
    root = element("html", _head(frame), element("body", _body(frame, children)), lang="en")
    return Answer(document(root).encode(), status)


def _head(frame: Frame) -> Html:
    return element(
        "head",
        element("meta", charset="utf-8"),
        element("meta", name="viewport", content="width=device-width, initial-scale=1"),
        element("meta", name="color-scheme", content="light dark"),
        element("title", f"{frame.title} · {frame.site}"),
        element("link", rel="icon", href="/icon.svg", type="image/svg+xml"),
        element("link", rel="stylesheet", href="/page.css"),
        element("script", "", src="/page.js", defer=True),
    )


def _body(frame: Frame, children: Child) -> list[Child]:
    return [
        element(
            "a",
            "Skip to the trays" if frame.place == "/" else "Skip to the content",
            class_="skip",
            href="#main",
        ),
        element(
            "header",
            element("p", frame.site, class_="site"),
            None if frame.place == SIGN_IN else _ways(frame),
        ),
        element("p", "", id="unheard", role="alert"),
        element("main", _said(frame), children, id="main", tabindex="-1"),
        element("footer", _sign_out(frame)) if frame.has_password else None,
    ]


def _ways(frame: Frame) -> Html:
    return element("nav", element("ul", [_way(frame, *place) for place in PLACES]), aria_label="Pages")


def _way(frame: Frame, address: str, words: str) -> Html:
    return element(
        "li", element("a", words, href=address, aria_current="page" if address == frame.place else None)
    )


def _said(frame: Frame) -> Child:
    if not frame.said:
        return None
    role, kind = ("alert", "said refused") if frame.is_refused else ("status", "said")
    return element("p", frame.said, class_=kind, role=role)


def _sign_out(frame: Frame) -> Html:
    return element(
        "form",
        element("input", type="hidden", name="token", value=frame.token),
        element("button", "Sign out"),
        method="post",
        action="/sign-out",
    )


def live(name: str, *children: Child, tag: str = "div", class_: str = "") -> Html:
    """Return a part that the script brings up to date by itself."""
    return element(tag, *children, id=name, class_=class_ or None, data_live=True)
