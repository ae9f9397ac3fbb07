"""The tank file: what it gives, what it refuses, and with which words."""

import re
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import forecaster.tanks
from forecaster.errors import TankError
from forecaster.fuel import GAS_OIL, KEROSENE
from forecaster.tanks import (
    LyingBox,
    LyingCylinder,
    Moulded,
    StrappingTable,
    Tank,
    UprightBox,
    UprightCylinder,
    parse_tank,
)
from forecaster.tanks.build import SHAPE_KEYS
from forecaster.tanks.file import COMMON_KEYS
from tests.strategies import calm

BOX: dict[str, Any] = {
    "product": "kerosene",
    "shape": "rectangular",
    "length_mm": 1800,
    "width_mm": 1200,
    "height_mm": 1300,
}
CYLINDER: dict[str, Any] = {
    "product": "kerosene",
    "shape": "horizontal_cylinder",
    "diameter_mm": 1200,
    "length_mm": 1800,
}
TABLE: dict[str, Any] = {
    "product": "kerosene",
    "shape": "table",
    "rows": [[0, 0], [100, 80], [200, 190], [300, 310], [400, 430]],
}
MOULDED: dict[str, Any] = {
    "product": "kerosene",
    "shape": "moulded",
    "capacity_l": 1300,
    "height_mm": 1200,
}


def to_toml(keys: dict[str, Any]) -> str:
    """Write flat keys as TOML; a value of None leaves its key out, a str in ⟨⟩ goes in as it stands."""

    def value(given: Any) -> str:
        if isinstance(given, str):
            return given[1:-1] if given.startswith("⟨") else '"' + given.replace("\\", "\\\\") + '"'
        return str(given).lower() if isinstance(given, bool) else str(given)

    return "\n".join(f"{key} = {value(given)}" for key, given in keys.items() if given is not None)


def parse(base: dict[str, Any], **changes: Any) -> Tank:
    """Read a tank file with some keys changed."""
    return parse_tank(to_toml(base | changes))


def problems(base: dict[str, Any], **changes: Any) -> list[str]:
    """Read a tank file that is refused, and give its problems in words."""
    with pytest.raises(TankError) as refused:
        parse(base, **changes)
    return [str(problem) for problem in refused.value.problems]


@pytest.mark.parametrize(
    ("keys", "shape", "capacity"),
    [
        (BOX, UprightBox, 2808.0),
        (BOX | {"edge_radius_mm": 150}, UprightBox, 2782.9),
        (BOX | {"edges": "long", "edge_radius_mm": 150}, LyingBox, 2773.2),
        (
            CYLINDER | {"shape": "vertical_cylinder", "length_mm": None, "height_mm": 1500},
            UprightCylinder,
            1696.5,
        ),
        (CYLINDER, LyingCylinder, 2035.8),
        (CYLINDER | {"ends": "flat"}, LyingCylinder, 2035.8),
        (CYLINDER | {"ends": "elliptical"}, LyingCylinder, 2488.1),
        (CYLINDER | {"ends": "hemispherical"}, LyingCylinder, 2940.5),
        (CYLINDER | {"ends": "torispherical"}, LyingCylinder, 2377.8),
        (CYLINDER | {"ends": "torispherical", "knuckle_radius_fraction": 0.06}, LyingCylinder, 2315.7),
        (BOX | {"shape": "vertical_oval"}, LyingBox, 2251.8),
        (BOX | {"shape": "horizontal_oval", "height_mm": 1000}, LyingBox, 1773.7),
        (TABLE, StrappingTable, 430.0),
        (TABLE | {"rows": None, "table": [[0, 0], [400, 430]]}, StrappingTable, 430.0),
        (
            TABLE | {"rows": "⟨[{dip_mm = 0, litres = 0}, {dip_mm = 400, litres = 430}]⟩"},
            StrappingTable,
            430.0,
        ),
        (MOULDED, Moulded, 1300.0),
    ],
)
def test_each_shape_is_read(keys: dict[str, Any], shape: type, capacity: float) -> None:
    """Each shape of the file becomes its shape, with the litres its dimensions make."""
    tank = parse(keys)
    assert isinstance(tank.shape, shape)
    assert tank.capacity_l == pytest.approx(capacity, abs=0.05)


