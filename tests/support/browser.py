"""A real headless Chromium, driven through the pipe of its debugging protocol: what a page asks for, says and overflows."""

from __future__ import annotations

import base64
import json
import os
import select
import shutil
import subprocess
import tempfile
import time
from dataclasses import dataclass, field
from pathlib import Path
from types import TracebackType
from typing import Any

NAMES = ("chromium", "chromium-browser", "google-chrome", "chrome")
QUIET = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync", "--disable-dev-shm-usage", "--hide-scrollbars",
)  # fmt: skip
# Elements that stick out of the page's width, or whose own content sticks out of them.
STICKS_OUT = """
(() => {
  const wide = document.documentElement.clientWidth;
  const name = e => e.tagName + '.' + (e.getAttribute('class') || '') + ': ' + e.textContent.trim().slice(0, 40);
  const shown = [...document.body.querySelectorAll('*')].filter(e => !e.closest('svg') && e.getClientRects().length);
  return {
    wide, full: document.documentElement.scrollWidth,
    out: shown.filter(e => { const r = e.getBoundingClientRect(); return r.left < -0.5 || r.right > wide + 0.5; }).map(name),
    cut: shown.filter(e => e.scrollWidth > e.clientWidth + 1 && getComputedStyle(e).display !== 'inline').map(name),
    text: document.body.innerText,
    small: Math.min(...shown.filter(e => e.childNodes.length && e.innerText).map(e => parseFloat(getComputedStyle(e).fontSize))),
  };
})()
"""


def executable() -> str | None:
    """The Chromium of this machine, None where there is none."""
    return next((path for path in map(shutil.which, NAMES) if path), None)


@dataclass
class Browser:
    """A browser with one page. `events` are all that it has told."""

    process: subprocess.Popen[bytes]
    inward: int
    outward: int
    profile: tempfile.TemporaryDirectory[str]
    session: str = ""
    events: list[dict[str, Any]] = field(default_factory=list)
    waiting: bytes = b""
    last: int = 0

    @classmethod
    def start(cls) -> Browser:
        """Start it, with an empty profile."""
        profile = tempfile.TemporaryDirectory(ignore_cleanup_errors=True)
        read_in, write_in = os.pipe()
        read_out, write_out = os.pipe()
        command = [
            str(executable()),
            *QUIET,
            f"--user-data-dir={profile.name}",
            "--remote-debugging-pipe",
            "about:blank",
        ]
        # The browser reads file 3 and writes file 4.
        script = f'exec "$@" 3<&{read_in} 4>&{write_out}'
        process = subprocess.Popen(
            ["bash", "-c", script, "bash", *command],
            pass_fds=(read_in, write_out), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        os.close(read_in), os.close(write_out)
        browser = cls(process, write_in, read_out, profile)
        target = browser.ask("Target.createTarget", url="about:blank")["targetId"]
        browser.session = browser.ask("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        for domain in ("Page", "Network", "Runtime", "Log"):
            browser.ask(f"{domain}.enable")
        return browser

    def __enter__(self) -> Browser:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, fault: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.process.terminate()
        self.process.wait(20)
        os.close(self.inward), os.close(self.outward)
        self.profile.cleanup()

    def ask(self, method: str, **parameters: Any) -> dict[str, Any]:
        """A command's result; AssertionError with what the browser said where it refuses."""
        self.last += 1
        message: dict[str, Any] = {"id": self.last, "method": method, "params": parameters}
        if self.session:
            message["sessionId"] = self.session
        os.write(self.inward, json.dumps(message).encode() + b"\0")
        while True:
            told = self._next(60.0)
            if told.get("id") == self.last:
                assert "error" not in told, told
                return dict(told["result"])
            self.events.append(told)

    def wait(self, method: str) -> None:
        """Until an event has come."""
        while not any(e.get("method") == method for e in self.events):
            self.events.append(self._next(60.0))

    def _next(self, seconds: float) -> dict[str, Any]:
        end = time.monotonic() + seconds
        while b"\0" not in self.waiting:
            assert select.select([self.outward], [], [], max(0.0, end - time.monotonic()))[0], (
                "the browser does not answer"
            )
            part = os.read(self.outward, 1 << 20)
            assert part, "the browser has ended"
            self.waiting += part
        message, self.waiting = self.waiting.split(b"\0", 1)
        return dict(json.loads(message))

    def show(self, path: Path, width: int, height: int, phone: bool) -> dict[str, Any]:
        """Load a file in a window of this size; what sticks out, what was asked for, what was said."""
        self.events.clear()
        self.ask(
            "Emulation.setDeviceMetricsOverride",
            width=width,
            height=height,
            deviceScaleFactor=2 if phone else 1,
            mobile=phone,
        )
        self.ask("Page.navigate", url=path.as_uri())
        self.wait("Page.loadEventFired")
        made = self.ask("Runtime.evaluate", expression=STICKS_OUT, returnByValue=True)["result"]["value"]
        asked = [e["params"]["request"]["url"] for e in self.events if e.get("method") == "Network.requestWillBeSent"]
        said = ("Log.entryAdded", "Runtime.consoleAPICalled", "Runtime.exceptionThrown")
        return {**made, "asked": asked, "said": [e["params"] for e in self.events if e.get("method") in said]}

    def picture(self) -> bytes:
        """The whole page as PNG."""
        return base64.b64decode(self.ask("Page.captureScreenshot", captureBeyondViewport=True)["data"])

    def printed(self) -> bytes:
        """The page as it prints, a PDF."""
        return base64.b64decode(
            self.ask("Page.printToPDF", preferCSSPageSize=True, paperWidth=8.27, paperHeight=11.69)["data"]
        )
