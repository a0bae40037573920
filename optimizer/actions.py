"""What each command does, from the files it is given to what it prints and writes.

Owns the order of the steps and the JSON of a check; the work itself is done by the parts it calls. Imports the rest of
optimizer, the heavy parts inside the functions that need them.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from optimizer.results import ANSWER_SCHEMA

if TYPE_CHECKING:
    from optimizer.cautions import Caution
    from physics.assessment import Assessment

DONE, NO = 0, 1


@dataclass(frozen=True)
class Output:
    """Where a command's answer goes: the options every command shares."""

    as_json: bool
    units: str
    folder: Path | None
    quiet: bool

    def place(self, source: Path) -> Path:
        """The folder to write to: `--out`, or `results/` and the file's name where the user stands."""
        return self.folder if self.folder is not None else Path("results") / source.stem

    @property
    def writes(self) -> bool:
        """Whether pages are written: always to a named folder, else only where the answer is for a person."""
        return self.folder is not None or not self.as_json

    def write_page(self, source: Path, text: str) -> None:
        """The report page of a file, beside whatever else is written of it; and where it is."""
        from optimizer.results import write_text

        page = self.place(source) / "report.html"
        write_text(page, text)
        self.say(f"page: {page}")

    def print_json(self, answer: Mapping[str, Any]) -> None:
        """One JSON object on stdout, without NaN."""
        import sys

        from optimizer.results import plain

        text = json.dumps(plain(answer), indent=1, allow_nan=False, ensure_ascii=False)
        try:
            text.encode(sys.stdout.encoding or "utf-8")
        except UnicodeEncodeError:  # a terminal of another alphabet, or a path that is not UTF-8
            text = json.dumps(plain(answer), indent=1, allow_nan=False)
        click.echo(text)

    def say(self, text: str) -> None:
        """A message to the person, on stderr so that it never mixes with the answer."""
        if not self.quiet:
            click.echo(text, err=True)


def search(study: Path, seed: int | None, kernel: str | None, output: Output) -> int:
    """Search a study, print its Pareto table, write the results folder."""
    from optimizer.inputs import load_study
    from optimizer.pages import search_page
    from optimizer.progress import shown
    from optimizer.search import search as run

    asked = load_study(study)
    folder = output.place(study)
    with shown(quiet=output.quiet) as progress:
        result = run(
            asked, folder, progress, kernel, seed, lambda found: {"report.html": search_page(found, output.units)}
        )
    if output.as_json:
        output.print_json(result.as_dict() | {"seconds": result.seconds})
    elif not output.quiet:
        from optimizer import tables

        tables.print_front(result, output.units, folder)
    output.say(f"results: {folder}")
    return DONE if result.designs else NO


def check(motor: Path, curve: Path | None, ladder: Path | None, kernel: str, output: Output) -> int:
    """Evaluate one motor, print it, write its page, its histories and its ladder."""
    from optimizer.cautions import cautions
    from optimizer.inputs import load_motor
    from physics.assessment import assess

    file = load_motor(motor)
    assessment = assess(file.motors, kernel=kernel, curve=True)
    found = cautions(assessment, output.units)
    if curve is not None:
        _write_curve(curve, assessment)
    if ladder is not None:
        _write_ladder(ladder, file.name, assessment, output.units)
    if output.writes:
        _write_check_page(file, assessment, found, output)
    if output.as_json:
        output.print_json(check_answer(file.name, assessment, found))
    elif not output.quiet:
        _print_check(file, assessment, found, output)
    return DONE if bool(assessment.ok[0]) else NO


def check_answer(name: str, assessment: Assessment, found: Sequence[Caution]) -> dict[str, Any]:
    """The JSON object of `check` for a batch of one, SI units throughout."""
    from optimizer.tables import rung_order
    from optimizer.vocabulary import QUANTITIES
    from physics.designation import designation, impulse_class

    figures = assessment.figures
    impulse, thrust = figures["total_impulse"][:1], figures["mean_thrust"][:1]
    ballistics: dict[str, Any] = {key: first(value) for key, value in figures.values.items()}
    ballistics["impulse_class"] = str(impulse_class(impulse)[0]) or None
    ballistics["designation"] = designation(impulse, thrust)[0] or None
    return {
        "schema": ANSWER_SCHEMA,
        "motor": name,
        "kernel": figures.kernel,
        "units": {key: QUANTITIES[key].si_unit for key in figures.values if key in QUANTITIES},
        "ballistics": ballistics,
        "flags": {key: bool(value[0]) for key, value in figures.flags.items()},
        "maximum_expected_pressure": first(assessment.maximum_expected_pressure),
        "ladder": [
            {
                "mode": rung.mode,
                "part": rung.part,
                "pressure": first(rung.pressure),
                "time": first(rung.time),
                "factor": first(rung.factor),
                "required": first(rung.required),
                "ok": bool(rung.ok.ravel()[0]),
                "basis": rung.basis,
                "note": rung.note,
            }
            for rung in rung_order(assessment.ladder)
        ],
        "not_assessed": [
            {"mode": item.mode, "part": item.part, "why": item.why} for item in assessment.ladder.not_assessed
        ],
        "masses": {key: first(value) for key, value in assessment.masses.items()},
        "unknown_masses": list(assessment.unknown_masses),
        "fit": _fit_answer(assessment),
        "room": room_answer(assessment),
        "cautions": [{"about": caution.about, "text": caution.text} for caution in found],
        "ok": _verdict(assessment),
    }