def test_what_is_not_given_has_its_default() -> None:
    """The least file gives the stated defaults: 95 %, 50 mm, 10 mm, outdoors, no sensor height."""
    tank = parse(BOX)
    assert tank.safe_fill_l == pytest.approx(0.95 * 2808.0)
    assert tank.heel_mm == pytest.approx(50.0)
    assert tank.fuel == KEROSENE
    assert (tank.resolution_mm, tank.dead_band_mm, tank.table_sd_fraction, tank.dip_at_mm) == (
        10.0,
        0.0,
        0.0,
        0.0,
    )
    assert (tank.sensor_height_mm, tank.sensor_assumed_air_c, tank.timezone, tank.name) == (None,) * 4
    assert tank.location == "outdoors"
    assert parse(MOULDED).table_sd_fraction == 0.05


def test_everything_that_can_be_given_is_used() -> None:
    """Every key that is not of the shape arrives in the tank."""
    tank = parse(
        CYLINDER,
        product="gas_oil",
        name="Behind the barn",
        tilt_deg=1.5,
        dip_at_mm=300,
        table_sd_fraction=0.02,
        sensor_height_mm=1250,
        dead_band_mm=40,
        resolution_mm=3,
        sensor_assumed_air_c=20,
        safe_fill_l=1900,
        heel_l=60,
        location="buried",
        timezone="Europe/Dublin",
    )
    assert tank == Tank(
        LyingCylinder(1200.0, 1800.0, tilt_deg=1.5, dip_at_mm=300.0),
        GAS_OIL,
        safe_fill_l=1900.0,
        heel_l=60.0,
        sensor_height_mm=1250.0,
        dead_band_mm=40.0,
        resolution_mm=3.0,
        sensor_assumed_air_c=20.0,
        location="buried",
        timezone="Europe/Dublin",
        table_sd_fraction=0.02,
        dip_at_mm=300.0,
        name="Behind the barn",
    )


def test_the_sensor_height_follows_from_a_gauge_and_an_ullage() -> None:
    """1080 l in the box stand 500 mm high; with 850 mm of ullage the sensor's face is at 1350 mm."""
    assert parse(BOX, gauge_l=1080, ullage_mm=850).sensor_height_mm == pytest.approx(1350.0)


def test_the_makers_figure_wins_over_a_fraction() -> None:
    """Litres of safe fill are taken before the fraction."""
    assert parse(BOX, safe_fill_l=2500, safe_fill_fraction=0.97).safe_fill_l == 2500.0
    assert parse(BOX, safe_fill_fraction=0.97).safe_fill_l == pytest.approx(0.97 * 2808.0)


def test_a_density_from_the_supplier_changes_heat_with_it() -> None:
    """A product with its density keeps its heat a kilogram; a given heat wins; a blend needs both."""
    light = parse(BOX, density_15c=790)
    assert light.fuel.gross_kwh_per_l == pytest.approx(10.294 * 790 / 803)
    assert parse(BOX, density_15c=790, gross_kwh_per_l=10.1).fuel.gross_kwh_per_l == 10.1
    blend = parse(BOX, product=None, density_15c=810, gross_kwh_per_l=10.2).fuel
    assert (blend.name, blend.density_15c, blend.gross_kwh_per_l, blend.co2_kg_per_l) == (
        "blend",
        810,
        10.2,
        None,
    )


def test_a_table_that_starts_above_the_bottom_has_its_first_row_as_heel() -> None:
    """Where the table cannot tell 50 mm, the heel is the least that it can tell."""
    tank = parse(TABLE, rows=[[80, 60], [200, 190], [400, 430]])
    assert (tank.heel_l, tank.heel_mm) == (60.0, 80.0)


def test_a_stated_capacity_near_that_of_the_dimensions_is_accepted() -> None:
    """The plate's litres may differ by a tenth; the dimensions count."""
    assert parse(BOX, capacity_l=2600).capacity_l == pytest.approx(2808.0)


