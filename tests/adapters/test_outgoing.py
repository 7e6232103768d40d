import json

import pytest

from wardian.adapters.outgoing import as_json, harmless, one_line, reason
from wardian.rules.errors import DeliveryRefused
from wardian.rules.ports import Message


def test_control_characters_are_written_out_and_line_ends_stay() -> None:
    assert harmless("a\x1b[31mb\x07\x9b\rc\nd\u202ee\u2028f\ud800") == (
        r"a\x1b[31mb\x07\x9b\rc" + "\n" + r"d\u202ee\u2028f\ud800"
    )


def test_words_and_units_of_any_language_stay_as_they_are() -> None:
    plain = "Tray ä 苔: 75\N{NO-BREAK SPACE}°F, 0.4\N{NARROW NO-BREAK SPACE}kPa »dry« 🌱"
    assert harmless(plain) == plain
    assert one_line("苔: 75 °F") == "苔: 75 °F"


def test_one_line_is_one_line() -> None:
    assert one_line("too dry\r\nBcc: other@example.org\n\x00") == r"too dry Bcc: other@example.org \x00"
    assert len(one_line("a\u2028b\x0bc\x85d").splitlines()) == 1


def test_a_message_as_json_is_its_fields_and_its_key() -> None:
    message = Message("tray-a/1", "", "", {"tray": "tray-a", "value": 88.5, "limit": None})
    sent = as_json("hook", message)
    assert json.loads(sent) == {"tray": "tray-a", "value": 88.5, "limit": None, "key": "tray-a/1"}
    assert "°F".encode() in as_json("hook", Message("k", "", "", {"message": "75 °F"}))


@pytest.mark.parametrize("value", [float("nan"), float("inf"), object(), b"bytes", "\ud800"])
def test_what_is_not_json_is_refused_and_never_sent(value: object) -> None:
    with pytest.raises(DeliveryRefused, match=r"hook: message k is not JSON"):
        as_json("hook", Message("k", "", "", {"value": value}))


def test_a_reason_is_the_systems_own_or_the_kind_of_error() -> None:
    assert reason(OSError(111, "Connection refused")) == "Connection refused"
    assert reason(TimeoutError("canary")) == "TimeoutError"
