"""The server of one motor on this machine: it listens on the loopback alone, and answers to its own page alone.

Owns who is answered (a token in the address, Host and Origin, checked before anything else), how large and how slow a
question may be, and that the newest question of a tab wins. What is answered is the bench's. Every value that reaches
the disk goes through `saving`. Imports starlette and uvicorn, and nothing above the bench.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import logging
import secrets
import signal
import socket
import threading
import webbrowser
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from optimizer.inputs import InputError
from optimizer.live.bench import Bench, UnknownKnob
from optimizer.live.page import page, policy
from optimizer.live.remedies import remedies
from optimizer.live.saving import Refused, free_name, save_motor, save_study
from optimizer.problems import plain_file
from optimizer.results import InTheWay, OutputError, file_digest, plain

LARGEST_BODY = 32_768
SLOWEST_BODY = 5.0
"""Seconds within which the body of a question must have come."""
MOST_TABS = 64

Scope = dict[str, Any]
Receive = Callable[[], Awaitable[dict[str, Any]]]
Send = Callable[[dict[str, Any]], Awaitable[None]]


class NoPort(OSError):
    """No port could be had on the loopback."""


class Turn:
    """One line of questions, one at a time in a thread: the newest of each tab is answered, older ones are dropped."""

    def __init__(self) -> None:
        self.newest: dict[str, int] = {}
        self.busy = asyncio.Lock()

    async def ask(self, tab: str, number: int, work: Callable[[], dict[str, Any]]) -> dict[str, Any] | None:
        """What `work` gives, or None where a newer question of the same tab has come meanwhile."""
        if number < self.newest.get(tab, -1):
            return None
        self.newest.pop(tab, None)
        while len(self.newest) >= MOST_TABS:
            self.newest.pop(next(iter(self.newest)))
        self.newest[tab] = number
        async with self.busy:
            if self.newest.get(tab, number) != number:
                return None
            return await asyncio.to_thread(work)


@dataclass
class Desk:
    """What the server keeps: the motor on the bench, where saved files went, and how its questions stand in line."""

    path: Path
    units: str | None
    folder: Path | None
    bench: Bench
    token: str = field(default_factory=lambda: secrets.token_urlsafe(24))
    saved: list[Path] = field(default_factory=list)
    hosts: frozenset[str] = frozenset()
    ending: bool = False

    @classmethod
    def of(cls, path: Path, units: str | None = None, folder: Path | None = None) -> Desk:
        """Open a motor. InputError where it cannot be read."""
        return cls(path, units, folder, Bench.of(path, units))

    def listens_on(self, port: int) -> None:
        """Which names of this machine a question may be addressed to."""
        self.hosts = frozenset(f"{name}:{port}" for name in ("127.0.0.1", "localhost", "[::1]"))

    def changed_on_disk(self) -> str:
        """What happened to a file that was read, "changed" or "gone"; "" where each is as it was."""
        for path, digest in self.bench.file.sources:
            try:
                if file_digest(path) != digest:
                    return "changed"
            except OSError:
                return "gone"
        return ""

    # --- what is asked, each from the JSON of a question to the JSON of an answer -----------------------------------------

    def answer(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        """The motor as the knobs stand."""
        have = asked.get("have")
        return self.bench.answer(
            asked.get("values", {}),
            follow=asked.get("follow") is not False,
            pinned=asked.get("pinned"),
            whole=asked.get("whole") is True,
            have=have if isinstance(have, dict) else None,
            tab=str(asked.get("tab", ""))[:40],
        )

    def mend(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        """What would mend it."""
        return {"ok": True} | remedies(self.bench, asked.get("values", {}), asked.get("follow") is not False)

    def save(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        """Write the motor as turned."""
        made = self.bench.turned(asked.get("values", {}), asked.get("follow") is not False)
        self.bench.motor(made)
        saved = save_motor(self.bench.file, self.bench.knobs, made, asked.get("name"), asked.get("over") is True, self.folder)
        self.saved.append(saved.path)
        own = saved.path.exists() and saved.path.samefile(self.path)
        if own:
            self.bench = Bench.of(self.path, self.units)
        return {"ok": True, "file": plain_file(saved.path), "name": saved.path.name, "comments": list(saved.comments),
                "changed": len(saved.changed), "own": own, "suggest": self.suggested(),
                "command": f"grainwright check {plain_file(saved.path)}"}  # fmt: skip

    def around(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        """Write a study around where the knobs stand."""
        made = self.bench.turned(asked.get("values", {}), asked.get("follow") is not False)
        motor = self.bench.motor(made)
        from physics.ballistics.kernel import evaluate

        impulse = float(evaluate(motor.motors)["total_impulse"][0])
        study, base = save_study(self.bench.file, self.bench.knobs, made, impulse if impulse > 0 else None, self.folder)
        self.saved += [one.path for one in (base, study) if one is not None]
        return {"ok": True, "file": plain_file(study.path), "motor": "" if base is None else plain_file(base.path),
                "searched": list(study.changed), "command": f"grainwright search {plain_file(study.path)}"}  # fmt: skip

    def take(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        """Read the motor anew from the disk."""
        del asked
        self.bench = Bench.of(self.path, self.units)
        return {"ok": True}

    def state(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        """Whether the file is as it was read, and which reading the page should have."""
        del asked
        return {"ok": True, "disk": self.changed_on_disk(), "digest": self.bench.file.digest}

    def suggested(self) -> str:
        """A name for a file to save."""
        try:
            return free_name(self.folder or self.path.parent, self.path.stem)
        except Refused:
            return ""

    def page(self) -> str:
        """The page."""
        return page(self.bench, self.suggested())


def answer_to(desk: Desk, work: Callable[[Mapping[str, Any]], dict[str, Any]], asked: Mapping[str, Any]) -> dict[str, Any]:
    """The answer to a question, refusals in words among them."""
    try:
        return work(asked)
    except InputError as error:
        problems = [desk.bench._problem(problem) for problem in error.problems[:12]]
        return {"ok": False, "problems": problems, "why": f"{problems[0]['problem']}; {problems[0]['fix']}" if problems else ""}
    except (Refused, OutputError, InTheWay) as error:
        return {"ok": False, "problems": [], "why": plain_file(str(error))}


HEADERS = (
    (b"cache-control", b"no-store"),
    (b"referrer-policy", b"no-referrer"),
    (b"x-content-type-options", b"nosniff"),
    (b"x-frame-options", b"DENY"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"cross-origin-opener-policy", b"same-origin"),
)


class Door:
    """Lets a question in only from the page: its address, its Host, its Origin; and no body that is large or slow."""

    def __init__(self, inside: Any, desk: Desk) -> None:
        self.inside, self.desk = inside, desk

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass on what may be asked, refuse the rest."""
        if scope["type"] == "lifespan":
            await self.inside(scope, receive, send)
            return
        if scope["type"] != "http":
            return  # no other protocol is spoken here
        refused = self._refused(scope)
        if refused is not None:
            await _plainly(send, *refused)
            return
        if scope["method"] == "POST":
            body = await _body(scope, receive)
            if isinstance(body, tuple):
                await _plainly(send, *body)
                return
            receive = _given(body)
        await self.inside(scope, receive, _with_headers(send, policy()))

    def _refused(self, scope: Scope) -> tuple[int, str] | None:
        given = [(name.lower(), value.decode("latin-1")) for name, value in scope["headers"]]
        hosts = [value for name, value in given if name == b"host"]
        if len(hosts) != 1 or hosts[0].lower() not in self.desk.hosts:
            return 421, "this address is not served here"
        if not self._has_token(scope):
            return 404, "there is nothing here"
        origins = [value.lower() for name, value in given if name == b"origin"]
        ours = {f"http://{host}" for host in self.desk.hosts}
        if any(origin not in ours for origin in origins) or (scope["method"] == "POST" and not origins):
            return 403, "only the page that this program opened is answered"
        site = [value.lower() for name, value in given if name == b"sec-fetch-site"]
        if any(value not in ("same-origin", "none") for value in site):
            return 403, "only the page that this program opened is answered"
        if scope["method"] not in ("GET", "POST"):
            return 405, "only questions of the page are answered"
        if scope["method"] == "POST" and not any(
            name == b"content-type" and value.split(";")[0].strip().lower() == "application/json" for name, value in given
        ):
            return 415, "a question is JSON"
        return None

    def _has_token(self, scope: Scope) -> bool:
        raw = scope.get("raw_path") or scope["path"].encode()
        parts = raw.split(b"/")
        return len(parts) == 3 and parts[0] == b"" and secrets.compare_digest(parts[1], self.desk.token.encode())