REFUSED: list[tuple[str, dict[str, Any], dict[str, Any], list[str]]] = [
    # capacity
    ("capacity 0", MOULDED, {"capacity_l": 0}, ["capacity_l", "50 to 100000 l", "'0'"]),
    ("capacity negative", MOULDED, {"capacity_l": -1300}, ["capacity_l", "50 to 100000 l", "'-1300'"]),
    ("capacity 1e9", MOULDED, {"capacity_l": 1e9}, ["capacity_l", "50 to 100000 l", "'1e+09'"]),
    (
        "a swimming pool",
        BOX,
        {"length_mm": 30000, "width_mm": 20000},
        ["shape", "check the dimensions", "7.8e+05 l"],
    ),
    (
        "a bucket",
        BOX,
        {"length_mm": 200, "width_mm": 200, "height_mm": 300},
        ["shape", "50 to 100000 l", "12 l"],
    ),
    ("plate differs", BOX, {"capacity_l": 1300}, ["capacity_l", "2808 l", "'1300'"]),
    # heights and lengths
    ("height in cm", BOX, {"height_mm": 130}, ["height_mm", "300 to 4000 mm", "130 cm would be 1300 mm"]),
    ("height in m", BOX, {"height_mm": 1.3}, ["height_mm", "1.3 m would be 1300 mm"]),
    ("height too great", BOX, {"height_mm": 4001}, ["height_mm", "300 to 4000 mm", "'4001'"]),
    ("diameter in cm", CYLINDER, {"diameter_mm": 120}, ["diameter_mm", "120 cm would be 1200 mm"]),
    ("table in cm", TABLE, {"rows": [[0, 0], [10, 80], [130, 900]]}, ["rows", "130 cm would be 1300 mm"]),
    ("length 0", BOX, {"length_mm": 0}, ["length_mm", "200 to 30000 mm", "'0'"]),
    ("width negative", BOX, {"width_mm": -1200}, ["width_mm", "200 to 30000 mm", "'-1200'"]),
    ("length absent", CYLINDER, {"length_mm": None}, ["length_mm", "add this key"]),
    # kinds of value
    ("text for a number", BOX, {"height_mm": "1300"}, ["height_mm", "without quotes", "'1300'"]),
    ("true for a number", BOX, {"length_mm": True}, ["length_mm", "give a number", "'true'"]),
    ("nan", BOX, {"width_mm": "⟨nan⟩"}, ["width_mm", "finite", "'nan'"]),
    ("inf", BOX, {"safe_fill_l": "⟨inf⟩"}, ["safe_fill_l", "finite", "'inf'"]),
    ("a huge integer", BOX, {"heel_l": "⟨1" + "0" * 400 + "⟩"}, ["heel_l", "finite"]),
    (
        "a huge hexadecimal",
        BOX,
        {"heel_l": "⟨0x1" + "0" * 4000 + "⟩"},
        ["heel_l", "finite", "thousands of digits"],
    ),
    ("a list for a number", BOX, {"heel_l": [1, 2]}, ["heel_l", "give a number", "[1, 2]"]),
    ("a date for a number", BOX, {"heel_l": "⟨2024-01-10⟩"}, ["heel_l", "give a number", "2024-01-10"]),
    # strapping tables
    ("dips not rising", TABLE, {"rows": [[0, 0], [200, 90], [100, 190], [400, 430]]}, ["row 3", "both rise"]),
    (
        "litres not rising",
        TABLE,
        {"rows": [[0, 0], [200, 190], [400, 190]]},
        ["row 3", "both rise", "[400.0, 190.0]"],
    ),
    ("a row twice", TABLE, {"rows": [[0, 0], [200, 90], [200, 90], [400, 200]]}, ["row 3", "both rise"]),
    (
        "a gap",
        TABLE,
        {"rows": [[0, 0], [10, 9], [20, 19], [30, 29], [400, 430]]},
        ["row 5", "add the rows between 30 and 400 mm"],
    ),
    ("a hole", TABLE, {"rows": "⟨[[0, 0], [100], [400, 430]]⟩"}, ["row 2", "a dip and its litres"]),
    ("nan in a row", TABLE, {"rows": "⟨[[0, 0], [100, nan], [400, 430]]⟩"}, ["row 2", "finite number"]),
    ("text in a row", TABLE, {"rows": "⟨[[0, 0], [100, '80'], [400, 430]]⟩"}, ["row 2", "without quotes"]),
    ("below nothing", TABLE, {"rows": [[-10, 0], [400, 430]]}, ["row 1", "0 or more"]),
    ("one row", TABLE, {"rows": [[400, 430]]}, ["rows", "2 to 10000 rows", "1 rows"]),
    ("no rows", TABLE, {"rows": []}, ["rows", "2 to 10000 rows", "0 rows"]),
    ("no table", TABLE, {"rows": None}, ["rows", "add this key"]),
    ("no list", TABLE, {"rows": 5}, ["rows", "[[0, 0], [100, 95]]"]),
    ("a flat list", TABLE, {"rows": [0, 0, 100, 80]}, ["rows", "[[0, 0], [100, 95]]"]),
    ("too many rows", TABLE, {"rows": [[n, n] for n in range(10_001)]}, ["rows", "10001 rows"]),
    ("a million rows", TABLE, {"rows": [[n, n] for n in range(1_000_000)]}, ["file", "1024 KiB"]),
    ("twice", TABLE, {"table": [[0, 0], [400, 430]]}, ["table", "once"]),
    # heel and safe fill
    ("heel over capacity", BOX, {"heel_l": 3000}, ["heel_l", "heel below the safe fill", "heel 3000 l"]),
    ("heel is safe fill", BOX, {"heel_l": 2000, "safe_fill_l": 2000}, ["heel below the safe fill"]),
    ("safe fill under heel", BOX, {"safe_fill_l": 50}, ["safe_fill_l", "heel 108 l, safe fill 50 l"]),
    (
        "safe fill over capacity",
        BOX,
        {"safe_fill_l": 2900},
        ["safe_fill_l", "at most the capacity, 2808 l", "'2900'"],
    ),
    ("safe fill in percent", BOX, {"safe_fill_fraction": 95}, ["safe_fill_fraction", "95 % is 0.95"]),
    ("safe fill over 100 %", BOX, {"safe_fill_fraction": 101}, ["safe_fill_fraction", "0.5 to 1", "'101'"]),
    ("safe fill 0", BOX, {"safe_fill_l": 0}, ["safe_fill_l", "above 0", "'0'"]),
    ("heel negative", BOX, {"heel_l": -1}, ["heel_l", "0 to 100000 l", "'-1'"]),
    (
        "heel out of sight",
        CYLINDER,
        {"tilt_deg": 3, "dip_at_mm": 1800, "heel_l": 5},
        ["heel_l", "the least that a dip here can show"],
    ),
    # sensor
    ("sensor low in the tank", BOX, {"sensor_height_mm": 900}, ["sensor_height_mm", "1300 mm", "'900'"]),
    ("sensor on a mast", BOX, {"sensor_height_mm": 5000}, ["sensor_height_mm", "1250 to 3300", "'5000'"]),
    ("sensor negative", BOX, {"sensor_height_mm": -30}, ["sensor_height_mm", "'-30'"]),
    ("gauge without ullage", BOX, {"gauge_l": 1080}, ["ullage_mm", "add this key"]),
    ("ullage without gauge", BOX, {"ullage_mm": 850}, ["gauge_l", "add this key"]),
    (
        "both",
        BOX,
        {"sensor_height_mm": 1350, "gauge_l": 1080, "ullage_mm": 850},
        ["sensor_height_mm", "not both"],
    ),
    ("gauge beyond the tank", BOX, {"gauge_l": 3000, "ullage_mm": 50}, ["gauge_l", "0 to 2808", "'3000'"]),
    (
        "gauge against ullage",
        BOX,
        {"gauge_l": 1080, "ullage_mm": 85},
        ["gauge_l", "585 mm from gauge and ullage"],
    ),
    (
        "ullage in the dead band",
        BOX,
        {"gauge_l": 2700, "ullage_mm": 100, "dead_band_mm": 230},
        ["ullage_mm", "230 mm or more"],
    ),
    ("dead band of a tank", BOX, {"dead_band_mm": 1300}, ["dead_band_mm", "1300 mm", "'1300'"]),
    ("dead band negative", BOX, {"dead_band_mm": -1}, ["dead_band_mm", "'-1'"]),
    ("resolution 0", BOX, {"resolution_mm": 0}, ["resolution_mm", "above 0 to 100 mm", "'0'"]),
    ("air of an oven", BOX, {"sensor_assumed_air_c": 293}, ["sensor_assumed_air_c", "-40 to 60", "'293'"]),
    # shapes
    ("no shape", BOX, {"shape": None}, ["shape", "add this key: one of rectangular"]),
    ("other", BOX, {"shape": "other"}, ["shape", "give one of rectangular", "table", "'other'"]),
    ("near miss", BOX, {"shape": "rectangle"}, ["shape", "did you mean rectangular?"]),
    ("shape 7", BOX, {"shape": 7}, ["shape", "give one of", "'7'"]),
    (
        "key of another shape",
        BOX,
        {"diameter_mm": 1200},
        ["diameter_mm", "belongs to vertical_cylinder", "rectangular"],
    ),
    (
        "ends",
        CYLINDER,
        {"ends": "round"},
        ["ends", "flat, elliptical, torispherical, hemispherical", "'round'"],
    ),
    (
        "knuckle of a flat end",
        CYLINDER,
        {"knuckle_radius_fraction": 0.1},
        ["knuckle_radius_fraction", "torispherical"],
    ),
    (
        "knuckle in mm",
        CYLINDER,
        {"ends": "torispherical", "knuckle_radius_fraction": 120},
        ["knuckle_radius_fraction", "0 to 0.5", "'120'"],
    ),
    ("edges", BOX, {"edges": "horizontal"}, ["edges", "vertical, long", "'horizontal'"]),
    ("radius too great", BOX, {"edge_radius_mm": 700}, ["edge_radius_mm", "600 mm", "'700'"]),
    ("oval lying", BOX, {"shape": "vertical_oval", "width_mm": 1500}, ["height_mm", "horizontal_oval"]),
    ("oval standing", BOX, {"shape": "horizontal_oval"}, ["width_mm", "vertical_oval"]),
    # tilt
    ("tilted box", BOX, {"tilt_deg": 2}, ["tilt_deg", "horizontal cylinder only", "'2'"]),
    ("tilted table", TABLE, {"tilt_deg": 2}, ["tilt_deg", "horizontal cylinder only"]),
    ("tilt negative", CYLINDER, {"tilt_deg": -2}, ["tilt_deg", "0 to 10 degrees", "'-2'"]),
    ("upended", CYLINDER, {"tilt_deg": 80}, ["tilt_deg", "0 to 10 degrees", "'80'"]),
    ("dip beside the tank", CYLINDER, {"dip_at_mm": 1900}, ["dip_at_mm", "at most length_mm, 1800"]),
    # oil
    ("no product", BOX, {"product": None}, ["product", "kerosene or gas_oil"]),
    ("petrol", BOX, {"product": "petrol"}, ["product", "kerosene, gas_oil", "'petrol'"]),
    (
        "density alone",
        BOX,
        {"product": None, "density_15c": 810},
        ["product", "density_15c and gross_kwh_per_l"],
    ),
    ("density in kg/l", BOX, {"density_15c": 0.8}, ["density_15c", "750 to 950 kg/m³", "'0.8'"]),
    ("heat a kilogram", BOX, {"gross_kwh_per_l": 12.8}, ["gross_kwh_per_l", "8 to 12 kWh/l", "'12.8'"]),
    # place, name, unknown keys
    ("place", BOX, {"location": "garden"}, ["location", "outdoors, shed, indoors, buried", "'garden'"]),
    ("zone misspelt", BOX, {"timezone": "Europe/Lundon"}, ["timezone", "Europe/London", "'Europe/Lundon'"]),
    ("zone offset", BOX, {"timezone": "UTC+25"}, ["timezone", "IANA", "'UTC+25'"]),
    ("zone old", BOX, {"timezone": "ET5"}, ["timezone", "IANA"]),
    ("zone path", BOX, {"timezone": "../../etc/localtime"}, ["timezone", "IANA"]),
    ("zone number", BOX, {"timezone": 1}, ["timezone", "IANA", "'1'"]),
    ("name of spaces", BOX, {"name": "   "}, ["name", "can be seen"]),
    ("name unseen", BOX, {"name": "\u200b\u200b"}, ["name", "can be seen"]),
    ("name too long", BOX, {"name": "x" * 10_000}, ["name", "at most 100 characters"]),
    ("name turned round", BOX, {"name": "tank\u202egpj"}, ["name", "cannot be seen"]),
    ("name of two lines", BOX, {"name": "⟨'''a\nb'''⟩"}, ["name", "cannot be seen"]),
    ("name 7", BOX, {"name": 7}, ["name", "text in quotes", "'7'"]),
    ("slip of the pen", BOX, {"heel_litres": 60}, ["heel_litres", "did you mean heel_l?", "'60'"]),
    ("wrong unit", BOX, {"sensor_height_cm": 135}, ["sensor_height_cm", "did you mean sensor_height_mm?"]),
    ("unheard of", BOX, {"owner_id": 7}, ["owner_id", "leave it out"]),
    ("a section", BOX, {"zzz": "⟨{a = 1}⟩"}, ["zzz", "leave it out"]),
]


