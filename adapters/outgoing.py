"""What every channel does to a message before it leaves the program.

Names in a message come from a configuration, a topic or a file: here they lose the power to move
a cursor, end a header or begin a line of their own.
"""

import json
import unicodedata
from typing import Final

from wardian.rules.errors import DeliveryRefused
from wardian.rules.ports import Message

JSON_TYPE: Final = "application/json"


def harmless(text: str) -> str:
    r"""Return the text with its line ends and every other control character written out, as ``\x1b``."""
    return "\n".join(_written_out(line) for line in text.split("\n"))


def one_line(text: str) -> str:
    """Return the text on one line, harmless."""
    return _written_out(" ".join(text.split()))


def _written_out(line: str) -> str:
    return "".join(sign if _is_plain(sign) else _escaped(sign) for sign in line)


def _is_plain(sign: str) -> bool:
    # A no-break space between number and unit is no more dangerous than a space.
    return sign.isprintable() or unicodedata.category(sign) == "Zs"


def _escaped(sign: str) -> str:
    return sign.encode("unicode_escape").decode("ascii")


def as_json(channel: str, message: Message) -> bytes:
    """Return a message's fields and its key as one JSON object in UTF-8.

    Raises:
        DeliveryRefused: A field is nothing that JSON knows, such as not-a-number.
    """
    try:
        text = json.dumps({**message.fields, "key": message.key}, ensure_ascii=False, allow_nan=False)
        return text.encode()
    except (TypeError, ValueError) as error:
        raise DeliveryRefused(channel, f"message {message.key} is not JSON: {error}") from error


def reason(error: OSError) -> str:
    """Return why the operating system or TLS refused, without addresses or content."""
    return one_line(error.strerror or type(error).__name__)
