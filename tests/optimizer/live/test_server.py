"""The server against what does not come from its page: no token, other hosts, other origins, paths, large and slow bodies."""

from __future__ import annotations

import http.client
import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import threading
import time
from pathlib import Path
from types import SimpleNamespace

import pytest

from optimizer.live.server import LARGEST_BODY, Desk, NoPort, Turn, desk_server, serve, sockets_on

STUDIES = Path(__file__).resolve().parents[3] / "studies"


@pytest.fixture(scope="module")
def served(tmp_path_factory):
    folder = tmp_path_factory.mktemp("served") / "studies"
    shutil.copytree(STUDIES, folder)
    desk = Desk.of(folder / "motors" / "curlew.toml")
    told: list[str] = []
    ready = threading.Event()

    def hear(address: str) -> None:
        told.append(address)
        ready.set()

    thread = threading.Thread(target=serve, args=(desk, 0, False, hear), daemon=True)
    thread.start()
    assert ready.wait(60)
    port = int(told[0].split(":")[2].split("/")[0])
    yield SimpleNamespace(desk=desk, port=port, token=desk.token, folder=folder / "motors")
    desk_server[id(desk)].should_exit = desk_server[id(desk)].force_exit = True
    thread.join(20)


def ask(served, path, body=None, method=None, **headers):
    """Status and answer of one request; headers by name, None leaves one out."""
    own = {"Host": f"127.0.0.1:{served.port}", "Origin": f"http://127.0.0.1:{served.port}", "Content-Type": "application/json"}
    own |= {name.replace("_", "-"): value for name, value in headers.items()}
    data = body if isinstance(body, bytes) else None if body is None else json.dumps(body).encode()
    link = http.client.HTTPConnection("127.0.0.1", served.port, timeout=60)
    try:
        link.putrequest(method or ("GET" if data is None else "POST"), path, skip_host=True, skip_accept_encoding=True)
        for name, value in own.items():
            if value is not None and not (data is None and name in ("Origin", "Content-Type") and name not in headers):
                link.putheader(name, value)
        if data is not None:
            link.putheader("Content-Length", str(len(data)))
        link.endheaders(data)
        answer = link.getresponse()
        return answer.status, answer.read(), dict(answer.getheaders())
    finally:
        link.close()


def test_the_page_comes_with_its_policy(served):
    status, page, headers = ask(served, f"/{served.token}/")
    assert status == 200 and b"Failure ladder" in page
    policy = headers["content-security-policy"]
    assert "default-src 'none'" in policy and "connect-src 'self'" in policy and "unsafe-eval" not in policy
    assert "'unsafe-inline'" not in policy.split("script-src")[1].split(";")[0]
    assert headers["referrer-policy"] == "no-referrer" and headers["cache-control"] == "no-store"
    assert "set-cookie" not in {name.lower() for name in headers} and "server" not in {name.lower() for name in headers}


def test_a_turn_is_answered(served):
    status, body, _ = ask(
        served, f"/{served.token}/answer", {"values": {"nozzle.throat_diameter": "14 mm"}, "number": 1, "tab": "t"}
    )
    assert status == 200 and json.loads(body)["ok"]


HOSTILE = {
    "no token": ("/", {}, {}, 404),
    "another token": ("/" + "a" * 32 + "/answer", {}, {}, 404),
    "half the token": ("HALF/answer", {}, {}, 404),
    "token in the query": ("/?TOKEN", {}, {}, 404),
    "another Host": ("TOKEN/answer", {}, {"Host": "evil.example"}, 421),
    "this Host on another port": ("TOKEN/answer", {}, {"Host": "127.0.0.1:1"}, 421),
    "a Host that begins like ours": ("TOKEN/answer", {}, {"Host": "127.0.0.1.evil.example"}, 421),
    "no Host": ("TOKEN/answer", None, {"Host": None}, 400),  # a body would be left unread, and the link reset
    "another Origin": ("TOKEN/answer", {}, {"Origin": "http://evil.example"}, 403),
    "no Origin": ("TOKEN/answer", {}, {"Origin": None}, 403),
    "Origin null": ("TOKEN/answer", {}, {"Origin": "null"}, 403),
    "https Origin": ("TOKEN/answer", {}, {"Origin": "https://127.0.0.1"}, 403),
    "from another site": ("TOKEN/answer", {}, {"Sec_Fetch_Site": "cross-site"}, 403),
    "a form": ("TOKEN/answer", {}, {"Content-Type": "application/x-www-form-urlencoded"}, 415),
    "text": ("TOKEN/answer", {}, {"Content-Type": "text/plain"}, 415),
    "up a folder": ("TOKEN/../TOKEN/answer", {}, {}, 404),
    "up, encoded": ("TOKEN/%2e%2e%2fanswer", {}, {}, 404),
    "an absolute path": ("TOKEN//etc/passwd", {}, {}, 404),
    "a file beside": ("TOKEN/curlew.toml", {}, {}, 404),
    "a name with zero": ("TOKEN/answer%00", {}, {}, 404),
    "not JSON": ("TOKEN/answer", b"{", {}, 400),
    "JSON of another kind": ("TOKEN/answer", b"[1]", {}, 400),
    "deep JSON": ("TOKEN/answer", b"[" * 30_000, {}, 400),
    "no knob": ("TOKEN/answer", {"values": {"propellant.use": "/etc/passwd"}}, {}, 400),
    "values of another kind": ("TOKEN/answer", {"values": [1]}, {}, 400),
    "a number for a text": ("TOKEN/answer", {"values": {"case.wall": 3}}, {}, 400),
    "a large body": ("TOKEN/answer", b" " * (LARGEST_BODY + 1), {}, 413),
}