def _verdict(assessment: Assessment) -> bool | None:
    """Whether all that was assessed holds; None where nothing falls short and no rung could be assessed."""
    good = bool(assessment.ok[0])
    return None if good and not assessment.ladder.rungs else good


def _fit_answer(assessment: Assessment) -> dict[str, Any] | None:
    if assessment.fit is None:
        return None
    flags = ("ok", "in_airframe")
    return {key: (bool(_ravel(value)[0]) if key in flags else first(value)) for key, value in assessment.fit.items()}


def room_answer(assessment: Assessment) -> dict[str, Any] | None:
    """The room along the case in SI, None where it is not assessed."""
    from optimizer.tables import assumption_texts

    placed = assessment.assembly
    if placed.not_assessed:
        return None
    return {
        "stack": first(placed.stack),
        "available": first(placed.case_length),
        "left": first(placed.left),
        "assumed": assumption_texts(placed),
    }


def _ravel(value: Any) -> Any:
    import numpy as np

    return np.ravel(value)


def first(value: Any) -> float | None:
    """The first entry of a column as a float, None where there is no finite number."""
    if value is None:
        return None
    number = float(_ravel(value)[0])
    return number if math.isfinite(number) else None


def _write_curve(path: Path, assessment: Assessment) -> None:
    from optimizer.results import write_csv

    curve = assessment.figures.curve
    assert curve is not None, "check asks the kernel for histories"
    columns = {
        "time_s": curve.time[0],
        "chamber_pressure_Pa": curve.chamber_pressure[0],
        "head_pressure_Pa": curve.head_pressure[0],
        "thrust_N": curve.thrust[0],
        "mass_flow_kg_s": curve.mass_flow[0],
    }
    length = min(len(values) for values in columns.values())
    rows = [
        [float(values[i]) for values in columns.values()] for i in range(length) if math.isfinite(columns["time_s"][i])
    ]
    write_csv(path, list(columns), rows)


def _write_ladder(path: Path, name: str, assessment: Assessment, units: str) -> None:
    from optimizer.report import design_view, panels
    from optimizer.report.pictures import ladder_picture
    from optimizer.results import write_text

    write_text(path, ladder_picture(panels.ladder(design_view(assessment, name), units), name) + "\n")


def _write_check_page(file: Any, assessment: Assessment, found: Sequence[Caution], output: Output) -> None:
    from optimizer.pages import check_page
    from optimizer.results import write_text

    write_text(output.place(file.path) / "report.html", check_page(file, assessment, found, output.units))


def _print_check(file: Any, assessment: Assessment, found: Sequence[Caution], output: Output) -> None:
    from rich.padding import Padding
    from rich.text import Text

    from optimizer import tables
    from optimizer.units import show

    screen = tables.console()
    answer = check_answer(file.name, assessment, found)
    ladder, expected = assessment.ladder, answer["maximum_expected_pressure"] or math.nan

    def block(title: str, *bodies: Any) -> None:
        screen.print()
        screen.print(tables.heading(title))
        for body in bodies:
            screen.print(Padding(body, (0, 0, 0, 2)))

    # The verdict and the ladder first and together; what is seldom asked for comes after.
    screen.print(Text(file.name, "bold"))
    summary = f"{answer['ballistics']['designation'] or 'no class'}, {assessment.figures.kernel} kernel"
    screen.print(f"{summary}, maximum expected pressure {show(expected, 'pressure', output.units)}")
    screen.print(tables.verdict_line(assessment))
    block("Failure ladder", tables.ladder_table(assessment, output.units, screen.width))
    if ladder.not_assessed:
        missing = [(item.mode, item.part, item.why) for item in ladder.not_assessed]
        block("Not assessed", tables.not_assessed_block(missing))
    block("Ballistics", tables.ballistics_table(assessment, output.units, screen.width))
    if assessment.figures.kernel == "transient" and assessment.figures.curve is not None:
        screen.print()
        screen.print(tables.history_plot(assessment.figures.curve, output.units, min(screen.width, 100)))
    masses = [tables.masses_table(assessment.masses, assessment.unknown_masses, output.units)]
    if assessment.fit is None:
        block("Masses", *masses)
    else:
        block("Masses and airframe", *masses, tables.fit_line(assessment.fit, output.units))
    block("Room along the case", *tables.room_lines(assessment.assembly, output.units))
    notes = tables.more_notes(ladder)
    if notes is not None:
        block("More on the lowest rungs", notes)
    if ladder.rungs:
        block("Where the rungs come from", tables.basis_lines(ladder))
    block("Cautions", tables.cautions_block(found))
    if output.writes:
        output.say(f"page: {output.place(file.path) / 'report.html'}")


