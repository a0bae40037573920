"""From results to the views that the report pages are made of.

Owns which file, version and caution goes on which page. May import the result types and the report.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from optimizer.cautions import Caution, cautions
from optimizer.drivers.fingerprint import versions
from optimizer.output import report
from physics.assessment import Assessment, assess
from physics.designation import designation

if TYPE_CHECKING:
    from optimizer.commands.compare import Comparison
    from optimizer.commands.explain import Explanation, History
    from optimizer.commands.search import Design, SearchResult
    from optimizer.commands.spread import SpreadResult
    from optimizer.commands.standing import Standing
    from optimizer.commands.vouch import Vouching
    from optimizer.firings.rate_fit import Learned, Series
    from optimizer.firings.reduction import Reduction
    from optimizer.inputs import Firing, MotorFile

VERSIONS = ("grainwright", "numpy", "scipy")


def _common(title: str, file: Any, units: str, found: Sequence[Any]) -> dict[str, Any]:
    """What every page carries; the caution for people comes once, at the end."""
    return {
        "title": title,
        "file": "" if file is None else str(file),
        "units": units,
        "cautions": [{"about": caution.about, "text": caution.text} for caution in found],
        "versions": versions(VERSIONS),
    }


def _inputs(file: MotorFile) -> list[dict[str, str]]:
    return [
        {"role": "motor" if str(path) == str(file.path) else "read", "path": str(path), "digest": str(digest)}
        for path, digest in file.sources
    ]


def named(assessment: Assessment, index: int = 0) -> str:
    """Designation of one motor of an assessed batch."""
    figures = assessment.figures
    return designation(figures["total_impulse"], figures["mean_thrust"])[index]


def check_page(
    file: MotorFile, assessment: Assessment, found: Sequence[Caution], units: str, stands: Standing | None = None
) -> str:
    """The page of `check`; with `stands`, which rungs are the first to fail, what tests have held, and flaws."""
    view = _common(file.name, file.path, units, found)
    view |= {
        "kernel": assessment.figures.kernel,
        "inputs": _inputs(file),
        "design": report.design_view(assessment, file.name, designation=named(assessment)) | _standing_view(stands),
    }
    if stands is not None:
        _add_tests(view["design"]["ladder"], stands)
    view["flaws"] = [] if stands is None else stands.flaw_lines(units)
    view["start_up"] = [] if stands is None or stands.start is None else stands.start.lines(units)
    return report.render_check(view)


def _add_tests(rows: Sequence[dict[str, Any]], stands: Standing) -> None:
    """To the rows of a ladder: what tests have held of each, and the band that they leave."""
    for row in rows:
        key = row["mode"], row["part"]
        row["held"] = stands.held.get(key, (None, ""))[0]
        if key in stands.bands:
            low, row["likely"], high = stands.bands[key]
            row["band"] = [low, high]


def _standing_view(stands: Standing | None) -> dict[str, Any]:
    if stands is None:
        return {}
    first = [{"mode": mode, "part": part, "share": share} for (mode, part), share in stands.top()]
    return {"first_to_fail": first, "points": stands.points}


def compare_page(comparison: Comparison, units: str) -> str:
    """The page of `compare`; the cautions are those of the last motor."""
    looked = [assess(motor.motors, kernel=comparison.kernel, curve=True) for motor in comparison.motors]
    title = " → ".join(comparison.names)
    view = _common(title, comparison.motors[-1].path, units, cautions(looked[-1], units))
    answer = comparison.as_json()
    view |= {
        "kernel": comparison.kernel,
        "inputs": [entry for motor in comparison.motors for entry in _inputs(motor)],
        "designs": [
            report.design_view(assessment, name, designation=named(assessment))
            for assessment, name in zip(looked, comparison.names, strict=True)
        ],
        "changes": [
            {key: change[key] for key in ("key", "from", "to", "lines")} | {"alone": _moved(change, answer["figures"])}
            for change in answer["changes"]
        ],
        "answers": [step.answer for step in comparison.steps],
        "first_to_fail": [{"mode": mode, "part": part, "shares": shares} for (mode, part), shares in comparison.first_to_fail],
    }
    return report.render_compare(view)


_SHOWN_CHANGES = ("peak_pressure", "total_impulse", "burn_time", "propellant_mass", "smallest_factor")


def _moved(change: Mapping[str, Any], figures: Mapping[str, Sequence[float | None]]) -> dict[str, float | None]:
    """What one change alone does to the figures that matter first, as a difference in SI."""
    alone = change["alone"]
    if alone is None:
        return {}
    before = {name: values[change["step"][0]] for name, values in figures.items()}
    return {
        name: None if alone.get(name) is None or before.get(name) is None else alone[name] - before[name]
        for name in _SHOWN_CHANGES
        if name in alone
    }


def spread_page(file: MotorFile, result: SpreadResult, units: str) -> str:
    """The page of `spread`, with the nominal motor beside the percentiles."""
    assessment = assess(file.motors, kernel=result.kernel, curve=True)
    view = _common(file.name, file.path, units, cautions(assessment, units))
    view |= result.as_json()
    view |= {
        "kernel": result.kernel,
        "seed": result.seed,
        "inputs": _inputs(file),
        "design": report.design_view(assessment, file.name, designation=named(assessment)),
    }
    return report.render_spread(view)


def reduce_page(learned: Learned, units: str, kernel: str | None = None, told: Sequence[Reduction | None] | None = None) -> str:
    """The page of `reduce`: measured against predicted before and after the fit, and the rate law.

    The motor file's own prediction is taken through the same reduction as the record (`told`, where it is at hand);
    `kernel` as the fit's.
    """
    from optimizer.firings.reduction import prediction

    answer = learned.as_json()
    first = learned.reductions[0]
    view = _common(", ".join(reduction.name for reduction in learned.reductions), first.firing.path, units, learned.cautions)
    series = {} if learned.fit is None else {one.name: one for one in learned.fit.series}
    used = kernel or "transient"
    if told is None:
        told = [prediction(reduction, used) for reduction in learned.reductions]
    view |= {
        "kernel": used,
        "inputs": [entry for reduction in learned.reductions for entry in _firing_inputs(reduction.firing)],
        "firings": [
            _firing_view(reduction, foretold, series.get(reduction.name), used)
            for reduction, foretold in zip(learned.reductions, told, strict=True)
        ],
        "fit": answer["fit"],
        "fit_why": "" if answer["fit"] else learned.cautions[0].text,
        "rate_lines": [] if learned.fit is None else _rate_lines(learned.fit),
    }
    return report.render_reduce(view)


def _firing_view(reduction: Reduction, told: Reduction | None, series: Series | None, kernel: str) -> dict[str, Any]:
    """One firing of a reduction, with what the motor file as fired predicts."""
    from optimizer.firings.reduction import foretold

    return {
        "name": reduction.name,
        "measured": reduction.measured,
        "uncertainty": reduction.uncertainty,
        "predicted": foretold(told),
        "predicted_by": f"the motor file as fired on the day, {kernel} kernel, reduced by the same definitions",
        "measured_curve": _measured_curve(reduction),
        "predicted_curve": _told_curve(reduction, told, series),
        "refitted_curve": _fitted_curve(series, "predicted"),
        "cautions": [{"about": caution.about, "text": caution.text} for caution in reduction.cautions],
        "case_temperature": [dict(one) for one in reduction.outside],
        "liner": [dict(one) for one in reduction.liner],
    }


def _told_curve(reduction: Reduction, told: Reduction | None, series: Series | None) -> dict[str, Any] | None:
    """The predicted histories on the record's clock: as the fit has them, else with the 10 % points laid together."""
    if told is None:
        return None
    time = told.time + (reduction.start - told.start)
    inside = (time >= reduction.time[0]) & (time <= reduction.time[-1])
    curve: dict[str, Any] = {"time": _numbers(time[inside])}
    if told.pressure is not None:
        curve["chamber_pressure"] = _numbers(told.pressure[inside])
    if told.thrust is not None:
        curve["thrust"] = _numbers(told.thrust[inside])
    if series is not None:
        curve = {"time": _numbers(series.time), "chamber_pressure": _numbers(series.before)}
        if told.thrust is not None:
            curve["thrust"] = _numbers(np.interp(series.time, time, told.thrust, left=np.nan, right=np.nan))
    return curve


