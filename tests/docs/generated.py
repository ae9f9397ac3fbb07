"""What README.md and DEVELOPERS.md take from the code, so that it cannot go stale.

Flow     docstrings, tables, commands, results -> **Markdown** -> cog -> the two documents
"""

import ast
import inspect
import json
import re
import shlex
import tomllib
from collections.abc import Iterable, Mapping
from contextlib import chdir
from pathlib import Path
from typing import Any

import click
import typer
from typer.testing import CliRunner

ROOT = Path(__file__).parents[2]
SMALL_HOUSE = ROOT / "fixtures" / "small_house"

EXAMPLES: Mapping[str, str] = {
    "--tank": "tank.toml",
    "--readings": "readings.csv",
    "--weather": "weather.csv",
    "--years": "station.csv",
    "--outlook": "outlook.csv",
    "--deliveries": "deliveries.csv",
    "--receipts": "receipts.csv",
    "--survey": "survey.toml",
    "--diary": "diary.csv",
    "--stove-log": "stove_log.csv",
    "--as-of": "2024-01-10",
    "--lead-days": "2-5",
    "--holidays": "GB-ENG",
    "--closed": "2024-01-15",
    "--look-every-days": "7",
    "--risk": "0.002",
    "--min-drop-l": "500",
    "--ordered": "2024-01-22:600",
    "--lead-table": "lead_times.csv",
    "--cold-lead-days": "3",
    "--quotes": "quotes.csv",
    "--quote": "500:0.62",
    "--price-drift": "0.02",
    "--delivery-cost": "10",
    "--holding-cost": "0.05",
    "--budget": "450",
    "--tz": "Europe/London",
    "--temp-kind": "midrange",
    "--decimal": ",",
    "--time-column": "When",
    "--level-column": "Depth",
    "--unit": "dip_cm",
    "--dip-mm": "600",
    "--dip-cm": "60",
    "--dip-in": "23.6",
    "--ullage-mm": "650",
    "--litres": "600",
    "--tank-id": "3f0c8a41",
    "--database": "sqlite:///oil.db",
    "--host": "127.0.0.1",
    "--port": "8080",
}
"""One example of each option that takes a value."""


# ---- tables of Markdown


def table(head: Iterable[str], rows: Iterable[Iterable[str]]) -> str:
    """Write a Markdown table; an upright bar inside a cell is kept from dividing it."""
    lines = [list(head), *([cell.replace("|", "\\|") for cell in row] for row in rows)]
    lines.insert(1, ["---"] * len(lines[0]))
    return "\n".join("| " + " | ".join(line) + " |" for line in lines)


def docstring_of(path: Path) -> str:
    """Read a module's docstring without importing it."""
    return ast.get_docstring(ast.parse(path.read_text(encoding="utf-8"))) or ""


def summary_of(path: Path) -> str:
    """Read the first line of a module's docstring, the package of ours it names marked as code."""
    first = docstring_of(path).partition("\n")[0].removesuffix(".")
    return re.sub(r"``?([^`]+)``?", r"`\1`", first)


# ---- where to find what


def pyproject() -> dict[str, Any]:
    """Read the project's own description."""
    return tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))


def layers(contract: str) -> list[str]:
    """List the modules of a layer contract, lowest first."""
    contracts = pyproject()["tool"]["importlinter"]["contracts"]
    named = next(c for c in contracts if c["id"] == contract)
    return [name.strip() for layer in reversed(named["layers"]) for name in layer.split("|")]


def module_path(package: str, name: str) -> Path:
    """Find a module, or the package that it has grown into, below the root."""
    flat = ROOT / package / f"{name}.py"
    return flat if flat.exists() else ROOT / package / name / "__init__.py"


def where_to_find(package: str, contract: str) -> str:
    """Tell what each module of a package does, in the order in which the layers flow."""
    rows = []
    for name in layers(contract):
        path = module_path(package, name)
        place = path.relative_to(ROOT)
        place = place.parent if path.name == "__init__.py" else place
        shown = f"{place}/" if path.name == "__init__.py" else str(place)
        rows.append((summary_of(path), f"[`{shown}`]({shown})"))
    return table(("What", "Where"), rows)


# ---- keys of the files


