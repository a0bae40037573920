"""The heuristic driver: reproducible, resumable, never better than the truth, and shared through a real PostgreSQL."""

from __future__ import annotations

import os
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pytest

from optimizer.candidates.families import Families
from optimizer.candidates.pareto import non_dominated
from optimizer.commands.search import search
from optimizer.drivers.blocks import MemoryStore, Store
from optimizer.drivers.evolutionary import FamilyEvaluator, Shared, coarse_grid, evolve
from optimizer.drivers.exhaustive import screen
from optimizer.inputs.study import load_study

ROOT = Path(__file__).resolve().parents[3]
FINE = (
    'grain_count = {from = 3, to = 5}\ncore_diameter = {from = "14 mm", to = "20 mm", step = "0.1 mm"}\n'
    'throat_diameter = {from = "10 mm", to = "16 mm", step = "0.1 mm"}\n'
    "forward_closure.count = {from = 4, to = 12, step = 2}"
)
EVOLVE = 'kernel = "steady"\nmethod = "evolve"\nbudget = 240'


def fine(cases, folder, driver=EVOLVE, **more):
    return load_study(cases.write_study(folder, search=FINE, driver=driver, **more))


def test_the_same_seed_gives_the_same_front_and_another_seed_another(cases, tmp_path):
    families = Families(fine(cases, tmp_path))
    first, again, other = (evolve(families, MemoryStore(), seed, 240) for seed in (1, 1, 2))
    assert np.array_equal(first.screened.points, again.screened.points)
    assert np.array_equal(first.screened.keys, again.screened.keys)
    assert first.convergence == again.convergence
    assert not np.array_equal(first.screened.points, other.screened.points)


def test_what_it_finds_is_feasible_and_never_beats_the_exact_front(cases, tmp_path):
    families = Families(fine(cases, tmp_path))
    exact = screen(families, MemoryStore())
    found = evolve(families, MemoryStore(), 1, 400)
    assert len(found.screened.points) > 5
    together = np.vstack([exact.points, found.screened.points])
    assert non_dominated(together)[: len(exact.points)].all(), "a heuristic point dominates a proven one"
    assert found.families == 400 and found.screened.evaluated == 400 * families.catalogue.size
    volumes = [volume for _, volume in found.convergence]
    assert volumes == sorted(volumes) and volumes[-1] > volumes[0]
    assert "not proven" in found.proof and "coarser space" in found.proof


def test_no_family_is_evaluated_twice(cases, tmp_path, monkeypatch):
    families = Families(fine(cases, tmp_path))
    seen = []
    plain = families.evaluate
    monkeypatch.setattr(families, "evaluate", lambda outer: seen.extend(map(tuple, outer.tolist())) or plain(outer))
    evolve(families, MemoryStore(), 1, 240)
    assert len(seen) == len(set(seen)) == 240


def test_a_small_space_is_exhausted_and_then_equals_the_exact_front(cases, tmp_path):
    study = load_study(cases.write_study(tmp_path))
    families = Families(study)
    exact, found = screen(families, MemoryStore()), evolve(families, MemoryStore(), 1, 10_000)
    assert found.families == families.outer_size
    assert np.array_equal(exact.points, found.screened.points)


@pytest.mark.slow
def test_a_resumed_search_takes_its_record_and_ends_the_same(cases, tmp_path, monkeypatch):
    study = fine(cases, tmp_path)
    whole = search(study, tmp_path / "whole")

    class Stop(Exception):
        pass

    def stop(state):
        if state.done > 150:
            raise Stop

    with pytest.raises(Stop):
        search(study, tmp_path / "stopped", progress=stop)
    told = []
    plain = FamilyEvaluator.evaluate
    monkeypatch.setattr(
        FamilyEvaluator, "evaluate", lambda self, outer, batch: told.append(len(outer)) or plain(self, outer, batch)
    )
    again = search(study, tmp_path / "stopped")
    assert sum(told) < 240 - 150, "what was finished was computed again"
    assert len(again.designs) == len(whole.designs)
    for name in ("pareto.csv", "pareto.json"):
        assert (tmp_path / "whole" / name).read_bytes() == (tmp_path / "stopped" / name).read_bytes()


def test_every_constraint_is_told_by_name_every_time(cases, tmp_path, monkeypatch):
    import optuna

    families = Families(fine(cases, tmp_path))
    studies = []
    plain = optuna.create_study
    monkeypatch.setattr(optuna, "create_study", lambda **more: studies.append(plain(**more)) or studies[-1])
    evolve(families, MemoryStore(), 1, 240)
    names = set(FamilyEvaluator(families, 1).names)
    trials = studies[0].get_trials(deepcopy=False)
    assert len(trials) >= 240
    assert all(set(trial.constraints) == names for trial in trials)
    assert all(np.isfinite(list(trial.constraints.values())).all() for trial in trials)
    feasible = [trial for trial in trials if max(trial.constraints.values()) <= 0.0]
    assert 0 < len(feasible) < len(trials)
    assert all(max(trial.values) < 1e11 for trial in feasible)


def test_the_coarse_grid_holds_the_ends_and_stays_within_its_size():
    grid = coarse_grid((61, 61, 3), 300)
    assert len(grid) <= 300 and len(np.unique(grid, axis=0)) == len(grid)
    assert grid.max(axis=0).tolist() == [60, 60, 2] and grid.min(axis=0).tolist() == [0, 0, 0]