async def _body(scope: Scope, receive: Receive) -> bytes | tuple[int, str]:
    """The body of a question, or why it is not taken."""
    too_large = 413, f"a question has at most {LARGEST_BODY} bytes"
    for name, value in scope["headers"]:
        if name.lower() == b"content-length" and (not value.isdigit() or int(value) > LARGEST_BODY):
            return too_large
    parts: list[bytes] = []
    size = 0
    try:
        async with asyncio.timeout(SLOWEST_BODY):
            while True:
                message = await receive()
                if message["type"] != "http.request":
                    return 400, "the question was cut off"
                parts.append(message.get("body", b""))
                size += len(parts[-1])
                if size > LARGEST_BODY:
                    return too_large
                if not message.get("more_body"):
                    return b"".join(parts)
    except TimeoutError:
        return 408, "the question came too slowly"


def _given(body: bytes) -> Receive:
    left = [{"type": "http.request", "body": body, "more_body": False}]

    async def receive() -> dict[str, Any]:
        return left.pop() if left else {"type": "http.disconnect"}

    return receive


def _with_headers(send: Send, content_policy: str) -> Send:
    async def sending(message: dict[str, Any]) -> None:
        if message["type"] == "http.response.start":
            headers = [*message.get("headers", ()), *HEADERS, (b"content-security-policy", content_policy.encode())]
            message = {**message, "headers": headers}
        await send(message)

    return sending


