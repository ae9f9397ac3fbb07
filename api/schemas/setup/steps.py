"""The questions, in the order of the pages.

Flow     **steps** -> pages, answers
Source   words of the engine's keys; usual sizes are common practice, no source
"""

from collections.abc import Mapping
from dataclasses import replace

from api.schemas.setup.questions import UNIT_WORDS, Question, Step
from forecaster.dwelling.survey import BOILERS

SHAPES: Mapping[str, tuple[str, str]] = {
    "horizontal_cylinder": ("A drum lying down", "A round steel tank on its side."),
    "rectangular": ("A box", "Flat sides and a flat bottom, mostly steel."),
    "vertical_cylinder": ("A drum standing up", "Round when you look down on it, straight sides."),
    "vertical_oval": (
        "Flat sides, round top and bottom",
        "A steel tank for cellars, higher than it is wide.",
    ),
    "horizontal_oval": ("An oval lying flat", "Wider than it is high, round at the sides."),
    "moulded": (
        "Plastic, ribbed, or any other",
        "Also double-skinned tanks: we go by the litres on its label.",
    ),
    "table": ("I have the maker’s table", "A sheet that says how much oil each depth means."),
}
"""For each shape of tank.toml what people call it, and a sentence."""


def _units(name: str, *units: str) -> Question:
    return Question(name, "", "I measured in", "", "choice", "", tuple((u, UNIT_WORDS[u]) for u in units))


_LENGTH_UNIT = _units("length_unit", "cm", "mm", "in")
_VOLUME_UNIT = replace(_units("volume_unit", "l", "imp_gal", "us_gal"), label="The label counts in")
_RIGHT = Question(
    "confirmed_capacity", "", "Both are right: take the measures, and remember that they differ", "", "tick"
)
_PLATE = Question(
    "capacity", "tank.capacity_l", "What the label says it holds", "If there is one: it tells us when a measure "
    "is mistyped. Leave it empty if you don’t know.", "number", "volume", picture="capacity",
)  # fmt: skip


def _length(name: str, key: str, label: str, hint: str, picture: str) -> Question:
    return Question(name, f"tank.{key}", label, hint, "number", "length", picture=picture)


_HEIGHT = _length(
    "height", "height_mm", "Height", "Inside, bottom to top: mostly 90 to 200 cm (35 to 80 inches).", "height"
)
_LENGTH = _length(
    "length", "length_mm", "Length", "Inside: mostly 100 to 400 cm (40 to 160 inches).", "length"
)
_WIDTH = _length("width", "width_mm", "Width", "Inside: mostly 60 to 200 cm (24 to 80 inches).", "width")
_DIAMETER = _length(
    "diameter", "diameter_mm", "Across the round end", "Inside, edge to edge: mostly 90 to 200 cm (35 to 80 inches).",
    "diameter",
)  # fmt: skip

MEASURES: Mapping[str, tuple[Question, ...]] = {
    "rectangular": (_LENGTH_UNIT, _LENGTH, _WIDTH, _HEIGHT, _PLATE, _VOLUME_UNIT, _RIGHT),
    "horizontal_cylinder": (_LENGTH_UNIT, _DIAMETER, _LENGTH, _PLATE, _VOLUME_UNIT, _RIGHT),
    "vertical_cylinder": (
        _LENGTH_UNIT, replace(_DIAMETER, label="Across the top"), _HEIGHT, _PLATE, _VOLUME_UNIT, _RIGHT
    ),
    "vertical_oval": (_LENGTH_UNIT, _LENGTH, _WIDTH, _HEIGHT, _PLATE, _VOLUME_UNIT, _RIGHT),
    "horizontal_oval": (_LENGTH_UNIT, _LENGTH, _WIDTH, _HEIGHT, _PLATE, _VOLUME_UNIT, _RIGHT),
    "moulded": (
        replace(_PLATE, hint="Moulded into the wall or on a sticker: mostly 1,000 to 2,500 litres."),
        _VOLUME_UNIT,
        replace(_HEIGHT, hint="From the ground it stands on to the top, without the lid. Empty, we take 130 cm."),
        _LENGTH_UNIT,
    ),
    "table": (
        _LENGTH_UNIT, _VOLUME_UNIT,
        Question(
            "rows", "tank.rows", "The table", "On each line a depth, a space, and how much oil it is: 10 95. "
            "From the bottom up.", "lines", picture="table",
        ),
    ),
}  # fmt: skip
"""What is measured of each shape."""

