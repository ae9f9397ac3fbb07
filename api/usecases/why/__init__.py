"""Why this date: what the answer was made from, and where the oil went.

Not a second opinion: the same inputs, the same draws and the same fit as the answer's, taken apart.

Flow     kept forecast, store -> forecaster.pipeline, forecaster.account -> **explanation** -> page, JSON

`explaining` gathers the rest
`readings`   each reading: used, or set aside and why
`weather`    which days were observed, which are forecast, which are drawn from weather years
`rates`      what the survey said of the house, and what the readings made of it
"""

from api.usecases.why.explaining import Explanation, explain
from api.usecases.why.rates import Rate
from api.usecases.why.readings import Aside, ReadingsUsed
from api.usecases.why.weather import Span, WeatherUsed

__all__ = ["Aside", "Explanation", "Rate", "ReadingsUsed", "Span", "WeatherUsed", "explain"]
