"""A mapping reads a sensor's own messages as far as it says, and names what it cannot read.

Source   pointers: the examples of RFC 6901, section 5
"""

import json
from datetime import UTC, datetime
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.schemas.mapping import Mapping, apply_mapping, mapping_json, read_mapping, stored_mapping
from api.schemas.mapping.pointer import look_up, parse_pointer, write_pointer
from api.schemas.mapping.preview import preview_message
from api.usecases.record_readings import Measurement
from forecaster.errors import InputError
from forecaster.readings import Quantity

NOW = datetime(2026, 1, 10, 12, tzinfo=UTC)
RFC_6901 = json.loads(
    r'{"foo": ["bar", "baz"], "": 0, "a/b": 1, "c%d": 2, "e^f": 3, "g|h": 4, "i\\j": 5, "k\"l": 6, " ": 7, "m~n": 8}'
)


@pytest.mark.parametrize(
    ("pointer", "value"),
    [
        ("", RFC_6901),
        ("/foo", ["bar", "baz"]),
        ("/foo/0", "bar"),
        ("/", 0),
        ("/a~1b", 1),
        ("/c%d", 2),
        ("/e^f", 3),
        ("/g|h", 4),
        ("/i\\j", 5),
        ('/k"l', 6),
        ("/ ", 7),
        ("/m~0n", 8),
    ],
)
def test_pointers_of_rfc_6901_section_5(pointer: str, value: Any) -> None:
    """Each example of section 5 finds the value that stands beside it there."""
    assert look_up(RFC_6901, parse_pointer(pointer)) == value


@pytest.mark.parametrize("pointer", ["foo", "/a~", "/a~2", "#/foo", "/" + "x" * 201])
def test_what_is_no_pointer_is_refused(pointer: str) -> None:
    """A pointer begins with a slash, and a tilde is followed by 0 or 1 (RFC 6901, section 3)."""
    with pytest.raises(ValueError, match="JSON pointer"):
        parse_pointer(pointer)


@pytest.mark.parametrize("pointer", ["/foo/2", "/foo/-", "/foo/01", "/foo/+1", "/foo/x", "/bar", "/a~1b/c"])
def test_a_pointer_to_nothing_is_told(pointer: str) -> None:
    """An index beyond the end, with a leading zero, or below a number leads nowhere (section 4)."""
    with pytest.raises(LookupError):
        look_up(RFC_6901, parse_pointer(pointer))


@given(st.lists(st.text(max_size=5), max_size=4))
def test_pointers_are_written_as_they_are_read(tokens: list[str]) -> None:
    """Writing and reading a pointer give the same names."""
    assert parse_pointer(write_pointer(tuple(tokens))) == tuple(tokens)


def _one(draft: dict[str, str], message: Any) -> Measurement:
    (sent,) = apply_mapping(read_mapping(draft), message, arrived=NOW).sent
    assert sent.measurement is not None, sent.faults
    return sent.measurement


def _codes(draft: dict[str, str], message: Any) -> list[tuple[str, str]]:
    return [
        (f.field, f.code)
        for sent in apply_mapping(read_mapping(draft), message, arrived=NOW).sent
        for f in sent.faults
    ]


@pytest.mark.parametrize(
    ("quantity", "unit", "number", "measured", "value"),
    [
        ("ullage", "mm", 612, Quantity.ULLAGE_MM, 612.0),
        ("ullage", "cm", 61.2, Quantity.ULLAGE_MM, 612.0),
        ("dip", "m", 0.64, Quantity.DIP_MM, 640.0),
        ("dip", "in", 10, Quantity.DIP_MM, 254.0),
        ("dip", "ft", 2, Quantity.DIP_MM, 609.6),
        ("volume", "l", 900, Quantity.LITRES, 900.0),
        ("volume", "m3", 0.9, Quantity.LITRES, 900.0),
        ("volume", "imperial_gallon", 200, Quantity.LITRES, 909.218),
        ("volume", "us_gallon", 200, Quantity.LITRES, 757.082357),
        ("fraction", "percent", 45, Quantity.FRACTION, 0.45),
        ("fraction", "ratio", 0.45, Quantity.FRACTION, 0.45),
    ],
)
def test_units_of_the_closed_list(
    quantity: str, unit: str, number: float, measured: Quantity, value: float
) -> None:
    """Each unit of the list becomes mm, litres or a fraction; a bare number is a message too."""
    found = _one({"level": "", "quantity": quantity, "unit": unit}, number)
    assert (found.quantity, found.value) == (measured, pytest.approx(value))


DISTANCE = {"level": "/d", "quantity": "ullage", "unit": "cm"}


