"""The as-of window: all that was known at an instant, and nothing else.

Flow     inputs of a whole record, as-of -> **window** -> pipeline, rivals
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np

from forecaster.civil import civil_date, instant, zone_of
from forecaster.pipeline import Inputs, known_at


class LookAheadError(ValueError):
    """A window was made with something later than its as-of instant: a fault of the program, not of input."""


@dataclass(frozen=True, slots=True, eq=False)
class Window:
    """Inputs that hold nothing later than their as-of instant; otherwise the window cannot be made.

    Attributes
    ----------
    inputs
        As a forecast takes them, cut.

    Raises
    ------
    LookAheadError
        When a part holds something that was not known yet; it names each such part.

    Notes
    -----
    A reading, a ticket and an outlook are known at their own instant; a day's weather, a receipt's date
    and the wood burned on an evening once that civil day is over. A diary tells of days ahead on purpose,
    and orders placed carry no instant at which they were placed: both are taken as given.
    """

    inputs: Inputs

    def __post_init__(self) -> None:
        late = list(later_than_as_of(self.inputs))
        if late:
            raise LookAheadError(f"as of {self.inputs.as_of.isoformat()} nobody knew " + ", nor ".join(late))

    @property
    def as_of(self) -> datetime:
        """The instant of knowledge, UTC."""
        return self.inputs.as_of

    @property
    def today(self) -> np.datetime64:
        """Civil day of as-of: the first day ahead, none of whose weather is known."""
        return _civil_day(self.inputs)

    @property
    def history_days(self) -> int:
        """Days since the first reading, begun ones counted; 0 without a reading."""
        readings = self.inputs.readings
        if readings is None or not len(readings.at):
            return 0
        since = instant(self.as_of) - readings.at[0]
        return int(np.ceil(since / np.timedelta64(1, "D")))


def open_window(whole: Inputs, as_of: datetime) -> Window:
    """Cut a whole record's inputs at an instant.

    Parameters
    ----------
    whole : Inputs
        Everything that was ever known of the tank; its own as-of is not looked at.
    as_of : datetime
        Aware.

    Notes
    -----
    A promise made later is cut too, and so are weather years that were laid ahead of another day.
    """
    cut = known_at(replace(whole, as_of=as_of))
    if cut.appointment is not None and cut.appointment.told_at > as_of:
        cut = replace(cut, appointment=None)
    if cut.weather_ahead is not None and cut.weather_ahead.start != _civil_day(cut):
        cut = replace(cut, weather_ahead=None)
    return Window(cut)


def later_than_as_of(inputs: Inputs) -> Iterator[str]:
    r"""Name each part of some inputs that holds what was not known at their as-of instant.

    Examples
    --------
    >>> from datetime import UTC
    >>> from forecaster.deliveries import Receipts
    >>> from forecaster.tanks import parse_tank
    >>> tank = parse_tank('shape = "rectangular"\nlength_mm = 1000\nwidth_mm = 1000\nheight_mm = 1250\n'
    ...                   'product = "kerosene"\nsensor_height_mm = 1300')
    >>> bills = Receipts(np.array(["2024-02-01"], "datetime64[D]"), np.array([900.0]), np.array(["yes"]))
    >>> list(later_than_as_of(Inputs(tank, datetime(2024, 1, 10, tzinfo=UTC), receipts=bills)))
    ['the receipt of 2024-02-01']
    """
    now, today = instant(inputs.as_of), _civil_day(inputs)
    instants = (("reading", inputs.readings), ("ticket", inputs.deliveries))
    for what, dated in instants:
        if dated is not None and len(dated.at) and dated.at.max() > now:
            yield f"the {what} of {dated.at.max()}Z"
    days = (
        ("receipt", inputs.receipts), ("weather", inputs.weather),
        ("weather record", inputs.years), ("fire", inputs.stove_log),
    )  # fmt: skip
    for what, daily in days:
        if daily is not None and len(daily.date) and daily.date.max() >= today:
            yield f"the {what} of {daily.date.max()}"
    if inputs.outlook is not None and inputs.outlook.issued_at > inputs.as_of:
        yield f"the outlook of {inputs.outlook.issued_at.isoformat()}"
    if inputs.appointment is not None and inputs.appointment.told_at > inputs.as_of:
        yield f"the promise of {inputs.appointment.told_at.isoformat()}"
    if inputs.weather_ahead is not None and inputs.weather_ahead.start != today:
        yield f"weather years that begin on {inputs.weather_ahead.start}"


def _civil_day(inputs: Inputs) -> np.datetime64:
    return np.datetime64(civil_date(inputs.as_of, zone_of(inputs.timezone)), "D")
