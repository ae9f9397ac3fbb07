"""The results of the simulated houses as Markdown.

Flow     simulated.json -> **tables**
"""

from collections.abc import Iterable
from typing import Any

Rows = list[dict[str, Any]]
ENGINE, ORACLE = "dipcast", "oracle"


def caption(results: dict[str, Any]) -> str:
    """Say with what, how many and from which seed the results were made."""
    versions = ", ".join(f"{name} {number}" for name, number in results["versions"].items())
    return (
        f"Run on {results['date']} with Python {results['python']}, {versions}: {results['houses']} houses of the "
        f"{results['world']} world, three years each, seed {results['seed']}. The same scores by scoringrules differ "
        f"by no more than {results['apart_from_scoringrules_l']:.0e} litres."
    )


def score_table(results: dict[str, Any], *, receipts: bool = True) -> str:
    """CRPS of every method over the oracle's, by length of history; standard errors over the houses.

    The best of a column other than the oracle is bold.
    """
    rows = [r for r in results["rows"] if r["receipts"] is receipts]
    histories, methods = _names(rows, "history"), _names(rows, "method")
    at = {(r["method"], r["history"], r["horizon_days"]): r for r in rows}
    horizons = sorted({r["horizon_days"] for r in rows})
    asked = {h: at[ORACLE, h, horizons[0]]["cases"] for h in histories}
    lines = [head(f"CRPS / oracle's, {over(horizons)} days", *(f"{h} ({asked[h]})" for h in histories))]
    litres = [over(f"{at[ORACLE, h, d]['crps_l']:.1f}" for d in horizons) + " l" for h in histories]
    lines.append(row("oracle, litres", *litres))
    for method in methods:
        if method != ORACLE:
            cells = [over(_ratio(at, method, h, d, methods) for d in horizons) for h in histories]
            lines.append(row(method, *cells))
    return "\n".join(lines)


def cover_table(results: dict[str, Any]) -> str:
    """Share of outcomes within the 50, 80 and 95 % bands by history: the engine's, and the oracle's."""
    rows = [r for r in results["rows"] if r["receipts"] and r["method"] in (ENGINE, ORACLE)]
    at = {(r["method"], r["history"], r["horizon_days"]): r for r in rows}
    histories = _names(rows, "history")
    horizons = sorted({r["horizon_days"] for r in rows})
    lines = [
        head(
            "in the 50 / 80 / 95 % band, %",
            *(f"{who}, {d} days" for who in (ENGINE, ORACLE) for d in horizons),
        )
    ]
    for history in histories:
        cells = [_covers(at[who, history, d]["cover"]) for who in (ENGINE, ORACLE) for d in horizons]
        lines.append(row(history, *cells))
    for season in _names(results["covers"], "season"):
        cells = []
        for who in ("cover", "cover_oracle"):
            for d in horizons:
                held = [c for c in results["covers"] if c["season"] == season and c["horizon_days"] == d]
                total = sum(c["cases"] for c in held)
                shares = [sum(c[who][i] * c["cases"] for c in held) / total for i in range(3)]
                cells.append(_covers(shares))
        lines.append(row(f"as of {season}, any history", *cells))
    return "\n".join(lines)


def day_table(results: dict[str, Any]) -> str:
    """Error of the run-dry day, median and mean, in days."""
    rows = [r for r in results["rows"] if r["receipts"]]
    at = {(r["method"], r["history"], r["horizon_days"]): r for r in rows}
    histories, methods = _names(rows, "history"), _names(rows, "method")
    horizons = sorted({r["horizon_days"] for r in rows})
    lines = [head(f"run-dry day's error, median (mean), {over(horizons)} days", *histories)]
    for method in methods:
        cells = [
            over("{:.0f} ({:.1f})".format(*at[method, h, d]["day_error"]) for d in horizons)
            for h in histories
        ]
        lines.append(row(method, *cells))
    return "\n".join(lines)


def losses(results: dict[str, Any]) -> list[str]:
    """Name each case in which a rival scores better than the engine, the widest first."""
    found = []
    for r in results["rows"]:
        if r["method"] in (ENGINE, ORACLE) or r["of_engine"] <= 1.0:
            continue
        given = "with receipts" if r["receipts"] else "without receipts"
        words = (
            f"{r['history']}, {given}, {r['horizon_days']} days: {r['of_engine']:.2f} ± {r['of_engine_se']:.2f} "
            f"times the score of {r['method']}"
        )
        found.append((r["of_engine"], words))
    return [words for _, words in sorted(found, reverse=True)]


def over(cells: Iterable[object]) -> str:
    """Set figures of several horizons beside each other.

    Examples
    --------
    >>> over([1.5, 2.5])
    '1.5 / 2.5'
    """
    return " / ".join(str(cell) for cell in cells)


def head(*cells: str) -> str:
    """Write the two lines with which a table begins."""
    return row(*cells) + "\n" + "|---" * len(cells) + "|"


def row(*cells: str) -> str:
    """Write one line of a table."""
    return "| " + " | ".join(cells) + " |"


def _names(rows: Rows, key: str) -> list[str]:
    return list(dict.fromkeys(r[key] for r in rows))


def _ratio(at: dict[Any, dict[str, Any]], method: str, history: str, days: int, methods: list[str]) -> str:
    told = at[method, history, days]
    best = min(at[m, history, days]["of_oracle"] for m in methods if m != ORACLE)
    text = f"{told['of_oracle']:.2f}±{told['of_oracle_se']:.2f}"
    return f"**{text}**" if f"{told['of_oracle']:.2f}" == f"{best:.2f}" else text


def _covers(shares: Iterable[float]) -> str:
    return over(f"{100.0 * share:.0f}" for share in shares)
