"""What was given on the command line: where the files are, how they are written, how oil is ordered.

Flow     arguments -> **files, layout, ordering** -> one-shot forecast, import
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields
from functools import partial
from pathlib import Path
from typing import Literal
from zoneinfo import ZoneInfo

from forecaster.weather import ParsedWeather, parse_epw, parse_weather


@dataclass(frozen=True, slots=True)
class Files:
    """Where the files are; None where there is none."""

    tank: Path | None
    readings: Path | None = None
    weather: Path | None = None
    years: Path | None = None
    outlook: Path | None = None
    deliveries: Path | None = None
    receipts: Path | None = None
    survey: Path | None = None
    diary: Path | None = None
    stove_log: Path | None = None

    @property
    def count(self) -> int:
        """How many files there are."""
        return sum(getattr(self, f.name) is not None for f in fields(self))


@dataclass(frozen=True, slots=True)
class Layout:
    """How the files are written, where they are not written our way."""

    decimal: str = "."
    temp_kind: Literal["mean", "midrange"] = "mean"
    time_column: str | None = None
    level_column: str | None = None
    unit: str | None = None
    tz: str | None = None


@dataclass(frozen=True, slots=True)
class Ordering:
    """How oil is ordered here and what it costs, as typed; ``risk`` None stands for the home's own."""

    lead_days: str = "3-10"
    holidays: str | None = None
    closed: Sequence[str] = ()
    look_every_days: str = "1"
    risk: str | None = None
    min_drop_l: str = "500"
    ordered: Sequence[str] = ()
    lead_table: Path | None = None
    cold_lead_days: str = "5"
    quotes: Path | None = None
    quote: Sequence[str] = ()
    price_drift: str | None = None
    delivery_cost: str | None = None
    holding_cost: str | None = None
    budget: str | None = None


def weather_parser(path: Path, layout: Layout, zone: str | ZoneInfo) -> Callable[[bytes], ParsedWeather]:
    """Choose the parser of a weather file: by the ending .epw, else a table.

    Examples
    --------
    >>> weather_parser(Path("typical.EPW"), Layout(), "UTC") is parse_epw
    True
    """
    if path.suffix.lower() == ".epw":
        return parse_epw
    return partial(parse_weather, kind=layout.temp_kind, tz=zone, decimal=layout.decimal)
