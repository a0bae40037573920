"""What the project keeps to: imports, docstrings, sizes, and what no file may do or say."""

from __future__ import annotations

import ast
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

import optimizer
import physics
from physics.failure.ladder import MODES

ROOT = Path(__file__).parents[2]
CODE = sorted(path for package in ("physics", "optimizer") for path in (ROOT / package).rglob("*.py"))
TESTS = sorted((ROOT / "tests").rglob("*.py"))
Function = ast.FunctionDef | ast.AsyncFunctionDef

LONGEST = 60
"""Lines of a function beyond its docstring: what fits on a screen."""
MOST_PARAMETERS = 8

LONG = {
    "optimizer/output/drawing/section_sheet.py": {"part_rows": "one row of the parts list after another"},
    "optimizer/output/drawing/day_sheet.py": {"day_steps": "one step of the day after another"},
}
"""Functions that may be longer, and why."""

WIDE = {
    "optimizer/cli.py": {"check": "one an option", "spread": "one an option"},
    "optimizer/output/drawing/review.py": {"_bar": "places and style of one drawn bar"},
    "optimizer/output/drawing/sheet.py": {"text": "what matplotlib's own text takes"},
}
"""Functions that may take more parameters, and why."""


def lint_imports(folder: Path) -> subprocess.CompletedProcess[str]:
    code = "import sys; from importlinter.cli import lint_imports; sys.exit(lint_imports(no_cache=True))"
    return subprocess.run([sys.executable, "-c", code], cwd=folder, capture_output=True, text=True)


class TestImports:
    def test_every_contract_is_kept(self):
        done = lint_imports(ROOT)
        assert done.returncode == 0, done.stdout

    @pytest.mark.parametrize(
        ("file", "line", "contract"),
        [
            ("physics/failure/case.py", "import optimizer.units", "the kernel is numpy only"),
            ("physics/ballistics/grain.py", "import physics.failure.ladder", "physics imports upwards"),
            ("optimizer/commands/spread.py", "import pint", "only units knows"),
            ("optimizer/drivers/exhaustive.py", "import optuna", "only evolution"),
            ("optimizer/candidates/limits.py", "import optimizer.output.report", "optimizer imports upwards"),
        ],
    )
    def test_a_wrong_import_is_seen(self, file, line, contract, tmp_path):
        for package in ("physics", "optimizer"):
            shutil.copytree(ROOT / package, tmp_path / package, ignore=shutil.ignore_patterns("__pycache__"))
        shutil.copy(ROOT / "pyproject.toml", tmp_path)
        with (tmp_path / file).open("a", encoding="utf-8") as wrong:
            wrong.write(f"\n{line}\n")
        done = lint_imports(tmp_path)
        assert done.returncode != 0 and re.search(rf"{contract}.* BROKEN", done.stdout), done.stdout

    def test_both_packages_come_from_this_project(self):
        for package in (physics, optimizer):
            assert Path(str(package.__file__)).parent.parent == ROOT

    def test_help_loads_nothing_heavy(self):
        code = (
            "import sys; from click.testing import CliRunner; from optimizer.cli import main\n"
            "assert CliRunner().invoke(main, ['--help']).exit_code == 0\n"
            "print(sorted({'numpy', 'pint', 'pandas', 'scipy', 'rich', 'matplotlib', 'optuna'} & set(sys.modules)))"
        )
        done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
        assert done.stdout.strip() == "[]", done.stdout + done.stderr


def tree(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


def functions(path: Path) -> Iterator[Function]:
    return (node for node in ast.walk(tree(path)) if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef))


def public_functions(path: Path) -> Iterator[tuple[str, Function]]:
    """Functions of a file and methods of its classes, without those whose name or class starts with an underscore."""
    for node in tree(path).body:
        inside = node.body if isinstance(node, ast.ClassDef) and not node.name.startswith("_") else [node]
        prefix = f"{node.name}." if isinstance(node, ast.ClassDef) else ""
        for item in inside:
            if isinstance(item, ast.FunctionDef) and not item.name.startswith("_"):
                yield prefix + item.name, item


