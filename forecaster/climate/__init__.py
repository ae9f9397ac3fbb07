"""Weather years ahead: drawn from monthly normals, or resampled from a long local record.

Flow     normals or record, last weeks -> **weather years**, shape (scenario, day) -> outlook, forecast
"""

from forecaster.climate.generator import WeatherYears, draw_weather_years
from forecaster.climate.normals import Normals, check_place, normal_day, normals_for, normals_from_record
from forecaster.climate.resampler import resample_weather_years
from forecaster.climate.sun import extraterrestrial_wh_m2

__all__ = [
    "Normals",
    "WeatherYears",
    "check_place",
    "draw_weather_years",
    "extraterrestrial_wh_m2",
    "normal_day",
    "normals_for",
    "normals_from_record",
    "resample_weather_years",
]