@pytest.mark.parametrize(
    ("base", "changes", "words"), [row[1:] for row in REFUSED], ids=[row[0] for row in REFUSED]
)
def test_refused_with_key_value_and_mend(
    base: dict[str, Any], changes: dict[str, Any], words: list[str]
) -> None:
    """One line of the refusal names the key, shows the value and says what to do."""
    lines = problems(base, **changes)
    assert any(all(word in line for word in words) for line in lines), lines


@pytest.mark.parametrize(("base", "changes"), [row[1:3] for row in REFUSED], ids=[row[0] for row in REFUSED])
def test_one_slip_makes_few_problems(base: dict[str, Any], changes: dict[str, Any]) -> None:
    """A single slip is not buried under others: at most three lines, none twice."""
    lines = problems(base, **changes)
    assert len(lines) == len(set(lines)) <= 3


def test_all_problems_come_at_once() -> None:
    """A file with five slips is told of all five."""
    lines = problems(BOX, height_mm=130, product="petrol", locaton="shed", resolution_mm=-1, name="")
    assert [line.split(":")[0] for line in lines] == [
        "locaton",
        "product",
        "height_mm",
        "resolution_mm",
        "name",
    ]


@pytest.mark.parametrize(
    ("data", "words"),
    [
        ("shape = rectangular", "TOML"),
        ('shape = "table"\nshape = "moulded"', "TOML"),
        ("a = " + "[" * 5000, "TOML"),
        ("heel_l = " + "9" * 5000, "TOML"),
        ("", "shape"),
        (b"\xff\xfe", "UTF-8"),
        (b"name = 'a\x00b'", "NUL"),
        (b" " * (1024 * 1024 + 1), "1024 KiB"),
    ],
    ids=["no quotes", "key twice", "nested", "5000 digits", "empty", "UTF-16", "NUL", "too large"],
)
def test_a_file_that_is_no_toml_is_refused(data: bytes | str, words: str) -> None:
    """What cannot be read at all is refused in words, never with another error."""
    with pytest.raises(TankError, match=words):
        parse_tank(data)


