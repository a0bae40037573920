"""What each command does, from the files it is given to what it prints and writes.

Owns the order of the steps and the JSON of a check; the work itself is done by the parts it calls. Imports the rest of
optimizer, the heavy parts inside the functions that need them.
"""

from __future__ import annotations

import json
import math
import os
import sys
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from optimizer.results import ANSWER_SCHEMA

if TYPE_CHECKING:
    from optimizer.cautions import Caution
    from optimizer.commands.standing import Standing
    from optimizer.inputs import Firing
    from physics.assessment import Assessment

DONE, NO = 0, 1
PICTURES = (".svg", ".pdf", ".png")
KINDS: Mapping[str, tuple[bytes, str]] = {
    "curve": (b"time_s,", "a history written here"),
    "ladder": (b"rainwright", "a ladder written here"),
    "propellant": (b"least squares on the", "a propellant re-fitted here"),
}
"""Files that the user names: the sign by which an older one is known for ours, and what it is then."""


@dataclass(frozen=True)
class Output:
    """Where a command's answer goes: the options every command shares."""

    as_json: bool
    asked_units: str | None
    folder: Path | None
    quiet: bool
    command: str
    file_units: str = ""

    @property
    def units(self) -> str:
        """The units of tables and drawings: those asked for, else the file's, else metric."""
        return self.asked_units or self.file_units or "metric"

    def reading(self, units: str) -> Output:
        """The same for a file that asks for these units, "" where it does not."""
        return replace(self, file_units=units)

    def place(self, source: Path) -> Path:
        """The folder to write to: `--out`, or one in `results/`, where the user stands, that belongs to this file alone.

        A search takes the study's name, as its record lies there; the rest folder and file name, joined.
        """
        if self.folder is not None:
            return self.folder
        if self.command == "search":
            return Path("results") / source.stem
        return _place_of(source)

    @property
    def writes(self) -> bool:
        """Whether pages are written: always to a named folder, else only where the answer is for a person."""
        return self.folder is not None or not self.as_json

    @property
    def page(self) -> str:
        """Name of the command's page in its folder."""
        return f"{self.command}.html"

    def claim(self, source: Path, files: Sequence[str] = (), named: Mapping[str, Path | None] | None = None) -> None:
        """Refuse, before the work, what would be written over something that is not ours: InTheWay.

        `files` go into the folder of `source`; `named` are those that the user named, by what they are (`KINDS`).
        """
        from optimizer.results import refuse_foreign, refuse_unlike

        for kind, path in (named or {}).items():
            if path is not None:
                refuse_unlike(path, *KINDS[kind])
        if files:
            refuse_foreign(self.place(source), files)

    def write_page(self, source: Path, text: str) -> None:
        """The page of a file, in its folder; and where it is."""
        from optimizer.problems import plain_file
        from optimizer.results import write_together

        place = self.place(source)
        write_together(place, {self.page: text}, of=_as_seen(source))
        self.say(f"page: {plain_file(place / self.page)}")

    def print_json(self, answer: Mapping[str, Any]) -> None:
        """One JSON object on stdout, without NaN."""
        import sys

        from optimizer.results import plain

        text = json.dumps(plain(answer), indent=1, allow_nan=False, ensure_ascii=False)
        try:
            text.encode(sys.stdout.encoding or "utf-8")
        except UnicodeEncodeError:  # a terminal of another alphabet, or a path that is not UTF-8
            text = json.dumps(plain(answer), indent=1, allow_nan=False)
        click.echo(_escaped(text))

    def say(self, text: str) -> None:
        """A message to the person, on stderr so that it never mixes with the answer."""
        if not self.quiet:
            click.echo(text, err=True)


LONGEST_PLACE = 120
"""Bytes of the name of a folder of results; a longer one is cut, its digest behind it."""


def _as_seen(source: Path) -> str:
    """A file's path as it stands in a listing: from where the user stands, if it lies below, else whole."""
    whole = Path(os.path.abspath(source))
    try:
        return str(whole.relative_to(Path.cwd()))
    except ValueError:
        return str(whole)


