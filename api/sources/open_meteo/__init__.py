"""Recent and coming weather from Open-Meteo, a public weather service that asks for no key.

What leaves this machine is a place rounded to a tenth of a degree (some 10 km) and the names of two
quantities; nothing of the tank. What comes is judged like a weather file: wrong units, impossible
values, a series that stands still are refused, and the last good weather is kept with its age.

Flow     place -> `ask` -> bytes, bounded -> `answer` -> **Weather, Outlook** -> fetch_weather
Source   Open-Meteo, "Weather Forecast API" documentation (open-meteo.com/en/docs) and the service's own
         OpenAPI description, ``openapi/forecast.yml`` in its public repository: ``hourly=temperature_2m,
         shortwave_radiation`` (the latter the mean of the hour before its time, W/m²), ``past_days`` 0 to
         92, ``forecast_days`` 0 to 16, ``timeformat=unixtime``; units in ``hourly_units``; a refusal is a
         status with ``{"error": true, "reason": "..."}``. Data CC BY 4.0; free of charge for
         non-commercial use.
"""

from api.sources.open_meteo.answer import read_answer
from api.sources.open_meteo.ask import OpenMeteo
from api.sources.open_meteo.trouble import WeatherServiceError

__all__ = ["OpenMeteo", "WeatherServiceError", "read_answer"]
