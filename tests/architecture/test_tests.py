"""The rules that the tests keep: each claims something, can fail, and is run."""

import ast

from tests.architecture.source import ROOT, called, claims_in, modules

TESTS = modules("tests")
DISCARDED = {"allclose", "isclose", "array_equal", "array_equiv", "approx"}
"""Comparisons that give an answer, which must be asserted."""
UNRUN = {"skip", "skipif", "xfail", "importorskip"}
"""Ways of not running a test."""
CHECKS = ("assert", "raises", "warns", "check", "expect", "call_and_validate")
"""Beginnings of the names of calls that fail a test by themselves."""


def test_every_test_states_its_claim() -> None:
    """Each test has a docstring that begins with a whole sentence, of three words or more."""
    silent = []
    for module in TESTS:
        for test in claims_in(module):
            claim = (ast.get_docstring(test) or "").partition("\n\n")[0].strip()
            if not claim.endswith((".", "]", ":")) or len(claim.split()) < 3:
                silent.append(f"{module.name}.{test.name}")
    assert silent == []


def test_no_comparison_is_thrown_away() -> None:
    """No bare ``np.allclose(...)`` or ``a == b`` stands as a statement: it would test nothing."""
    thrown = [
        f"{module.path.name}:{node.lineno}"
        for module in TESTS
        for node in ast.walk(module.tree)
        if isinstance(node, ast.Expr)
        and (
            isinstance(node.value, ast.Compare)
            or (isinstance(node.value, ast.Call) and called(node.value.func) in DISCARDED)
        )
    ]
    assert thrown == []


def test_no_test_is_left_unrun() -> None:
    """No test is skipped or expected to fail."""
    unrun = [
        f"{module.path.name}:{node.lineno}"
        for module in TESTS
        for node in ast.walk(module.tree)
        if isinstance(node, ast.Attribute) and node.attr in UNRUN
    ]
    assert unrun == []


def test_every_test_can_fail() -> None:
    """Each test asserts, expects an error, or calls something of its file that asserts."""
    harmless = []
    for module in TESTS:
        asserting = {
            node.name
            for node in ast.walk(module.tree)
            if isinstance(node, ast.FunctionDef)
            and any(isinstance(inner, ast.Assert) for inner in ast.walk(node))
        }
        for test in claims_in(module):
            inside = list(ast.walk(test))
            calls = {called(n.func) for n in inside if isinstance(n, ast.Call)} - {test.name}
            asserts = any(isinstance(n, ast.Assert) for n in inside)
            if not (asserts or calls & asserting or any(name.startswith(CHECKS) for name in calls)):
                harmless.append(f"{module.name}.{test.name}")
    assert harmless == []


def engine_modules() -> list[str]:
    """Name the modules and packages right below the engine."""
    top = ROOT / "forecaster"
    flat = {path.stem for path in top.glob("*.py") if path.stem != "__init__"}
    return sorted(flat | {path.parent.name for path in top.glob("*/__init__.py")})


def test_every_module_of_the_engine_has_its_tests() -> None:
    """Each module has a file of tests of its name that imports it."""
    folder = ROOT / "tests" / "forecaster"
    lacking = []
    for name in engine_modules():
        own = [path for path in folder.glob("test_*.py") if f"{path.stem}_".startswith(f"test_{name}_")]
        text = "\n".join(path.read_text(encoding="utf-8") for path in own)
        if f"forecaster.{name}" not in text and f"forecaster import {name}" not in text:
            lacking.append(name)
    assert lacking == []


def test_reference_tests_name_their_sources() -> None:
    """Each file of reference tests says where its values are from."""
    files = [m for m in TESTS if m.path.parent.name == "reference" and m.path.stem.startswith("test_")]
    assert files
    words = ("source", "published", "library", "statsmodels", "scoringrules", "fluids")
    texts = {m.name: m.path.read_text(encoding="utf-8").lower() for m in files}
    assert [name for name, text in texts.items() if not any(word in text for word in words)] == []


def test_the_tests_of_the_engine_need_no_service() -> None:
    """Tests of the engine import nothing of the service: the engine stands by itself."""
    leaning = []
    for module in TESTS:
        if module.path.parent != ROOT / "tests" / "forecaster":
            continue
        imported = [n.module or "" for n in ast.walk(module.tree) if isinstance(n, ast.ImportFrom)]
        imported += [a.name for n in ast.walk(module.tree) if isinstance(n, ast.Import) for a in n.names]
        leaning += [f"{module.path.name}: {name}" for name in imported if name.partition(".")[0] == "api"]
    assert leaning == []
