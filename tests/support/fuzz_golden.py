"""Golden configurations: the example, and many that are put together of parts that fit, each of them valid."""

from collections.abc import Mapping, Sequence
from itertools import count
from pathlib import Path
from random import Random

import yaml
from base_config import BASE, EXAMPLE

#: Section → ways to write it.
_PARTS: Mapping[str, Sequence[str]] = yaml.safe_load(
    (Path(__file__).parents[1] / "fuzz" / "golden_parts.yaml").read_text(encoding="utf-8")
)
#: How many are put together of parts.
PUT_TOGETHER = 60


def golden() -> Mapping[str, str]:
    """Return golden configurations by name; each part is in some of them, and no two are the same."""
    found = {"base": BASE, "example": EXAMPLE.read_text(encoding="utf-8")}
    chance, texts = Random(1), set(found.values())
    for number in count():
        if len(found) == PUT_TOGETHER + 2:
            return found
        parts = [
            part[(number + place) % len(part)] if number < 6 else chance.choice(part)
            for place, part in enumerate(_PARTS.values())
        ]
        text = "# A golden one.\n" + "".join(parts)
        if text not in texts:
            texts.add(text)
            found[f"golden-{len(found)}"] = text
    raise AssertionError
