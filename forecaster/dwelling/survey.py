"""The survey: what people can say about their house, every answer optional.

Flow     survey.toml -> `parsing` -> **Survey** -> burn prior
Source   [1] SAP 2012, Table 4b: boiler efficiencies, each row of the packaged table ``boilers`` with its own
         source.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Literal, cast

from forecaster.tables import read_table

HotWater = Literal["oil", "other", "season"]
"""What heats the water: oil, something else, or oil in some months only."""

HEATING_MONTHS = (10, 11, 12, 1, 2, 3, 4)
"""Months with hot water from oil where only "season" is said. Assumption."""
STILL_HEATED = 0.1
"""Heating that is left in a month in which it is off: a cold week may turn it on. Assumption. [-]"""
ASSUMED_BOILER = "standard_1998"
"""The middle of the published boilers, where none is named. Assumption."""


@dataclass(frozen=True, slots=True)
class Boiler:
    """A kind of boiler of the published table, efficiencies gross as fractions. [-]"""

    key: str
    words: str
    winter_efficiency: float
    summer_efficiency: float
    kind: Literal["cylinder", "combi"]


BOILERS: Mapping[str, Boiler] = MappingProxyType(
    {
        row["key"]: Boiler(
            key=row["key"],
            words=row["words"],
            winter_efficiency=float(row["winter_efficiency"]),
            summer_efficiency=float(row["summer_efficiency"]),
            kind=cast(Literal["cylinder", "combi"], row["kind"]),
        )
        for row in read_table("boilers")
    }
)
"""Kinds of boiler a survey may name. Source [1]."""


@dataclass(frozen=True, slots=True)
class Stove:
    """A wood stove and how it is used; the defaults are assumptions.

    Attributes
    ----------
    rated_kw
        Heat it gives to the room. [kW]
    evenings_per_week
        In the heating season. [1/week]
    hours
        Of an evening with fire. [h]
    """

    rated_kw: float = 5.0
    evenings_per_week: float = 3.0
    hours: float = 4.0


@dataclass(frozen=True, slots=True)
class Window:
    """One window, or several that look alike; the defaults are a south wall without anything before it.

    Attributes
    ----------
    area_m2
        Frames included. [m²]
    azimuth, tilt
        Clockwise from north, south 180; from level, a wall 90. [°]
    horizon_deg
        Elevation of what stands in front. [°]
    height_m, overhang_m, overhang_gap_m
        Of the window; how far an overhang stands out; how far above the window's top it is. [m]
    """

    area_m2: float
    azimuth: float = 180.0
    tilt: float = 90.0
    horizon_deg: float = 0.0
    height_m: float = 1.3
    overhang_m: float = 0.0
    overhang_gap_m: float = 0.0


@dataclass(frozen=True, slots=True)
class Solar:
    """What takes in the sun: windows, water panels, and electric panels; the tilt is an assumption.

    Attributes
    ----------
    window_m2
        Windows that look towards ``window_azimuth``, frames included; None where unknown. [m²]
    window_azimuth, pv_azimuth
        Clockwise from north, south 180. [°]
    thermal_m2
        Water-heating panels, on the same roof as the electric ones. [m²]
    pv_kwp
        Electric panels at standard test conditions. [kW]
    pv_tilt
        Of both kinds of panel, from level. [°]
    diverter
        Whether surplus electricity heats the water.
    windows
        Windows one by one, instead of ``window_m2`` and ``window_azimuth``.
    """

    window_m2: float | None = None
    window_azimuth: float = 180.0
    thermal_m2: float = 0.0
    pv_kwp: float = 0.0
    pv_tilt: float = 35.0
    pv_azimuth: float = 180.0
    diverter: bool = False
    windows: tuple[Window, ...] = ()

    @property
    def glass_m2(self) -> float | None:
        """All windows to the sun together; None where unknown. [m²]"""
        return sum(w.area_m2 for w in self.windows) if self.windows else self.window_m2


@dataclass(frozen=True, slots=True)
class Survey:
    """Answers about a house; None means "I don't know".

    Attributes
    ----------
    latitude, longitude
        North and east positive. [°]
    place, timezone
        A name for the normals, and a zone such as Europe/London.
    elevation_m
        Above sea level. [m]
    floor_area_m2
        Of all storeys. [m²]
    built
        Year. [a]
    heat_loss_w_per_k
        From a survey or an energy certificate. [W/K]
    occupants
        A part for somebody who is there for a part of the time. [persons]
    boiler_efficiency
        Gross, seasonal. [-]
    boiler
        A key of `BOILERS`.
    boiler_kw
        Its rated output. [kW]
    hot_water, hot_water_oil_months
        What heats it; the months (1 to 12) with oil, all of them unless "season".
    heating_off_months
        Months (1 to 12) in which the heating is switched off.
    range_cooker_kw
        Burner of an oil range cooker at full fire. [kW]
    stove, solar
        None where there is none, or none is known of.
    vulnerable
        Whether running out would put somebody at special risk; the order then keeps more in hand.
    notes
        Doubts about answers, in sentences.
    """

    latitude: float | None = None
    longitude: float | None = None
    place: str | None = None
    timezone: str | None = None
    elevation_m: float | None = None
    floor_area_m2: float | None = None
    built: int | None = None
    heat_loss_w_per_k: float | None = None
    occupants: float | None = None
    boiler_efficiency: float | None = None
    boiler: str | None = None
    boiler_kw: float | None = None
    hot_water: HotWater | None = None
    hot_water_oil_months: tuple[int, ...] = tuple(range(1, 13))
    heating_off_months: tuple[int, ...] = ()
    range_cooker_kw: float | None = None
    stove: Stove | None = None
    solar: Solar | None = None
    vulnerable: bool = False
    notes: tuple[str, ...] = ()


def heating_by_month(survey: Survey) -> tuple[float, ...]:
    """Take the part of the usual heating that each month has: next to none in months with the heating off.

    Examples
    --------
    >>> heating_by_month(Survey(heating_off_months=(6, 7, 8)))[4:9]
    (1.0, 0.1, 0.1, 0.1, 1.0)
    """
    return tuple(STILL_HEATED if month in survey.heating_off_months else 1.0 for month in range(1, 13))


def boiler_of(survey: Survey) -> Boiler:
    """Take the boiler named, with the efficiency given; else a middling one of the published table.

    Notes
    -----
    An efficiency that is given counts for winter. Summer's keeps the published ratio of that kind.

    Examples
    --------
    >>> boiler_of(Survey(boiler="condensing")).winter_efficiency
    0.84
    >>> round(boiler_of(Survey(boiler_efficiency=0.9)).summer_efficiency, 3)
    0.765
    """
    boiler = BOILERS[survey.boiler or ASSUMED_BOILER]
    given = survey.boiler_efficiency
    if given is None:
        return boiler
    ratio = boiler.summer_efficiency / boiler.winter_efficiency
    return replace(boiler, winter_efficiency=given, summer_efficiency=given * ratio)