def test_a_message_without_a_time_is_of_its_arrival() -> None:
    """No pointer, nothing at it, or null: the arrival's time is taken, and that is known."""
    for draft, message in (
        (DISTANCE, {"d": 61}),
        ({**DISTANCE, "time": "/ts"}, {"d": 61}),
        ({**DISTANCE, "time": "/ts"}, {"d": 61, "ts": None}),
    ):
        applied = apply_mapping(read_mapping(draft), message, arrived=NOW)
        assert not applied.has_time
        assert _one(draft, message).at == NOW


@pytest.mark.parametrize(
    ("form", "zone", "value"),
    [
        ("rfc3339", None, "2026-01-10T07:30:00+01:00"),
        ("local", "Europe/Berlin", "2026-01-10 07:30:00"),
        ("epoch_s", None, 1768026600),
        ("epoch_ms", None, 1768026600000),
    ],
)
def test_forms_of_time(form: str, zone: str | None, value: Any) -> None:
    """The four forms of one instant are the same instant."""
    draft = {**DISTANCE, "time": "/t/0", "time_form": form, **({"zone": zone} if zone else {})}
    assert _one(draft, {"d": 61, "t": [value]}).at == datetime(2026, 1, 10, 6, 30, tzinfo=UTC)


def test_temperatures_in_their_unit() -> None:
    """Air and oil come along in Celsius; one that cannot be is told and left out, the reading kept."""
    draft = {**DISTANCE, "air": "/a", "oil": "/o", "temperature_unit": "fahrenheit"}
    found = _one(draft, {"d": 61, "a": 50, "o": 900})
    assert (found.air_c, found.oil_c) == (pytest.approx(10.0), None)
    assert _codes(draft, {"d": 61, "a": 50, "o": 900}) == [("/oil", "out_of_range")]


def test_numbers_in_quotes_only_where_the_mapping_says() -> None:
    """A text is a number by its decimal sign, if the mapping names one."""
    assert _codes(DISTANCE, {"d": "61,5"}) == [("/level", "not_a_number")]
    assert _one({**DISTANCE, "decimal": ","}, {"d": "61,5"}).value == 615.0


def test_the_unit_may_stand_in_the_message() -> None:
    """Where the message names its unit, only units of the list are taken."""
    draft = {"level": "/v", "quantity": "ullage", "unit_at": "/u"}
    assert _one(draft, {"v": 61, "u": "cm"}).value == 610.0
    assert _codes(draft, {"v": 61, "u": "furlong"}) == [("/unit_at", "unit")]
    assert _codes(draft, {"v": 61}) == [("/unit_at", "unit")]


def test_a_pack_tells_all_by_itself() -> None:
    """A mapping may say that the messages are SenML packs; a time from now is none of a pack's own."""
    pack = [{"n": "ullage", "u": "m", "v": 0.61, "t": 1.768e9}]
    applied = apply_mapping(read_mapping({"form": "senml"}), pack, arrived=NOW)
    assert applied.has_time
    assert applied.sent[0].measurement is not None
    ago = [{"n": "ullage", "u": "m", "v": 0.61, "t": -60}]
    assert not apply_mapping(read_mapping({"form": "senml"}), ago, arrived=NOW).has_time


@pytest.mark.parametrize(
    ("draft", "message", "code"),
    [
        (DISTANCE, {"e": 1}, ("/level", "nothing_there")),
        (DISTANCE, [], ("/level", "nothing_there")),
        (DISTANCE, {"d": True}, ("/level", "not_a_number")),
        (DISTANCE, {"d": None}, ("/level", "not_a_number")),
        (DISTANCE, {"d": {}}, ("/level", "not_a_number")),
        (DISTANCE, {"d": float("inf")}, ("/level", "not_a_number")),
        (DISTANCE, {"d": 10**400}, ("/level", "not_a_number")),
        (DISTANCE, {"d": -1}, ("/level", "out_of_range")),
        (DISTANCE, {"d": 1e9}, ("/level", "out_of_range")),
        ({**DISTANCE, "time": "/t"}, {"d": 1, "t": "yesterday"}, ("/time", "not_a_time")),
        ({**DISTANCE, "time": "/t"}, {"d": 1, "t": 1768026600}, ("/time", "not_a_time")),
        (
            {**DISTANCE, "time": "/t", "time_form": "epoch_s"},
            {"d": 1, "t": 1768026600000},
            ("/time", "not_a_time"),
        ),
        ({**DISTANCE, "time": "/t", "time_form": "epoch_s"}, {"d": 1, "t": 5}, ("/time", "out_of_window")),
        ({**DISTANCE, "time": "/t", "time_form": "epoch_ms"}, {"d": 1, "t": 1e300}, ("/time", "not_a_time")),
    ],
)
def test_what_cannot_be_read_points_at_the_mapping(
    draft: dict[str, str], message: Any, code: tuple[str, str]
) -> None:
    """A fault names the member of the mapping that led to it: that can be changed, the sensor cannot."""
    assert _codes(draft, message) == [code]