_DONT_KNOW = ("", "I don’t know")
_SIDES = (
    ("180", "South"),
    ("135", "South-east"),
    ("225", "South-west"),
    ("90", "East"),
    ("270", "West"),
    ("0", "North"),
)

STEPS: Mapping[str, Step] = {
    step.key: step
    for step in (
        Step(
            "shape", "Which of these looks like your tank?",
            "Measure with a tape, from the ground: never climb on a tank.",
            "We assume a plastic tank of 1,200 litres, 130 cm high. Litres are then very rough: do not order by "
            "them before the tank is measured.",
            (Question("shape", "tank.shape", "Shape", "", "choice",
                      choices=tuple((key, words) for key, (words, _) in SHAPES.items())),),
        ),
        Step(
            "measures", "How large is it?",
            "Inside measures. Measured outside, a steel tank is about half a centimetre (a quarter inch) too large "
            "each way; a double-skinned one far more, so go by its label.",
            "We assume a tank of 1,200 litres, 130 cm high. Litres are then very rough: do not order by them before "
            "the tank is measured.",
            (),
        ),
        Step(
            "sensor", "Is there a sensor on the tank?",
            "A sensor on top measures the empty space above the oil. To turn that into litres we need to know how high "
            "it sits.",
            "We reckon with what you read yourself, by gauge or stick, until you tell how high the sensor sits.",
            (
                _LENGTH_UNIT,
                Question(
                    "sensor_height", "tank.sensor_height_mm", "From the inside bottom up to the sensor’s face",
                    "About the tank’s height, plus the socket it is screwed into.", "number", "length",
                    picture="sensor",
                ),
                Question(
                    "gauge", "tank.gauge_l", "Cannot measure that? What the gauge shows now",
                    "Then leave the height empty and give two readings of the same moment: this one …", "number",
                    "volume", picture="gauge",
                ),
                Question(
                    "ullage", "tank.ullage_mm", "… and what the sensor shows now", "Its distance down to the oil.",
                    "number", "length", picture="ullage",
                ),
                replace(_VOLUME_UNIT, label="The gauge counts in"),
                Question(
                    "dead_band", "tank.dead_band_mm", "Nearest distance the sensor can see",
                    "From its sheet, if it says so.", "number", "length", more=True,
                ),
                Question("confirmed_sensor", "", "It is right, though it is unusual", "", "tick"),
            ),
        ),
        Step(
            "place", "Where does the tank stand?",
            "How cold it gets decides how fast the oil goes. The town is looked up here, on this machine.",
            "We assume the weather of the English Midlands. Elsewhere the days we tell may be off by weeks.",
            (
                Question("town", "", "Town or village", "The nearest that has a name on the map, or a UK postcode.",
                         "text"),
                Question("latitude", "survey.latitude", "Or degrees north", "Such as 54.97.", more=True),
                Question("longitude", "survey.longitude", "and degrees east",
                         "Such as -2.10; with a minus if it is west of Greenwich.", more=True),
                Question("elevation", "survey.elevation_m", "Metres above the sea",
                         "If you know it: each hundred metres is about half a degree colder.", more=True),
            ),
        ),
        Step(
            "house", "What is the house like?",
            "A rough answer is far better than none; empty means that you don’t know.",
            "We assume a typical house in the country for two or three people, and say a wide span.",
            (
                Question("floor_area", "survey.floor_area_m2", "Floor area, all storeys together",
                         "A cottage has about 80 m² (850 square feet), a family house 130 m² (1,400).",
                         "number", "area"),
                replace(_units("area_unit", "m2", "sqft"), label="The floor area is in"),
                Question("built", "survey.built", "Built in about which year", "Such as 1970."),
                Question("occupants", "survey.occupants", "How many people live there",
                         "Half a person for somebody who is there half of the time."),
                Question("vulnerable", "survey.vulnerable", "Somebody here would be at special risk without heat",
                         "We then advise to order earlier.", "tick"),
                Question("heat_loss", "survey.heat_loss_w_per_k", "Heat loss in watts for each degree",
                         "If a survey or certificate says it: it counts for more than size and year.", more=True),
            ),
        ),
        Step(
            "boiler", "What burns the oil?",
            "The plate on the boiler or its manual tells the kind; empty means that you don’t know.",
            "We assume a boiler of middling age that burns kerosene and heats the water too.",
            (
                Question("boiler", "survey.boiler", "Boiler", "", "list",
                         choices=(_DONT_KNOW, *((b.key, b.words[:1].upper() + b.words[1:]) for b in BOILERS.values()))),
                Question("hot_water", "survey.hot_water", "What heats the water for bath and kitchen", "", "choice",
                         choices=(("oil", "The oil boiler"), ("season", "The oil boiler, in the cold half of the year "
                                  "only"), ("other", "Something else"), _DONT_KNOW)),
                Question("product", "tank.product", "Which oil", "", "choice",
                         choices=(("kerosene", "Kerosene, the clear thin heating oil"),
                                  ("gas_oil", "Gas oil, as for diesel"),
                                  ("", "I don’t know (we take kerosene)"))),
                Question("boiler_kw", "survey.boiler_kw", "Boiler’s output in kilowatts", "On its plate.",
                         more=True),
                Question("cooker_kw", "survey.range_cooker_kw", "An oil range cooker’s burner in kilowatts",
                         "At full fire: mostly 3 to 6. Empty where there is none.", more=True),
            ),
        ),
        Step(
            "sun", "Wood and sun",
            "A wood stove and sun through the windows spare oil. Empty means none, or that you don’t know.",
            "We assume no stove, no panels, and ordinary windows.",
            (
                Question("evenings", "survey.stove.evenings_per_week", "Evenings with a wood fire in a winter week",
                         "0 to 7."),
                Question("stove_kw", "survey.stove.rated_kw", "The stove’s kilowatts to the room",
                         "On its plate: mostly 4 to 8. Empty, we take 5.", more=True),
                Question("stove_hours", "survey.stove.hours", "Hours of fire in such an evening", "Empty, we take 4.",
                         more=True),
                Question("windows", "survey.solar.window_m2", "Windows on the sunniest side, in square metres",
                         "A patio door is about 4, an ordinary window 1 to 2."),
                Question("window_side", "survey.solar.window_azimuth", "They look to the", "", "list", choices=_SIDES),
                Question("thermal", "survey.solar.thermal_m2", "Panels on the roof that heat water, in square metres",
                         "Mostly 3 to 6.", more=True),
                Question("pv", "survey.solar.pv_kwp", "Panels that make electricity, in kilowatts peak",
                         "Mostly 3 to 6.", more=True),
                Question("diverter", "survey.solar.diverter", "Their surplus heats the water", "", "tick", more=True),
            ),
        ),
        Step(
            "now", "How much oil is in it now?",
            "One reading is enough for a first date. Read the gauge, or the wet end of a stick standing on the ground.",
            "Without a reading we say how much the house burns, and no date.",
            (
                Question("level", "", "The gauge or the stick shows", "A part of the tank such as 3/8 or 40 %, or "
                         "the depth of the oil such as 64."),
                Question("level_kind", "", "That is", "", "choice",
                         choices=(("part", "a part of the tank, by the gauge"),
                                  ("cm", "a depth in centimetres, by a stick"),
                                  ("mm", "a depth in millimetres, by a stick"),
                                  ("in", "a depth in inches, by a stick"))),
                Question("name", "tank.name", "What do you call this tank?", "Empty, it is called Tank.", "text"),
            ),
        ),
    )
}  # fmt: skip
"""The pages, by the key in their address."""


def questions_of(step: str, shape: str) -> tuple[Question, ...]:
    """Tell what a page asks; what is measured depends on the shape."""
    return MEASURES.get(shape, MEASURES["moulded"]) if step == "measures" else STEPS[step].questions
