"""Topic names and filters: MQTT 5.0 (OASIS, 2019), sections 4.7.1 to 4.7.3 and 4.8.2.

The matches were computed with paho-mqtt 2.2.0, whose matcher is run here too; the rules were read in public
test lists and notes that quote these sections. U+0000 and the longest topic are from memory (4.7.3).
"""

import pytest
from paho.mqtt.client import topic_matches_sub

from wardian.adapters.topics import TopicPattern, refuse_bad_filter, refuse_bad_topic

#: Filter, topic, whether they match.
MATCHES = [
    ("sport/tennis/player1/#", "sport/tennis/player1", True),
    ("sport/tennis/player1/#", "sport/tennis/player1/ranking", True),
    ("sport/#", "sport", True),
    ("#", "a/b", True),
    ("sport/tennis/+", "sport/tennis/player1", True),
    ("sport/tennis/+", "sport/tennis/player1/ranking", False),
    ("sport/+", "sport", False),
    ("sport/+", "sport/", True),
    ("+/+", "/finance", True),
    ("/+", "/finance", True),
    ("+", "/finance", False),
    ("#", "$SYS/uptime", False),
    ("+/monitor/Clients", "$SYS/monitor/Clients", False),
    ("$SYS/#", "$SYS/uptime", True),
    ("$SYS/monitor/+", "$SYS/monitor/Clients", True),
    ("Tray/temp", "tray/temp", False),
    ("tray//temp", "tray/+/temp", False),
    ("tray/+/temp", "tray//temp", True),
    ("site/+/tray/+/rh", "site/a/tray/3/rh", True),
    ("site/a/tray/#", "site/a/tray/3/rh/raw", True),
]

#: Filter, whether it is valid.
FILTERS = [
    ("#", True),
    ("sport/tennis/#", True),
    ("+", True),
    ("+/tennis/#", True),
    ("/finance", True),
    ("/", True),
    ("sport/tennis#", False),  # # must stand alone in its level
    ("sport/tennis/#/ranking", False),  # # must be last
    ("sport+", False),  # + must fill its level
    ("", False),  # at least one character
    ("a\0b", False),  # no U+0000
    ("$share/consumer1/sport/tennis/+", True),  # group consumer1, filter sport/tennis/+
    ("$share/consumer1//finance", True),  # filter /finance
    ("$share/g/#", True),
    ("$share//a", False),  # ShareName needs at least one character
    ("$share/g+/a", False),  # ShareName must not hold / + #
    ("$share/g#/a", False),
    ("$share/g", False),  # a / and a filter must follow
    ("$share/g/", False),  # the filter must have at least one character
]

#: Name of a topic, whether it is valid.
NAMES = [
    ("tray/1/temp", True),
    ("tray/+/temp", False),  # wildcard in a topic name
    ("tray/#", False),  # wildcard in a topic name
    ("", False),  # empty (unless a topic alias is used)
    ("tray/1/ temp", True),  # spaces are allowed
    ("x" * 65535, True),  # 65535 bytes: longest
    ("x" * 65536, False),  # longer than 65535 bytes
]


@pytest.mark.parametrize(("topic_filter", "topic", "matches"), MATCHES)
def test_a_filter_matches_the_topics_it_should(topic_filter: str, topic: str, matches: bool) -> None:
    assert (TopicPattern(topic_filter).match(topic) is not None) == matches
    assert topic_matches_sub(topic_filter, topic) == matches


@pytest.mark.parametrize(("topic_filter", "is_valid"), FILTERS)
def test_a_filter_is_accepted_when_it_is_valid(topic_filter: str, is_valid: bool) -> None:
    if is_valid:
        refuse_bad_filter(topic_filter)
        assert TopicPattern(topic_filter).topic_filter == topic_filter
    else:
        with pytest.raises(ValueError, match=r"topic|\$share|#|\+"):
            refuse_bad_filter(topic_filter)
        with pytest.raises(ValueError, match=r"topic|\$share|#|\+"):
            TopicPattern(topic_filter)


@pytest.mark.parametrize(("topic", "is_valid"), NAMES)
def test_a_topic_name_is_accepted_when_it_is_valid(topic: str, is_valid: bool) -> None:
    if is_valid:
        refuse_bad_topic(topic)
    else:
        with pytest.raises(ValueError, match=r"topic|wildcard"):
            refuse_bad_topic(topic)


def test_a_shared_subscription_matches_as_its_filter_does() -> None:
    assert TopicPattern("$share/bench/trays/+/temp").match("trays/tray-a/temp") == {}
    assert TopicPattern("$share/bench//finance").match("/finance") == {}
    assert TopicPattern("$share/bench/trays/+/temp").match("$share/bench/trays/tray-a/temp") is None
