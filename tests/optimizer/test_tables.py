"""What the terminal shows of a front, at the widths that terminals have."""

from __future__ import annotations

import pytest
from rich.console import Console

from optimizer import tables
from optimizer.inputs import load_study
from optimizer.search import search


@pytest.fixture
def found(cases, tmp_path):
    return search(load_study(cases.write_study(tmp_path)))


def shown(found, width):
    screen = Console(width=width, highlight=False)
    with screen.capture() as captured:
        screen.print(tables._front_table(found, "metric", width))
    return captured.get().splitlines()


@pytest.mark.parametrize("width", [72, 80, 100, 140])
def test_no_number_is_broken_and_no_line_runs_over(found, width):
    lines = shown(found, width)
    assert max(len(line.rstrip()) for line in lines) <= width
    first = found.designs[0]
    row = next(line for line in lines if line.split() and line.split()[0] == "1")
    assert f"{first.results['loaded_mass']:.4g}" in row.split()
    assert f"×{first.results['smallest_factor']:.2f}" in row


def test_a_wide_terminal_shows_more_than_a_narrow_one(found):
    assert len(shown(found, 140)[-1].split()) > len(shown(found, 72)[-1].split())


def test_of_a_long_front_a_terminal_shows_what_a_reader_takes_in(found, monkeypatch):
    monkeypatch.setattr(tables, "MOST_ROWS", 3)
    lines = [line for line in shown(found, 100) if line.split() and line.split()[0].isdigit()]
    assert len(lines) == 3
