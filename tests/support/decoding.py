"""A payload on its way through a form: what it brought, or why it brought nothing."""

from wardian.adapters.payloads import Address, Form
from wardian.rules.ports import Decoded

NOW_MS = 1_767_225_600_500
TRAYS = frozenset({"tray-a", "tray-b"})
ADDRESS = Address("bench/tray-a/pack", TRAYS, tray="tray-a")


def decoded(form: Form, payload: bytes | str, received_ms: int | None = NOW_MS) -> Decoded:
    raw = payload.encode() if isinstance(payload, str) else payload
    return form.at(ADDRESS).decode(raw, received_ms)


def values(form: Form, payload: bytes | str) -> list[float | str]:
    outcome = decoded(form, payload)
    assert outcome.refused == []
    return [one.value for one in outcome.measured]


def why(form: Form, payload: bytes | str) -> str:
    outcome = decoded(form, payload)
    assert outcome.measured == []
    (refused,) = outcome.refused
    assert refused.source == ADDRESS.source
    return refused.why
