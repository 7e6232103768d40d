"""The truth about a week of readings as a file: one JSON object.

The rule of this file: what a truth must say is looked at key by key, and what else it says is left
alone; a mistake is told with its place, such as ``faults[3].from``.
"""

import json
from collections.abc import Callable, Collection, Iterable, Mapping
from pathlib import Path
from typing import Any, Final, TypeVar

from wardian.adapters.strict_json import document
from wardian.adapters.timestamps import parse_ms, text_of
from wardian.rules.documents import Path as Place
from wardian.rules.documents import dotted, nearest, shown
from wardian.rules.errors import BadReading
from wardian.rules.faults import FAULTS
from wardian.rules.quantities import QUANTITIES
from wardian.rules.truth import CARE_EVENTS, TrueCare, TrueFault, Truth

#: Many years of faults and care; a file beyond it is something else.
MOST_BYTES: Final = 64 << 20
_MEASURED: Final = [name for name, one in QUANTITIES.items() if not one.derived]
_NOTHING: Final = object()
_One = TypeVar("_One")


def read_truth(path: Path) -> Truth:
    """Return the truth in a file.

    Raises:
        BadReading: It cannot be read or is no truth; the message names the place.
    """
    try:
        with path.open("rb") as file:
            payload = file.read(MOST_BYTES + 1)
    except OSError as error:
        raise BadReading(str(path), f"cannot be read: {error.strerror or error}") from error
    try:
        return _truth(document(payload.removeprefix(b"\xef\xbb\xbf"), MOST_BYTES))
    except ValueError as error:
        raise BadReading(str(path), str(error)) from error


def write_truth(path: Path, truth: Truth) -> None:
    """Write a truth as a file, which appears under its name only when it is whole.

    Raises:
        OSError: It cannot be written there.
    """
    part = path.with_name(f".{path.name}.part")
    try:
        part.write_text(json.dumps(_written(truth), ensure_ascii=False, indent=1) + "\n", encoding="utf-8")
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)


def _written(truth: Truth) -> dict[str, Any]:
    return {
        "seed": truth.seed,
        "start": text_of(truth.start_ms),
        "end": text_of(truth.end_ms),
        "faults": [
            {"tray": one.tray, "fault": one.fault, **_times(one)}
            | ({} if one.quantity is None else {"quantity": one.quantity})
            for one in truth.faults
        ],
        "care": [{"tray": one.tray, "event": one.event, **_times(one)} for one in truth.care],
    }


def _times(one: TrueFault | TrueCare) -> dict[str, str]:
    return {"from": text_of(one.from_ms), "to": text_of(one.to_ms)}


# -------------------------------------------------------------------------------------- reading


def _truth(value: Any) -> Truth:
    keys = _object(value, ())
    start_ms, end_ms = _span(keys, (), ("start", "end"))
    return Truth(
        seed=_seed(keys),
        start_ms=start_ms,
        end_ms=end_ms,
        faults=_each(keys, "faults", _fault),
        care=_each(keys, "care", _care),
    )


def _fault(value: Any, place: Place) -> TrueFault:
    keys = _object(value, place)
    fault = _name(keys, (*place, "fault"), FAULTS)
    quantity = None
    if keys.get("quantity") is not None:
        quantity = _name(keys, (*place, "quantity"), _MEASURED)
    return TrueFault(_tray(keys, place), fault, *_span(keys, place, ("from", "to")), quantity=quantity)


def _care(value: Any, place: Place) -> TrueCare:
    keys = _object(value, place)
    event = _name(keys, (*place, "event"), CARE_EVENTS)
    return TrueCare(_tray(keys, place), event, *_span(keys, place, ("from", "to")))


def _each(keys: Mapping[str, Any], key: str, read: Callable[[Any, Place], _One]) -> tuple[_One, ...]:
    values = _at(keys, (key,), "a list is accepted, which may be empty")
    if not isinstance(values, list):
        raise _wrong((key,), f"is {shown(values)}", "a list is accepted, which may be empty")
    return tuple(read(value, (key, number)) for number, value in enumerate(values))


def _object(value: Any, place: Place) -> dict[str, Any]:
    if not isinstance(value, dict):
        accepted = (
            "an object with tray, from and to" if place else "an object with seed, start, end, faults, care"
        )
        raise _wrong(place, f"is {shown(value)}", f"{accepted} is accepted")
    return value


def _seed(keys: Mapping[str, Any]) -> int:
    seed = _at(keys, ("seed",), "a whole number is accepted")
    if type(seed) is not int:  # a bool is an int, and is no number
        raise _wrong(("seed",), f"is {shown(seed)}", "a whole number is accepted")
    return seed


def _tray(keys: Mapping[str, Any], place: Place) -> str:
    return _text(keys, (*place, "tray"), "the name of a tray is accepted")


def _name(keys: Mapping[str, Any], place: Place, accepted: Collection[str]) -> str:
    name = _text(keys, place, _listed(accepted))
    if name not in accepted:
        raise _wrong(place, f"is {shown(name)}", nearest(name, accepted) or _listed(accepted))
    return name


def _listed(accepted: Iterable[str]) -> str:
    return f"accepted: {', '.join(accepted)}"


def _span(keys: Mapping[str, Any], place: Place, names: tuple[str, str]) -> tuple[int, int]:
    from_ms, to_ms = (_time_ms(keys, (*place, name)) for name in names)
    if to_ms < from_ms:
        raise _wrong((*place, names[1]), f"is before {names[0]}", "a time from then on is accepted")
    return from_ms, to_ms


def _time_ms(keys: Mapping[str, Any], place: Place) -> int:
    text = _text(keys, place, "a time is accepted, like 2026-03-02T18:00:00Z")
    try:
        return parse_ms(text)
    except ValueError as error:
        raise ValueError(f"{dotted(place)}: {error}") from error


def _text(keys: Mapping[str, Any], place: Place, accepted: str) -> str:
    text = _at(keys, place, accepted)
    if not isinstance(text, str) or not text:
        raise _wrong(place, f"is {shown(text)}", accepted)
    return text


def _at(keys: Mapping[str, Any], place: Place, accepted: str) -> Any:
    value = keys.get(str(place[-1]), _NOTHING)
    if value is _NOTHING:
        raise _wrong(place, "is missing", accepted)
    return value


def _wrong(place: Place, problem: str, accepted: str) -> ValueError:
    return ValueError(f"{dotted(place)} {problem}; {accepted}".lstrip())