def short(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


class TestDocstrings:
    @pytest.mark.parametrize("path", CODE, ids=short)
    def test_a_file_says_what_it_is_and_what_it_may_import(self, path):
        text = ast.get_docstring(tree(path)) or ""
        assert len(text) > 40, f"{short(path)} does not say what it owns"
        assert re.search(r"\bimports?\b", text, re.I), f"{short(path)} does not say what it may import"

    @pytest.mark.parametrize("path", TESTS, ids=short)
    def test_a_test_file_says_what_it_holds(self, path):
        assert ast.get_docstring(tree(path)), f"{short(path)} opens without a docstring"

    UNIT = re.compile(r"\[[^\]\n]+\]|\bSI\b")
    SOURCE = re.compile(
        r"\b(sources?|derived|remembered|definition|geometry|common practice)\b|\b(ISO|NASA|NACA|ASTM|AISC|EN|Eq) ?\d",
        re.I,
    )
    NUMBERS = re.compile(r"\bArray\b")

    @pytest.mark.parametrize("path", [path for path in CODE if "physics" in path.parts], ids=short)
    def test_a_public_function_of_physics_has_units_and_a_source(self, path):
        rungs = {
            row.function.__name__
            for row in MODES
            if row.function.__module__ == ".".join(path.relative_to(ROOT).with_suffix("").parts)
        }
        about_the_file = ast.get_docstring(tree(path)) or ""
        wrong = []
        for name, function in public_functions(path):
            text = ast.get_docstring(function) or ""
            result = ast.unparse(function.returns) if function.returns else ""
            if not text:
                wrong.append(f"{name} has no docstring")
            elif self.NUMBERS.search(result):
                if not self.UNIT.search(text):
                    wrong.append(f"{name} gives no unit")
                if name not in rungs and not self.SOURCE.search(text + about_the_file):
                    wrong.append(f"{name} gives no source, and neither does its file")
        assert not wrong, f"{short(path)}: " + "; ".join(wrong)

    def test_every_rung_has_a_basis(self):
        for row in MODES:
            assert callable(row.basis) or len(row.basis) > 10, f"{row.mode} says nothing of what it rests on"

    def test_the_check_sees_a_bare_function(self):
        assert not self.UNIT.search("Area of a port.") and self.UNIT.search("Area of a port. [m2], (n,)")
        assert not self.SOURCE.search("Area of a port.") and self.SOURCE.search("Source: NACA Report 1135.")


class TestSizes:
    @pytest.mark.parametrize("path", CODE, ids=short)
    def test_no_function_is_longer_than_a_screen(self, path):
        excused = LONG.get(short(path), {})
        for function in functions(path):
            text = ast.get_docstring(function, clean=False)
            lines = (function.end_lineno or 0) - function.lineno + 1 - (len(text.splitlines()) if text else 0)
            assert lines <= LONGEST or function.name in excused, f"{function.name} has {lines} lines"

    @pytest.mark.parametrize("path", CODE, ids=short)
    def test_no_function_takes_a_table_of_parameters(self, path):
        excused = WIDE.get(short(path), {})
        for function in functions(path):
            told = [*function.args.posonlyargs, *function.args.args, *function.args.kwonlyargs]
            count = sum(argument.arg not in ("self", "cls") for argument in told)
            assert count <= MOST_PARAMETERS or function.name in excused, f"{function.name} takes {count} parameters"

    def test_every_excuse_is_still_needed(self):
        for excuses in (LONG, WIDE):
            for file, names in excuses.items():
                there = {function.name for function in functions(ROOT / file)}
                assert set(names) <= there, f"{file} has no {set(names) - there} any more"


class TestForbidden:
    CALLS = frozenset({"eval", "exec", "compile", "__import__"})
    MODULES = frozenset({"pickle", "marshal", "shelve"})

    @pytest.mark.parametrize("path", CODE, ids=short)
    def test_no_text_is_run_and_no_object_is_unpickled(self, path):
        for node in ast.walk(tree(path)):
            if isinstance(node, ast.Call):
                assert not (isinstance(node.func, ast.Name) and node.func.id in self.CALLS), ast.unparse(node)
                assert ast.unparse(node.func) not in ("os.system", "os.popen"), ast.unparse(node)
                assert not any(word.arg == "shell" and getattr(word.value, "value", True) is not False for word in node.keywords), (
                    ast.unparse(node)
                )
            elif isinstance(node, ast.Import | ast.ImportFrom):
                names = [node.module or ""] if isinstance(node, ast.ImportFrom) else [name.name for name in node.names]
                assert not {name.split(".")[0] for name in names} & self.MODULES, ast.unparse(node)

    @pytest.mark.parametrize("path", CODE, ids=short)
    def test_no_error_is_swallowed(self, path):
        lines = path.read_text(encoding="utf-8").splitlines()
        for node in ast.walk(tree(path)):
            if isinstance(node, ast.ExceptHandler) and (node.type is None or ast.unparse(node.type) == "Exception"):
                raises = any(isinstance(inner, ast.Raise) for inner in ast.walk(node))
                reason = "  # " in lines[node.lineno - 1]
                assert raises or reason, f"line {node.lineno} catches everything, without a reason"

    TEXTS = sorted(
        path
        for pattern in ("*.py", "*.toml", "*.md", "*.html", "*.css", "*.js", "*.csv")
        for path in ROOT.rglob(pattern)
        if not {".git", ".venv", "results", "build", "dist"} & set(path.relative_to(ROOT).parts)
    )
    # Spelt apart, so that this file passes its own test.
    PLACES = re.compile("/ho" + "me/|/ro" + "ot/|/wo" + "rk/|/us" + r"r/local|[A-Z]:\\Us" + "ers|py" + r"pi\.org")
    TO_DO = re.compile(r"\b(TO" + "DO|FIX" + "ME|X" + "XX|HA" + r"CK)\b")

    def test_no_file_names_a_machine_or_leaves_a_note_to_oneself(self):
        for path in self.TEXTS:
            text = path.read_text(encoding="utf-8")
            for pattern in (self.PLACES, self.TO_DO):
                found = pattern.search(text)
                assert found is None, f"{short(path)} says {found[0] if found else ''!r}"
        assert len(self.TEXTS) > 100