@pytest.mark.parametrize(
    ("draft", "fields"),
    [
        ([], {""}),
        ({}, {"/level", "/quantity", "/unit"}),
        ({**DISTANCE, "level": 7}, {"/level"}),
        ({**DISTANCE, "level": "d"}, {"/level"}),
        ({**DISTANCE, "quantity": "depth"}, {"/quantity"}),
        ({**DISTANCE, "unit": "furlong"}, {"/unit"}),
        ({**DISTANCE, "unit": "l"}, {"/unit"}),
        ({**DISTANCE, "unit": ["mm"]}, {"/unit"}),
        ({**DISTANCE, "unit_at": "/u"}, {"/unit"}),
        ({**DISTANCE, "multiplier": 10}, {""}),
        ({**DISTANCE, "time_form": "epoch_s"}, {"/time"}),
        ({**DISTANCE, "time": "/t", "time_form": "local"}, {"/zone"}),
        ({**DISTANCE, "time": "/t", "time_form": "local", "zone": "Europe/Lundon"}, {"/zone"}),
        ({**DISTANCE, "time": "/t", "time_form": "local", "zone": "../../etc/localtime"}, {"/zone"}),
        ({**DISTANCE, "zone": "Europe/London"}, {"/zone"}),
        ({**DISTANCE, "decimal": "'"}, {"/decimal"}),
        ({"form": "senml", "level": "/d"}, {""}),
        ({**DISTANCE, "level": "/\ud800"}, {"/level"}),
    ],
)
def test_a_draft_with_a_mistake_is_refused_at_its_place(draft: Any, fields: set[str]) -> None:
    """No formulas, no units beyond the list, no zones beyond the list: each mistake has its pointer."""
    with pytest.raises(InputError) as caught:
        read_mapping(draft)
    assert {p.field for p in caught.value.problems} == fields


def test_a_mapping_is_stored_as_it_was_sent() -> None:
    """Reading what was written gives the same mapping."""
    for draft in (
        DISTANCE,
        {"form": "senml"},
        {"level": "/a~1b", "quantity": "fraction", "unit_at": "/u", "time": "", "time_form": "local",
         "zone": "Europe/London", "air": "/x", "oil": "/y", "temperature_unit": "kelvin", "decimal": ","},
    ):  # fmt: skip
        mapping = read_mapping(draft)
        assert mapping_json(mapping) == draft
        assert stored_mapping(json.dumps(mapping_json(mapping))) == mapping


def test_a_preview_shows_words_and_places() -> None:
    """The preview says what would be stored, in words too, and where the sample holds something."""
    shown = preview_message(read_mapping(DISTANCE), {"d": 61, "x": {"y": ["a"]}}, arrived=NOW)
    assert shown.would_store[0].words == "610 mm from the sensor down to the oil"
    assert [(p.pointer, p.kind) for p in shown.places] == [("/d", "number"), ("/x/y/0", "text")]
    wrong = preview_message(read_mapping(DISTANCE), {"e": 61}, arrived=NOW)
    assert (wrong.would_store, wrong.errors[0].pointer) == ([], "/mapping/level")


_JSON = st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=6),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(st.sampled_from(["d", "t", "u", "a", "x"]), inner, max_size=4)
    ),
    max_leaves=8,
)
_DRAFTS = st.fixed_dictionaries(
    {"level": st.sampled_from(["", "/d", "/d/0"]), "quantity": st.just("dip"), "unit": st.just("ft")},
    optional={
        "time": st.just("/t"),
        "air": st.just("/a"),
        "decimal": st.sampled_from([".", ","]),
    },
)


@given(_DRAFTS, _JSON, st.sampled_from(["rfc3339", "local", "epoch_s", "epoch_ms"]))
def test_any_message_is_a_reading_or_is_named(draft: dict[str, str], message: Any, form: str) -> None:
    """Whatever a sensor sends becomes a finite reading or a fault, nothing else."""
    if "time" in draft:
        draft = {**draft, "time_form": form, **({"zone": "Europe/London"} if form == "local" else {})}
    (sent,) = apply_mapping(read_mapping(draft), message, arrived=NOW).sent
    assert (sent.measurement is None) <= bool(sent.faults)
    if sent.measurement is not None:
        assert 0.0 <= sent.measurement.value <= 1e5
        assert 2000 <= sent.measurement.at.year < 2100


@given(st.dictionaries(st.sampled_from([*Mapping.__slots__, "y"]), _JSON, max_size=6) | _JSON)
def test_any_draft_is_a_mapping_or_is_refused(draft: Any) -> None:
    """Whatever is sent as a draft is refused with problems, or reads messages."""
    try:
        mapping = read_mapping(draft)
    except InputError as bad:
        assert bad.problems  # noqa: PT017
    else:
        assert apply_mapping(mapping, {}, arrived=NOW).sent
