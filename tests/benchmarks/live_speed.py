"""How long a turn of a knob takes, over the bare kernel call beside it: median and 95 %, and the bytes that are sent.

    python tests/benchmarks/live_speed.py [MOTOR] [turns]

Each turn is a value the bench has not seen: `quick` without the marches of heat, `whole` with them, with the cautions and
with each change alone; `page` is a quick one through the server on the loopback, as the page asks. The bare call is
`physics.ballistics.kernel.evaluate` of the same motor with its histories, timed in turn with the answers, so that what
else the machine does falls on both.
"""

from __future__ import annotations

import http.client
import json
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from optimizer.inputs import motor_from_document
from optimizer.live.bench import Bench
from optimizer.live.server import Desk, desk_server, serve
from optimizer.results import plain
from physics.ballistics.kernel import evaluate

CURLEW = Path(__file__).resolve().parents[2] / "studies" / "motors" / "curlew.toml"


def timed(work: Callable[[], object]) -> tuple[float, object]:
    """Seconds that a call takes, and what it gives."""
    since = time.perf_counter()
    found = work()
    return time.perf_counter() - since, found


def told(name: str, seconds: list[float], bare: list[float], sizes: list[int]) -> None:
    """One line: milliseconds, the ratio to the bare call beside it, kilobytes."""
    ratio = np.array(seconds) / np.array(bare)
    print(
        f"{name:8} median {1e3 * np.median(seconds):7.1f} ms, 95 % {1e3 * np.percentile(seconds, 95):7.1f} ms; over the bare call "
        f"{np.median(ratio):6.1f} x, 95 % {np.percentile(ratio, 95):6.1f} x; {np.median(sizes) / 1e3:6.1f} kB sent"
    )


def main(path: Path = CURLEW, turns: int = 60) -> None:
    """Print the lines."""
    bench = Bench.of(path)
    knob = next(knob for knob in bench.knobs if knob.name == "nozzle.throat_diameter")
    values = [f"{1e3 * knob.value * (0.95 + 0.1 * k / turns):.4f} mm" for k in range(turns)]
    print(f"{path.name}: {turns} turns of the throat, {len(bench.start.rungs)} rungs")
    bare_all: list[float] = []
    for name, whole, count in (("quick", False, turns), ("whole", True, max(turns // 4, 5))):
        seconds, bare, sizes, have = [], [], [], bench.answer({})["digests"]
        for value in values[:count]:
            motors = motor_from_document(bench.turned({knob.name: value}).document, path).motors
            bare.append(timed(lambda motors=motors: evaluate(motors, curve=True))[0])
            took, found = timed(
                lambda value=value, whole=whole, have=have: bench.answer({knob.name: value}, whole=whole, have=have)
            )
            assert isinstance(found, dict) and found["ok"]
            have = {**have, **found["digests"]}
            seconds.append(took)
            sizes.append(len(json.dumps(plain(found), ensure_ascii=False, separators=(",", ":")).encode()))
        told(name, seconds, bare, sizes)
        bare_all = bare_all or bare
    seconds, sizes = through_the_server(path, knob.name, values)
    told("page", seconds, bare_all[: len(seconds)], sizes)
    print(f"bare     median {1e3 * np.median(bare_all):7.1f} ms, 95 % {1e3 * np.percentile(bare_all, 95):7.1f} ms")


def through_the_server(path: Path, name: str, values: list[str]) -> tuple[list[float], list[int]]:
    """Seconds and bytes of quick answers over the loopback, one connection, as a browser keeps it."""
    desk, ready, told_address = Desk.of(path), threading.Event(), []

    def hear(address: str) -> None:
        told_address.append(address)
        ready.set()

    thread = threading.Thread(target=serve, args=(desk, 0, False, hear), daemon=True)
    thread.start()
    ready.wait(60)
    host, token = told_address[0].split("/")[2], desk.token
    link = http.client.HTTPConnection(host, timeout=60)
    headers = {"Content-Type": "application/json", "Origin": f"http://{host}"}
    seconds, sizes, have = [], [], {}
    for number, value in enumerate(values):
        body = json.dumps({"values": {name: value}, "number": number, "tab": "benchmark", "have": have})
        since = time.perf_counter()
        link.request("POST", f"/{token}/answer", body, headers)
        answer = link.getresponse().read()
        seconds.append(time.perf_counter() - since)
        sizes.append(len(answer))
        have |= json.loads(answer)["digests"]
    link.close()
    desk_server[id(desk)].should_exit = desk_server[id(desk)].force_exit = True
    thread.join(20)
    return seconds, sizes


if __name__ == "__main__":
    main(*(kind(word) for kind, word in zip((Path, int), sys.argv[1:], strict=False)))
