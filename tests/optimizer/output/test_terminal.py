"""What the terminal shows of a front, at the widths that terminals have."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import pytest
from rich.console import Console
from scenario import CASE, GRAINS, LINER, NOZZLE, PROPELLANT, RATE, changed, named

from optimizer.candidates.samples import Chance
from optimizer.cautions import NOT_DESCRIBED
from optimizer.commands.compare import compare
from optimizer.commands.search import search
from optimizer.commands.vouch import vouch
from optimizer.inputs import load_motor, load_study
from optimizer.output.terminal.compare import print_comparison
from optimizer.output.terminal.ladder import verdict_line
from optimizer.output.terminal.search import (
    MOST_TOOLS,
    _front_table,
    _headed,
    _result_cell,
    _same_in_all,
    _short,
    _tool_lines,
    print_front,
)
from optimizer.output.terminal.spread import _held_words
from optimizer.output.terminal.vouch import print_vouching
from optimizer.units import number_in
from physics.assessment import assess


@pytest.fixture
def found(cases, tmp_path):
    return search(load_study(cases.write_study(tmp_path)))


def shown(found, width, units="metric"):
    screen = Console(width=width, highlight=False)
    with screen.capture() as captured:
        screen.print(_front_table(found, units, width))
    return captured.get().splitlines()


@pytest.mark.parametrize("width", [72, 80, 100, 140])
def test_no_number_is_broken_and_no_line_runs_over(found, width):
    lines = shown(found, width)
    assert max(len(line.rstrip()) for line in lines) <= width
    first = found.designs[0]
    row = next(line for line in lines if line.split() and line.split()[0] == "1")
    assert f"{first.results['loaded_mass']:.4g}" in row.split()
    assert f"×{first.results['smallest_factor']:.2f}" in row


@pytest.mark.parametrize("width", [50, 60, 72, 80])
def test_pressure_and_designation_are_the_last_to_go(found, width):
    lines, first = shown(found, width), found.designs[0]
    assert max(len(line.rstrip()) for line in lines) <= width
    row = next(line for line in lines if line.split() and line.split()[0] == "1")
    assert first.results["designation"] in row.split()
    assert number_in(first.results["maximum_expected_pressure"], "pressure") in row.split()


def test_an_impulse_in_pound_seconds_has_its_newton_seconds_beside_it(found):
    head = " ".join(line for line in shown(found, 140, "imperial")[:3])
    assert "lbf*s" in head and "N*s" in head


def test_a_wide_terminal_shows_more_than_a_narrow_one(found):
    assert len(shown(found, 140)[-1].split()) > len(shown(found, 72)[-1].split())


def test_of_a_long_front_a_terminal_shows_what_a_reader_takes_in(found, monkeypatch):
    monkeypatch.setattr("optimizer.output.terminal.search.MOST_ROWS", 3)
    lines = [line for line in shown(found, 100) if line.split() and line.split()[0].isdigit()]
    assert len(lines) == 3


def printed(thing, width=80):
    screen = Console(width=width, highlight=False)
    with screen.capture() as captured:
        screen.print(thing)
    return captured.get()


def motor_of(tmp_path, name, *parts):
    path = tmp_path / f"{name}.toml"
    path.write_text("".join((named(name), PROPELLANT, RATE, *parts)))
    return load_motor(path)


def test_a_choked_port_is_no_pass(tmp_path):
    good = assess(motor_of(tmp_path, "good", GRAINS, NOZZLE, CASE).motors)
    wide = assess(motor_of(tmp_path, "wide", GRAINS, changed(NOZZLE, ("13.5 mm", "20 mm")), CASE).motors)
    assert all(rung.ok.all() for rung in wide.ladder.rungs), "the rungs alone would pass it"
    assert good.described.all() and good.ok.all() and not wide.described.any() and not wide.ok.any()
    assert "reaches" in verdict_line(good).plain
    assert verdict_line(wide).plain.startswith(NOT_DESCRIBED) and "reaches" not in verdict_line(wide).plain


def test_a_comparison_with_a_choked_motor_is_not_answered(tmp_path):
    good = motor_of(tmp_path, "good", GRAINS, NOZZLE, CASE)
    wide = motor_of(tmp_path, "wide", GRAINS, changed(NOZZLE, ("13.5 mm", "20 mm")), CASE)
    (step,) = compare([good, wide]).steps
    assert step.verdict == "not known" and NOT_DESCRIBED in step.answer
    (back,) = compare([wide, good]).steps
    assert back.verdict != "not known"


def test_what_cannot_stand_alone_is_told_below_the_table(tmp_path, capsys):
    thick = motor_of(tmp_path, "thick", GRAINS, NOZZLE, CASE, LINER)
    thin = motor_of(tmp_path, "thin", changed(GRAINS, ("46 mm", "48 mm")), NOZZLE, changed(CASE, ("3.2 mm", "2 mm")), LINER)
    print_comparison(compare([thick, thin]), "metric")
    said = capsys.readouterr().out
    row = next(line for line in said.splitlines() if line.startswith("grain.outer_diameter"))
    assert "46 mm" in row and "48 mm" in row and "cannot" not in row
    assert "- grain.outer_diameter cannot stand alone: grain[1].outer_diameter is wider" in " ".join(said.split())


def test_rungs_that_held_in_every_sample_are_counted_not_listed():
    none = Chance(0, 4096)
    assert _held_words([none] * 20, 20).startswith("each of the 20 rungs assessed: below")
    assert _held_words([none] * 18, 20).startswith("each of the other 18 rungs assessed: below")
    assert _held_words([none], 2).startswith("the other rung assessed: below")


def test_what_all_designs_have_alike_is_said_under_the_table(found):
    design = found.designs[0]
    alike = [replace(each, variables={**each.variables, "grain_count": 4}, texts={}) for each in found.designs]
    told = _same_in_all(SimpleNamespace(designs=alike))
    assert "grain count 4" in told
    assert _same_in_all(SimpleNamespace(designs=[design])) == []


@pytest.mark.slow
def test_a_percentile_that_is_limited_has_its_column(cases, tmp_path):
    motor = cases.MOTOR + '[tolerances]\nthroat_diameter = {plus_minus = "0.1 mm"}\n'
    limits = cases.LIMITS + 'total_impulse = {min = "1 N*s", percentile = 5}\n'
    wide = search(load_study(cases.write_study(tmp_path, limits=limits, motor=motor, driver="samples = 16")))
    lines = [line.split() for line in shown(wide, 120)]
    assert any("p5" in line for line in lines)
    assert any(f"{wide.designs[0].results['total_impulse_p5']:.4g}" in line for line in lines)


def test_ends_of_the_study_that_every_nearest_candidate_stands_at(cases, tmp_path):
    result = search(load_study(cases.write_study(tmp_path, limits='maximum_pressure = "0.2 MPa"')))
    assert not result.designs
    assert all(row["of"] == ["nearest"] for row in result.range_ends)
    ends = [f"{_short(row['variable'])} at its {row['end']}" for row in result.range_ends]
    assert "throat Ø at its most" in ends and "grain count at its least" in ends, "a lower pressure lies that way"
    moved = [name for name in result.study.variables if len({row["variables"][name] for row in result.nearest}) > 1]
    assert moved and not any(_short(name) in end for name in moved for end in ends)


@pytest.mark.slow
def test_sizes_of_tools_beside_a_design_that_is_off_stock(cases, tmp_path, capsys):
    ranges = 'throat_diameter = {from = "12 mm", to = "13 mm"}\nwall = {from = "2 mm", to = "4 mm", step = "1 mm"}'
    result = search(load_study(cases.write_study(tmp_path, search=ranges)))
    lines = _tool_lines(result)
    assert 0 < len(lines) <= MOST_TOOLS
    design = next(each for each in result.designs if each.roundings)
    item = design.roundings[0]
    pressure = 100.0 * item["changes"]["maximum_expected_pressure"]
    assert lines[0].startswith(f"no. {design.number}: throat Ø {design.texts['throat_diameter']} → {item['tool']}: ")
    assert f"expected pressure {pressure:+.1f} %" in lines[0]
    assert ("no longer passes" in " ".join(lines)) == any(
        not each["ok"] for row in [d for d in result.designs if d.roundings][:MOST_TOOLS] for each in row.roundings
    )
    print_front(result, "metric", tmp_path)
    assert "Nearest sizes of tools" in capsys.readouterr().out


def test_tools_are_promised_only_for_what_is_cut_with_one(cases, tmp_path):
    ranges = 'throat_diameter = {from = "12 mm", to = "13 mm"}\nhalf_angle = {from = "12 deg", to = "15 deg"}\n'
    ranges += 'exit_diameter = {from = "30 mm", to = "30 mm"}'
    said = load_study(cases.write_study(tmp_path, search=ranges)).cautions
    promised = {text.split()[0]: "tools" in text for text in said}
    assert promised == {"throat_diameter": True, "half_angle": False}, "a range of one value is not continuous"


def test_words_of_a_front(cases, tmp_path, capsys):
    objectives = 'loaded_mass = "min"\nfactor = {"screw shear" = "max"}'
    study = load_study(cases.write_study(tmp_path, objectives=objectives, driver='method = "evolve"\nbudget = 40'))
    print_front(search(study), "metric", tmp_path)
    said = " ".join(capsys.readouterr().out.split())
    assert said.count("not proven") == 1 and " factor.screw" not in said
    assert _headed("factor.screw shear", "metric") == "screw shear factor"


def test_a_chance_is_told_as_the_bound_that_it_is():
    assert _result_cell(0.005834, "chance_of_failure", "metric") == "< 0.58 %"


def test_a_motor_without_tests_is_told_what_to_write_in_its_brackets(tmp_path, capsys):
    print_vouching(vouch(motor_of(tmp_path, "untried", GRAINS, NOZZLE, CASE)), "metric")
    assert "no [[evidence]] in the motor file" in capsys.readouterr().out