def tank_keys() -> str:
    """Give the keys of tank.toml, from the table in the docstring of `forecaster.tanks`."""
    lines = docstring_of(ROOT / "forecaster" / "tanks" / "__init__.py").splitlines()
    rules = [i for i, line in enumerate(lines) if re.fullmatch(r"=+ =+ =+", line)]
    starts = [0, *(match.start() + 1 for match in re.finditer(" ", lines[rules[0]]))]
    ends = [*(start - 1 for start in starts[1:]), None]
    rows: list[list[str]] = []
    for line in lines[rules[1] + 1 : rules[2]]:
        cells = [line[start:end].strip() for start, end in zip(starts, ends, strict=True)]
        if cells[0]:
            rows.append(cells)
        else:
            rows[-1] = [f"{old} {new}".strip() for old, new in zip(rows[-1], cells, strict=True)]
    return table(("Key", "For shape", "Meaning and default"), ([code(r[0]), r[1], r[2]] for r in rows))


def boilers() -> str:
    """Give the published kinds of boiler that a survey may name."""
    from forecaster.dwelling import BOILERS

    rows = (
        (code(b.key), b.words, f"{b.winter_efficiency:.0%} / {b.summer_efficiency:.0%}".replace("%", " %"))
        for b in BOILERS.values()
    )
    return table(("`boiler`", "What it is", "Gross efficiency, winter / summer"), rows)


def settings() -> str:
    """Give the settings of the service, from the attributes that its class describes."""
    from api.settings import Settings

    rows = []
    for names, said in attributes_of(Settings):
        variables = ", ".join(f"`DIPCAST_{name.strip().upper()}`" for name in names.split(","))
        rows.append((variables, plain(said)))
    return table(("Variable", "Meaning"), rows)


def attributes_of(kind: type) -> list[tuple[str, str]]:
    """Give the entries of a class's numpydoc section Attributes: names, and what is said of them."""
    lines = inspect.getdoc(kind).splitlines()  # type: ignore[union-attr]
    entries: list[tuple[str, list[str]]] = []
    for line in lines[lines.index("Attributes") + 2 :]:
        if line and not line.startswith(" "):
            entries.append((line, []))
        elif line:
            entries[-1][1].append(line.strip())
    return [(names, " ".join(said)) for names, said in entries]


def plain(text: str) -> str:
    """Turn the double backquotes of a docstring into Markdown's."""
    return text.replace("``", "`").strip()


def code(names: str) -> str:
    """Mark each of some names, separated by commas, as code."""
    return ", ".join(f"`{name.strip()}`" for name in names.split(","))


# ---- the command


def commands() -> dict[str, click.Command]:
    """Give the commands of `dipcast`, by name."""
    from api.cli import app

    group = typer.main.get_command(app)
    found: dict[str, click.Command] = group.commands  # type: ignore[attr-defined]
    return found


def options_of(command: str) -> list[click.Option]:
    """Give the options of a command, in its order, without --help."""
    params: list[Any] = commands()[command].params
    return [p for p in params if p.param_type_name == "option"]


def option_table(command: str, *, beyond: str = "") -> str:
    """Tell each option of a command, with an example of it; not those told of the command ``beyond``."""
    told = {option.opts[0] for option in options_of(beyond)} if beyond else set()
    rows = []
    for option in options_of(command):
        name = option.opts[0]
        if name in told:
            continue
        said = (option.help or "").removesuffix(".")
        if option.default not in (None, False, ()) and "efault" not in said:
            default = getattr(option.default, "value", option.default)
            said = f"{said}. Default {default}"
        example = name if option.is_flag else f"{name} {EXAMPLES[name]}"
        rows.append((f"`{name}`", said or "The level, in that unit", f"`{example}`"))
    return table(("Option", "Meaning", "Example"), rows)


def address_table() -> str:
    """Tell each operation and each page by the first line of what answers it, gathered by its words."""
    from api.pages import router as pages
    from api.routes import router as routes

    told: dict[str, list[str]] = {}
    for router in (routes, pages):
        for address, words in addresses(router).items():
            told.setdefault(words, []).append(f"`{address}`")
    rows = [(", ".join(names), words[0].lower() + words[1:].rstrip(".")) for words, names in told.items()]
    return table(
        ("Address", "What"), [*rows, ("`GET /openapi.json`", "the operations, described for programs")]
    )


def addresses(router: Any) -> dict[str, str]:
    """Give method and path of each operation of a router, those of the routers in it too, with its words."""
    found: dict[str, str] = {}
    for route in router.routes:
        if hasattr(route, "original_router"):
            found |= addresses(route.original_router)
        elif "/static/" not in route.path:
            words = (route.endpoint.__doc__ or "").strip().splitlines()[0].split(". ")[0]
            found |= {f"{method} {route.path}": words for method in route.methods if method != "HEAD"}
    return found


