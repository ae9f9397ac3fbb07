"""What was burned, month by month: a table for people, or JSON.

Nothing is told of a tank whose forecast is withheld: its last level is doubted, and with it the account.

Flow     files -> forecast's working -> forecaster.account -> **table or JSON**
"""

import json
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from datetime import timedelta
from typing import TYPE_CHECKING, Any

import typer

from api.cli import options as o
from api.cli.trouble import say, say_set_aside
from api.cli.values import DecimalSign, TempKind

if TYPE_CHECKING:
    from forecaster.account import Account, Entry, Figure
    from forecaster.pipeline import Working

COLUMNS = {
    "burned": "burned", "hot_water": "hot water", "heating": "heating", "sun": "spared by sun",
    "panels": "by panels", "wood": "by wood", "delivered": "delivered", "unexplained": "unexplained",
    "co2_kg": "CO2, kg",
}  # fmt: skip
"""Columns of the table, in order; those that hold nothing in any month are left out."""
NOT_SEEN_L = 0.5
"""A column whose figures all round to nothing holds nothing. [l]"""


def show_account(
    tank: o.TankFile,
    readings: o.ReadingsFile = None,
    weather: o.WeatherFile = None,
    years: o.YearsFile = None,
    deliveries: o.DeliveriesFile = None,
    receipts: o.ReceiptsFile = None,
    survey: o.SurveyFile = None,
    diary: o.DiaryFile = None,
    stove_log: o.StoveLogFile = None,
    as_of: o.AsOf = None,
    tz: o.Zone = None,
    temp_kind: o.Kind = TempKind.MEAN,
    decimal: o.Decimal = DecimalSign.POINT,
    time_column: o.TimeColumn = None,
    level_column: o.LevelColumn = None,
    unit: o.Unit = None,
    as_json: o.AsJson = False,
) -> None:
    r"""Account for what was burned, month by month.

    Litres for hot water and for heating, litres spared by sun and by wood, and CO2, each with the range
    that holds the truth eight times in ten. What the readings cannot tell is from your survey, and says so.

    \b
    Examples:
      dipcast account --tank tank.toml --readings readings.csv \
        --weather weather.csv --deliveries deliveries.csv --survey survey.toml
      dipcast account --tank tank.toml --readings readings.csv \
        --survey survey.toml --as-of 2024-01-10 --json

    \b
    Exit codes: 0 answered (a withheld account too), 2 input not usable,
    3 answered with rows set aside.
    """
    from api.cli.forecast import work_out_forecast
    from api.cli.gather import gather_files
    from api.cli.given import Files, Layout, Ordering
    from api.ports import SystemClock

    gathered = gather_files(
        Files(tank, readings, weather, years, None, deliveries, receipts, survey, diary, stove_log),
        Layout(decimal.value, temp_kind.value, time_column, level_column, unit, tz),
        Ordering(),
        as_of=as_of,
        clock=SystemClock(),
    )
    working = work_out_forecast(gathered)
    account = _account(gathered.inputs, working)
    if as_json:
        typer.echo(json.dumps(account_object(working, account), allow_nan=False, ensure_ascii=False))
    else:
        typer.echo("\n".join(tell_account(working, account)))
    say(gathered.notes)
    raise typer.Exit(say_set_aside(gathered.set_aside))


def _account(inputs: Any, working: "Working") -> "Account | None":
    """The account of the forecast's own fit; None where the forecast is withheld."""
    import numpy as np

    from forecaster.account import make_account
    from forecaster.confidence import ToldForecast
    from forecaster.forecast import SEED

    if not isinstance(working.forecast, ToldForecast):
        return None
    return make_account(inputs, working, rng=np.random.default_rng(SEED))


def account_object(working: "Working", account: "Account | None") -> dict[str, Any]:
    """Give an account as plain data; ``months`` is empty and ``total`` null where it is withheld."""
    reasons = [{"code": r.code, "text": r.text} for r in working.forecast.reasons]
    return {
        "as_of": working.forecast.as_of.isoformat().replace("+00:00", "Z"),
        "state": working.forecast.state.name,
        "reasons": reasons,
        "months": [_plain(month) for month in account.months] if account else [],
        "total": _plain(account.total) if account and account.total else None,
        "grounds": dict(account.grounds) if account else {},
    }


def _plain(entry: "Entry") -> dict[str, Any]:
    return {
        **asdict(entry),
        "first": entry.first.isoformat(),
        "last": entry.last.isoformat(),
    }


def tell_account(working: "Working", account: "Account | None") -> Iterator[str]:
    """Give the lines of an account: the table, what its columns rest on, what to know of it."""
    if account is None or account.total is None:
        yield "Nothing can be accounted for: the level is not known well enough."
        yield from (reason.text for reason in working.forecast.reasons)
        return
    entries = (*account.months, account.total)
    names = [name for name in COLUMNS if _is_shown(name, account.total, account.months)]
    head = ("", *(COLUMNS[n] + ("*" if account.grounds.get(n) == "survey" else "") for n in names))
    rows = [(_label(e, account), *(_cell(getattr(e, n)) for n in names)) for e in entries]
    yield "Litres at 15 °C, and the range that holds the truth 8 times in 10:"
    yield from _table((head, *rows))
    if any(account.grounds.get(n) == "survey" for n in names):
        yield "* From your survey: your readings cannot tell this part from the others."
    yield "Hot water holds all that does not follow the weather, such as a range cooker and standing losses."
    yield "Each figure is rounded to what is known of it, so rows and columns add up only before rounding."
    yield from (reason.text for reason in working.forecast.reasons)


def _is_shown(name: str, total: "Entry", months: "Sequence[Entry]") -> bool:
    return any(
        value is not None and max(abs(v) for v in _ends(value)) >= NOT_SEEN_L
        for value in (getattr(e, name) for e in (total, *months))
    )


def _ends(value: "Figure | float") -> tuple[float, float]:
    return (value, value) if isinstance(value, float) else (value.low, value.high)


def _label(entry: "Entry", account: "Account") -> str:
    if entry is account.total:
        return "all"
    is_whole = entry.first.day == 1 and (entry.last + timedelta(days=1)).day == 1
    days = "" if is_whole else f", {entry.first.day} to {entry.last.day}"
    return f"{entry.first:%B %Y}{days}"


def _cell(value: "Figure | float") -> str:
    """Write a figure rounded to half a standard deviation: its range stands beside it."""
    from forecaster.phrases import told_litres
    from forecaster.wording import SD_PER_BAND

    if isinstance(value, float):
        return f"{value:,.0f}"
    half_sd = (value.high - value.low) / SD_PER_BAND / 2.0
    mean, low, high = (told_litres(v, sd=half_sd) for v in (value.mean, value.low, value.high))
    return f"{mean:,.0f} ({low:,.0f} to {high:,.0f})"


def _table(rows: Sequence[Sequence[str]]) -> Iterator[str]:
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    for row in rows:
        first, *others = (
            cell.ljust(width) if i == 0 else cell.rjust(width)
            for i, (cell, width) in enumerate(zip(row, widths, strict=True))
        )
        yield "   ".join((first, *others)).rstrip()
