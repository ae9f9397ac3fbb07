"""How the tests read the code: its modules, functions and tests, parsed and not imported."""

import ast
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

ROOT = Path(__file__).parents[2]
PACKAGES = ("forecaster", "api")


@dataclass(frozen=True, slots=True)
class Module:
    """One source file: its dotted name, where it stands, and what is written in it."""

    name: str
    path: Path
    tree: ast.Module

    @property
    def functions(self) -> list[ast.FunctionDef]:
        """Public functions of the module itself, not those of its classes."""
        return [n for n in self.tree.body if isinstance(n, ast.FunctionDef) and not n.name.startswith("_")]


def dotted(path: Path) -> str:
    """Name a module as it is imported.

    Examples
    --------
    >>> dotted(ROOT / "forecaster" / "tanks" / "__init__.py"), dotted(ROOT / "api" / "app.py")
    ('forecaster.tanks', 'api.app')
    """
    return ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")


@cache
def modules(*tops: str) -> tuple[Module, ...]:
    """Parse every module below some packages, in the order of their names."""
    paths = sorted(path for top in tops for path in (ROOT / top).rglob("*.py"))
    return tuple(Module(dotted(path), path, ast.parse(path.read_text(encoding="utf-8"))) for path in paths)


def names_exported(module: Module) -> list[str] | None:
    """Read a module's ``__all__``; None where it has none."""
    for node in module.tree.body:
        if isinstance(node, ast.Assign) and [getattr(t, "id", "") for t in node.targets] == ["__all__"]:
            found: list[str] = ast.literal_eval(node.value)
            return found
    return None


def claims_in(module: Module) -> Iterator[ast.FunctionDef]:
    """Go through the tests of a file, those in classes too."""
    for node in ast.walk(module.tree):
        if isinstance(node, ast.FunctionDef) and node.name.startswith("test_"):
            yield node


def called(node: ast.expr) -> str:
    """Name what is called, without the module in front of it; empty where it is no plain name."""
    if isinstance(node, ast.Attribute):
        return node.attr
    return node.id if isinstance(node, ast.Name) else ""
