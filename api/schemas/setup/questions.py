"""What a question is, and how a text becomes a value in the engine's unit.

Flow     text, unit -> **value** -> answers
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

from api.schemas.told.amounts import parse_amount
from forecaster.units import LITRES_PER, MM_PER, MM_PER_FOOT

M2_PER: Mapping[str, float] = {"m2": 1.0, "sqft": (MM_PER_FOOT / 1000.0) ** 2}
"""Units of a floor, and their square metres. [m²]"""
UNIT_WORDS: Mapping[str, str] = {
    "mm": "millimetres",
    "cm": "centimetres",
    "in": "inches",
    "l": "litres",
    "imp_gal": "imperial gallons",
    "us_gal": "US gallons",
    "m2": "square metres",
    "sqft": "square feet",
}
CHOSEN = {"length": "length_unit", "volume": "volume_unit", "area": "area_unit"}
"""The question that says the unit of a kind of measure."""
USUAL = {"length": "cm", "volume": "l", "area": "m2"}
_FACTORS: Mapping[str, Mapping[str, float]] = {"length": MM_PER, "volume": LITRES_PER, "area": M2_PER}
LONGEST_TEXT = 100
LONGEST_LINES = 8_000
"""Characters of an answer of one line, and of a table."""

Box = Literal["text", "number", "choice", "list", "tick", "lines"]
Measure = Literal["", "length", "volume", "area"]


@dataclass(frozen=True, slots=True)
class Question:
    """One question; an empty answer is "I don't know".

    Attributes
    ----------
    name
        Of the field.
    key
        Where the answer goes: a key of tank.toml or survey.toml, such as ``tank.height_mm`` or
        ``survey.stove.hours``; empty where it is used otherwise.
    label, hint
        As people are asked; what to know before anything is wrong.
    box
        What a browser shows.
    measure
        What kind of measure a number is; its unit is chosen on the page.
    choices
        Values and words.
    picture
        Which dimension of the picture is lit up.
    more
        Whether it stands in the folded part, for those who know.
    """

    name: str
    key: str
    label: str
    hint: str = ""
    box: Box = "number"
    measure: Measure = ""
    choices: tuple[tuple[str, str], ...] = ()
    picture: str = ""
    more: bool = False


@dataclass(frozen=True, slots=True)
class Step:
    """One page of the set-up.

    Attributes
    ----------
    key, title, says
        In the address; as people read it; what is asked, in a sentence or two.
    skipped
        What we assume where it is passed over, in words.
    questions
        In order.
    """

    key: str
    title: str
    says: str
    skipped: str
    questions: tuple[Question, ...]


def unit_of(measure: Measure, texts: Mapping[str, str]) -> str:
    """Tell the unit of a kind of measure: the one chosen, or the usual one."""
    if not measure:
        return ""
    chosen = texts.get(CHOSEN[measure], "")
    return chosen if chosen in _FACTORS[measure] else USUAL[measure]


def read_value(question: Question, text: str, texts: Mapping[str, str]) -> Any:
    """Read an answer that is not empty, numbers in the engine's unit.

    Raises
    ------
    ValueError
        With the mend.

    Examples
    --------
    >>> height = Question("height", "tank.height_mm", "Height", measure="length")
    >>> read_value(height, "47 1/4", {"length_unit": "in"})
    1200.15
    """
    match question.box:
        case "number":
            value, _ = parse_amount(text)
            factor = _FACTORS[question.measure][unit_of(question.measure, texts)] if question.measure else 1.0
            return round(value * factor, 6)
        case "choice" | "list":
            if text not in [value for value, _ in question.choices]:
                raise ValueError("choose one of the answers on the page")
            return text
        case "tick":
            return True
        case "lines":
            return read_rows(text, texts)
        case "text":
            if len(text) > LONGEST_TEXT or not text.isprintable():
                raise ValueError(f"give at most {LONGEST_TEXT} plain characters")
            return text


def read_rows(text: str, texts: Mapping[str, str]) -> list[list[float]]:
    """Read the rows of a maker's table: on each line a depth and how much it is.

    Raises
    ------
    ValueError
        With the mend, naming the line.

    Examples
    --------
    >>> read_rows("0 0; 10 95.5", {})
    [[0.0, 0.0], [100.0, 95.5]]
    """
    mm, litres = MM_PER[unit_of("length", texts)], LITRES_PER[unit_of("volume", texts)]
    rows = []
    for number, line in enumerate(text.replace(";", "\n").splitlines(), start=1):
        parts = line.replace("\t", " ").split()
        if not parts:
            continue
        if len(parts) != 2:
            raise ValueError(f"give two numbers on line {number}: the depth, a space, how much it is")
        try:
            depth, volume = (parse_amount(part)[0] for part in parts)
        except ValueError as bad:
            raise ValueError(f"mend line {number}: {bad}") from None
        rows.append([round(depth * mm, 6), round(volume * litres, 6)])
    return rows


def write_value(question: Question, value: Any, texts: Mapping[str, str]) -> str:
    """Write a value of the engine as it would be typed, in the unit chosen.

    Examples
    --------
    >>> height = Question("height", "tank.height_mm", "Height", measure="length")
    >>> write_value(height, 1200.15, {"length_unit": "in"})
    '47.25'
    """
    match question.box:
        case "number":
            factor = _FACTORS[question.measure][unit_of(question.measure, texts)] if question.measure else 1.0
            return f"{float(value) / factor:.7g}"
        case "tick":
            return "yes" if value else ""
        case "lines":
            mm, litres = MM_PER[unit_of("length", texts)], LITRES_PER[unit_of("volume", texts)]
            return "\n".join(f"{dip / mm:.7g} {amount / litres:.7g}" for dip, amount in value)
        case _:
            return str(value)