def _place_of(source: Path) -> Path:
    """A folder in `results/` for what is made of a file: its folder and name joined, counted on where another has it.

    A design of a search, `results/STUDY/motors/01.toml`, has `results/STUDY-motors-01`.
    """
    from optimizer.results import LISTING, digest, made_from

    seen = _as_seen(source)
    path = Path(seen).with_suffix("")
    parts = list(path.parts)[-2:] if path.is_absolute() else list(path.parts)
    if len(parts) > 1 and parts[0] == "results":
        parts = parts[1:]
    joined = "-".join(part.strip("/\\") or "root" for part in parts)
    if len(joined.encode(errors="surrogateescape")) > LONGEST_PLACE:
        joined = joined[: LONGEST_PLACE // 4] + "-" + digest(joined.encode(errors="surrogateescape"))[:8]
    for number in range(1, 1000):
        place = Path("results") / (joined if number == 1 else f"{joined}-{number}")
        if not (place / LISTING).exists() or made_from(place) == seen:
            break
    return place


def _escaped(text: str) -> str:
    """JSON with its invisible signs escaped, so that none reaches a terminal raw."""
    from unicodedata import category

    hidden = {letter for letter in set(text) if letter != "\n" and category(letter) in ("Cc", "Cf", "Zl", "Zp")}
    for letter in hidden:
        text = text.replace(letter, json.dumps(letter)[1:-1])
    return text


def search(study: Path, seed: int | None, kernel: str | None, output: Output) -> int:
    """Search a study, print its Pareto table, write the results folder."""
    from optimizer.commands.search import search as run
    from optimizer.inputs import load_study
    from optimizer.output.pages import search_page
    from optimizer.output.progress import shown
    from optimizer.problems import plain_file

    asked = load_study(study)
    output = output.reading(asked.units)
    folder = output.place(study)
    with shown(quiet=output.quiet) as progress:
        result = run(asked, folder, progress, kernel, seed, lambda found: {"report.html": search_page(found, output.units)})
    if output.as_json:
        output.print_json(result.as_dict() | {"seconds": result.seconds})
    elif not output.quiet:
        from optimizer.output.terminal.search import print_front

        print_front(result, output.units, folder)
    output.say(f"results: {plain_file(folder)}")
    return DONE if result.designs else NO


def check(
    motor: Path,
    curve: Path | None,
    ladder: Path | None,
    kernel: str,
    output: Output,
    whole: bool = False,
    measured: Path | None = None,
) -> int:
    """Evaluate one motor, print it, write its page, its histories and its ladder; `measured` puts it as built."""
    from optimizer.cautions import cautions
    from optimizer.commands.standing import standing
    from optimizer.inputs import load_motor
    from physics.assessment import assess

    file = load_motor(motor)
    built = None
    if measured is not None:
        from optimizer.inputs.as_measured import as_measured
        from optimizer.results import note_input

        note_input(measured)
        drawn, built = file, as_measured(file, measured)
        file = built.motor
    output = output.reading(file.units)
    output.claim(motor, [output.page] if output.writes else [], {"curve": curve, "ladder": ladder})
    if ladder is not None and ladder.suffix.lower() not in PICTURES:
        raise click.UsageError(f"--ladder {ladder.name}: name a file that ends in one of {', '.join(PICTURES)}")
    assessment = assess(file.motors, kernel=kernel, curve=True)
    found = cautions(assessment, output.units)
    stands = standing(assessment, file.evidence)
    if curve is not None:
        _write_curve(curve, assessment)
    if ladder is not None:
        _write_ladder(ladder, file.name, assessment, output.units)
    if output.as_json:
        answer = check_answer(file.name, assessment, found, stands)
        if built is not None:
            answer["as_measured"] = [asdict(one) for one in built.measured]
        output.print_json(answer)
    elif not output.quiet:
        from optimizer.output.terminal.check import print_check, print_measured

        if built is not None:
            print_measured(built, assess(drawn.motors, kernel=kernel), assessment, output.units)
        print_check(file.name, assessment, found, output.units, whole, stands)
    if output.writes:
        from optimizer.output.pages import check_page

        output.write_page(motor, check_page(file, assessment, found, output.units, stands))
    return DONE if bool(assessment.ok[0]) else NO


def check_answer(name: str, assessment: Assessment, found: Sequence[Caution], stands: Standing | None = None) -> dict[str, Any]:
    """The JSON object of `check` for a batch of one, SI units throughout; without `stands` no test is known."""
    from optimizer.commands.standing import more_json, standing
    from optimizer.ladder_view import holds
    from optimizer.output.heat import heat_answer
    from optimizer.vocabulary import QUANTITIES
    from physics.designation import designation, impulse_class

    stands = stands or standing(assessment)
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
        "ladder": _rungs_answer(assessment, stands),
        "first_to_fail": [
            {"mode": mode, "part": part, "share": share} for (mode, part), share in stands.first.items() if share > 0.0
        ],
        "points": stands.points,
        **more_json(stands),
        "not_assessed": [{"mode": item.mode, "part": item.part, "why": item.why} for item in assessment.ladder.not_assessed],
        "masses": {key: first(value) for key, value in assessment.masses.items()},
        "unknown_masses": list(assessment.unknown_masses),
        "fit": _fit_answer(assessment),
        "room": room_answer(assessment),
        "fits": fits_answer(assessment),
        "heat": heat_answer(assessment.heat),
        "flight": flight_answer(assessment),
        "reuse": reuse_answer(assessment),
        "cautions": [{"about": caution.about, "text": caution.text} for caution in found],
        "ok": holds(assessment),
    }


