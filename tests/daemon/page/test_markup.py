"""HTML made of elements: whatever stands in one comes out of it as the text that it was."""

from html.parser import HTMLParser

from hypothesis import given
from hypothesis import strategies as st
from page_rig import Outline

from wardian.daemon.page.markup import Html, element

#: A parser reads these as other characters, whoever wrote them; no text of a bench has them.
TEXT = st.text(st.characters(exclude_categories=["Cs", "Cc"]))


class _Values(HTMLParser):
    def __init__(self, text: str) -> None:
        super().__init__()
        self.values: list[str | None] = []
        self.feed(text)

    def handle_starttag(self, _tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.values += [value for _, value in attrs]


@given(TEXT)
def test_any_text_stays_the_text_that_it_was(text: str) -> None:
    outline = Outline(element("p", text))
    assert "".join(outline.words) == text
    assert outline.elements == [("p", ())]


@given(TEXT)
def test_any_value_of_an_attribute_stays_the_value_that_it_was(text: str) -> None:
    made = element("input", value=text, name="who")
    assert _Values(made).values == [text, "who"]
    assert Outline(made).elements == [("input", ("value", "name"))]


def test_what_is_html_already_is_not_escaped_twice() -> None:
    assert element("p", element("b", "a & b"), " <i>") == "<p><b>a &amp; b</b> &lt;i&gt;</p>"
    assert isinstance(element("p"), Html)


def test_only_what_is_true_of_an_element_is_written_on_it() -> None:
    made = element("input", required=True, checked=False, title=None, aria_label="x", class_="y")
    assert made == '<input required aria-label="x" class="y">'
