"""Blocks in several processes: the same answer, whoever computes them and whoever is lost."""

from __future__ import annotations

import os
import signal
from dataclasses import replace
from pathlib import Path

import pytest

from optimizer import load_study
from optimizer.candidates import workers
from optimizer.candidates.families import Families
from optimizer.candidates.workers import Crew
from optimizer.drivers.blocks import MemoryStore
from optimizer.drivers.exhaustive import screen

PARENT = os.getpid()


@pytest.fixture
def at_once(monkeypatch):
    """Workers even where they do not repay their start."""
    monkeypatch.setattr(workers, "REPAYS", -1.0)


@pytest.mark.parametrize("many", [1, 2, 4])
def test_every_block_comes_once_however_many_work(many, at_once):
    found = dict(Crew(lambda number: (number**2, os.getpid()), many).blocks(list(range(30))))
    assert {number: square for number, (square, _) in found.items()} == {number: number**2 for number in range(30)}
    elsewhere = {process for _, process in found.values()} - {os.getpid()}
    assert len(elsewhere) <= many and bool(elsewhere) == (many > 1)


def test_what_a_killed_worker_had_is_computed_here(at_once):
    def compute(number):
        if number == 7 and os.getpid() != PARENT:
            os.kill(os.getpid(), signal.SIGKILL)
        return number + 100

    assert sorted(Crew(compute, 3).blocks(list(range(20)))) == [(number, number + 100) for number in range(20)]


def test_a_fault_in_a_worker_is_told_as_itself(at_once):
    def compute(number):
        if number == 5:
            raise MemoryError("five")
        return number

    with pytest.raises(MemoryError, match="five"):
        list(Crew(compute, 2).blocks(list(range(9))))


def test_blocks_that_another_process_has_finished_are_left_to_it(at_once):
    assert {number for number, _ in Crew(abs, 2).blocks(list(range(12)), lambda number: number % 3 > 0)} == {
        number for number in range(12) if number % 3
    }


def test_a_screen_ends_in_the_same_front_whatever_the_number_of_workers(tmp_path: Path, at_once, cases):
    search = 'core_diameter = ["17 mm", "18 mm", "19 mm"]\nthroat_diameter = ["13 mm", "14 mm"]\nwall = ["2 mm", "4 mm"]\n'
    study = load_study(cases.write_study(tmp_path, search=search + "forward_closure.count = [6, 12]"))
    found = []
    for many in (1, 2, 4):
        families = Families(replace(study, driver=replace(study.driver, workers=many)))
        result = screen(families, MemoryStore(), block=4)
        found.append((result.feasible, dict(result.rejected), result.points.tobytes(), result.keys.tobytes()))
    assert found[0][0] > 0 and found[0] == found[1] == found[2]


def test_cores_are_those_the_process_may_use():
    assert 1 <= workers.cores() <= (os.cpu_count() or 1)