def _rungs_answer(assessment: Assessment, stands: Standing) -> list[dict[str, Any]]:
    """The rungs of a batch of one in SI, lowest first."""
    from optimizer.ladder_view import rungs_of

    return [
        {
            "mode": view.mode,
            "part": view.part,
            "kind": view.kind,
            "pressure": first(view.pressure),
            "time": first(view.time),
            "factor": first(view.factor),
            "required": view.required,
            "ok": view.ok,
            "likely": first(stands.likely(view.rung)),
            "scatter": view.rung.scatter,
            "band": [first(end) for end in stands.band(view.rung)],
            "rests_on": view.rung.rests_on,
            "held": stands.held[view.mode, view.part][0] if (view.mode, view.part) in stands.held else None,
            "place": view.rung.place,
            "first_to_fail": stands.first.get((view.mode, view.part)),
            "basis": view.rung.basis,
            "note": view.rung.note,
        }
        for view in rungs_of(assessment.ladder)
    ]


def reuse_answer(assessment: Assessment) -> dict[str, Any] | None:
    """The log of the hardware in SI with what yield would leave, and the usual reasons to retire it; None without a log."""
    from physics.failure.wear import RETIRE, cycles, worn

    wear = assessment.motors.wear
    if not wear:
        return None
    pressures = [use.pressure for use in wear if use.pressure is not None]
    throats = [use.throat_diameter for use in wear if use.throat_diameter is not None]
    return {
        "firings": cycles(wear, "firing"),
        "proofs": cycles(wear, "proof"),
        "highest_pressure": max(pressures, default=None),
        "throat_diameter": throats[-1] if throats else None,
        "grown": [
            {"what": one.what, "measured": one.measured, "yield_leaves": one.leaves, "share": one.share}
            for one in worn(assessment.motors)
        ],
        "retire_for": list(RETIRE),
    }


def flight_answer(assessment: Assessment) -> dict[str, Any] | None:
    """The `flight` of `check --json` for a batch of one, SI; None without a rocket."""
    from physics.figures import FLIGHT_FIGURES

    flown, skin = assessment.flight, assessment.skin
    if flown is None:
        return None
    return {
        "refused": flown.refused,
        "flags": [name for name, raised in flown.flags.items() if raised[0]],
        **{name: first(flown.figures.get(name)) for name in FLIGHT_FIGURES},
        "static_margin": {name: first(values) for name, values in flown.margins.items()},
        "apogee_at_drag": {f"{drag:g}": first(apogee) for drag, apogee in flown.band.items()},
        "skin": None
        if skin is None
        else {
            "limit": skin.limit,
            "likely": first(skin.likely),
            "hottest": first(skin.hottest),
            "place": skin.place,
            "ok": skin.ok,
        },
    }