def subcommands(command: str) -> str:
    """Tell what each command below a command does, by the first line of its help."""
    below: dict[str, click.Command] = commands()[command].commands  # type: ignore[attr-defined]
    rows = [
        (f"`dipcast {command} {name}`", " ".join((c.help or "").split("\n\n")[0].split()).rstrip("."))
        for name, c in below.items()
    ]
    return table(("Command", "What"), rows)


def console(command: str) -> str:
    """Run a command line in the folder of the small house, and show it with what it printed."""
    return f"```console\n$ {command}\n{run_in_small_house(command)}```"


def run_in_small_house(command: str) -> str:
    """Run `dipcast ...` in this process, as if typed in the folder of the small house."""
    from api.cli import app

    words = shlex.split(command.replace("\\\n", " "))
    with chdir(SMALL_HOUSE):
        result = CliRunner().invoke(app, words[1:])
    if result.exit_code != 0:
        raise RuntimeError(f"{command}: exit code {result.exit_code}\n{result.output}") from result.exception
    return result.stdout


# ---- DEVELOPERS.md


def dependencies(group: str = "") -> str:
    """List dependencies with the reasons that stand beside them in pyproject.toml."""
    lines = (ROOT / "pyproject.toml").read_text(encoding="utf-8").splitlines()
    start = lines.index(f"{group} = [" if group else "dependencies = [") + 1
    rows = []
    for line in lines[start : lines.index("]", start)]:
        entry = re.match(r'\s*"([A-Za-z0-9_.-]+(?:\[\w+\])?)[^"]*",?\s*(?:#\s*(.*))?$', line)
        if entry:
            rows.append((f"`{entry[1]}`", entry[2] or "for the one above"))
    return table(("Package", "Why"), rows)


def contracts() -> str:
    """List the import contracts: what each says, and its id."""
    found = pyproject()["tool"]["importlinter"]["contracts"]
    return table(("Contract", "What it holds"), ((f"`{c['id']}`", c["name"]) for c in found))


def accuracy() -> str:
    """Give the table of forecast quality and the cases lost, from the last run kept."""
    from tests.accuracy import tables as t

    path = ROOT / "tests" / "accuracy" / "results.json"
    if not path.exists():
        return "Not measured yet: `make accuracy`."
    results = t.load(path)
    lost = t.losses(results)
    cases = len({(s["building"], s["span"], s["horizon_days"]) for s in results["scores"]})
    named = "\n".join(f"- {words}" for words in lost)
    through = "\n".join(f"- {words}" for words in t.command_losses(results))
    return (
        f"{t.caption(results)}\n\n{t.error_table(results)}\n\n"
        f"Where we lose: in {len(lost)} of {cases} cases another method is nearer, the widest first.\n\n{named}\n\n"
        "The weather ahead not known: the same buildings through `dipcast forecast`, error of the litres burned in "
        "% of their mean, share of outcomes within the 80 % band, and the rivals in normal weather.\n\n"
        f"{t.command_table(results)}\n\n{t.telling_table(results)}\n\nWhere the command loses:\n\n{through}\n\n"
        "Whiteside, paired over the orders of its weeks: error of the burn model less that of each K-factor, in "
        f"points with the standard error.\n\n{t.paired_table(results)}"
    )


def simulated_accuracy() -> str:
    """Give the tables of the simulated houses and the cases lost, from the last run kept."""
    from tests.accuracy.simulated import tables as t
    from tests.accuracy.tables import load

    path = ROOT / "tests" / "accuracy" / "simulated.json"
    if not path.exists():
        return "Not measured yet: `make accuracy`."
    results = load(path)
    named = "\n".join(f"- {words}" for words in t.losses(results)) or "- nowhere"
    return (
        f"{t.caption(results)}\n\nWith receipts of the two years before:\n\n{t.score_table(results)}\n\n"
        f"Without receipts:\n\n{t.score_table(results, receipts=False)}\n\n{t.cover_table(results)}\n\n"
        f"{t.day_table(results)}\n\nWhere a rival scores better:\n\n{named}"
    )


def benchmarks() -> str:
    """Give the benchmarks of the last run kept."""
    from tests.benchmarks.run import RESULTS
    from tests.benchmarks.run import table as figures

    if not RESULTS.exists():
        return "Not measured yet: `make bench`."
    found = json.loads(RESULTS.read_text(encoding="utf-8"))
    made = f"Run on {found['date']} with Python {found['python']}, {found['processors']} processors."
    return f"{made}\n\n{figures(found)}"
