"""The commands and their options.

Flow     arguments -> **commands** -> one module each
"""

import json
from pathlib import Path
from typing import Annotated

import typer

from api.cli.trouble import Commands
from api.cli.values import DecimalSign, TempKind

app = typer.Typer(
    cls=Commands,
    epilog="Try it on an invented valley: dipcast demo",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)


def _say_version(wanted: bool) -> None:
    if wanted:
        from importlib.metadata import version

        typer.echo(f"dipcast {version('dipcast')}")
        raise typer.Exit


@app.callback()
def dipcast(
    version: Annotated[
        bool,
        typer.Option("--version", callback=_say_version, is_eager=True, help="Show the version and exit."),
    ] = False,
) -> None:
    """From heating-oil tank level readings to a run-dry date, an order window and litres."""


Number = Annotated[str | None, typer.Option(metavar="NUMBER")]
TankFile = Annotated[Path, typer.Option("--tank", help="The tank's description.", metavar="TANK.TOML")]
AsJson = Annotated[bool, typer.Option("--json", help="One JSON object instead of words.")]


@app.command("litres")
def show_litres(
    tank: TankFile,
    dip_mm: Number = None,
    dip_cm: Number = None,
    dip_in: Number = None,
    ullage_mm: Annotated[
        str | None,
        typer.Option(metavar="NUMBER", help="Needs the sensor's height in the tank file."),
    ] = None,
    litres: Annotated[
        str | None, typer.Option(metavar="NUMBER", help="The other way: gives the dip.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    r"""Turn a dip into litres, or litres into a dip.

    Bulk litres, heel included; not for trade.

    \b
    Example:
      dipcast litres --tank tank.toml --dip-mm 600
    """
    from api.cli.litres import convert_level

    given = {
        "--dip-mm": dip_mm,
        "--dip-cm": dip_cm,
        "--dip-in": dip_in,
        "--ullage-mm": ullage_mm,
        "--litres": litres,
    }
    level = convert_level(tank, given)
    if as_json:
        figures = {"litres": level.litres, "litres_per_cm": level.litres_per_cm, "dip_mm": level.dip_mm}
        typer.echo(json.dumps(figures, allow_nan=False))
    else:
        typer.echo(level.sentence)


@app.command("forecast")
def show_forecast(
    tank: TankFile,
    readings: Annotated[
        Path | None,
        typer.Option(metavar="R.CSV", help="Level readings: at, and ullage_mm, dip_mm, litres ..."),
    ] = None,
    weather: Annotated[
        Path | None, typer.Option(metavar="W.CSV", help="Past weather, daily or hourly, or an EPW file.")
    ] = None,
    years: Annotated[
        Path | None,
        typer.Option(metavar="LONG.CSV", help="A long daily record: the weather ahead is drawn from it."),
    ] = None,
    outlook: Annotated[
        Path | None, typer.Option(metavar="O.CSV", help="A short-range weather forecast.")
    ] = None,
    deliveries: Annotated[Path | None, typer.Option(metavar="D.CSV", help="Delivery tickets.")] = None,
    receipts: Annotated[Path | None, typer.Option(metavar="P.CSV", help="Bills: date, litres.")] = None,
    survey: Annotated[Path | None, typer.Option(metavar="S.TOML", help="What is known of the house.")] = None,
    diary: Annotated[
        Path | None, typer.Option(metavar="Y.CSV", help="Days away, guests: start, end, what.")
    ] = None,
    stove_log: Annotated[
        Path | None, typer.Option(metavar="L.CSV", help="Wood burned: date, kg or kwh.")
    ] = None,
    as_of: Annotated[
        str | None,
        typer.Option(
            metavar="TIME",
            help="A date (its end) or a time with offset; nothing later is looked at. Default now.",
        ),
    ] = None,
    lead_days: Annotated[
        str,
        typer.Option(metavar="A-B", help="Working days from order to delivery."),
    ] = "3-10",
    holidays: Annotated[
        str | None, typer.Option(metavar="CODE", help="Public holidays, such as IE or GB-ENG. Default none.")
    ] = None,
    closed: Annotated[
        list[str] | None,
        typer.Option(metavar="DATE", help="A day without deliveries; may be given several times."),
    ] = None,
    look_every_days: Annotated[
        str, typer.Option(metavar="DAYS", help="Days until somebody looks again.")
    ] = "1",
    risk: Annotated[
        str | None,
        typer.Option(
            metavar="CHANCE",
            help="Accepted chance of running dry in an order cycle. Default 0.005; 0.002 for a "
            "vulnerable home.",
        ),
    ] = None,
    min_drop_l: Annotated[str, typer.Option(metavar="LITRES", help="Smallest delivery.")] = "500",
    ordered: Annotated[
        list[str] | None,
        typer.Option(
            metavar="DATE:LITRES",
            help="An order placed, with the day it is promised for; may be given several times.",
        ),
    ] = None,
    tz: Annotated[
        str | None,
        typer.Option(
            metavar="ZONE", help="Zone of times without offset, and of the tank if its files name none."
        ),
    ] = None,
    temp_kind: Annotated[
        TempKind, typer.Option(help="What temp_c of a daily weather file is.")
    ] = TempKind.MEAN,
    decimal: Annotated[DecimalSign, typer.Option(help="Decimal sign of the files.")] = DecimalSign.POINT,
    time_column: Annotated[
        str | None, typer.Option(metavar="NAME", help="Column of the readings' times.")
    ] = None,
    level_column: Annotated[
        str | None, typer.Option(metavar="NAME", help="Column of the readings' levels.")
    ] = None,
    unit: Annotated[
        str | None, typer.Option(metavar="UNIT", help="What the level column holds, such as ullage_cm.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    r"""Forecast one tank from files, without a database.

    Litres now, the date the tank runs dry with its spread, and when to order how much. An estimate:
    read the gauge before you order and before you rely on it.

    \b
    Examples:
      dipcast forecast --tank tank.toml --readings readings.csv \
        --weather weather.csv --survey survey.toml --as-of 2024-01-10
      dipcast forecast --tank tank.toml --readings export.csv --time-column When \
        --level-column Depth --unit dip_cm --tz Europe/Dublin --decimal , \
        --years station.csv --lead-days 2-5 --holidays IE --json

    \b
    Exit codes: 0 answered (a withheld forecast too), 2 input not usable,
    3 answered with rows set aside.
    """
    from api.cli.forecast import forecast_object, forecast_text, work_out_forecast
    from api.cli.gather import Files, Layout, Ordering, gather_files
    from api.cli.trouble import say, say_set_aside
    from api.ports import SystemClock

    gathered = gather_files(
        Files(tank, readings, weather, years, outlook, deliveries, receipts, survey, diary, stove_log),
        Layout(decimal.value, temp_kind.value, time_column, level_column, unit, tz),
        Ordering(lead_days, holidays, closed or (), look_every_days, risk, min_drop_l, ordered or ()),
        as_of=as_of,
        clock=SystemClock(),
    )
    working = work_out_forecast(gathered)
    write = forecast_object if as_json else forecast_text
    typer.echo(write(working, gathered))
    if as_json:
        say(gathered.notes)
    raise typer.Exit(say_set_aside(gathered.set_aside))