@pytest.mark.parametrize("what", HOSTILE)
def test_what_is_not_the_page_is_refused(served, what):
    path, body, headers, wanted = HOSTILE[what]
    path = path.replace("TOKEN", "/" + served.token if not path.startswith("/") else served.token)
    path = path.replace("HALF", "/" + served.token[:16])
    status, text, _ = ask(served, path, body, **headers)
    assert status == wanted, text
    assert served.token.encode() not in text and b"Traceback" not in text
    assert ask(served, f"/{served.token}/state", {})[0] == 200


@pytest.mark.parametrize("method", ["PUT", "DELETE", "OPTIONS", "TRACE", "HEAD", "PATCH"])
def test_other_methods_are_refused(served, method):
    assert ask(served, f"/{served.token}/answer", method=method)[0] in (404, 405)


def test_ten_megabytes_are_not_read(served):
    """Said beforehand, or sent in chunks without a word: refused once the bound is passed, and others are answered."""
    head = (
        f"POST /{served.token}/answer HTTP/1.1\r\nHost: 127.0.0.1:{served.port}\r\nOrigin: http://127.0.0.1:{served.port}\r\n"
        "Content-Type: application/json\r\n"
    )
    for more, piece in (
        ("Content-Length: 10485760\r\n\r\n", b" " * 4096),
        ("Transfer-Encoding: chunked\r\n\r\n", b"1000\r\n" + b" " * 4096 + b"\r\n"),
    ):
        with socket.create_connection(("127.0.0.1", served.port), timeout=30) as link:
            link.sendall((head + more).encode())
            try:
                for _ in range(2560):
                    link.sendall(piece)
            except OSError:
                pass  # it has hung up on us
            try:
                answer = link.recv(200)
            except OSError:
                answer = b""
        assert answer == b"" or b" 413 " in answer
    assert ask(served, f"/{served.token}/state", {})[0] == 200


@pytest.mark.slow
def test_a_slow_client_stops_nobody_and_is_sent_away(served):
    slow = []
    for _ in range(8):
        link = socket.create_connection(("127.0.0.1", served.port), timeout=30)
        head = (
            f"POST /{served.token}/answer HTTP/1.1\r\nHost: 127.0.0.1:{served.port}\r\n"
            f"Origin: http://127.0.0.1:{served.port}\r\nContent-Type: application/json\r\nContent-Length: 100\r\n\r\n{{"
        )
        link.sendall(head.encode())
        slow.append(link)
    try:
        assert ask(served, f"/{served.token}/answer", {"values": {}, "number": 1, "tab": "quick"})[0] == 200
        assert b" 408 " in slow[0].recv(200)
    finally:
        for link in slow:
            link.close()


