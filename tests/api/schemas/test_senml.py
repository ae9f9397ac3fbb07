"""SenML packs are resolved as RFC 8428 says; the examples are its own, the section beside each.

Source   RFC 8428, "Sensor Measurement Lists (SenML)", August 2018; units also RFC 8798
"""

import json
from datetime import UTC, datetime
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.schemas.senml import Resolved, read_pack, resolve_pack
from forecaster.readings import Quantity

NOW = datetime(2026, 1, 10, 12, tzinfo=UTC)
NOW_S = NOW.timestamp()
DEVICE = "urn:dev:ow:10e2073a01080063"

# RFC 8428, section 5.1.3 (multiple measurements) and, the same resolved, section 5.1.4
MULTIPLE = """[
 {"bn":"urn:dev:ow:10e2073a01080063","bt":1.320067464e+09,"bu":"%RH","v":20},
 {"u":"lon","v":24.30621},{"u":"lat","v":60.07965},
 {"t":60,"v":20.3},{"u":"lon","t":60,"v":24.30622},{"u":"lat","t":60,"v":60.07965},
 {"t":120,"v":20.7},{"u":"lon","t":120,"v":24.30623},{"u":"lat","t":120,"v":60.07966},
 {"u":"%EL","t":150,"v":98},
 {"t":180,"v":21.2},{"u":"lon","t":180,"v":24.30628},{"u":"lat","t":180,"v":60.07967}]"""
RESOLVED = [
    ("%RH", 1320067464, 20),
    ("lon", 1320067464, 24.30621),
    ("lat", 1320067464, 60.07965),
    ("%RH", 1320067524, 20.3),
    ("lon", 1320067524, 24.30622),
    ("lat", 1320067524, 60.07965),
    ("%RH", 1320067584, 20.7),
    ("lon", 1320067584, 24.30623),
    ("lat", 1320067584, 60.07966),
    ("%EL", 1320067614, 98),
    ("%RH", 1320067644, 21.2),
    ("lon", 1320067644, 24.30628),
    ("lat", 1320067644, 60.07967),
]


def _resolve(pack: str | list[Any]) -> list[Resolved]:
    value = json.loads(pack) if isinstance(pack, str) else pack
    records, problems = resolve_pack(value, now_s=NOW_S)
    assert problems == []
    return records


def _codes(pack: Any) -> list[tuple[str, str]]:
    return [(p.field, p.code) for p in resolve_pack(pack, now_s=NOW_S)[1]]


def test_single_datapoint_5_1_1() -> None:
    """A record without a time was measured roughly now (sections 4.5.3 and 5.1.1)."""
    (one,) = _resolve('[{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}]')
    assert one == Resolved(0, DEVICE, NOW_S, False, "Cel", 23.1)


def test_multiple_datapoints_5_1_2() -> None:
    """The base name stands before each name; without a time both are of now (section 5.1.2)."""
    pack = '[{"bn":"urn:dev:ow:10e2073a01080063:","n":"voltage","u":"V","v":120.1},{"n":"current","u":"A","v":1.2}]'
    assert [(r.name, r.unit, r.value) for r in _resolve(pack)] == [
        (f"{DEVICE}:voltage", "V", 120.1),
        (f"{DEVICE}:current", "A", 1.2),
    ]


def test_base_time_and_negative_times_5_1_2() -> None:
    """Times relative to the base time, an older version, and records put in order of time (5.1.2, 4.6)."""
    records = _resolve(
        '[{"bn":"urn:dev:ow:10e2073a0108006:","bt":1.276020076001e+09,"bu":"A","bver":5,'
        '"n":"voltage","u":"V","v":120.1},{"n":"current","t":-5,"v":1.2},{"n":"current","t":-4,"v":1.3},'
        '{"n":"current","t":-3,"v":1.4},{"n":"current","t":-2,"v":1.5},{"n":"current","t":-1,"v":1.6},'
        '{"n":"current","v":1.7}]'
    )
    base = 1276020076.001
    assert [r.at_s for r in records] == pytest.approx([base - t for t in (5, 4, 3, 2, 1, 0, 0)])
    assert [r.value for r in records] == [1.2, 1.3, 1.4, 1.5, 1.6, 120.1, 1.7]
    assert {r.unit for r in records} == {"A", "V"}
    assert all(r.has_time for r in records)


