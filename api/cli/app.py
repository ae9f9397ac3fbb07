"""The commands: arguments in, words or JSON out.

Flow     arguments -> **commands** -> one module each
"""

import json
from typing import Annotated

import typer

from api.cli import options as o
from api.cli.account import show_account
from api.cli.accounts import accounts
from api.cli.trouble import Commands, say, say_set_aside
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


@app.command("litres")
def show_litres(
    tank: o.TankFile,
    dip_mm: o.Number = None,
    dip_cm: o.Number = None,
    dip_in: o.Number = None,
    ullage_mm: o.UllageMm = None,
    litres: o.Litres = None,
    as_json: o.AsJson = False,
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
    tank: o.TankFile,
    readings: o.ReadingsFile = None,
    weather: o.WeatherFile = None,
    years: o.YearsFile = None,
    outlook: o.OutlookFile = None,
    deliveries: o.DeliveriesFile = None,
    receipts: o.ReceiptsFile = None,
    survey: o.SurveyFile = None,
    diary: o.DiaryFile = None,
    stove_log: o.StoveLogFile = None,
    as_of: o.AsOf = None,
    lead_days: o.LeadDays = "3-10",
    holidays: o.Holidays = None,
    closed: o.Closed = None,
    look_every_days: o.LookEveryDays = "1",
    risk: o.Risk = None,
    min_drop_l: o.MinDrop = "500",
    ordered: o.Ordered = None,
    lead_table: o.LeadTable = None,
    cold_lead_days: o.ColdLeadDays = "5",
    quotes: o.QuotesFile = None,
    quote: o.Quote = None,
    price_drift: o.PriceDrift = None,
    delivery_cost: o.DeliveryCost = None,
    holding_cost: o.HoldingCost = None,
    budget: o.Budget = None,
    tz: o.Zone = None,
    temp_kind: o.Kind = TempKind.MEAN,
    decimal: o.Decimal = DecimalSign.POINT,
    time_column: o.TimeColumn = None,
    level_column: o.LevelColumn = None,
    unit: o.Unit = None,
    as_json: o.AsJson = False,
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
      dipcast forecast --tank tank.toml --readings readings.csv --survey survey.toml \
        --quote 500:0.62 --quote 1000:0.60 --price-drift 0.02 --budget 450

    \b
    Exit codes: 0 answered (a withheld forecast too), 2 input not usable,
    3 answered with rows set aside.
    """
    from api.cli.forecast import forecast_object, forecast_text, work_out_forecast
    from api.cli.gather import gather_files
    from api.cli.given import Files, Layout, Ordering
    from api.ports import SystemClock

    gathered = gather_files(
        Files(tank, readings, weather, years, outlook, deliveries, receipts, survey, diary, stove_log),
        Layout(decimal.value, temp_kind.value, time_column, level_column, unit, tz),
        Ordering(
            lead_days,
            holidays,
            closed or (),
            look_every_days,
            risk,
            min_drop_l,
            ordered or (),
            lead_table,
            cold_lead_days,
            quotes,
            quote or (),
            price_drift,
            delivery_cost,
            holding_cost,
            budget,
        ),
        as_of=as_of,
        clock=SystemClock(),
    )
    working = work_out_forecast(gathered)
    write = forecast_object if as_json else forecast_text
    typer.echo(write(working, gathered))
    if as_json:
        say(gathered.notes)
    raise typer.Exit(say_set_aside(gathered.set_aside))


@app.command("import")
def import_files(
    tank: o.NewTankFile = None,
    tank_id: o.TankId = None,
    readings: o.ReadingsFile = None,
    weather: o.WeatherFile = None,
    years: o.YearsFile = None,
    outlook: o.OutlookFile = None,
    deliveries: o.DeliveriesFile = None,
    receipts: o.ReceiptsFile = None,
    survey: o.SurveyFile = None,
    diary: o.DiaryFile = None,
    stove_log: o.StoveLogFile = None,
    tz: o.ReadingsZone = None,
    temp_kind: o.Kind = TempKind.MEAN,
    decimal: o.Decimal = DecimalSign.POINT,
    time_column: o.TimeColumn = None,
    level_column: o.LevelColumn = None,
    unit: o.Unit = None,
    database: o.Database = None,
) -> None:
    r"""Bring a tank's files into the database.

    All of them are stored, or none where one cannot be used. What is there already is not stored twice,
    so a file may be brought in again when it has grown.

    \b
    Examples:
      dipcast import --tank tank.toml --survey survey.toml \
        --readings readings.csv --weather weather.csv
      dipcast import --tank-id ID --readings readings.csv
    """
    from api.cli.bring_in import bring_in, progress_bar
    from api.cli.given import Files, Layout
    from api.cli.service import open_services, settings_with

    files = Files(tank, readings, weather, years, outlook, deliveries, receipts, survey, diary, stove_log)
    layout = Layout(decimal.value, temp_kind.value, time_column, level_column, unit, tz)
    services = open_services(settings_with(database=database))
    with progress_bar(files.count) as progress:
        done = bring_in(services.store, services.clock, files, layout, tank_id=tank_id, progress=progress)
    typer.echo(done.sentence)
    say(done.notes)
    raise typer.Exit(say_set_aside(done.set_aside))


@app.command("demo")
def show_demo(
    once: Annotated[
        bool, typer.Option("--once", help="End after the answers, without serving pages.")
    ] = False,
    host: o.Host = None,
    port: o.Port = None,
) -> None:
    r"""Show it all on an invented valley.

    Nothing to configure, nothing left behind: its database is gone at the end.

    \b
    Example:
      dipcast demo --once
    """
    from api.cli.demo import run_demo
    from api.cli.service import settings_with

    settings = settings_with(host=host, port=port)
    run_demo(host=settings.host, port=settings.port, once=once)


@app.command("serve")
def serve_pages(host: o.Host = None, port: o.Port = None, database: o.Database = None) -> None:
    r"""Serve the pages, and take readings by HTTP.

    As it comes, only this machine is let in, without an account. With DIPCAST_MODE=home_network the
    phones of the house are, once paired by a code; with DIPCAST_MODE=server there are accounts.

    \b
    Example:
      dipcast serve --port 8000
    """
    from api.cli.service import (
        address_of,
        listen,
        open_services,
        require_fitting_place,
        serve,
        settings_with,
    )
    from api.cli.working import working_beside

    settings = settings_with(host=host, port=port, database=database)
    require_fitting_place(settings)
    with listen(settings.listen_host, settings.port) as place:
        services = open_services(settings)
        typer.echo(f"The pages are at {address_of(place)} until you stop this with Ctrl-C.")
        with working_beside(services):
            serve(services, place)


@app.command("work")
def work(database: o.Database = None) -> None:
    r"""Do what is to be done without being asked: forecasts, weather, reminders, backups.

    Each night every tank is forecast anew, each hour weather is fetched, every few minutes somebody looks
    whether anything is to be said. With SQLite `dipcast serve` does it too. Several may run at once.

    \b
    Example:
      dipcast work --database postgresql+psycopg://dipcast@localhost/dipcast
    """
    from api.cli.service import open_services, settings_with
    from api.cli.working import work_until_stopped

    work_until_stopped(open_services(settings_with(database=database)))


@app.command("listen")
def listen_to_broker(database: o.Database = None) -> None:
    r"""Take readings over MQTT, from the topics that have a mapping.

    The broker is named by DIPCAST_MQTT_HOST, the password by DIPCAST_MQTT_PASSWORD; see the settings. A
    message is stored before it is acknowledged.

    \b
    Example:
      DIPCAST_MQTT_HOST=broker.home dipcast listen
    """
    from api.cli.listening import listen_until_stopped
    from api.cli.service import open_services, settings_with

    settings = settings_with(database=database)
    listen_until_stopped(settings, lambda: open_services(settings))


app.command("account")(show_account)
app.add_typer(accounts, name="accounts")

# a backspace alone on a line keeps the help's line breaks below it; docstrings hold it as text
for command in app.registered_commands:
    if command.callback is not None and command.callback.__doc__ is not None:
        command.callback.__doc__ = command.callback.__doc__.replace(r"\b", "\b")
