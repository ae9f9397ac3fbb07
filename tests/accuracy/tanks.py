"""A heating-oil tank in front of a building's measured burn, read by a 1 cm sensor once a day.

Formula  litres burned = kWh / gross kWh per litre: an oil boiler as efficient as the gas boiler it
         stands for. Where a building is far larger than a house, scaled to 2,000 litres a year.

The tank: upright rectangle of 1.2 m2 (1,500 x 800 mm) and 1,250 mm, so 12 litres a centimetre and
1,500 litres; filled to 95 % on the morning after it is found below 25 %; its oil at 15 C, which the
reading tells. The sensor looks down from 1,300 mm at the end of each day, to the nearest 10 mm. A
ticket is off by up to 1 % either way, evenly, and to a whole litre. On days whose burn is not known
there is no reading; the tank is filled all the same and its tickets are known.
"""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from forecaster.fuel import KEROSENE
from forecaster.weather import Weather
from tests.accuracy.data import Days, Floats, Record

LITRES_PER_MM = 1.2
HEIGHT_MM = 1250.0
CAPACITY_L = LITRES_PER_MM * HEIGHT_MM
SENSOR_HEIGHT_MM = 1300.0
RESOLUTION_MM = 10.0
SAFE_FILL_L = 0.95 * CAPACITY_L
FILL_BELOW_L = 0.25 * CAPACITY_L
TICKET_ERROR = 0.01
HOUSEHOLD_L_PER_YEAR = 2000.0
LARGEST_HOUSE_L_PER_YEAR = 5000.0


@dataclass(frozen=True, slots=True)
class House:
    """A building with its tank; arrays of shape (day,), each day's value at or over its end.

    Attributes
    ----------
    name, source, latitude, longitude
        As of its record.
    weather
        On the days of the record.
    burned_l
        The truth: litres burned over the day. [L]
    known
        Whether that truth was measured; only such days are scored.
    level_l
        What the sensor showed at the end of the day, as litres; nan without a reading. [L]
    ticket_l
        Litres delivered in the morning of the day, as the ticket says; 0 without a delivery. [L]
    true_level_l, true_delivery_l
        The same without sensor and ticket error. [L]
    scale
        Factor on the building's own burn.
    """

    name: str
    source: str
    latitude: float
    longitude: float
    weather: Weather
    burned_l: Floats
    known: npt.NDArray[np.bool_]
    level_l: Floats
    ticket_l: Floats
    true_level_l: Floats
    true_delivery_l: Floats
    scale: float

    @property
    def date(self) -> Days:
        """The civil days."""
        return self.weather.date


def put_tank(record: Record, *, rng: np.random.Generator) -> House:
    """Burn a record's fuel as oil from the tank described above, and read it once a day."""
    burned_l = record.kwh / KEROSENE.gross_kwh_per_l
    yearly_l = 365.25 * float(burned_l[record.known].mean())
    scale = HOUSEHOLD_L_PER_YEAR / yearly_l if yearly_l > LARGEST_HOUSE_L_PER_YEAR else 1.0
    burned_l = scale * burned_l

    level, delivery = np.empty(len(burned_l)), np.zeros(len(burned_l))
    litres = rng.uniform(0.4, 0.9) * CAPACITY_L
    for day, burn in enumerate(burned_l):
        if litres < FILL_BELOW_L:
            delivery[day] = SAFE_FILL_L - litres
        litres += delivery[day] - burn
        level[day] = litres
    if level.min() < 0.0:
        raise ValueError(f"{record.name}: the tank ran dry on {record.date[level.argmin()]}; it is too small")

    ticket = np.round(delivery * (1.0 + rng.uniform(-TICKET_ERROR, TICKET_ERROR, len(delivery))))
    return House(
        name=record.name,
        source=record.source,
        latitude=record.latitude,
        longitude=record.longitude,
        weather=as_weather(record),
        burned_l=burned_l,
        known=record.known,
        level_l=np.where(record.known, read_level(level), np.nan),
        ticket_l=ticket,
        true_level_l=level,
        true_delivery_l=delivery,
        scale=scale,
    )


def read_level(litres: Floats) -> Floats:
    """Read a level through the sensor: the ullage to its nearest step, as litres again.

    Examples
    --------
    >>> read_level(np.array([600.0, 605.0, 607.0]))
    array([600., 600., 612.])
    """
    ullage_mm = np.round((SENSOR_HEIGHT_MM - litres / LITRES_PER_MM) / RESOLUTION_MM) * RESOLUTION_MM
    return np.asarray(LITRES_PER_MM * (SENSOR_HEIGHT_MM - ullage_mm))


def without_errors(house: House) -> House:
    """Give the methods the true burn: exact levels, on every known day, and exact tickets."""
    return replace(
        house,
        level_l=np.where(house.known, house.true_level_l, np.nan),
        ticket_l=house.true_delivery_l,
    )


def as_weather(record: Record) -> Weather:
    """The record's days as weather: daily means, extremes unknown."""
    unknown = np.full(len(record.date), np.nan)
    return Weather(
        date=record.date,
        temp_c=record.temp_c,
        tmin_c=unknown,
        tmax_c=unknown,
        ghi_wh_m2=record.ghi_wh_m2,
        kind="mean",
    )


def input_files(house: House, *, until: np.datetime64) -> dict[str, str]:
    """Write what a user would hand to the command: the tank, readings, weather and tickets up to a date.

    Days are those of UTC. The tank stands indoors, so that its oil stays as warm as it is and litres
    burned are a difference of levels. Readings carry 15 C as the oil's temperature, and one minute before
    midnight as their time, so that each belongs to its day.
    """
    seen = house.date <= until
    mm = SENSOR_HEIGHT_MM - house.level_l / LITRES_PER_MM
    tank = (
        f'product = "kerosene"\nshape = "rectangular"\nlength_mm = 1500\nwidth_mm = 800\n'
        f"height_mm = {HEIGHT_MM:.0f}\nsensor_height_mm = {SENSOR_HEIGHT_MM:.0f}\n"
        f'resolution_mm = {RESOLUTION_MM:.0f}\nsafe_fill_l = {SAFE_FILL_L:.0f}\nlocation = "indoors"\n'
    )
    readings = [
        f"{day}T23:59:00Z,{ullage:.0f},15.0"
        for day, ullage in zip(house.date[seen], mm[seen], strict=True)
        if np.isfinite(ullage)
    ]
    weather = [
        f"{day},{temp:.3f},{'' if np.isnan(ghi) else f'{ghi:.0f}'}"
        for day, temp, ghi in zip(
            house.date[seen], house.weather.temp_c[seen], house.weather.ghi_wh_m2[seen], strict=True
        )
    ]
    tickets = [
        f"{day}T10:00:00Z,{litres:.0f},yes"
        for day, litres in zip(house.date[seen], house.ticket_l[seen], strict=True)
        if litres > 0.0
    ]
    return {
        "tank.toml": tank,
        "readings.csv": "\n".join(["at,ullage_mm,oil_c", *readings, ""]),
        "weather.csv": "\n".join(["date,temp_c,ghi_wh_m2", *weather, ""]),
        "deliveries.csv": "\n".join(["at,litres,filled", *tickets, ""]),
        "survey.toml": f"latitude = {house.latitude}\nlongitude = {house.longitude}\n",
    }
