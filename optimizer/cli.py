"""The commands, thin: read the options, call the part that does the work, print or write what it gives back.

Heavy imports happen inside the commands, so that `--help` answers at once. Exit codes: 0 done, 1 the answer is "no",
2 the input is wrong, 3 the machine failed, 130 interrupted. May import everything in optimizer.
"""

from __future__ import annotations

import functools
import io
import os
import signal
import sys
import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import click

LEAST_MEMORY = 200 << 20
"""Address space [bytes] under which the linear algebra library fails on loading, with an exit code of its own."""

DONE, NO, WRONG_INPUT, MACHINE_FAILED, INTERRUPTED = 0, 1, 2, 3, 130


def _guarded(command: Callable[..., int]) -> Callable[..., None]:
    """Turn what a command returns or raises into an exit code and one plain message on stderr."""

    @functools.wraps(command)
    def run(*args: Any, **options: Any) -> None:
        warned: list[str] = []
        try:
            _stop_on_terminate()
            closed = _closed_streams()
            os.environ.pop("SOURCE_DATE_EPOCH", None)  # nothing here takes the clock; libraries stumble over one that is no number
            _write_what_can_be_written()
            if _too_little_memory():
                raise MemoryError
            if 1 in closed and not options.get("quiet"):
                _complain("standard output is closed, with nowhere to put the answer; open it, or say --quiet. Nothing was run.")
                sys.exit(MACHINE_FAILED)
            with _warnings_kept(warned):
                code = _outcome(command, *args, **options)
            sys.stdout.flush()
        except KeyboardInterrupt:
            _complain("interrupted; what was finished is kept, and the same command goes on from there")
            code = INTERRUPTED
        except BrokenPipeError:
            # The reader of our output has gone; there is nobody left to tell.
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            code = DONE
        except MemoryError:
            _complain(_NO_MEMORY)
            code = MACHINE_FAILED
        except (ImportError, OSError) as error:
            code = _machine_failed(error, warned)
        except (click.ClickException, click.exceptions.Exit):
            raise  # a usage that is told as every other
        except Exception as error:  # a defect of ours: told in a line, with the details kept for whoever mends it
            code = _unexpected(error, warned)
        sys.exit(code)

    return run


_MEMORY_SIGNS = ("cannot allocate memory", "failed to map segment", "cannot enable executable", "error loading shared")
_NO_MEMORY = "out of memory: the machine has too little for this; make the study smaller or lower its budget"


def _outcome(command: Callable[..., int], *args: Any, **options: Any) -> int:
    from optimizer.problems import InputError, Problem, plain_file
    from optimizer.results import InTheWay, OutputError, UnreachableError, inputs_kept

    try:
        _look_at_places(command.__name__, options)
        with inputs_kept():
            return command(*args, **options)
    except InputError as error:
        _complain(str(error))
        return WRONG_INPUT
    except InTheWay as error:
        _complain(str(Problem(plain_file(error.path), 0, "", "", plain_file(error.problem), error.fix, "E162")))
        _complain("1 problem; nothing was written.")
        return WRONG_INPUT
    except UnreachableError as error:
        _complain(str(error))
        return MACHINE_FAILED
    except OutputError as error:
        _complain(f"cannot write: {error}")
        return MACHINE_FAILED


def _machine_failed(error: ImportError | OSError, warned: Sequence[str] = ()) -> int:
    """Say what the machine refused. A module that is not there is a fault of the installation, and is not hidden."""
    text = str(error)
    if any(sign in text.lower() for sign in _MEMORY_SIGNS):
        _complain(_NO_MEMORY)
    elif isinstance(error, ImportError):
        return _unexpected(error, warned)
    else:
        _complain(f"the machine failed: {_one_line(text)}")
    return MACHINE_FAILED


def _unexpected(error: Exception, warned: Sequence[str]) -> int:
    """One line on what should not have happened, and where the details are: a file of its own, for this account only."""
    what = _one_line(f"{type(error).__name__}: {error}")[:200]
    try:
        place = _details(error, warned)
        where = f"details are in {place}"
    except OSError as full:
        where = f"details could not be written ({full.strerror})"
    _complain(f"a fault of this program, not of your files: {what}; {where}. What was written before is unchanged.")
    return MACHINE_FAILED


def _details(error: Exception, warned: Sequence[str]) -> str:
    import platform
    import tempfile
    import traceback

    told = [
        "Grainwright ended unexpectedly. Send this text, and the files it was given, to whoever keeps it.",
        f"command: {sys.argv[1:]!r}",
        f"folder: {os.getcwd()!r}",
        f"python {platform.python_version()} on {platform.platform()}",
        *warned,
        *traceback.format_exception(error),
    ]
    handle, name = tempfile.mkstemp(prefix="grainwright-fault-", suffix=".txt")
    with open(handle, "w", encoding="utf-8", errors="backslashreplace") as stream:
        stream.write("\n".join(told) + "\n")
    return name


