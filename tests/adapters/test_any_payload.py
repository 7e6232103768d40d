import json
import math
from typing import Any

from decoding import ADDRESS, NOW_MS, TRAYS
from hypothesis import example, given
from hypothesis import strategies as st

from wardian.adapters.json_payloads import JsonForm
from wardian.adapters.payloads import Form, NumberForm, Target
from wardian.adapters.senml import SenmlForm
from wardian.rules.quantities import QUANTITIES
from wardian.rules.units import unit_named

TEMPERATURE = Target("air_temperature")
HUMIDITY = Target("relative_humidity")
FORMS: list[Form] = [
    NumberForm(TEMPERATURE),
    NumberForm(Target()),
    JsonForm({"/t": TEMPERATURE, "/0/h": HUMIDITY, "": Target("ppfd")}),
    JsonForm({"/t": TEMPERATURE}, "/at", "rfc3339"),
    JsonForm({"/t": TEMPERATURE}, "/at", "unix_s"),
    JsonForm({"/t": TEMPERATURE}, "/at", "unix_ms"),
    SenmlForm({"bench:a:temp": TEMPERATURE, "bench:a:rh": HUMIDITY, "bench:a:battery": None}),
    SenmlForm({"bench:{tray}:{quantity}": Target(), "{tray}": TEMPERATURE}),
]

SCALARS = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-(10**12), 10**12),
    st.integers(),
    st.floats(allow_nan=True, allow_infinity=True),
    st.text(max_size=8),
    st.sampled_from(["bench:a:temp", "bench:tray-a:ppfd", "Cel", "%", "2026-01-01T00:00:00Z", "tray-b"]),
)
LABELS = st.sampled_from(
    ["n", "u", "v", "vs", "vb", "t", "s", "bn", "bt", "bu", "bv", "bver", "at", "h", "x_"]
)
DOCUMENTS = st.recursive(
    SCALARS,
    lambda inner: st.one_of(
        st.lists(inner, max_size=4),
        st.dictionaries(st.one_of(LABELS, st.text(max_size=3)), inner, max_size=5),
    ),
    max_leaves=12,
)
PACKS = st.lists(st.dictionaries(LABELS.filter(lambda label: label != "x_"), SCALARS, max_size=5), max_size=5)


def check_any(payload: bytes, received_ms: int | None) -> None:
    for form in FORMS:
        outcome = form.at(ADDRESS).decode(payload, received_ms)
        for one in outcome.measured:
            assert isinstance(one.value, float)
            assert math.isfinite(one.value)
            assert one.tray in TRAYS
            assert not QUANTITIES[one.quantity].derived
            assert not one.unit or unit_named(QUANTITIES[one.quantity].dimension, one.unit) is not None
            assert isinstance(one.time_ms, int)
        for refused in outcome.refused:
            assert refused.why
            assert f"{refused.why}{refused.raw}".isprintable()
            f"{refused.why}{refused.raw}".encode()
            assert len(refused.raw) <= 2000
            assert len(refused.why) <= 600


@given(st.binary(max_size=300), st.sampled_from([None, NOW_MS]))
@example(b'["\\ud800"]', NOW_MS)
@example(b'[{"n":"\\ud800","v":1}]', NOW_MS)
@example(b'[{"n":"bench:a:temp","u":"\\ud800\\u202e","v":1}]', NOW_MS)
@example(b'{"t":"\\ud800"}', NOW_MS)
@example(b'{"\\ud800\\n":1,"\\ud800\\n":2}', NOW_MS)
@example(b'{"t":1,"at":"\\ud800\\n"}', NOW_MS)
@example(b'[{"n":"bench:a:temp","v":1,"t":1e999999999}]', NOW_MS)
@example(b'[{"n":"bench:a:temp","v":1,"t":-1e-999999999}]', NOW_MS)
@example(b'[{"n":"bench:a:temp","bv":1e308,"v":1e308}]', NOW_MS)
@example(b'[{"n":"bench:a:temp","v":' + b"9" * 4050 + b"}]", NOW_MS)
@example(b'[{"n":"bench:a:temp","bt":1e308,"t":1e308,"v":1}]', NOW_MS)
@example(b'{"t":' + b"[" * 4000, NOW_MS)
def test_no_bytes_raise_or_become_a_value_that_is_no_number(payload: bytes, received_ms: int | None) -> None:
    check_any(payload, received_ms)


@given(st.one_of(DOCUMENTS, PACKS), st.sampled_from([None, NOW_MS]))
def test_no_document_raises_or_becomes_a_value_that_is_no_number(whole: Any, received_ms: int | None) -> None:
    check_any(json.dumps(whole).encode(), received_ms)
