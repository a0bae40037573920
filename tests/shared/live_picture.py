"""The picture of the live page in README.md: taken in a browser, with the text of its ladder written into it.

python tests/shared/live_picture.py          # takes studies/live.png anew
"""

from __future__ import annotations

import io
import shutil
import sys
import tempfile
import threading
import time
from pathlib import Path
from typing import Any

from optimizer.live.bench import Bench
from optimizer.live.server import Desk, desk_server, serve

ROOT = Path(__file__).resolve().parents[2]
PICTURE = ROOT / "studies" / "live.png"
MOTOR = ROOT / "studies" / "motors" / "curlew.toml"
TURNED = {"nozzle.throat_diameter": "11 mm"}
SIZE = (1280, 800)
TEXT = "ladder"


def ladder_text(bench: Bench) -> str:
    """What the ladder of the picture says: each rung's mode, part and factor, in the order shown."""
    from optimizer.live.bench import view_of

    rungs = view_of(bench.motor(bench.turned(TURNED)), whole=True).rungs
    return "\n".join(f"{row['mode']}, {row['part']}, {row['factor']:.2f}" for row in rungs)


def take(driver: Any, address: str) -> bytes:
    """The picture of the page at an address, its knobs turned as `TURNED`, as PNG."""
    from PIL import Image
    from PIL.PngImagePlugin import PngInfo

    driver.get(address)
    driver.execute_script("Storage.prototype.setItem = () => {}; sessionStorage.clear()")
    frame = driver.execute_script("return [outerWidth - innerWidth, outerHeight - innerHeight]")
    driver.set_window_size(SIZE[0] + frame[0], SIZE[1] + frame[1])
    driver.get(address)  # the width is that of a desk before the page is made
    for name, text in TURNED.items():
        where = f"[data-knob='{name}'] input"
        driver.execute_script(
            "const f = document.querySelector(arguments[0]); f.focus(); f.value = arguments[1];"
            "f.dispatchEvent(new Event('change'))",
            where,
            text,
        )
    done = (
        "return document.querySelectorAll('.changes li').length > 0 && !document.querySelector('.rung.following') "
        "&& !document.querySelector('.changes').textContent.includes('…')"
    )
    end = time.monotonic() + 60
    while not driver.execute_script(done) and time.monotonic() < end:
        time.sleep(0.1)
    # The path of the file is this machine's; in the picture stands the one that a reader has.
    driver.execute_script("document.querySelector('.file').textContent = 'studies/motors/curlew.toml'; scrollTo(0, 0)")
    time.sleep(0.5)
    image = Image.open(io.BytesIO(driver.get_screenshot_as_png())).convert("P", palette=Image.Palette.ADAPTIVE, colors=96)
    told = PngInfo()
    told.add_text(TEXT, ladder_text(Bench.of(MOTOR)))
    out = io.BytesIO()
    image.save(out, "PNG", optimize=True, pnginfo=told)
    return out.getvalue()


def main() -> None:
    """Take the picture anew."""
    from selenium import webdriver
    from selenium.webdriver.chrome.service import Service

    desk, ready, told = Desk.of(MOTOR), threading.Event(), []

    def hear(address: str) -> None:
        told.append(address)
        ready.set()

    thread = threading.Thread(target=serve, args=(desk, 0, False, hear), daemon=True)
    thread.start()
    ready.wait(60)
    options = webdriver.ChromeOptions()
    options.binary_location = shutil.which("chromium") or ""
    with tempfile.TemporaryDirectory() as profile:
        for flag in ("--headless=new", "--no-sandbox", "--disable-gpu", f"--user-data-dir={profile}"):
            options.add_argument(flag)
        driver = webdriver.Chrome(options=options, service=Service(shutil.which("chromedriver")))
        try:
            PICTURE.write_bytes(take(driver, told[0]))
        finally:
            driver.quit()
    desk_server[id(desk)].should_exit = desk_server[id(desk)].force_exit = True
    thread.join(20)


if __name__ == "__main__":
    sys.exit(main())
