import pytest
from hypothesis import given
from hypothesis import strategies as st
from paho.mqtt.client import topic_matches_sub

from wardian.adapters.topics import TopicPattern

LEVEL = st.sampled_from(["", "a", "b", "$x", "tray-a", "A.b", "ä"])


def test_placeholders_are_subscribed_as_single_levels_and_tell_what_stood_there() -> None:
    pattern = TopicPattern("bench/{tray}/{quantity}/+/#")
    assert pattern.topic_filter == "bench/+/+/+/#"
    assert pattern.placeholders == {"tray", "quantity"}
    assert pattern.match("bench/tray-a/ppfd/x/y/z") == {"tray": "tray-a", "quantity": "ppfd"}
    assert pattern.match("bench/tray-a/ppfd") is None


def test_a_placeholder_takes_one_level_only() -> None:
    assert TopicPattern("{tray}/temp").match("bench/tray-a/temp") is None
    assert TopicPattern("{tray}/temp").match("/temp") == {"tray": ""}
    assert TopicPattern("{tray}/temp").match("$SYS/temp") is None


def test_signs_of_regular_expressions_and_line_ends_are_plain_letters() -> None:
    assert TopicPattern("a.c").match("abc") is None
    assert TopicPattern("a.c").match("a.c\n") is None
    assert TopicPattern("+").match("a\nb") == {}


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("x{tray}/t", "filling a level"),
        ("{tray}/{tray}", "twice"),
        ("{cover}/t", "filling a level"),
        ("{tray", "filling a level"),
        ("xtrayx/{tray}", ""),
        ("{tray}/#/x", "alone in the last level"),
    ],
)
def test_a_bad_pattern_is_refused_with_the_reason(text: str, why: str) -> None:
    if not why:
        assert TopicPattern(text).topic_filter == "xtrayx/+"
        return
    with pytest.raises(ValueError, match=why):
        TopicPattern(text)


@given(
    levels=st.lists(st.one_of(LEVEL, st.just("+")), min_size=1, max_size=4),
    has_tail=st.booleans(),
    topic=st.lists(LEVEL, min_size=1, max_size=5).map("/".join).filter(bool),
)
def test_it_matches_what_the_client_library_matches(levels: list[str], has_tail: bool, topic: str) -> None:
    topic_filter = "/".join([*levels, "#"] if has_tail else levels)
    if not topic_filter:
        return
    assert (TopicPattern(topic_filter).match(topic) is not None) == topic_matches_sub(topic_filter, topic)