def test_the_newest_question_of_a_tab_wins(served):
    """Twelve at once, of which the page has long dropped all but the last."""
    found: dict[int, dict] = {}

    def one(number: int) -> None:
        values = {"nozzle.throat_diameter": f"{13 + 0.1 * number:.1f} mm"}
        found[number] = json.loads(ask(served, f"/{served.token}/answer", {"values": values, "number": number, "tab": "many"})[1])

    threads = [threading.Thread(target=one, args=(number,)) for number in range(1, 13)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    assert found[12]["ok"] and sum("dropped" in answer for answer in found.values()) >= 1
    late = json.loads(ask(served, f"/{served.token}/answer", {"values": {}, "number": 3, "tab": "many"})[1])
    assert late == {"ok": False, "dropped": True}


def test_a_line_answers_the_newest_and_forgets_old_tabs():
    import asyncio

    async def run() -> tuple[list, int]:
        turn = Turn()
        answers = await asyncio.gather(*(turn.ask("a", number, lambda number=number: {"n": number}) for number in range(5)))
        for tab in range(200):
            await turn.ask(str(tab), 1, dict)
        return answers, len(turn.newest)

    answers, kept = asyncio.run(run())
    assert answers[-1] == {"n": 4} and answers.count(None) >= 3 and kept <= 64


@pytest.mark.parametrize("name", ["../x.toml", "/tmp/x.toml", "snipe.toml", "curlew.toml", ".hidden", "x"])
def test_a_file_goes_nowhere_else_and_over_nothing(served, name):
    before = {path: path.read_bytes() for path in served.folder.parent.rglob("*") if path.is_file()}
    values = {"nozzle.throat_diameter": "14 mm"}
    answer = json.loads(ask(served, f"/{served.token}/save", {"values": values, "name": name})[1])
    assert not answer["ok"] and answer["why"]
    assert {path: path.read_bytes() for path in served.folder.parent.rglob("*") if path.is_file()} == before


def test_saving_a_study_and_taking_the_file_anew(served):
    values = {"nozzle.throat_diameter": "14 mm"}
    saved = json.loads(ask(served, f"/{served.token}/save", {"values": values, "name": "mine.toml"})[1])
    assert saved["ok"] and saved["changed"] == 1 and (served.folder / "mine.toml").exists()
    study = json.loads(ask(served, f"/{served.token}/around", {"values": values})[1])
    assert study["ok"] and study["command"].startswith("grainwright search ")
    path = served.folder / "curlew.toml"
    text = path.read_text()
    assert json.loads(ask(served, f"/{served.token}/state", {})[1])["disk"] == ""
    path.write_text(text.replace('"13 mm"', '"13.5 mm"'))
    assert json.loads(ask(served, f"/{served.token}/state", {})[1])["disk"] == "changed"
    over = json.loads(ask(served, f"/{served.token}/save", {"values": values, "name": "curlew.toml", "over": True})[1])
    assert not over["ok"] and "changed on disk" in over["why"] and "13.5 mm" in path.read_text()
    path.write_text("this is no motor")
    assert not json.loads(ask(served, f"/{served.token}/take", {})[1])["ok"]
    path.write_text(text)
    assert json.loads(ask(served, f"/{served.token}/take", {})[1])["ok"]
    path.unlink()
    assert json.loads(ask(served, f"/{served.token}/state", {})[1])["disk"] == "gone"
    path.write_text(text)


def test_it_listens_on_this_machine_alone():
    found = sockets_on(0)
    try:
        assert found[0].getsockname()[0] == "127.0.0.1"
        assert all(one.getsockname()[0] in ("127.0.0.1", "::1") for one in found)
        with pytest.raises(NoPort, match="--port"):
            sockets_on(found[0].getsockname()[1]) if found[0].listen() is None else None
    finally:
        for one in found:
            one.close()


def started(*options: str, folder: Path) -> subprocess.Popen:
    command = [sys.executable, "-m", "optimizer.cli", "live", *options]
    return subprocess.Popen(command, cwd=folder, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


@pytest.mark.slow
@pytest.mark.skipif(os.name == "nt", reason="signals of another kind")
def test_the_command_tells_its_address_and_ends_at_once(tmp_path):
    shutil.copytree(STUDIES, tmp_path / "studies")
    program = started("studies/motors/curlew.toml", "--no-browser", "--json", folder=tmp_path)
    text = ""
    while not text.rstrip().endswith("}"):
        text += program.stdout.readline()
    address = json.loads(text)["address"]
    assert address.startswith("http://127.0.0.1:")
    port = address.split(":")[2].split("/")[0]
    second = started("studies/motors/curlew.toml", "--no-browser", "--port", port, folder=tmp_path)
    _, err = second.communicate(timeout=60)
    assert second.returncode == 3 and "--port" in err and "Traceback" not in err
    held = socket.create_connection(("127.0.0.1", int(port)))  # a client that never asks does not hold it up
    since = time.monotonic()
    program.send_signal(signal.SIGINT)
    _, err = program.communicate(timeout=30)
    assert program.returncode == 0 and "nothing was saved" in err and "Traceback" not in err
    assert time.monotonic() - since < 20
    held.close()


@pytest.mark.slow
def test_a_wrong_motor_is_refused_before_anything_is_served(tmp_path):
    (tmp_path / "wrong.toml").write_text("schema = 1\n[nozzle]\nthroat_diameter = 3\n")
    program = started("wrong.toml", "--no-browser", folder=tmp_path)
    _, err = program.communicate(timeout=60)
    assert program.returncode == 2 and "throat_diameter" in err