@pytest.mark.parametrize("name", ["<script>alert(1)</script>", "=cmd()", "Öltank 2 🛢️", "' OR 1=1--"])
def test_any_name_that_can_be_seen_is_kept_as_it_is(name: str) -> None:
    """Names are text and nothing else: kept here, escaped where they are shown."""
    assert parse(BOX, name=name).name == name


def test_every_key_stands_in_the_documented_table() -> None:
    """The docstring of the package lists exactly the keys that a file may have."""
    table = (forecaster.tanks.__doc__ or "").split("\n====")[2]
    documented = re.findall(
        r"^([a-z][a-z0-9_, ]+?) +(?:every|rectangular|horizontal|vertical|both|ovals|table)",
        table,
        re.MULTILINE,
    )
    listed = {key for cell in documented for key in cell.split(", ")}
    known = set(COMMON_KEYS) | {key for keys in SHAPE_KEYS.values() for key in keys}
    assert listed == known


@calm
@given(
    st.dictionaries(
        st.sampled_from([*COMMON_KEYS, *(key for keys in SHAPE_KEYS.values() for key in keys)]),
        st.one_of(
            st.floats(allow_nan=False, allow_infinity=False),
            st.integers(-5000, 5000),
            st.booleans(),
            st.sampled_from([*SHAPE_KEYS, "kerosene", "gas_oil", "flat", "torispherical", "long", "UTC"]),
            st.lists(st.lists(st.floats(0.0, 4000.0), min_size=1, max_size=3), max_size=4),
        ),
    ),
    st.sampled_from([BOX, CYLINDER, TABLE, MOULDED]),
)
def test_any_values_give_a_tank_or_a_refusal(changes: dict[str, Any], base: dict[str, Any]) -> None:
    """Whatever stands behind the keys, the answer is a sound tank or problems, never another error."""
    try:
        tank = parse(base, **changes)
    except TankError:
        assert all(": " in line for line in problems(base, **changes))
        return
    assert 0.0 <= tank.heel_l < tank.safe_fill_l <= tank.capacity_l * (1 + 1e-12)
    assert 50.0 <= tank.capacity_l <= 100_000.0
    assert np.isfinite(tank.heel_mm)