async def _plainly(send: Send, status: int, text: str) -> None:
    body = json.dumps({"ok": False, "why": text}).encode()
    headers = [(b"content-type", b"application/json"), (b"content-length", str(len(body)).encode()), (b"connection", b"close")]
    await send({"type": "http.response.start", "status": status, "headers": [*headers, *HEADERS]})
    await send({"type": "http.response.body", "body": body})


def application(desk: Desk) -> Any:
    """The whole application behind its door."""
    from starlette.applications import Starlette
    from starlette.requests import Request
    from starlette.responses import HTMLResponse, JSONResponse, Response
    from starlette.routing import Route

    lines = {"quick": Turn(), "whole": Turn(), "files": Turn()}

    async def shown(request: Request) -> Response:
        del request
        return HTMLResponse(await asyncio.to_thread(desk.page))

    async def asked(request: Request) -> Response:
        name = request.path_params["what"]
        work = {"answer": desk.answer, "mend": desk.mend, "save": desk.save, "around": desk.around, "take": desk.take,
                "state": desk.state}.get(name)  # fmt: skip
        if work is None:
            return JSONResponse({"ok": False, "why": "there is nothing here"}, 404)
        try:
            question = json.loads(await request.body())
            tab, number = str(question.get("tab", ""))[:40], int(question.get("number", 0))
        except (ValueError, AttributeError, TypeError, RecursionError):
            return JSONResponse({"ok": False, "why": "a question is one JSON object"}, 400)
        line = (
            "files"
            if name in ("save", "around", "take", "state")
            else "whole"
            if name == "mend" or question.get("whole") is True
            else "quick"
        )
        tab = tab if line != "files" else secrets.token_hex(4)  # nothing that writes is ever dropped
        try:
            found = await lines[line].ask(f"{name} {tab}", number, lambda: answer_to(desk, work, question))
        except UnknownKnob as error:
            return JSONResponse({"ok": False, "why": plain_file(str(error))}, 400)
        if found is None:
            return JSONResponse({"ok": False, "dropped": True}, 200)
        text = json.dumps(plain(found), allow_nan=False, ensure_ascii=False, separators=(",", ":"))
        return Response(text.encode("utf-8", errors="replace"), media_type="application/json")

    routes = [
        Route("/{token}/", shown, methods=["GET"]),
        Route("/{token}/{what}", asked, methods=["POST"]),
    ]
    return Door(Starlette(routes=routes), desk)


