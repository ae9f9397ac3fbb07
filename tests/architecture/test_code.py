"""The rules that the code keeps beyond format, types and the import contracts."""

import ast
import csv
import re
import subprocess
import sys
from collections.abc import Mapping
from importlib import import_module

from tests.architecture.source import PACKAGES, ROOT, modules, names_exported

CODE = modules(*PACKAGES)
ENGINE = modules("forecaster")

HIDDEN_ON_PURPOSE: Mapping[str, str] = {
    "api.cli.app": "the command line's application, under the name by which it is run",
    "api.store.migrate": "the one function of its module, called in one place",
}
"""Names that lead to something else than their module, and why."""

PLAIN_TYPES = {"float", "int", "str", "bool", "bytes", "Floats", "ArrayLike", "NDArray", "datetime64", "date"}
"""Of such an argument the type says little: words are needed. A class of our own describes itself."""
SAID_BY_THEIR_LINE: Mapping[str, str] = {
    "forecaster.anomalies.sight.band_share": "a band's width over the usable litres",
    "forecaster.pipeline.ahead.lay_weather_ahead": "weather from a day on, of so many days",
    "forecaster.rows.decode": "a file's bytes",
    "forecaster.rows.require_columns": "a table's columns",
}
"""Functions whose first line says all there is to say of their arguments."""


def isort_order(name: str) -> tuple[int, str]:
    """Order exported names: constants, then classes, then the others, each by the alphabet.

    Examples
    --------
    >>> sorted(["to_levels", "Levels", "OIL_DAYS"], key=isort_order)
    ['OIL_DAYS', 'Levels', 'to_levels']
    """
    if name.isupper() and len(name) > 1:
        return 0, name
    return (1 if name[:1].isupper() else 2), name


def test_exported_names_are_sorted_and_there() -> None:
    """Each ``__all__`` is in order, names nothing twice, and only what the module has."""
    exporting = [(m, names) for m in CODE if (names := names_exported(m)) is not None]
    assert len(exporting) > 10
    assert [m.name for m, names in exporting if names != sorted(set(names), key=isort_order)] == []
    lacking = [
        f"{m.name}.{name}"
        for m, names in exporting
        for name in names
        if not hasattr(import_module(m.name), name)
    ]
    assert lacking == []


def test_no_name_of_the_engine_hides_its_module() -> None:
    """No function or class is called as its module, which it would hide behind itself."""
    hiding = [
        m.name
        for m in ENGINE
        if m.name.rpartition(".")[2] in [getattr(node, "name", "") for node in m.tree.body]
    ]
    assert hiding == []


def test_no_package_hides_one_of_its_modules() -> None:
    """Below a package the name of a module leads to that module, or stands on the short list with its reason."""
    hidden = set()
    for module in CODE:
        package = module.name.rpartition(".")[0]
        if not package or ".migrations." in module.name:
            continue
        found = import_module(module.name)
        if getattr(import_module(package), module.name.rpartition(".")[2]) is not found:
            hidden.add(module.name)
    assert hidden == set(HIDDEN_ON_PURPOSE)


def test_every_module_says_what_it_is() -> None:
    """Each module begins with a docstring whose first line is a whole sentence or title."""
    first = {m.name: (ast.get_docstring(m.tree) or "").partition("\n")[0] for m in CODE}
    assert [name for name, line in first.items() if len(line) < 10 or line[-1] not in ".:"] == []


def public_functions() -> list[tuple[str, ast.FunctionDef]]:
    """List the engine's public face.

    Of a package these are the functions it exports; of a single module, those without an underscore.
    """
    exported = {m.name: names_exported(m) or [] for m in ENGINE}
    found = []
    for module in ENGINE:
        package = module.name if module.path.name == "__init__.py" else module.name.rpartition(".")[0]
        for function in module.functions:
            if package == "forecaster" or function.name in exported[package]:
                found.append((f"{module.name}.{function.name}", function))
    return found


def unexplained(function: ast.FunctionDef) -> list[str]:
    """Name the arguments that neither the docstring nor a type of our own explains."""
    said = ast.get_docstring(function) or ""
    given = function.args
    arguments = [*given.posonlyargs, *given.args, *given.kwonlyargs]
    if len(arguments) < 2 or re.search(r"^(Parameters|Examples)\n-+$", said, re.MULTILINE):
        return []
    told = " ".join(said.lower().replace("-", " ").split())
    found = []
    for argument in arguments:
        types = set(re.findall(r"\w+", ast.unparse(argument.annotation))) if argument.annotation else set()
        word = re.sub(r"_(l|c|mm|kwh)$", "", argument.arg).replace("_", " ").rstrip("s")
        if (not types or types & PLAIN_TYPES) and word not in told:
            found.append(argument.arg)
    return found


def test_public_functions_explain_their_arguments() -> None:
    """A public function describes its arguments, shows an example, or speaks of each; the short list is exact."""
    functions = public_functions()
    assert len(functions) > 100
    assert [name for name, function in functions if not ast.get_docstring(function)] == []
    assert {name for name, function in functions if unexplained(function)} == set(SAID_BY_THEIR_LINE)


def test_every_packaged_row_has_a_source() -> None:
    """No figure of a packaged table stands without the source it is from."""
    tables = sorted((ROOT / "forecaster" / "tables").glob("*.csv"))
    assert tables
    for path in tables:
        with path.open(newline="", encoding="utf-8") as file:
            rows = list(csv.DictReader(file))
        assert rows, path.name
        assert [i for i, row in enumerate(rows, 2) if not (row["source"] or "").strip()] == [], path.name


def test_every_error_of_the_engine_has_its_answer() -> None:
    """Each class of errors.py is drawn in its docstring, and has its own line in the service's table."""
    from api.problems import STATUS_OF_ERROR
    from forecaster import errors

    kinds = [kind for kind in vars(errors).values() if isinstance(kind, type) and issubclass(kind, Exception)]
    assert kinds
    drawn = errors.__doc__ or ""
    assert [kind.__name__ for kind in kinds if kind.__name__ not in drawn] == []
    assert [kind.__name__ for kind in kinds if kind not in STATUS_OF_ERROR] == []


def in_fresh_process(code: str, *options: str) -> str:
    """Run some Python in a process of its own; what it prints, or the trouble it met."""
    words = [sys.executable, *options, "-c", code]
    done = subprocess.run(words, cwd=ROOT, check=False, capture_output=True, text=True)
    return done.stdout.strip() if done.returncode == 0 else done.stderr


def test_the_engine_is_imported_in_any_order() -> None:
    """Every module of the engine can be imported, first or last, with warnings as errors."""
    names = [m.name for m in ENGINE]
    for order in (names, names[::-1]):
        lines = [*(f"import {name}" for name in order), "print('done')"]
        assert in_fresh_process("\n".join(lines), "-W", "error") == "done"


def test_the_engine_loads_nothing_heavy_at_once() -> None:
    """The whole engine comes without pandas, pvlib or statsmodels: these are loaded where they are used."""
    heavy = ("pandas", "pvlib", "statsmodels", "holidays", "matplotlib")
    code = f"import sys, forecaster.pipeline; print([m for m in {heavy!r} if m in sys.modules])"
    assert in_fresh_process(code) == "[]"