@contextmanager
def _warnings_kept(warned: list[str]) -> Iterator[None]:
    """Warnings of the libraries are kept for the details of a fault: what a builder must know is said by the answer."""
    import warnings

    def keep(message: Any, category: type[Warning], filename: str, lineno: int, file: Any = None, line: Any = None) -> None:
        warned.append(warnings.formatwarning(message, category, filename, lineno).strip())

    with warnings.catch_warnings():
        if not sys.warnoptions:
            warnings.showwarning = keep
        yield


def _closed_streams() -> list[int]:
    """Standard streams that came closed, each opened on nothing: else the next file opened would take its number."""
    closed = []
    for number, mode in ((0, "r"), (1, "w"), (2, "w")):
        try:
            os.fstat(number)
        except OSError:
            closed.append(number)
            os.open(os.devnull, os.O_RDONLY if mode == "r" else os.O_WRONLY)  # takes the lowest number free: this one
    for number, name in ((1, "stdout"), (2, "stderr")):
        if number in closed or getattr(sys, name) is None:
            setattr(sys, name, io.TextIOWrapper(io.FileIO(os.devnull, "w"), encoding="utf-8", errors="replace"))
            closed += [] if number in closed else [number]
    return closed


def _look_at_places(command: str, options: Mapping[str, Any]) -> None:
    """Find out before the work whether its results can be written where they should go."""
    from optimizer.results import look_at_place

    if command == "new":
        return  # quick, and it says more itself
    folder = options["out"]
    if folder is None and (command in ("search", "draw") or not options["as_json"]):
        folder = Path("results")
    if folder is not None:
        look_at_place(folder)
    for name in ("curve", "ladder", "propellant"):
        if options.get(name) is not None:
            look_at_place(options[name].parent, options[name])


def _write_what_can_be_written() -> None:
    """Signs that the terminal's alphabet lacks become "?"; without this a × would end the command."""
    if isinstance(sys.stdout, io.TextIOWrapper) and sys.stdout.errors in ("strict", "surrogateescape"):
        sys.stdout.reconfigure(errors="replace")


def _stop_on_terminate() -> None:
    """A polite request to end (SIGTERM) is taken like an interrupt: what was finished is kept."""

    def stop(number: int, frame: Any) -> None:
        raise KeyboardInterrupt

    if threading.current_thread() is threading.main_thread():
        signal.signal(signal.SIGTERM, stop)


def _too_little_memory() -> bool:
    """Whether the address space is limited so tightly that the numeric libraries end the process by themselves."""
    try:
        import resource
    except ImportError:  # a system without such limits
        return False
    soft = resource.getrlimit(resource.RLIMIT_AS)[0]
    return soft != resource.RLIM_INFINITY and soft < LEAST_MEMORY


def _complain(text: str) -> None:
    click.echo("".join(letter if letter.isprintable() or letter == "\n" else "?" for letter in text), err=True)


def _one_line(text: str) -> str:
    return " ".join("".join(letter if letter.isprintable() else " " for letter in text).split())


OUT_FOLDER = "Output folder (default: one of its own in results/, named after the file)."


def _shared(
    kernel: bool = False, default: str = "Default: steady.", out: str = OUT_FOLDER
) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """The options of every command, and `--kernel` where a motor is evaluated; `default` and `out` are words of its help."""

    def decorate(command: Callable[..., Any]) -> Callable[..., Any]:
        if kernel:
            command = click.option(
                "--kernel",
                type=click.Choice(["steady", "transient"]),
                help=f"steady: equilibrium at each web; transient: filling, port flow, erosive burning. {default}",
            )(command)
        command = click.option("--quiet", is_flag=True, help="Print errors only.")(command)
        command = click.option(
            "--out",
            type=click.Path(path_type=Path, file_okay=False),
            help=out,
        )(command)
        command = click.option(
            "--units",
            type=click.Choice(["metric", "imperial"]),
            help="Units of tables and drawings (default: those of the file, else metric).",
        )(command)
        return click.option("--json", "as_json", is_flag=True, help="One JSON object on stdout and nothing else.")(command)

    return decorate


_MOTOR = click.Path(path_type=Path)
_SEED = click.IntRange(0, 2**32 - 1)


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(package_name="grainwright", prog_name="grainwright")
def main() -> None:
    """Design, check and learn from your own solid rocket motors.

    Begin with `grainwright new FOLDER`: a study, a motor and a firing that run as they are, with the commands to run.

    Work with your club and under your local codes; a figure printed here is no permission to fire.
    """


