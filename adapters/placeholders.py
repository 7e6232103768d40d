"""``{tray}`` and ``{quantity}`` in the names that the outside world uses, such as topics."""

import re
from typing import Final

PLACEHOLDERS: Final = ("tray", "quantity")
_ESCAPED: Final = re.compile(r"\\\{(tray|quantity)\\\}")
_BRACE: Final = re.compile(r"[{}]")


def expression(text: str, one_part: str) -> str:
    """Return the regular expression of a text whose placeholders each stand for ``one_part``.

    Raises:
        ValueError: A placeholder comes twice or is neither {tray} nor {quantity}.
    """
    for name in PLACEHOLDERS:
        if text.count(f"{{{name}}}") > 1:
            raise ValueError(f"{text!r} has {{{name}}} more than once")
    if _BRACE.search(text.replace("{tray}", "").replace("{quantity}", "")):
        raise ValueError(f"{text!r} has a brace that is neither {{tray}} nor {{quantity}}")
    return _ESCAPED.sub(lambda match: f"(?P<{match[1]}>{one_part})", re.escape(text))