def _firing_inputs(firing: Firing) -> list[dict[str, str]]:
    """The firing file, the motor it names, and the record."""
    from optimizer.results import file_digest

    read = [
        {"role": "firing" if str(path) == str(firing.path) else "read", "path": str(path), "digest": str(digest)}
        for path, digest in firing.sources
    ]
    if firing.record is not None:
        read.append({"role": "record", "path": str(firing.record), "digest": file_digest(firing.record)})
    return read


def explain_page(firing: Firing, explanation: Explanation, kernel: str, units: str) -> str:
    """The page of `explain`."""
    pressure = explanation.pressure
    low, high = explanation.plausible
    why = explanation.why_first
    said = [item for item in explanation.cautions if item.text not in why]
    view = _common(explanation.firing, firing.path, units, said)
    view |= {
        "kernel": kernel,
        "inputs": _firing_inputs(firing),
        "failure": {
            "time": explanation.time,
            "pressure": pressure.value,
            "low": low,
            "high": high,
            "source": pressure.source,
            "moment": explanation.moment,
            "end": explanation.end,
            "found": list(explanation.found),
        },
        "candidates": [
            candidate.as_json()
            | {
                "band": list(candidate.band),
                "for": explanation.in_short(candidate.reasons_for),
                "against": explanation.in_short(candidate.reasons_against),
            }
            for candidate in explanation.candidates
        ],
        "why_first": why,
        "elsewhere": explanation.elsewhere,
        "ruled_out": [
            item.as_json()
            | {
                "ground": item.ground,
                "pressure": item.pressure,
                "time": item.time,
                "absent": list(item.absent),
                "cause": next(iter(explanation.in_short(item.why.split("; "))), ""),
            }
            for item in explanation.ruled_out
        ],
        "unweighed": explanation.as_json()["not_assessed"],
        "recorded": _history(explanation.recorded),
        "predicted": _history(explanation.predicted),
        "next_step": explanation.next_step,
        "assumptions": list(explanation.assumptions),
    }
    return report.render_explain(view)


