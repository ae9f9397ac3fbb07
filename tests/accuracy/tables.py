"""The results as Markdown, for DEVELOPERS.md and for the eye.

Flow     results.json -> **tables**, and the cases that we lose
"""

import json
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

from tests.accuracy.command import COMMAND
from tests.accuracy.run import METHODS, MODEL, RIVALS

Scores = list[dict[str, Any]]
THE_TRADES = ("K-factor since delivery", "K-factor of a year", "K-factor + hot water")
"""The rivals of the paired table."""


def load(path: Path) -> dict[str, Any]:
    """Read what a run has written."""
    found: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    return found


def caption(results: dict[str, Any]) -> str:
    """Say when, with what and from which seed the results were made."""
    versions = ", ".join(f"{name} {number}" for name, number in results["versions"].items())
    return f"Run on {results['date']} with Python {results['python']}, {versions}; seed {results['seed']}."


def error_table(results: dict[str, Any], *, methods: tuple[str, ...] = tuple(METHODS)) -> str:
    """Mean absolute error of the litres ahead in % of the mean burn, one cell for all horizons.

    The best of a row at each horizon is bold.
    """
    rows = [_head("building, forecasts counted (number)", "horizons, days", *methods)]
    for building, span, case in _cases(results["scores"]):
        horizons = _horizons(case)
        rows.append(
            _row(
                f"{building}, {span} ({max(s['forecasts'] for s in case)})",
                _over(horizons),
                *_error_cells(case, methods, horizons),
            )
        )
    return "\n".join(rows)


def command_table(results: dict[str, Any], *, rivals: tuple[str, ...] = tuple(RIVALS)) -> str:
    """The same through the command, the weather ahead not known: error, bias and band of what was told.

    In % of the mean burn; "in band" is the share of true levels within the 80 % band.
    """
    rows = [
        _head(
            "building, forecasts counted (number)", "horizons, days", COMMAND, "bias", "in band, %",
            "width of band", *rivals,
        )
    ]  # fmt: skip
    for building, span, case in _cases(results["command"]):
        horizons = _horizons(case)
        mine = {s["horizon_days"]: s for s in case if s["method"] == COMMAND}
        ours, *theirs = _error_cells(case, (COMMAND, *rivals), horizons)
        rows.append(
            _row(
                f"{building}, {span} ({max(s['forecasts'] for s in case)})",
                _over(horizons),
                ours,
                _over(f"{mine[h]['bias_pct']:+.0f}" for h in horizons),
                _over(f"{100.0 * mine[h]['cover_80']:.0f}" for h in horizons),
                _over(f"{mine[h]['band_pct']:.0f}" for h in horizons),
                *theirs,
            )
        )
    return "\n".join(rows)


def telling_table(results: dict[str, Any]) -> str:
    """How often the command told, and for what it did not."""
    rows = [_head("building", "asked", "told OK", "told WIDE", "not told, %", "why not (times)")]
    for telling in results["telling"]:
        states, why = telling["states"], telling["withheld_for"]
        share = 100.0 * sum(why.values()) / telling["asked"]
        rows.append(
            _row(
                telling["building"],
                str(telling["asked"]),
                str(states.get("OK", 0)),
                str(states.get("WIDE", 0)),
                f"{share:.0f}",
                ", ".join(f"{reason} ({times})" for reason, times in why.items()) or "–",
            )
        )
    return "\n".join(rows)


def ahead_table(results: dict[str, Any]) -> str:
    """The burn model by weather years against the best fit in hindsight by the same: CRPS over its, and bands."""
    rows = [
        _head(
            "building", "days ahead", "forecasts", "CRPS over the best fit's", "in the 50 / 80 / 95 % bands"
        )
    ]
    for row in results["ahead"]:
        se = "" if row["of_best_se"] is None else f" ± {row['of_best_se']:.2f}"
        held = " / ".join(f"{100 * share:.0f}" for share in row["cover"])
        rows.append(
            _row(
                row["building"], str(row["horizon_days"]), str(row["forecasts"]), f"{row['of_best']:.2f}{se}", held
            )
        )  # fmt: skip
    return "\n".join(rows)


def paired_table(results: dict[str, Any], *, rivals: tuple[str, ...] = THE_TRADES) -> str:
    """The burn model's error less a rival's, house by house, with its standard error.

    Below 0 the model is nearer; bold where the difference is more than two standard errors.
    """
    rows = [_head("building, span (houses)", "horizons, days", *(f"less {rival}" for rival in rivals))]
    for building, span, case in _cases(results["pairs"]):
        horizons = _horizons(case)
        of = {(p["rival"], p["horizon_days"]): p for p in case}
        cells = [_over(_difference(of[rival, h]) for h in horizons) for rival in rivals]
        rows.append(_row(f"{building}, {span} ({case[0]['houses']})", _over(horizons), *cells))
    return "\n".join(rows)


def losses(
    results: dict[str, Any],
    *,
    part: str = "scores",
    ours: str = MODEL,
    rivals: tuple[str, ...] = tuple(RIVALS),
) -> list[str]:
    """Name each case in which a rival foretells better than we do, the widest first."""
    found: list[tuple[float, str]] = []
    for building, span, case in _cases(results[part]):
        for horizon in _horizons(case):
            at = {s["method"]: s["error_pct"] for s in case if s["horizon_days"] == horizon}
            if ours not in at:
                continue
            best = min((r for r in rivals if r in at), key=lambda r: at[r])
            behind = at[ours] - at[best]
            if behind > 0:
                words = (
                    f"{building}, {span}, {horizon} days: {at[ours]:.1f} % against {at[best]:.1f} % ({best})"
                )
                found.append((behind, words))
    return [words for _, words in sorted(found, reverse=True)]


def command_losses(results: dict[str, Any]) -> list[str]:
    """Name each case in which a rival with the same weather years foretells better than the command."""
    return losses(results, part="command", ours=COMMAND)


def _cases(rows: Scores) -> Iterator[tuple[str, str, Scores]]:
    for building, span in dict.fromkeys((row["building"], row["span"]) for row in rows):
        yield building, span, [r for r in rows if r["building"] == building and r["span"] == span]


def _horizons(case: Scores) -> list[int]:
    return sorted({row["horizon_days"] for row in case})


def _error_cells(case: Scores, methods: tuple[str, ...], horizons: list[int]) -> list[str]:
    """One cell a method: its errors at all horizons, the best of each horizon bold."""
    at = {(s["method"], s["horizon_days"]): s["error_pct"] for s in case}
    columns = [[at.get((method, h)) for h in horizons] for method in methods]
    best = [min(e for e in errors if e is not None) for errors in zip(*columns, strict=True)]
    return [_over(_cell(error, low) for error, low in zip(column, best, strict=True)) for column in columns]


def _cell(error: float | None, best: float) -> str:
    if error is None:
        return "–"
    text = f"{error:.1f}"
    return f"**{text}**" if text == f"{best:.1f}" else text


def _difference(pair: dict[str, Any]) -> str:
    difference, se = pair["difference_pct"], pair["difference_se_pct"]
    text = f"{difference:+.2f} ± {se:.2f}"
    return f"**{text}**" if abs(difference) > 2.0 * se else text


def _over(cells: Iterable[object]) -> str:
    return " / ".join(str(cell) for cell in cells)


def _head(*cells: str) -> str:
    return _row(*cells) + "\n" + "|---" * len(cells) + "|"


def _row(*cells: str) -> str:
    return "| " + " | ".join(cells) + " |"