def test_stream_of_humidity_5_1_2() -> None:
    """Records with nothing but a time and a value take name and unit from the base (section 5.1.2)."""
    records = _resolve(
        '[{"bn":"urn:dev:ow:10e2073a01080063","bt":1.320067464e+09,"bu":"%RH","v":21.2},'
        '{"t":10,"v":21.3},{"t":20,"v":21.4},{"t":30,"v":21.4}]'
    )
    assert {(r.name, r.unit) for r in records} == {(DEVICE, "%RH")}
    assert [r.at_s - 1320067464 for r in records] == [0, 10, 20, 30]


def test_multiple_measurements_5_1_3_resolve_to_5_1_4() -> None:
    """The example of section 5.1.3 becomes the one of section 5.1.4."""
    records = _resolve(MULTIPLE)
    assert [(r.unit, r.at_s, r.value) for r in records] == RESOLVED
    assert {r.name for r in records} == {DEVICE}


def test_resolving_a_resolved_pack_changes_nothing_5_1_4() -> None:
    """A resolved pack is its own resolution (section 4.6)."""
    again = [{"n": r.name, "u": r.unit, "t": r.at_s, "v": r.value} for r in _resolve(MULTIPLE)]
    assert _resolve(again) == _resolve(MULTIPLE)


def test_multiple_data_types_5_1_5() -> None:
    """Text, truth and data stand beside numbers, one value a record (section 5.1.5)."""
    records = _resolve(
        '[{"bn":"urn:dev:ow:10e2073a01080063:","n":"temp","u":"Cel","v":23.1},{"n":"label","vs":"Machine Room"},'
        '{"n":"open","vb":false},{"n":"nfc-reader","vd":"aGkgCg"}]'
    )
    assert [r.value for r in records] == [23.1, "Machine Room", False, "aGkgCg"]


def test_collection_of_resources_5_1_6() -> None:
    """A later base name replaces the earlier one, the base time stays (section 5.1.6)."""
    records = _resolve(
        '[{"bn":"2001:db8::2/","bt":1.320078429e+09,"n":"temperature","u":"Cel","v":25.2},'
        '{"n":"humidity","u":"%RH","v":30},{"bn":"2001:db8::1/","n":"temperature","u":"Cel","v":12.3},'
        '{"n":"humidity","u":"%RH","v":67}]'
    )
    assert [r.name for r in records] == [
        "2001:db8::2/temperature",
        "2001:db8::2/humidity",
        "2001:db8::1/temperature",
        "2001:db8::1/humidity",
    ]
    assert {r.at_s for r in records} == {1320078429.0}


def test_a_record_of_base_values_alone_5_1_7() -> None:
    """The first record of the thermostat sets the base name and is no measurement (section 5.1.7)."""
    records = _resolve(
        '[{"bn":"urn:dev:ow:10e2073a01080063:"},{"n":"temp","u":"Cel","v":23.1},{"n":"heat","u":"/","v":1},'
        '{"n":"fan","u":"/","v":0}]'
    )
    assert [(r.name, r.value) for r in records] == [
        (f"{DEVICE}:temp", 23.1),
        (f"{DEVICE}:heat", 1.0),
        (f"{DEVICE}:fan", 0.0),
    ]


