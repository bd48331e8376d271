"""Pictures for the README, taken of the demo at good moments.

Run it by hand: ``python tests/browser/pictures.py [folder]``. It starts the demo in a folder of its own, waits until
the custard is held at its target and the freezer calls, and writes PNG files into ``deploy/pictures``. It fails when
a moment does not come or a picture is larger than it may be.
"""

from __future__ import annotations

import json
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
from pathlib import Path
from typing import TYPE_CHECKING, Any

from playwright.sync_api import sync_playwright

if TYPE_CHECKING:
    from collections.abc import Callable

HERE = Path(__file__).resolve().parents[2]
CHROMIUM = "/usr/bin/chromium"
ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
]
WALL, TALL, PHONE = (1280, 800), (1280, 1240), (390, 1180)
LARGEST = 250_000
PATIENCE = 420.0


def free_port() -> int:
    """A port that nobody listens on."""
    with socket.socket() as asked:
        asked.bind(("127.0.0.1", 0))
        port: int = asked.getsockname()[1]
        return port


class Demo:
    """The demo of this repository, as a process of its own."""

    def __init__(self, folder: Path) -> None:
        port = free_port()
        self.address = f"http://127.0.0.1:{port}"
        self.log = folder / "demo.log"
        command = [
            sys.executable,
            "-m",
            "rimekeeper",
            "demo",
            "--port",
            str(port),
            "--data",
            str(folder / "data"),
        ]
        with self.log.open("wb") as log:
            self.process = subprocess.Popen(
                [*command, "--for", str(round(PATIENCE) + 120)],
                cwd=HERE,
                stdout=log,
                stderr=subprocess.STDOUT,
            )

    def now(self) -> dict[str, Any]:
        """What the Now page knows; empty while nobody answers yet."""
        try:
            with urllib.request.urlopen(self.address + "/api/now", timeout=5) as answer:
                view: dict[str, Any] = json.load(answer)
                return view
        except OSError:
            return {}

    def wait(self, wanted: str, is_so: Callable[[dict[str, Any]], bool]) -> dict[str, Any]:
        """The first view for which it is so."""
        print(f"waiting until {wanted} …", flush=True)
        until = time.monotonic() + PATIENCE
        while time.monotonic() < until:
            if self.process.poll() is not None:
                raise SystemExit(f"The demo ended by itself:\n{self.log.read_text()}")
            view = self.now()
            if view and is_so(view):
                return view
            time.sleep(0.5)
        raise SystemExit(f"It was never so that {wanted}.")

    def stop(self) -> None:
        """End it."""
        self.process.terminate()
        self.process.wait(30)


def lane(view: dict[str, Any], kind: str) -> dict[str, Any]:
    """The stage of that kind under way, or an empty one."""
    return next((one for batch in view["batches"] for one in batch["stages"] if one["kind"] == kind), {})


def custard_is_near(view: dict[str, Any]) -> bool:
    """The freezer calls, and the custard will be there within two minutes."""
    calls = any(not alarm["acknowledged"] and not alarm["returned"] for alarm in view["alarms"])
    cook = lane(view, "cook")
    return calls and bool(cook.get("expected")) and cook["expected"] - view["now"] < 75_000


def main(folder: Path) -> None:
    """Take every picture."""
    folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(prefix="rimekeeper-pictures-") as data, sync_playwright() as playwright:
        demo = Demo(Path(data))
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        try:

            def picture(name: str, path: str, size: tuple[int, int], scheme: str = "light") -> None:
                context = browser.new_context(
                    viewport={"width": size[0], "height": size[1]}, color_scheme=scheme, device_scale_factor=1
                )
                page = context.new_page()
                page.goto(demo.address + path)
                page.wait_for_function("document.body.dataset.live === 'yes'")
                page.wait_for_timeout(1_200)
                file = folder / name
                page.screenshot(path=str(file))
                context.close()
                print(f"{name}: {file.stat().st_size} bytes", flush=True)
                if file.stat().st_size >= LARGEST:
                    raise SystemExit(f"{name} is larger than {LARGEST} bytes.")

            def settle(view: dict[str, Any]) -> None:
                """Acknowledge what is over, so that only what stands is seen."""
                for alarm in view["alarms"]:
                    if alarm["returned"] and not alarm["acknowledged"]:
                        body = {"command": "acknowledge", "alarm": alarm["key"], "who": "Ada"}
                        asked = urllib.request.Request(
                            demo.address + "/api/commands",
                            json.dumps(body).encode(),
                            {"Content-Type": "application/json", "X-Rimekeeper-Page": "1"},
                        )
                        urllib.request.urlopen(asked, timeout=5).close()

            settle(demo.wait("the freezer calls and the custard is near", custard_is_near))
            picture("now-wall.png", "/", WALL)
            picture("now-phone.png", "/", PHONE, "dark")
            view = demo.wait(
                "the custard is held at its target", lambda view: bool(lane(view, "cook").get("do_now"))
            )
            cooking = next(b["id"] for b in view["batches"] if any(s["kind"] == "cook" for s in b["stages"]))
            picture("batch.png", f"/batch/{cooking}", TALL)
            demo.wait("history is filled in", lambda view: not view["backfill"])
            picture("nights.png", "/nights", TALL)
            picture("probes.png", "/probes", WALL)
            picture("probe.png", "/probes/walkin-air", TALL)
        finally:
            browser.close()
            demo.stop()


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else HERE / "deploy" / "pictures")