@main.command(epilog="Example: grainwright search start/study.toml")
@click.argument("study", type=_MOTOR)
@click.option("--seed", type=_SEED, help="Seed of the search (default: the study's).")
@_shared(kernel=True, default="Default: the study's setting.")
@_guarded
def search(
    study: Path, seed: int | None, kernel: str | None, as_json: bool, units: str | None, out: Path | None, quiet: bool
) -> int:
    """Search a study and write its Pareto table.

    Every design of the table is a motor file too, in the folder of the results, beside a page that opens in a browser.
    """
    from optimizer import actions

    return actions.search(study, seed=seed, kernel=kernel, output=actions.Output(as_json, units, out, quiet, "search"))


@main.command(epilog="Example: grainwright check start/motor.toml --ladder ladder.svg")
@click.argument("motor", type=_MOTOR)
@click.option("--curve", type=click.Path(path_type=Path, dir_okay=False), help="Write pressure, thrust and flow over time (CSV).")
@click.option(
    "--ladder",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Write the failure ladder as a picture (.svg, .pdf or .png).",
)
@click.option(
    "--as-measured",
    "measured",
    type=click.Path(path_type=Path, dir_okay=False),
    help="CSV of measured sizes (key, value, unit; keys as in the motor file): check the motor as built.",
)
@click.option(
    "--all",
    "whole",
    is_flag=True,
    help="Print every rung, note, source and history (default: the lowest rungs and what falls short).",
)
@_shared(kernel=True)
@_guarded
def check(
    motor: Path,
    curve: Path | None,
    ladder: Path | None,
    measured: Path | None,
    whole: bool,
    kernel: str | None,
    **shared: Any,
) -> int:
    """Evaluate one motor, with its failure ladder.

    Ballistics, every failure mode lowest first, masses, fit in the airframe, what was not assessed, cautions.
    """
    from optimizer import actions

    output = actions.Output(shared["as_json"], shared["units"], shared["out"], shared["quiet"], "check")
    kernel = kernel or "steady"
    return actions.check(motor, curve=curve, ladder=ladder, kernel=kernel, output=output, whole=whole, measured=measured)


@main.command(epilog="Example: grainwright compare mark1.toml mark2.toml")
@click.argument("motors", type=_MOTOR, nargs=-1, required=True)
@_shared(kernel=True)
@_guarded
def compare(motors: tuple[Path, ...], kernel: str | None, as_json: bool, units: str | None, out: Path | None, quiet: bool) -> int:
    """Show what changed between motors, and what each change did.

    Two motor files or more, oldest first.
    """
    from optimizer import actions

    output = actions.Output(as_json, units, out, quiet, "compare")
    return actions.compare(motors, kernel=kernel or "steady", output=output)


@main.command(epilog="Example: grainwright spread start/motor.toml --samples 1024")
@click.argument("motor", type=_MOTOR)
@click.option(
    "--samples",
    type=click.IntRange(16, 2**16),
    default=4096,
    help="Number of points drawn; a power of two is best (default: 4096).",
)
@click.option("--seed", type=_SEED, default=1, help="Seed of the points.")
@click.option("--as-specified", is_flag=True, help="Leave strengths at their specified minimum and formulas unscattered.")
@_shared(kernel=True)
@_guarded
def spread(
    motor: Path,
    samples: int,
    seed: int,
    as_specified: bool,
    kernel: str | None,
    **shared: Any,
) -> int:
    """Show what tolerances and lot scatter do to a motor.

    Draws over the [tolerances] of the motor file and over the scatter of strengths and formulas: percentiles, the chance
    that each rung fails, and which tolerance matters most.
    """
    from optimizer import actions

    output = actions.Output(shared["as_json"], shared["units"], shared["out"], shared["quiet"], "spread")
    return actions.spread(motor, samples=samples, seed=seed, kernel=kernel or "steady", as_specified=as_specified, output=output)


@main.command(epilog="Example: grainwright reduce start/firing.toml --propellant refitted.toml")
@click.argument("firings", type=_MOTOR, nargs=-1, required=True)
@click.option("--propellant", type=click.Path(path_type=Path, dir_okay=False), help="Write the re-fitted propellant to this file.")
@_shared(kernel=True, default="Default: transient.")
@_guarded
def reduce(
    firings: tuple[Path, ...],
    propellant: Path | None,
    kernel: str | None,
    as_json: bool,
    units: str | None,
    out: Path | None,
    quiet: bool,
) -> int:
    """Turn firing records into figures and a rate law.

    One firing file or more; several of one propellant are fitted together.
    """
    from optimizer import actions

    output = actions.Output(as_json, units, out, quiet, "reduce")
    return actions.reduce(firings, propellant=propellant, kernel=kernel, output=output)


