"""The words for every cause that the rules can name."""

from wardian.adapters.yaml_file import parse
from wardian.daemon.cause_words import cause_words
from wardian.rules.observing.causes import EXPLAINS


def test_every_cause_has_words_and_one_action() -> None:
    known = cause_words(parse)
    assert {name: one.explains for name, one in known.items()} == dict(EXPLAINS)
    for one in known.values():
        assert one.words
        assert one.action


def test_the_words_of_a_cause_are_the_middle_of_a_sentence() -> None:
    for one in cause_words(parse).values():
        assert one.words[0].islower()
        assert not one.words.endswith(".")
