"""The options of the commands, each described once.

Flow     **options** -> commands (app)
"""

from pathlib import Path
from typing import Annotated

import typer

from api.cli.values import DecimalSign, TempKind


def _file(metavar: str, said: str) -> object:
    return typer.Option(metavar=metavar, help=said)


Number = Annotated[str | None, typer.Option(metavar="NUMBER")]
UllageMm = Annotated[
    str | None, typer.Option(metavar="NUMBER", help="Needs the sensor's height in the tank file.")
]
Litres = Annotated[str | None, typer.Option(metavar="NUMBER", help="The other way: gives the dip.")]
AsJson = Annotated[bool, typer.Option("--json", help="One JSON object instead of words.")]

# ---- files
TankFile = Annotated[Path, typer.Option("--tank", metavar="TANK.TOML", help="The tank's description.")]
NewTankFile = Annotated[
    Path | None, typer.Option("--tank", metavar="TANK.TOML", help="The description of a new tank.")
]
ReadingsFile = Annotated[
    Path | None, _file("R.CSV", "Level readings: at, and ullage_mm, dip_mm, litres or fraction.")
]
WeatherFile = Annotated[Path | None, _file("W.CSV", "Past weather, daily or hourly, or an EPW file.")]
YearsFile = Annotated[
    Path | None, _file("LONG.CSV", "A long daily record: the weather ahead is drawn from it.")
]
OutlookFile = Annotated[Path | None, _file("O.CSV", "A short-range weather forecast.")]
DeliveriesFile = Annotated[Path | None, _file("D.CSV", "Delivery tickets: at, litres.")]
ReceiptsFile = Annotated[Path | None, _file("P.CSV", "Bills: date, litres.")]
SurveyFile = Annotated[Path | None, _file("S.TOML", "What is known of the house.")]
DiaryFile = Annotated[Path | None, _file("Y.CSV", "Days away, guests: start, end, what.")]
StoveLogFile = Annotated[Path | None, _file("L.CSV", "Wood burned: date, kg or kwh.")]

# ---- how the files are written
Zone = Annotated[
    str | None,
    typer.Option(
        "--tz", metavar="ZONE", help="Zone of times without offset, and of the tank if its files name none."
    ),
]
ReadingsZone = Annotated[
    str | None, typer.Option("--tz", metavar="ZONE", help="Zone of the readings' times without offset.")
]
Kind = Annotated[TempKind, typer.Option(help="What temp_c of a daily weather file is.")]
Decimal = Annotated[DecimalSign, typer.Option(help="Decimal sign of the files.")]
TimeColumn = Annotated[str | None, typer.Option(metavar="NAME", help="Column of the readings' times.")]
LevelColumn = Annotated[str | None, typer.Option(metavar="NAME", help="Column of the readings' levels.")]
Unit = Annotated[
    str | None, typer.Option(metavar="UNIT", help="What the level column holds, such as ullage_cm.")
]

# ---- when, and how oil is ordered
AsOf = Annotated[
    str | None,
    typer.Option(
        metavar="TIME",
        help="A date (its end) or a time with offset; nothing later is looked at. Default now.",
    ),
]
LeadDays = Annotated[str, typer.Option(metavar="A-B", help="Working days from order to delivery.")]
LeadTable = Annotated[
    Path | None,
    _file("T.CSV", "Chance of each lead time, instead of A-B: days and chance, or days and deliveries."),
]
ColdLeadDays = Annotated[
    str,
    typer.Option(
        metavar="DAYS",
        help="At most so many working days more in a cold spell: an assumption; 0 for none.",
    ),
]
Holidays = Annotated[
    str | None, typer.Option(metavar="CODE", help="Public holidays, such as IE or GB-ENG. Default none.")
]
Closed = Annotated[
    list[str] | None,
    typer.Option(metavar="DATE", help="A day without deliveries; may be given several times."),
]
LookEveryDays = Annotated[str, typer.Option(metavar="DAYS", help="Days until somebody looks again.")]
Risk = Annotated[
    str | None,
    typer.Option(
        metavar="CHANCE",
        help="Accepted chance of running dry in an order cycle. Default 0.005; 0.002 for a vulnerable home.",
    ),
]
MinDrop = Annotated[str, typer.Option(metavar="LITRES", help="Smallest delivery.")]
Ordered = Annotated[
    list[str] | None,
    typer.Option(
        metavar="DATE:LITRES",
        help="An order placed, with the day it is promised for; may be given several times.",
    ),
]

QuotesFile = Annotated[
    Path | None, _file("Q.CSV", "Prices: from_litres, price_per_litre and, optionally, date.")
]
Quote = Annotated[
    list[str] | None,
    typer.Option(
        metavar="LITRES:PRICE",
        help="The price of a litre from a quantity on; may be given several times: 500:0.62, 1000:0.60.",
    ),
]
PriceDrift = Annotated[
    str | None,
    typer.Option(
        metavar="PART", help="Expected change of prices a month: 0.02 for 2 % more, -0.01 for 1 % less."
    ),
]
DeliveryCost = Annotated[
    str | None, typer.Option(metavar="MONEY", help="What a delivery costs beside its litres.")
]
HoldingCost = Annotated[
    str | None,
    typer.Option(metavar="PART", help="What oil in the tank costs a year, as a part of its price: 0.05."),
]
Budget = Annotated[
    str | None,
    typer.Option(
        metavar="MONEY", help="The most to be spent on this order, in the money of the quotes; needs them."
    ),
]

# ---- the service
TankId = Annotated[
    str | None, typer.Option(metavar="ID", help="A tank that is there already, by the id it was given.")
]
Host = Annotated[str | None, typer.Option(metavar="NAME", help="Where to listen. Default this machine only.")]
Port = Annotated[int | None, typer.Option(min=0, max=65535, help="Port to listen on. Default 8000.")]
Database = Annotated[
    str | None,
    typer.Option(
        metavar="URL", help="sqlite:///file or postgresql://user@host/name. Default a file of your own."
    ),
]
