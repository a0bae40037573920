"""Blocks of a search on the workers of a Dask scheduler: the same table, whoever computes them and whoever is lost."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest
from click.testing import CliRunner

from optimizer import load_study
from optimizer.candidates.families import Families
from optimizer.cli import main
from optimizer.drivers import cluster
from optimizer.drivers.blocks import MemoryStore
from optimizer.drivers.cluster import Cluster
from optimizer.drivers.exhaustive import screen
from optimizer.problems import InputError
from optimizer.results import UnreachableError

SEARCH = (
    'grain_count = {from = 3, to = 5}\ncore_diameter = ["15 mm", "17 mm"]\n'
    'throat_diameter = {from = "11 mm", to = "15 mm", step = "0.5 mm"}\nwall = ["2 mm", "3 mm"]\n'
    'forward_closure.count = [6, 12]\nliner.thickness = ["1.6 mm", "2.4 mm"]'
)


@pytest.fixture(scope="module")
def two_workers():
    """A scheduler with two workers, each a process of its own."""
    distributed = pytest.importorskip("distributed")
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=":0", silence_logs="CRITICAL"
    ) as local:
        yield local


def workers_of(local) -> list[int]:
    with cluster._connected(local.scheduler_address) as client:
        return list(client.run(os.getpid).values())


def square(common: int, number: int) -> tuple[int, int]:
    return common * number**2, os.getpid()


def deadly(common: int, here: int, number: int) -> int:
    if number == 5 and os.getpid() != here:
        os.kill(os.getpid(), signal.SIGKILL)
    return common * number


def faulty(number: int) -> int:
    if number == 3:
        raise MemoryError("three")
    return number


@pytest.mark.slow
def test_every_block_comes_once_and_is_computed_elsewhere(two_workers):
    crew = Cluster(two_workers.scheduler_address, square, (3,), lambda number: (0, 0))
    found = dict(crew.blocks(list(range(30)), lambda number: number != 7))
    assert {number: value for number, (value, _) in found.items()} == {n: 3 * n**2 for n in range(30) if n != 7}
    assert os.getpid() not in {process for _, process in found.values()} and not crew.messages


@pytest.mark.slow
def test_the_table_is_the_same_with_a_worker_killed_under_way(two_workers, cases, tmp_path):
    study = load_study(cases.write_study(tmp_path, search=SEARCH, limits='maximum_pressure = "9 MPa"', liner=True))
    alone = screen(Families(study), MemoryStore(), block=8)
    study = replace(study, driver=replace(study.driver, cluster=two_workers.scheduler_address))
    here = Families(study)
    here.evaluate = None  # all blocks come from elsewhere
    killed: list[int] = []

    def kill_one(state) -> None:
        if state.stage == "screening" and state.done == 2:
            killed.append(workers_of(two_workers)[0])
            os.kill(killed[0], signal.SIGKILL)

    together = screen(here, MemoryStore(), block=8, progress=kill_one)
    assert killed and killed[0] not in workers_of(two_workers)
    assert len(alone.points) > 3 and (together.points == alone.points).all() and (together.keys == alone.keys).all()
    assert (together.feasible, +together.rejected) == (alone.feasible, +alone.rejected)
    assert np.array_equal(together.rows, alone.rows)


@pytest.mark.slow
def test_a_block_that_takes_its_workers_with_it_is_computed_here(two_workers):
    crew = Cluster(two_workers.scheduler_address, deadly, (2, os.getpid()), lambda number: 2 * number)
    assert dict(crew.blocks(list(range(12)))) == {number: 2 * number for number in range(12)}
    assert len(crew.messages) == 1 and "1 block" in crew.messages[0]


@pytest.mark.slow
def test_a_fault_on_a_worker_is_told_as_itself(two_workers):
    with pytest.raises(MemoryError, match="three"):
        list(Cluster(two_workers.scheduler_address, faulty, (), faulty).blocks(list(range(6))))


def test_another_version_of_the_program_is_refused(two_workers, monkeypatch):
    monkeypatch.setattr(cluster, "code_hash", lambda: "another")
    with pytest.raises(UnreachableError, match="another version of this program"):
        list(Cluster(two_workers.scheduler_address, square, (1,), abs).blocks([1]))


def test_a_scheduler_that_is_not_there_is_told(monkeypatch):
    pytest.importorskip("distributed")
    monkeypatch.setattr(cluster, "PATIENCE", 0.5)
    with pytest.raises(UnreachableError, match=r"tcp://127\.0\.0\.1:1: no scheduler answers; see that `dask scheduler` runs"):
        list(Cluster("tcp://127.0.0.1:1", square, (1,), abs).blocks([1]))


@pytest.mark.slow
def test_at_the_command_line_it_is_the_machine_that_failed_and_nothing_of_writing(cases, tmp_path, monkeypatch):
    pytest.importorskip("distributed")
    monkeypatch.setattr(cluster, "PATIENCE", 0.5)
    monkeypatch.chdir(tmp_path)
    path = cases.write_study(tmp_path, search='throat_diameter = ["12 mm", "14 mm"]', driver='cluster = "tcp://127.0.0.1:1"')
    outcome = CliRunner().invoke(main, ["search", str(path)])
    assert outcome.exit_code == 3 and outcome.stderr.startswith("tcp://127.0.0.1:1: no scheduler answers"), outcome.stderr


def test_without_dask_the_cure_is_told(monkeypatch):
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(UnreachableError, match=r"install grainwright\[cluster\], or leave driver.cluster out"):
        list(Cluster("tcp://127.0.0.1:1", square, (1,), abs).blocks([1]))


@pytest.mark.slow
def test_nothing_of_dask_is_loaded_without_a_cluster(cases, tmp_path):
    path = cases.write_study(tmp_path, search='throat_diameter = ["12 mm", "14 mm"]')
    program = (
        "import sys; from optimizer import load_study, search; search(load_study(sys.argv[1]));"
        "print([name for name in sys.modules if name.split('.')[0] in ('dask', 'distributed')])"
    )
    found = subprocess.run([sys.executable, "-c", program, str(path)], capture_output=True, text=True, check=True)
    assert found.stdout.strip() == "[]"


@pytest.mark.parametrize("text", ['"localhost"', '"http://host:1"', "8786", '"tcp://host"'])
def test_what_is_no_address_is_refused(cases, tmp_path, text):
    with pytest.raises(InputError, match="is not the address of a scheduler"):
        load_study(cases.write_study(tmp_path, driver=f'kernel = "steady"\ncluster = {text}'))


def test_an_address_is_read(cases, tmp_path):
    path = cases.write_study(tmp_path, driver='kernel = "steady"\ncluster = "tcp://[::1]:8786"')
    assert load_study(path).driver.cluster == "tcp://[::1]:8786"
