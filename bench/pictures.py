"""Takes the README's pictures anew from the demo shop: ``make pictures``. Needs Chromium."""

import os
import shutil
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from io import BytesIO
from pathlib import Path

from PIL import Image
from playwright.sync_api import Page, sync_playwright

PICTURES = Path(__file__).parents[1] / "fixtures" / "pictures"
WIDTH = 1100
COLOURS = 48  # a screen has few: so a picture stays small
READINGS = {
    "Relief": "0.22",
    "Action at 1, bass": "0.60",
    "Action at 1, treble": "0.36",
    "Action at 12, bass": "2.5 2.45 2.5",
    "Action at 12, treble": '0.085"',
    "Saddle, bass": "2.6",
    "Saddle, treble": "2.2",
}


def manage(*arguments: str) -> None:
    subprocess.run([sys.executable, "manage.py", *arguments], check=True)  # noqa: S603


@contextmanager
def demo_shop(folder: str) -> Iterator[str]:
    """The address of a server of a fresh demo shop in a folder of its own."""
    os.environ["DATABASE_URL"] = f"sqlite:///{folder}/shop.sqlite3"
    os.environ["SADDLEROOM_PHOTOS"] = f"{folder}/photos"
    for command in ("migrate", "load_demo", "recompute_outlooks"):
        manage(command, "--verbosity", "0")
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    server = subprocess.Popen([sys.executable, "manage.py", "serve", "--port", str(port)])  # noqa: S603
    address = f"http://127.0.0.1:{port}"
    try:
        for _ in range(100):
            try:
                urllib.request.urlopen(f"{address}/sign-in/", timeout=2).close()  # noqa: S310
                break
            except OSError:
                time.sleep(0.2)
        yield address
    finally:
        server.terminate()
        server.wait()


def keep(page: Page, name: str, height: int) -> None:
    """The top of the page as a small PNG."""
    page.wait_for_load_state("networkidle")
    shot = page.screenshot(clip={"x": 0, "y": 0, "width": WIDTH, "height": height})
    picture = Image.open(BytesIO(shot)).convert("RGB").quantize(COLOURS, dither=Image.Dither.NONE)
    PICTURES.mkdir(exist_ok=True)
    picture.save(PICTURES / f"{name}.png", optimize=True)


def take(page: Page, address: str) -> None:
    """The board, the bench and a report, in the order of a visit."""
    page.goto(f"{address}/sign-in/")
    page.get_by_label("Username").fill("owner")
    page.get_by_label("Password").fill("saddle-demo")
    page.get_by_role("button", name="Sign in").click()
    page.goto(f"{address}/due/")
    keep(page, "board", 640)
    page.goto(f"{address}/due/?joint=tilting&sort=saddle")
    page.locator("table.board th[scope=row] a").first.click()
    page.wait_for_load_state("networkidle")
    instrument = page.url
    page.goto(f"{instrument}check-in/")
    for label, text in READINGS.items():
        page.get_by_label(label, exact=True).fill(text)
    page.get_by_label("Bridge rise", exact=True).press_sequentially("0.9")
    page.wait_for_timeout(1500)
    page.evaluate("scrollTo(0, 0)")
    keep(page, "bench", 900)
    page.goto(f"{address}/due/?sort=saddle")
    page.locator("table.board th[scope=row] a").nth(3).click()
    tick = page.get_by_label("readings were checked")
    if tick.count():
        tick.check()
    page.get_by_role("button", name="Issue a service report").click()
    page.get_by_role("heading", level=1).wait_for()
    keep(page, "report", 1000)


def main() -> None:
    """Take the pictures and say how large they are."""
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    if chromium is None:
        sys.exit("Chromium is not installed (Debian: apt-get install chromium).")
    with (
        tempfile.TemporaryDirectory() as folder,
        demo_shop(folder) as address,
        sync_playwright() as playwright,
    ):
        flags = ["--no-sandbox", "--disable-gpu", "--disable-background-networking"]
        browser = playwright.chromium.launch(executable_path=chromium, args=flags)
        page = browser.new_page(viewport={"width": WIDTH, "height": 1000})
        page.set_default_timeout(60_000)
        take(page, address)
        browser.close()
    for picture in sorted(PICTURES.glob("*.png")):
        print(f"{picture.name}  {picture.stat().st_size / 1000:.0f} kB")


if __name__ == "__main__":
    main()