def test_nothing_feasible_is_said_with_what_to_relax(cases, tmp_path):
    study = fine(cases, tmp_path, limits="port_over_throat = {min = 30.0}")
    result = search(study)
    assert result.designs == [] and result.exact is False
    assert any(entry.get("limit") == "port_over_throat" for entry in result.relaxations)


# --- several machines -------------------------------------------------------------------------------------------------


def postgres_programs():
    for place in [*Path("/usr/lib/postgresql").glob("*/bin"), Path(shutil.which("pg_ctl") or "/none").resolve().parent]:
        if (place / "initdb").exists() and (place / "pg_ctl").exists():
            return place
    return None


@pytest.fixture(scope="module")
def database():
    """A PostgreSQL of our own on a free port, gone after the tests."""
    programs = postgres_programs()
    if programs is None:
        reason = "no PostgreSQL server is installed here; the shared search is not tested"
        if os.environ.get("GRAINWRIGHT_TEST_ALL") == "1":
            pytest.fail(reason)
        pytest.skip(reason)
    folder = Path(tempfile.mkdtemp(prefix="gw-pg-"))
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    # The server refuses to run as root, so root hands it to the account that Debian makes for it.
    owner = ["runuser", "-u", "postgres", "--"] if os.geteuid() == 0 else []
    if owner:
        shutil.chown(folder, "postgres")

    def run(*command):
        subprocess.run([*owner, *map(str, command)], check=True, capture_output=True, cwd="/")

    run(programs / "initdb", "-D", folder / "data", "-U", "grain", "-A", "trust")
    options = f"-p {port} -k {folder} -c listen_addresses=127.0.0.1 -c fsync=off"
    run(programs / "pg_ctl", "-D", folder / "data", "-l", folder / "log", "-w", "-o", options, "start")
    yield f"postgresql://grain@127.0.0.1:{port}/postgres"
    run(programs / "pg_ctl", "-D", folder / "data", "-m", "immediate", "stop")
    shutil.rmtree(folder, ignore_errors=True)


def shared_driver(url, budget=48):
    return f'kernel = "steady"\nmethod = "evolve"\nbudget = {budget}\nstore = "{url}"'


WORKER = """
import sys
from optimizer.inputs.study import load_study
from optimizer.commands.search import search
result = search(load_study(sys.argv[1]), progress=lambda state: print("round", state.done, flush=True))
print("end", len(result.designs), flush=True)
"""


def worker(path):
    return subprocess.Popen([sys.executable, "-c", WORKER, str(path)], cwd=ROOT, stdout=subprocess.PIPE, text=True)


@pytest.mark.slow
def test_two_workers_share_one_study_and_see_one_front(cases, tmp_path, database):
    path = cases.write_study(tmp_path, search=FINE, driver=shared_driver(database))
    two = [worker(path) for _ in range(2)]
    ends = [process.communicate()[0].splitlines()[-1] for process in two]
    assert all(process.returncode == 0 for process in two)
    assert all(end.startswith("end ") and int(end.split()[1]) > 0 for end in ends)
    late = search(load_study(path))
    assert late.designs and "several workers" in late.proof
    assert late.evaluated >= 48 * 5, "a worker that joins late takes what is there"


@pytest.mark.slow
def test_a_dead_workers_trials_go_back_to_the_pool(cases, tmp_path, database):
    import optuna

    dead, alive = (Shared(database, "stale", 2, worker=name, stale=10.0) for name in ("dead", "alive"))
    distributions = {"x": optuna.distributions.IntDistribution(0, 99)}
    dead.beat()
    trials = [dead.study.ask(distributions) for _ in range(3)]
    for trial in trials:
        dead.claim(trial)
    alive.beat()
    assert alive.take_back(now=0.0) == 0, "it has just been seen"
    assert alive.take_back(now=5.0) == 0
    dead.beat()
    assert alive.take_back(now=14.0) == 0, "its beat moved"
    assert alive.take_back(now=25.0) == 3
    assert alive.take_back(now=26.0) == 0
    again = [alive.study.ask(distributions) for _ in range(3)]
    assert sorted(trial.params["x"] for trial in again) == sorted(trial.params["x"] for trial in trials)


@pytest.mark.slow
def test_a_killed_worker_does_not_keep_the_others_from_the_end(cases, tmp_path, database, monkeypatch):
    limits = cases.LIMITS + 'total_impulse = {min = "710 N*s"}'  # a study of its own in the database
    path = cases.write_study(tmp_path, search=FINE, driver=shared_driver(database), limits=limits)
    victim = worker(path)
    assert victim.stdout.readline().startswith("round")
    time.sleep(0.5)
    os.kill(victim.pid, signal.SIGKILL)
    victim.wait()
    victim.stdout.close()
    monkeypatch.setattr("optimizer.drivers.evolutionary.STALE", 0.1)
    result = search(load_study(path))
    assert result.designs and result.budget_used >= 48


def test_a_database_that_is_not_there_is_said_plainly(cases, tmp_path):
    from optimizer.results import OutputError

    study = load_study(cases.write_study(tmp_path, search=FINE, driver=shared_driver("postgresql://x@127.0.0.1:1/none")))
    with pytest.raises(OutputError, match="database of the study cannot be used"):
        search(study)


@pytest.mark.slow
def test_the_record_of_one_machine_lies_in_the_results_folder(cases, tmp_path):
    study = fine(cases, tmp_path)
    search(study, tmp_path / "out")
    from optimizer.drivers.fingerprint import fingerprint

    identity = str(Path(study.path).resolve())
    store = Store.open(tmp_path / "out", fingerprint(study, "evolve", "steady", 1, 240), identity)
    assert store.messages == [] and len(store.finished()) >= 4