def test_lights_off_in_order_of_time_5_1_7() -> None:
    """Fractions of a second count (section 5.1.7)."""
    records = _resolve(
        '[{"bt":1.320078429e+09,"bu":"/","n":"2001:db8::3","v":0.5},{"n":"2001:db8::4","v":0.5},'
        '{"n":"2001:db8::3","t":0.1,"v":0},{"n":"2001:db8::4","t":0.1,"v":0}]'
    )
    assert [r.value for r in records] == [0.5, 0.5, 0.0, 0.0]
    assert records[2].at_s == pytest.approx(1320078429.1)


@pytest.mark.parametrize(
    ("t", "at_s"),
    [
        (-60, NOW_S - 60),
        (60, NOW_S + 60),
        (2**28 - 1, NOW_S + 2**28 - 1),
        (2**28, 2.0**28),
        (1.7e9, 1.7e9),
    ],
)
def test_times_below_two_to_28_are_relative_4_5_3(t: float, at_s: float) -> None:
    """Values below 2^28 count from now, others from 1970 (section 4.5.3)."""
    assert _resolve([{"n": "a", "t": t, "v": 1}])[0].at_s == at_s


def test_base_value_and_base_sum_are_added_4_1() -> None:
    """Base value and base sum are added; one that is missing counts as nothing (sections 4.1, 4.5.4)."""
    records = _resolve([{"bn": "a", "bv": 600, "bs": 5, "v": 1}, {"v": 2.5, "s": 2}, {"t": 1}])
    assert [(r.value, r.sum) for r in records] == [(601.0, 5.0), (602.5, 7.0), (600.0, 5.0)]
    (only_sum,) = _resolve([{"n": "a", "s": 3}])
    assert (only_sum.value, only_sum.sum) == (None, 3.0)


@pytest.mark.parametrize(
    ("pack", "code"),
    [
        ({}, ("", "not_a_pack")),
        ([], ("", "not_a_pack")),
        (["x"], ("/0", "not_an_object")),
        ([{"n": "a", "v": 1, "unit_": 1}], ("/0", "must_understand")),  # section 4.4
        ([{"n": "a", "v": 1, "vs": "x"}], ("/0", "several_values")),  # section 4.2
        ([{"n": "a"}], ("/0", "no_value")),  # section 4.2
        ([{"n": "a", "v": "1"}], ("/0/v", "wrong_type")),
        ([{"n": "a", "v": True}], ("/0/v", "wrong_type")),
        ([{"n": "a", "v": 1, "t": "now"}], ("/0/t", "wrong_type")),
        ([{"n": 1, "v": 1}], ("/0/n", "wrong_type")),
        ([{"n": "-a", "v": 1}], ("/0", "name")),  # section 4.5.1
        ([{"n": "a b", "v": 1}], ("/0", "name")),
        ([{"v": 1}], ("/0", "name")),
        ([{"n": "ä", "v": 1}], ("/0", "name")),
        ([{"bver": 11, "n": "a", "v": 1}], ("", "version")),  # section 4.4
        ([{"bver": 5, "n": "a", "v": 1}, {"bver": 6, "v": 1}], ("/1/bver", "version")),
        ([{"bver": 5.5, "n": "a", "v": 1}], ("/0/bver", "version")),
        ([{"n": "a", "v": float("inf")}], ("/0/v", "wrong_type")),
        ([{"n": "a", "v": 1}] * 1001, ("", "too_many_records")),
    ],
)
def test_what_the_rfc_forbids_is_named(pack: Any, code: tuple[str, str]) -> None:
    """Each record that breaks a rule is named with its place; the good ones are kept."""
    assert code in _codes(pack)


def test_fields_that_are_not_known_are_passed_over_4_4() -> None:
    """An unknown field is no fault unless its name ends with an underscore (section 4.4)."""
    assert _resolve([{"n": "a", "v": 1, "vendor": 7}])[0].value == 1.0


