"""A record is resumed only by the program that made it: all that a worker imports or reads is in the hash."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from importlib import resources
from pathlib import Path

import pytest

from optimizer.drivers import fingerprint

ROOT = Path(__file__).resolve().parents[3]
WORKER = """
import json, sys
from optimizer import load_study, search
search(load_study(sys.argv[1]), out=sys.argv[2])
own = {name: module.__file__ for name, module in sys.modules.items() if getattr(module, "__file__", None)}
print(json.dumps({name: path for name, path in own.items() if path.startswith(sys.argv[3])}))
"""
STUDY = """schema = 1
name = "Small"
motor = "motor.toml"
[search]
core_diameter = ["15 mm", "16 mm"]
throat_diameter = ["10 mm", "11 mm"]
case.wall = ["2 mm", "3 mm"]
[objectives]
loaded_mass = "min"
smallest_factor = "max"
"""


def copy_of_packages(folder: Path) -> Path:
    for package in fingerprint.PACKAGES:
        shutil.copytree(ROOT / package, folder / package, ignore=shutil.ignore_patterns("__pycache__"))
    return folder


@pytest.fixture(scope="module")
def starter(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("starter")
    for name in ("motor.toml", "propellant.toml"):
        (folder / name).write_text((resources.files("optimizer") / "starter" / name).read_text())
    (folder / "study.toml").write_text(STUDY)
    return folder


def run(packages: Path, *arguments: str) -> str:
    environment = {**os.environ, "PYTHONPATH": str(packages), "PYTHONDONTWRITEBYTECODE": "1"}
    done = subprocess.run([sys.executable, *arguments], cwd=packages, env=environment, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    return done.stdout


@pytest.mark.slow
def test_whatever_a_worker_imports_of_ours_is_hashed(tmp_path: Path, starter: Path) -> None:
    packages = copy_of_packages(tmp_path / "code")
    for method in ("exhaustive", "evolve"):
        study = starter / f"{method}.toml"
        study.write_text(STUDY + f'[driver]\nmethod = "{method}"\nbudget = 60\n')
        imported = json.loads(run(packages, "-c", WORKER, str(study), str(tmp_path / method), str(packages)).splitlines()[-1])
        hashed = {name for package in fingerprint.PACKAGES for name, _ in fingerprint.files_of(packages / package, package)}
        assert len(imported) > 40, "the worker's modules are found"
        assert {Path(path).relative_to(packages).as_posix() for path in imported.values()} <= hashed


@pytest.mark.parametrize(
    "changed",
    ["optimizer/vocabulary.py", "optimizer/inputs/motor.py", "physics/materials.csv", "optimizer/inputs/stock/drills-metric.csv",
     "physics/heat/walls.py", "optimizer/stock/new.csv"],
)  # fmt: skip
def test_any_file_changed_added_moved_or_gone_changes_the_hash(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, changed: str
) -> None:
    packages = copy_of_packages(tmp_path)
    monkeypatch.setattr(resources, "files", lambda package: packages / package)
    before = fingerprint.code_hash()
    (packages / "physics" / "__pycache__").mkdir()
    (packages / "physics" / "__pycache__" / "case.cpython.pyc").write_bytes(b"compiled")
    assert fingerprint.code_hash() == before, "what the interpreter makes is no part of the program"
    path = packages / changed
    path.parent.mkdir(exist_ok=True)
    path.write_bytes((path.read_bytes() if path.exists() else b"") + b"\n")
    assert len({before, fingerprint.code_hash()}) == 2
    path.rename(path.with_name(f"moved_{path.name}"))
    assert fingerprint.code_hash() != before


@pytest.mark.parametrize("package", fingerprint.PACKAGES)
def test_a_package_without_modules_is_an_error_not_an_empty_hash(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, package: str
) -> None:
    packages = copy_of_packages(tmp_path)
    for module in (packages / package).rglob("*.py"):
        module.unlink()
    monkeypatch.setattr(resources, "files", lambda name: packages / name)
    with pytest.raises(RuntimeError, match=f"no module of {package}"):
        fingerprint.code_hash()


@pytest.mark.slow
@pytest.mark.parametrize(
    ("file", "old", "new"),
    [("physics/materials.csv", "6061-T6,metal,density,", "6061-T6,metal,density,1"), ("physics/constants.py", "9.80665", "4.9")],
)
def test_a_search_resumed_after_a_change_equals_a_fresh_one(tmp_path: Path, starter: Path, file: str, old: str, new: str) -> None:
    packages = copy_of_packages(tmp_path / "code")

    def front(out: str) -> list[object]:
        run(packages, "-m", "optimizer.cli", "search", str(starter / "study.toml"), "--out", str(tmp_path / out), "--quiet")
        return list(json.loads((tmp_path / out / "pareto.json").read_text())["designs"])

    before = front("old")
    path = packages / file
    assert old in path.read_text()
    path.write_text(path.read_text().replace(old, new, 1))
    resumed = front("old")
    assert resumed != before
    assert resumed == front("new")
