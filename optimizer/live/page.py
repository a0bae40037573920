"""The page as it is first sent: knobs, the panels of the motor as the file has it, our scripts and what they may do.

Imports the bench, the templates and the versions.
"""

from __future__ import annotations

import base64
import hashlib
import json
from functools import cache
from itertools import groupby
from typing import Any

from markupsafe import Markup

from optimizer.live.bench import Bench
from optimizer.live.knobs import Knob
from optimizer.live.templates import template, text_of
from optimizer.problems import plain_file
from optimizer.units import to_si

SCRIPTS = ("page.js", "live.js")
STYLES = ("page.css", "live.css")


@cache
def policy() -> str:
    """What the browser lets the page do: its own scripts by their digests, questions to where it came from, nothing else."""
    digests = " ".join(f"'sha256-{base64.b64encode(hashlib.sha256(text_of(name).encode()).digest()).decode()}'" for name in SCRIPTS)
    return (
        f"default-src 'none'; style-src 'unsafe-inline'; img-src data:; script-src {digests}; connect-src 'self'; "
        "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    )


def page(bench: Bench, suggested: str) -> str:
    """The whole page of a bench; `suggested` is the name offered for a file to save."""
    answer = bench.answer({}, whole=True)
    lists: dict[str, list[list[Any]]] = {}
    knobs = [_knob_data(knob, lists) for knob in bench.knobs]
    data = {"knobs": knobs, "lists": lists, "digests": answer["digests"], "digest": bench.file.digest}
    text: str = template("live.html").render(
        title=bench.file.name,
        file=plain_file(bench.file.path),
        parts=[
            {"name": part, "open": [k for k in own if k.first], "more": [k for k in own if not k.first]}
            for part, own in ((part, list(group)) for part, group in groupby(bench.knobs, key=lambda knob: knob.part))
        ],
        place={knob.name: place for place, knob in enumerate(bench.knobs)},
        follows=any(knob.name == "case.wall" for knob in bench.knobs),
        panels={name: Markup(text) for name, text in answer["panels"].items()},
        data=json_text(data),
        suggested=suggested,
        styles=[Markup(text_of(name)) for name in STYLES],
        scripts=[Markup(text_of(name)) for name in SCRIPTS],
    )
    return text


def json_text(data: Any) -> Markup:
    """Data as JSON that is inert inside a script element."""
    text = json.dumps(data, allow_nan=False, ensure_ascii=False, separators=(",", ":"))
    for character in "<>&\u2028\u2029":
        text = text.replace(character, f"\\u{ord(character):04x}")
    return Markup(text)


def _knob_data(knob: Knob, lists: dict[str, list[list[Any]]]) -> dict[str, Any]:
    """A knob as the script needs it; a list of sizes that several share is sent once."""
    found: dict[str, Any] = {"name": knob.name, "text": knob.text, "value": knob.value, "kind": knob.kind,
                             "part": knob.part, "label": knob.label}  # fmt: skip
    if knob.steps:
        steps = [[step.text, step.value, step.name] for step in knob.steps]
        name = next((name for name, known in lists.items() if known == steps), f"l{len(lists)}")
        lists[name] = steps
        found["list"] = name
    if knob.stride is not None:
        unit = knob.stride.unit
        zero = float(to_si(0.0, unit)) if unit else 0.0
        scale = float(to_si(1.0, unit)) - zero if unit else 1.0
        found["stride"] = {"size": knob.stride.size, "unit": unit, "zero": zero, "scale": scale, "low": knob.spec.low,
                           "high": knob.spec.high if knob.spec.high < 1e300 else 1e300, "open": knob.spec.open_low}  # fmt: skip
    return found