LEVELS = [
    ("ullage", "m", 0.61, Quantity.ULLAGE_MM, 610.0),
    ("tank:ullage", "mm", 610, Quantity.ULLAGE_MM, 610.0),
    ("tank/0/dip", "cm", 64, Quantity.DIP_MM, 640.0),
    ("litres", "l", 900, Quantity.LITRES, 900.0),
    ("litres", "m3", 0.9, Quantity.LITRES, 900.0),
    ("fraction", "/", 0.4, Quantity.FRACTION, 0.4),
    ("fraction", "%", 0.4, Quantity.FRACTION, 0.4),  # section 12.1, note 1: not a percentage
    ("fraction", "/100", 40, Quantity.FRACTION, 0.4),
]


@pytest.mark.parametrize(("name", "unit", "value", "quantity", "stored"), LEVELS)
def test_the_last_word_and_the_unit_make_a_level(
    name: str, unit: str, value: float, quantity: Quantity, stored: float
) -> None:
    """What was measured is told by the name's last word, its scale by the registered unit."""
    (sent,) = read_pack([{"n": name, "u": unit, "v": value, "t": 1.7e9}], now=NOW).sent
    assert sent.measurement is not None
    assert (sent.measurement.quantity, sent.measurement.value) == (quantity, pytest.approx(stored))
    assert sent.measurement.at == datetime.fromtimestamp(1.7e9, UTC)


def test_temperatures_go_with_the_level_of_their_device_and_time() -> None:
    """Air and oil of the same device and second are the reading's; of another device they are not."""
    pack = [
        {"bn": "a:", "bt": 1.7e9, "n": "ullage", "u": "m", "v": 0.6},
        {"n": "air", "u": "Cel", "v": 4.5},
        {"n": "oil", "u": "K", "v": 279.15},
        {"bn": "b:", "n": "air", "u": "Cel", "v": 20},
    ]
    found = read_pack(pack, now=NOW)
    (sent,) = found.sent
    assert sent.measurement is not None
    assert (sent.measurement.air_c, sent.measurement.oil_c) == (4.5, pytest.approx(6.0))


@pytest.mark.parametrize(
    ("record", "code"),
    [
        ({"n": "ullage", "v": 1}, "unit"),
        ({"n": "ullage", "u": "ft", "v": 1}, "unit"),
        ({"n": "ullage", "u": "Cel", "v": 1}, "unit"),
        ({"n": "ullage", "u": "m", "vs": "1"}, "not_a_number"),
        ({"n": "ullage", "u": "m", "v": -1}, "out_of_range"),
        ({"n": "ullage", "u": "m", "v": 1e5}, "out_of_range"),
        ({"n": "fraction", "u": "/", "v": 40}, "out_of_range"),
        ({"n": "ullage", "u": "m", "v": 1, "t": 9e8}, "out_of_window"),
        ({"n": "ullage", "u": "m", "v": 1, "t": 1e11}, "out_of_window"),
    ],
)
def test_a_level_that_cannot_be_is_refused(record: dict[str, Any], code: str) -> None:
    """Wrong units, values and times refuse the record with its place."""
    (sent,) = read_pack([record], now=NOW).sent
    assert sent.measurement is None
    assert [(f.field, f.code) for f in sent.faults] == [("/0", code)]


_JSON = st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=4),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=3), inner, max_size=3),
    max_leaves=5,
)
_FIELD = st.sampled_from(
    ["bn", "bt", "bu", "bv", "bs", "bver", "n", "u", "v", "vs", "vb", "vd", "s", "t", "x_"]
)
_NAME = st.sampled_from(["ullage", "a:dip", "air", "fraction", "-", "b"])


@given(st.lists(st.dictionaries(_FIELD, _JSON | st.floats() | _NAME, max_size=6) | _JSON, max_size=5) | _JSON)
def test_any_json_is_a_pack_or_is_named(value: Any) -> None:
    """Whatever is sent, each record becomes a finite measurement, a problem with its place, or is passed over."""
    found = read_pack(value, now=NOW)
    for sent in found.sent:
        assert (sent.measurement is None) <= bool(sent.faults)
        if sent.measurement is not None:
            assert 0.0 <= sent.measurement.value <= 1e6