def _fit_answer(assessment: Assessment) -> dict[str, Any] | None:
    if assessment.fit is None:
        return None
    flags = ("ok", "in_airframe")
    return {key: (bool(_ravel(value)[0]) if key in flags else first(value)) for key, value in assessment.fit.items()}


def room_answer(assessment: Assessment) -> dict[str, Any] | None:
    """The room along the case in SI, None where it is not assessed."""
    from optimizer.output.terminal.check import assumption_texts

    placed = assessment.assembly
    if placed.not_assessed:
        return None
    return {
        "stack": first(placed.stack),
        "available": first(placed.case_length),
        "left": first(placed.left),
        "least_left": first(placed.least_left),
        "assumed": assumption_texts(placed),
    }


def fits_answer(assessment: Assessment) -> dict[str, Any]:
    """The room between the parts cold and hot in SI, 20 °C first, and what of it is not assessed."""
    from physics.fit import hot_fits

    fits = hot_fits(assessment.motors, assessment.assembly)
    return {
        "clearances": [
            {
                "place": one.place,
                "along": "diameter" if one.across else "axis",
                "temperature": one.temperatures[0].tolist(),
                "drawn": one.drawn[0].tolist(),
                "least": one.least[0].tolist(),
                "rests_on": list(one.rests_on),
                "assumed": list(one.assumed),
            }
            for one in fits.clearances
        ],
        "not_assessed": [{"place": place, "why": why} for place, why in fits.not_assessed],
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
    rows = [[float(values[i]) for values in columns.values()] for i in range(length) if math.isfinite(columns["time_s"][i])]
    write_csv(path, list(columns), rows)


def _write_ladder(path: Path, name: str, assessment: Assessment, units: str) -> None:
    from optimizer.output.report import design_view, panels
    from optimizer.output.report.pictures import ladder_picture
    from optimizer.results import write_bytes, write_text

    ladder = panels.ladder(design_view(assessment, name), units)
    if path.suffix.lower() in (".pdf", ".png"):
        from optimizer.output.drawing.ladder_sheet import ladder_bytes

        write_bytes(path, ladder_bytes(ladder, name, path.suffix.lower()[1:]))
    else:
        write_text(path, ladder_picture(ladder, name) + "\n")


def compare(motors: Sequence[Path], kernel: str, output: Output) -> int:
    """Set motors side by side and say what each change did."""
    from optimizer.commands.compare import compare as set_side_by_side
    from optimizer.inputs import load_motor

    if len(motors) < 2:
        raise click.UsageError("a comparison needs two motor files or more, oldest first")
    files = [load_motor(path) for path in motors]
    output = output.reading(files[-1].units)
    output.claim(motors[-1], [output.page] if output.writes else [])
    comparison = set_side_by_side(files, kernel=kernel, units=output.units)
    if output.writes:
        from optimizer.output.pages import compare_page

        output.write_page(motors[-1], compare_page(comparison, output.units))
    if output.as_json:
        output.print_json(comparison.as_json())
    elif not output.quiet:
        from optimizer.output.terminal.compare import print_comparison

        print_comparison(comparison, output.units)
    return DONE if comparison.states[-1].ok else NO


def spread(motor: Path, samples: int, seed: int, kernel: str, output: Output, as_specified: bool = False) -> int:
    """Show what the motor's tolerances do to its figures and its ladder."""
    from optimizer.commands.spread import spread as scatter
    from optimizer.inputs import load_motor

    file = load_motor(motor)
    output = output.reading(file.units)
    output.claim(motor, [output.page] if output.writes else [])
    result = scatter(file.motors, kernel, samples, seed, str(motor), as_specified, file.evidence)
    if output.writes:
        from optimizer.output.pages import spread_page

        output.write_page(motor, spread_page(file, result, output.units))
    if output.as_json:
        output.print_json(result.as_json() | {"schema": ANSWER_SCHEMA, "motor": file.name})
    elif not output.quiet:
        from optimizer.output.terminal.spread import print_spread

        print_spread(file.name, result, output.units)
    return DONE


def reduce(firings: Sequence[Path], propellant: Path | None, kernel: str | None, output: Output) -> int:
    """Reduce records, fit the rate law to them, write the re-fitted propellant where asked."""
    from optimizer.firings.rate_fit import learn, propellant_file
    from optimizer.firings.reduction import prediction
    from optimizer.problems import plain_file
    from optimizer.results import write_text

    files = [_firing(path) for path in firings]
    output = output.reading(files[0].motor.units if files[0].motor is not None else "")
    output.claim(firings[0], [output.page] if output.writes else [], {"propellant": propellant})
    learned = learn(files, kernel=kernel)
    if propellant is not None and learned.fit is not None:
        write_text(propellant, propellant_file(learned, propellant.stem))
        output.say(f"propellant: {plain_file(propellant)}")
    shown = output.writes or output.as_json or not output.quiet
    told = [prediction(one, kernel or "transient") for one in learned.reductions] if shown else []
    if output.writes:
        from optimizer.output.pages import reduce_page

        output.write_page(firings[0], reduce_page(learned, output.units, kernel, told))
    if output.as_json:
        output.print_json(learned.as_json(told))
    elif not output.quiet:
        from optimizer.output.terminal.reduce import print_reduction

        print_reduction(learned, output.units, told, kernel or "transient")
    # A propellant file was asked for and none could be made: the answer is "no".
    return NO if propellant is not None and learned.fit is None else DONE


def _firing(path: Path) -> Firing:
    """A firing file; its record counts as an input already, though it is read later."""
    from optimizer.inputs import load_firing
    from optimizer.results import note_input

    file = load_firing(path)
    if file.record is not None:
        note_input(file.record)
    return file


def explain(firing: Path, kernel: str, output: Output) -> int:
    """Rank the failure modes that fit what was seen."""
    from optimizer.commands.explain import explain as weigh

    file = _firing(firing)
    output = output.reading(file.motor.units if file.motor is not None else "")
    output.claim(firing, [output.page] if output.writes else [])
    explanation = weigh(file, kernel=kernel, units=output.units)
    if output.writes:
        from optimizer.output.pages import explain_page

        output.write_page(firing, explain_page(file, explanation, kernel, output.units))
    if output.as_json:
        output.print_json(explanation.as_json())
    elif not output.quiet:
        from optimizer.output.terminal.explain import print_explanation

        print_explanation(explanation, output.units)
    return DONE if explanation.candidates else NO


def vouch(motor: Path, tests: Sequence[Path], kernel: str, output: Output) -> int:
    """Show what tests have proven of a motor; NO where one of them failed or leaked."""
    from optimizer.commands.vouch import vouch as weigh
    from optimizer.inputs import load_motor

    file = load_motor(motor)
    output = output.reading(file.units)
    output.claim(motor, [output.page] if output.writes else [])
    found = weigh(file, tests, kernel)
    if output.writes:
        from optimizer.output.pages import vouch_page

        output.write_page(motor, vouch_page(file, found, output.units))
    if output.as_json:
        output.print_json(found.as_json())
    elif not output.quiet:
        from optimizer.output.terminal.vouch import print_vouching

        print_vouching(found, output.units)
    return NO if found.failed else DONE


def draw(motor: Path, paper: str, kernel: str, output: Output, stock: Sequence[Path] = ()) -> int:
    """Write the drawings and sheets of one motor; `stock` are lists of the user's own, besides those in stock/."""
    from optimizer.inputs import load_motor
    from optimizer.inputs.stock import read_stock
    from optimizer.output import drawing
    from optimizer.output.drawing.geometry import DrawingError
    from optimizer.problems import InputError, Problem, plain_file
    from optimizer.results import write_together
    from physics.assessment import assess

    file = load_motor(motor)
    lists = [read_stock(path) for path in (*stock, *sorted((motor.parent / "stock").glob("*.csv")))]
    output = output.reading(file.units)
    output.claim(motor, drawing.WRITTEN)
    assessment = assess(file.motors, kernel=kernel, curve=True)
    folder = output.place(motor)
    try:
        sheets = drawing.sheets(
            file.motors,
            assessment,
            paper=paper,
            name=file.name,
            file=motor.name,
            digest=file.digest,
            units=output.units,
            lists=lists,
        )
    except DrawingError as error:
        fix = "give it in the motor file, or another --paper where the sheet is too small"
        raise InputError([Problem(plain_file(motor), 0, "", "", str(error), fix, "E112")]) from error
    write_together(folder, sheets, drawing.WRITTEN, _as_seen(motor))
    written = [folder / name for name in sheets]
    if output.as_json:
        output.print_json({"schema": ANSWER_SCHEMA, "motor": file.name, "files": [str(path) for path in written]})
    elif not output.quiet:
        click.echo("\n".join(plain_file(path) for path in written))
        output.say("Print the wrap at 100 % and measure its check bars before you drill.")
    return DONE


def live(motor: Path, port: int, browser: bool, output: Output) -> int:
    """Serve one motor to the browser of this machine until interrupted, then say where saved files are."""
    from optimizer.live.server import Desk, serve
    from optimizer.problems import plain_file

    desk = Desk.of(motor, output.asked_units, output.folder)

    def ready(address: str) -> None:
        if output.as_json:
            output.print_json({"schema": ANSWER_SCHEMA, "motor": desk.bench.file.name, "address": address})
        elif not output.quiet:
            click.echo(f"{desk.bench.file.name} is open at {address}")
            output.say("This address works on this machine alone; whoever has it can turn the knobs. Ctrl-C ends it.")
        sys.stdout.flush()

    saved = serve(desk, port, browser, ready)
    output.say("\n".join(f"saved: {plain_file(path)}" for path in saved) if saved else "nothing was saved")
    return DONE


def new(folder: Path | None, output: Output) -> int:
    """Make the starter folder."""
    from optimizer.commands.new import FILES, create
    from optimizer.problems import plain_file

    target = folder or output.folder or Path("grainwright-start")
    written = create(target)
    if output.as_json:
        output.print_json({"schema": ANSWER_SCHEMA, "folder": str(target), "files": [str(path) for path in written]})
    elif not output.quiet:
        names = [plain_file(path) for path in written]
        width = max(len(name) for name in names)
        click.echo("\n".join(f"{name:{width}}  {what}" for name, what in zip(names, FILES.values(), strict=True)))
        output.say(f"next: grainwright search {plain_file(target / 'study.toml')}")
    return DONE


def listed(table: str | None, word: str, output: Output) -> int:
    """Print what may be written: a table, or the tables that there are."""
    from optimizer.commands.listing import SAID, SHOWN, UnknownTable, headings, rows_of
    from optimizer.results import write_together

    if table is None:
        rows: list[dict[str, Any]] = [{"table": name, "has": said} for name, said in SAID.items()]
    else:
        try:
            rows = rows_of(table, word, Path.cwd())
        except UnknownTable as error:
            raise click.UsageError(f"no table {table!r}: {error}") from None
    answer = {"schema": 2, "table": table, "rows": rows}
    if output.folder is not None:
        from optimizer.results import csv_text, json_text

        name = f"list-{table or 'tables'}"
        columns = headings(rows)
        csv = csv_text(columns, [[row.get(column) for column in columns] for row in rows])
        write_together(output.folder, {f"{name}.json": json_text(answer), f"{name}.csv": csv})
    if output.as_json:
        output.print_json(answer)
    elif not output.quiet:
        from optimizer.output.terminal.listing import print_keys, print_rows

        if table == "keys":
            print_keys(rows)
        else:
            print_rows(rows, SHOWN.get(table or ""), output.units)
    return DONE if rows else NO