def compare(motors: Sequence[Path], kernel: str, output: Output) -> int:
    """Set motors side by side and say what each change did."""
    from optimizer.compare import compare as set_side_by_side
    from optimizer.inputs import load_motor

    if len(motors) < 2:
        raise click.UsageError("a comparison needs two motor files or more, oldest first")
    comparison = set_side_by_side([load_motor(path) for path in motors], kernel=kernel, units=output.units)
    if output.writes:
        from optimizer.pages import compare_page

        output.write_page(motors[-1], compare_page(comparison, output.units))
    if output.as_json:
        output.print_json(comparison.as_json())
    elif not output.quiet:
        from optimizer import tables

        tables.print_comparison(comparison, output.units)
    return DONE if comparison.looks[-1].ok else NO


def spread(motor: Path, samples: int, seed: int, kernel: str, output: Output) -> int:
    """Show what the motor's tolerances do to its figures and its ladder."""
    from optimizer.inputs import load_motor
    from optimizer.spread import spread as scatter

    file = load_motor(motor)
    result = scatter(file.motors, kernel=kernel, samples=samples, seed=seed, file=str(motor))
    if output.writes:
        from optimizer.pages import spread_page

        output.write_page(motor, spread_page(file, result, output.units))
    if output.as_json:
        output.print_json(result.as_json() | {"schema": ANSWER_SCHEMA, "motor": file.name})
    elif not output.quiet:
        from optimizer import tables

        tables.print_spread(file.name, result, output.units)
    return DONE


def reduce(firings: Sequence[Path], propellant: Path | None, kernel: str | None, output: Output) -> int:
    """Reduce records, fit the rate law to them, write the re-fitted propellant where asked."""
    from optimizer.firing import prediction
    from optimizer.fit_rate import learn, propellant_file
    from optimizer.inputs import load_firing
    from optimizer.results import write_text

    learned = learn([load_firing(path) for path in firings], kernel=kernel)
    if propellant is not None and learned.fit is not None:
        write_text(propellant, propellant_file(learned, propellant.stem))
        output.say(f"propellant: {propellant}")
    shown = output.writes or output.as_json or not output.quiet
    told = [prediction(one, kernel or "transient") for one in learned.reductions] if shown else []
    if output.writes:
        from optimizer.pages import reduce_page

        output.write_page(firings[0], reduce_page(learned, output.units, kernel, told))
    if output.as_json:
        output.print_json(learned.as_json(told))
    elif not output.quiet:
        from optimizer import tables

        tables.print_reduction(learned, output.units, told, kernel or "transient")
    # A propellant file was asked for and none could be made: the answer is "no".
    return NO if propellant is not None and learned.fit is None else DONE


def explain(firing: Path, kernel: str, output: Output) -> int:
    """Rank the failure modes that fit what was seen."""
    from optimizer.explain import explain as weigh
    from optimizer.inputs import load_firing

    file = load_firing(firing)
    explanation = weigh(file, kernel=kernel, units=output.units)
    if output.writes:
        from optimizer.pages import explain_page

        output.write_page(firing, explain_page(file, explanation, kernel, output.units))
    if output.as_json:
        output.print_json(explanation.as_json())
    elif not output.quiet:
        from optimizer import tables

        tables.print_explanation(explanation, output.units)
    return DONE if explanation.candidates else NO


def draw(motor: Path, paper: str, kernel: str, output: Output) -> int:
    """Write the drawings and sheets of one motor."""
    from optimizer import drawing
    from optimizer.drawing.geometry import DrawingError
    from optimizer.inputs import load_motor
    from optimizer.pages import named
    from optimizer.problems import InputError, Problem, plain_file
    from physics.assessment import assess

    file = load_motor(motor)
    assessment = assess(file.motors, kernel=kernel, curve=True)
    folder = output.place(motor)
    try:
        written = drawing.draw(
            file.motors,
            assessment,
            folder,
            paper=paper,
            name=file.name,
            file=motor.name,
            digest=file.digest,
            units=output.units,
            designation=named(assessment),
        )
    except DrawingError as error:
        fix = "give it in the motor file, or another --paper where the sheet is too small"
        raise InputError([Problem(plain_file(motor), 0, "", "", str(error), fix, "E112")]) from error
    if output.as_json:
        output.print_json({"schema": ANSWER_SCHEMA, "motor": file.name, "files": [str(path) for path in written]})
    elif not output.quiet:
        click.echo("\n".join(str(path) for path in written))
        output.say("Print the wrap at 100 % and measure its check bars before you drill.")
    return DONE


def new(folder: Path | None, output: Output) -> int:
    """Make the starter folder."""
    from optimizer.starter import FILES, create

    target = folder or output.folder or Path("grainwright-start")
    written = create(target)
    if output.as_json:
        output.print_json({"schema": ANSWER_SCHEMA, "folder": str(target), "files": [str(path) for path in written]})
    elif not output.quiet:
        width = max(len(str(path)) for path in written)
        click.echo("\n".join(f"{path!s:{width}}  {what}" for path, what in zip(written, FILES.values(), strict=True)))
        output.say(f"next: grainwright search {target / 'study.toml'}")
    return DONE
