"""Lengths and parts as people write them: decimals, common fractions, percent; each with its step.

Flow     text -> **value, how finely it was read**
"""

import re
import unicodedata
from fractions import Fraction

from forecaster.rows import parse_number

LENGTHS = {"mm": 1.0, "cm": 10.0, "in": 25.4}
"""Units of a stick, and their millimetres. [mm]"""
LONGEST = 20
"""Characters of a value."""
DENOMINATORS = (2, 3, 4, 5, 6, 8, 10, 12, 16, 32, 64)
"""Parts in which an inch, or a tank, is read."""

_FRACTION = re.compile(r"(?:(\d{1,4})[ -]+)?(\d{1,2})/(\d{1,2})", re.ASCII)
_THOUSANDS = re.compile(r"\d{1,3},\d{3}", re.ASCII)


def parse_amount(text: str) -> tuple[float, float]:
    """Read a number with its step: the last decimal, or the fraction's denominator.

    Raises
    ------
    ValueError
        Naming what is wrong and the mend.

    Examples
    --------
    >>> parse_amount("25 3/8"), parse_amount("25½"), parse_amount("63,5"), parse_amount("640")
    ((25.375, 0.125), (25.5, 0.5), (63.5, 0.1), (640.0, 1.0))
    >>> parse_amount("1,250")
    Traceback (most recent call last):
    ValueError: leave out the comma between thousands
    """
    plain = _spell_out(text)
    if not plain or len(plain) > LONGEST:
        raise ValueError("give a number such as 63.5 or 25 3/8" if plain else "give a value")
    if found := _FRACTION.fullmatch(plain):
        whole, above, below = int(found[1] or 0), int(found[2]), int(found[3])
        if below not in DENOMINATORS or not above < below:
            raise ValueError("give a common fraction such as 3/8, smaller than one")
        return float(whole + Fraction(above, below)), 1.0 / below
    if _THOUSANDS.fullmatch(plain):
        raise ValueError("leave out the comma between thousands")
    if plain.count(",") == 1 and "." not in plain:
        plain = plain.replace(",", ".")
    value = parse_number(plain)
    decimals = len(plain.partition(".")[2]) if "e" not in plain.lower() else 0
    return value, 10.0**-decimals


def parse_length(text: str, *, unit: str) -> tuple[float, float]:
    """Read a length in a unit of `LENGTHS`, with its step. [mm], [mm]

    Examples
    --------
    >>> parse_length("25 3/8", unit="in")
    (644.525, 3.175)
    """
    value, step = parse_amount(text)
    if value < 0.0:
        raise ValueError("give a length from 0 up")
    return round(value * LENGTHS[unit], 6) + 0.0, round(step * LENGTHS[unit], 6)


def parse_part(text: str) -> tuple[float, float]:
    """Read a part of the whole, with its step: a fraction, a decimal up to 1, or percent. [-], [-]

    Examples
    --------
    >>> parse_part("3/8"), parse_part("45 %"), parse_part("0.4")
    ((0.375, 0.125), (0.45, 0.01), (0.4, 0.1))
    """
    percent = text.strip().endswith("%")
    value, step = parse_amount(text.strip().removesuffix("%").strip())
    if percent:
        value, step = value / 100.0, step / 100.0
    if not 0.0 <= value <= 1.0:
        raise ValueError("give a part of the whole tank, such as 3/8, 0.4 or 40 %")
    return round(value, 9) + 0.0, step


def _spell_out(text: str) -> str:
    """Write ½ as 1/2, and one space for many."""
    spelt = ""
    for sign in text.strip():
        if unicodedata.decomposition(sign).startswith("<fraction>"):
            sign = " " + unicodedata.normalize("NFKC", sign).replace("\N{FRACTION SLASH}", "/")
        spelt += sign
    return " ".join(spelt.split())