@main.command(epilog="Example: grainwright explain start/failed_firing.toml")
@click.argument("firing", type=_MOTOR)
@_shared(kernel=True)
@_guarded
def explain(firing: Path, kernel: str | None, as_json: bool, units: str | None, out: Path | None, quiet: bool) -> int:
    """Rank the failure modes that fit a failed firing.

    The firing file says what was found under [observed]; a pressure record helps and is not needed.
    """
    from optimizer import actions

    output = actions.Output(as_json, units, out, quiet, "explain")
    return actions.explain(firing, kernel=kernel or "steady", output=output)


@main.command(epilog="Example: grainwright vouch start/motor.toml proof.toml")
@click.argument("motor", type=_MOTOR)
@click.argument("tests", type=_MOTOR, nargs=-1)
@_shared(kernel=True)
@_guarded
def vouch(
    motor: Path, tests: tuple[Path, ...], kernel: str | None, as_json: bool, units: str | None, out: Path | None, quiet: bool
) -> int:
    """Show what tests have proven of a motor.

    The motor's own [[evidence]], and files of tests (water proof, firing): how far each rung is known to hold, its chance
    before and after, what no test has touched, and what to test next.
    """
    from optimizer import actions

    output = actions.Output(as_json, units, out, quiet, "vouch")
    return actions.vouch(motor, tests, kernel=kernel or "steady", output=output)


@main.command(epilog="Example: grainwright draw start/motor.toml --paper Letter")
@click.argument("motor", type=_MOTOR)
@click.option("--paper", type=click.Choice(["A4", "Letter"]), default="A4", help="Paper size (default: A4).")
@click.option("--stock", type=_MOTOR, multiple=True, metavar="FILE", help="A stock list of your own, besides those in stock/.")
@_shared(kernel=True)
@_guarded
def draw(motor: Path, paper: str, stock: tuple[Path, ...], kernel: str | None, **shared: Any) -> int:
    """Draw section, drilling wrap, lathe sheets and cut list.

    The wrap is at 1:1; wrap and turned parts come as PDF and DXF. With them come the review sheet, the water proof test, the
    sheet for the test stand and that for the day at the range.

    The shopping list takes tubes, bars, rings and screws from your own lists first (CSV, in stock/ beside the motor or given
    with --stock); where they have a column price, it says what that costs.
    """
    from optimizer import actions

    output = actions.Output(shared["as_json"], shared["units"], shared["out"], shared["quiet"], "draw")
    return actions.draw(motor, paper=paper, stock=stock, kernel=kernel or "steady", output=output)


@main.command("list", epilog="Example: grainwright list keys --find throat")
@click.argument("table", required=False)
@click.option("--find", default="", metavar="WORD", help="Only rows that contain this word, or all of several.")
@_shared(out="Folder that the table is written to as CSV and JSON (default: none).")
@_guarded
def list_(table: str | None, find: str, as_json: bool, units: str | None, out: Path | None, quiet: bool) -> int:
    """Print what may be written in a file.

    TABLE is one of: keys, figures, materials, grades, screws, drills, reamers, tubes, bars, rings, modes, found. Stock lists
    in stock/, where you stand, are read too.
    """
    from optimizer import actions

    return actions.listed(table, find, output=actions.Output(as_json, units, out, quiet, "list"))


@main.command(epilog="Example: grainwright live start/motor.toml")
@click.argument("motor", type=_MOTOR)
@click.option("--port", type=click.IntRange(0, 65535), default=0, help="Port on this machine (default: any that is free).")
@click.option("--no-browser", is_flag=True, help="Open no browser; the address is printed either way.")
@_shared(out="Folder that motors and studies are saved in (default: that of the motor).")
@_guarded
def live(motor: Path, port: int, no_browser: bool, as_json: bool, units: str | None, out: Path | None, quiet: bool) -> int:
    """Turn the knobs of a motor in the browser and watch its ladder.

    A page on this machine alone, with the motor's parts as knobs, forward to aft. What you save goes beside the motor
    (or to --out). Ctrl-C ends it.
    """
    from optimizer import actions

    return actions.live(motor, port, not no_browser, output=actions.Output(as_json, units, out, quiet, "live"))


@main.command(epilog="Example: grainwright new start")
@click.argument("folder", type=click.Path(path_type=Path), required=False)
@_shared(out="The folder to make, where FOLDER is not given.")
@_guarded
def new(folder: Path | None, as_json: bool, units: str | None, out: Path | None, quiet: bool) -> int:
    """Make a commented starter folder that runs as it is.

    FOLDER is made if it is not there (by default grainwright-start); existing files are never overwritten.
    """
    from optimizer import actions

    return actions.new(folder, output=actions.Output(as_json, units, out, quiet, "new"))


if __name__ == "__main__":
    main(prog_name="grainwright")