def vouch_page(file: MotorFile, found: Vouching, units: str) -> str:
    """The page of `vouch`: every rung with what tests have held of it, what none has touched, and what to test next."""
    from optimizer.results import file_digest

    answer, known = found.as_json(), _inputs(file)
    seen = {item["path"] for item in known}
    view = _common(file.name, file.path, units, cautions(found.look, units))
    view |= {key: answer[key] for key in ("chance_before", "chance_after", "untouched", "coverage", "next_test", "failed", "notes")}
    view |= {
        "kernel": found.look.figures.kernel,
        "inputs": known
        + [{"role": "test", "path": str(path), "digest": file_digest(path)} for path in found.files if str(path) not in seen],
        "maximum_expected_pressure": answer["maximum_expected_pressure"],
        "lasts": found.lasts,
        "tests": [
            {
                "name": one.name,
                "outcome": one.outcome,
                "mode": one.mode,
                "hardware": "this" if one.same_hardware else "another copy",
                "temperature": one.temperature,
                "loaded": found.loaded.get(one.name, 0),
            }
            for one in found.tests
        ],
        "rungs": [
            vars(rung) | {"band": list(rung.band), "before": rung.before.value, "after": rung.after.value} for rung in found.rungs
        ],
    }
    return report.render_vouch(view)


def _history(history: History | None) -> dict[str, Any] | None:
    return None if history is None else {"time": _numbers(history.time), "pressure": _numbers(history.pressure)}


def _numbers(values: Any) -> list[float | None]:
    return [float(value) if np.isfinite(value) else None for value in values]


def _measured_curve(reduction: Any) -> dict[str, Any]:
    curve: dict[str, Any] = {"time": _numbers(reduction.time)}
    if reduction.pressure is not None:
        curve["chamber_pressure"] = _numbers(reduction.pressure)
    if reduction.thrust is not None:
        curve["thrust"] = _numbers(reduction.thrust)
    return curve


def _fitted_curve(series: Any, name: str) -> dict[str, Any] | None:
    if series is None:
        return None
    return {"time": _numbers(series.time), "chamber_pressure": _numbers(getattr(series, name))}


def _rate_lines(fit: Any) -> list[dict[str, Any]]:
    pressure = np.geomspace(fit.pressure_range[0], fit.pressure_range[1], 40)
    lines = [{"name": "re-fitted", "pressure": list(pressure), "rate": list(fit.rate * (pressure / fit.at) ** fit.exponent)}]
    before = fit.before
    if {"rate", "exponent"} <= set(before):
        at = before.get("at", fit.at)
        lines.append(
            {
                "name": "motor file",
                "pressure": list(pressure),
                "rate": list(before["rate"] * (pressure / at) ** before["exponent"]),
            }
        )
    return lines


def search_page(result: SearchResult, units: str) -> str:
    """The page of `search`."""
    from optimizer.output.report.tradeoff import end_lines

    study = result.study
    view = _common(study.name, study.path, units, [_PEOPLE])
    view |= {
        "kernel": result.kernel,
        "seed": result.seed,
        "seconds": f"{result.seconds:.2f}",
        "inputs": [{"role": "read", "path": str(path), "digest": str(digest)} for path, digest in study.sources],
        "objectives": [{"name": aim.name, "direction": aim.sense} for aim in study.objectives],
        "variables": list(result.designs[0].variables) if result.designs else list(study.variables),
        "designs": [_design_row(design) for design in result.designs],
        "space": result.space,
        "evaluated": result.evaluated,
        "feasible": result.feasible,
        "exact": result.exact,
        "proof": " ".join([result.proof, *result.messages]),
        "rejected_by": result.rejected_by,
        "nearest": [row | {"results": {}, "motor_file": ""} for row in result.nearest],
        "relaxations": result.relaxations,
        "ways_in": result.ways_in,
        "range_ends": end_lines(result.range_ends, units),
        "files": {"study": study.path.name, "motor": study.motor.path.name},
    }
    return report.render_search(view)


_PEOPLE = Caution(
    "people",
    "A design on this page is a proposal, not a permission. Run `grainwright check` on its motor file; read what was "
    "not assessed; proof-test the empty motor with water, inert and from behind cover; fire remotely at your club's "
    "distance, under your local codes and with a review by a licensed or certified member.",
)


def _design_row(design: Design) -> dict[str, Any]:
    return {
        "id": design.number,
        "variables": {
            key: design.texts.get(key, value) if isinstance(value, str) else value for key, value in design.variables.items()
        },
        "results": design.results,
        "motor_file": design.file,
        "detail": report.design_view(
            design.assessment, f"design {design.number}", index=design.row, designation=design.results["designation"]
        )
        | {"roundings": design.roundings},
    }