@calm
@given(st.binary(max_size=200))
def test_any_bytes_give_a_refusal(data: bytes) -> None:
    """No heap of bytes makes another error than a refusal."""
    with pytest.raises(TankError):
        parse_tank(data)


def test_a_plate_that_disagrees_may_be_confirmed_and_is_told_from_then_on() -> None:
    """An owner can say that plate and dimensions are both right: litres follow the dimensions, less surely."""
    with pytest.raises(TankError, match=r'if it is right, add confirmed = \["capacity_l"\]'):
        parse(BOX, capacity_l=3600)
    tank = parse(BOX, capacity_l=3600, confirmed=["capacity_l"])
    plain = parse(BOX)
    assert tank.capacity_l == plain.capacity_l
    assert tank.table_sd_fraction == pytest.approx((3600 / plain.capacity_l - 1) / 2)
    assert tank.notes == (
        f"The plate says 3,600 litres, the dimensions on file make {plain.capacity_l:,.0f}. That was "
        "confirmed; litres follow the dimensions and are less certain.",
    )


def test_a_confirmed_plate_names_the_tank_it_is_of() -> None:
    """Of linked tanks the plate is that of the first, and the words say so: the store holds more."""
    (note,) = parse(BOX, capacity_l=3600, count=2, confirmed=["capacity_l"]).notes
    assert note.startswith("The plate of the first tank says 3,600 litres")


def test_a_sensor_below_the_top_may_be_confirmed() -> None:
    """A sensor that hangs in the tank is read once its owner said so."""
    tank = parse(BOX, sensor_height_mm=900, confirmed=["sensor_height_mm"])
    assert tank.sensor_height_mm == 900
    assert ["900 mm" in note for note in tank.notes] == [True]


def test_confirming_what_agrees_changes_nothing() -> None:
    """A confirmation alone neither widens nor tells anything."""
    tank = parse(BOX, confirmed=["sensor_height_mm"])
    assert (tank.notes, tank.table_sd_fraction) == ((), 0.0)


@pytest.mark.parametrize("confirmed", ["capacity_l", ["heel_l"], [1], True])
def test_only_what_may_differ_can_be_confirmed(confirmed: object) -> None:
    """A confirmation of anything else is refused, with what can be confirmed."""
    with pytest.raises(TankError, match="give a list of some of capacity_l, sensor_height_mm, gauge_l"):
        parse(BOX, confirmed=confirmed)
