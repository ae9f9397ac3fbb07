"""The results as Markdown, for DEVELOPERS.md and for the eye.

Flow     results.json -> **tables**, and the cases that the burn model loses
"""

import json
from pathlib import Path
from typing import Any

from tests.accuracy.run import METHODS, MODEL

Scores = list[dict[str, Any]]
RIVALS = tuple(name for name in METHODS if name != MODEL)


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
    rows = [
        "| building, forecasts counted (number) | horizons, days | " + " | ".join(methods) + " |",
        "|---|---|" + "---|" * len(methods),
    ]
    for building, span in _cases(results["scores"]):
        case = [s for s in results["scores"] if s["building"] == building and s["span"] == span]
        horizons = sorted({s["horizon_days"] for s in case})
        count = max(s["forecasts"] for s in case)
        columns = [_errors(case, method, horizons) for method in methods]
        best = [min(e for e in at if e is not None) for at in zip(*columns, strict=True)]
        cells = [
            " / ".join(_cell(error, low) for error, low in zip(column, best, strict=True))
            for column in columns
        ]
        days = " / ".join(str(h) for h in horizons)
        rows.append(f"| {building}, {span} ({count}) | {days} | " + " | ".join(cells) + " |")
    return "\n".join(rows)


def losses(results: dict[str, Any], *, rivals: tuple[str, ...] = RIVALS) -> list[str]:
    """Name each case in which a rival foretells better than the burn model, the widest first."""
    found: list[tuple[float, str]] = []
    for building, span in _cases(results["scores"]):
        case = [s for s in results["scores"] if s["building"] == building and s["span"] == span]
        for horizon in sorted({s["horizon_days"] for s in case}):
            at = {s["method"]: s["error_pct"] for s in case if s["horizon_days"] == horizon}
            if MODEL not in at:
                continue
            best = min((r for r in rivals if r in at), key=lambda r: at[r])
            behind = at[MODEL] - at[best]
            if behind > 0:
                words = (
                    f"{building}, {span}, {horizon} days: {at[MODEL]:.1f} % against {at[best]:.1f} % ({best})"
                )
                found.append((behind, words))
    return [words for _, words in sorted(found, reverse=True)]


def _cases(scores: Scores) -> list[tuple[str, str]]:
    return list(dict.fromkeys((s["building"], s["span"]) for s in scores))


def _errors(case: Scores, method: str, horizons: list[int]) -> list[float | None]:
    at = {s["horizon_days"]: s["error_pct"] for s in case if s["method"] == method}
    return [at.get(horizon) for horizon in horizons]


def _cell(error: float | None, best: float) -> str:
    if error is None:
        return "–"
    text = f"{error:.1f}"
    return f"**{text}**" if text == f"{best:.1f}" else text