# --- listening ------------------------------------------------------------------------------------------------------------


def sockets_on(port: int) -> list[socket.socket]:
    """Sockets on the loopback of both families, one port; 0 takes any that is free. NoPort where none can be had."""
    first = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        first.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        first.bind(("127.0.0.1", port))
    except OSError as error:
        first.close()
        which = f"port {port}" if port else "a port"
        raise NoPort(f"{which} on 127.0.0.1 cannot be had ({error.strerror}); name another with --port") from error
    found = [first]
    with contextlib.suppress(OSError):  # a machine without the second family, or where its port is taken
        second = socket.socket(socket.AF_INET6, socket.SOCK_STREAM)
        try:
            second.setsockopt(socket.IPPROTO_IPV6, socket.IPV6_V6ONLY, 1)
            second.bind(("::1", first.getsockname()[1]))
            found.append(second)
        except OSError:
            second.close()
    return found


def serve(desk: Desk, port: int = 0, browser: bool = True, ready: Callable[[str], None] | None = None) -> list[Path]:
    """Serve a motor until it is interrupted; the files that were saved meanwhile.

    `ready` is told the address. NoPort where no port can be had.
    """
    import uvicorn

    found = sockets_on(port)
    number = found[0].getsockname()[1]
    desk.listens_on(number)
    address = f"http://127.0.0.1:{number}/{desk.token}/"
    config = uvicorn.Config(
        application(desk), lifespan="off", log_config=None, access_log=False, server_header=False, date_header=False,
        timeout_keep_alive=15, timeout_graceful_shutdown=0, limit_concurrency=128, ws="none", http="h11", loop="asyncio",
        h11_max_incomplete_event_size=16_384,
    )  # fmt: skip

    class Server(uvicorn.Server):
        """Ends at the first signal, at once, whatever is still open."""

        @contextlib.contextmanager
        def capture_signals(self) -> Any:
            def stop(number: int, frame: Any) -> None:
                del number, frame
                self.should_exit = self.force_exit = True

            if threading.current_thread() is not threading.main_thread():
                yield
                return
            kinds = [getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGBREAK") if hasattr(signal, name)]
            before = {kind: signal.signal(kind, stop) for kind in kinds}
            try:
                yield
            finally:
                for kind, handler in before.items():
                    signal.signal(kind, handler)

        async def startup(self, sockets: list[socket.socket] | None = None) -> None:
            await super().startup(sockets)
            if ready is not None:
                ready(address)
            if browser:
                threading.Thread(target=_opened, args=(address,), daemon=True).start()

    logging.getLogger("uvicorn.error").addHandler(logging.NullHandler())  # what matters is told at the page
    logging.getLogger("uvicorn.error").propagate = False
    server = Server(config)
    desk_server[id(desk)] = server
    try:
        server.run(sockets=found)
    finally:
        desk_server.pop(id(desk), None)
        for one in found:
            one.close()
    return list(desk.saved)


desk_server: dict[int, Any] = {}
"""The server of each desk that is being served, so that a test in this process can end it."""


def _opened(address: str) -> None:
    with contextlib.suppress(Exception):  # no browser: the address has been printed
        webbrowser.open(address)
