"""A bench page that is served, and a browser that looks at it."""

from __future__ import annotations

import re
import signal
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from browser import executable


class Served:
    """A server of a folder, in a process of its own."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.address = ""
        self.start()

    def start(self, port: int = 0) -> None:
        command = [sys.executable, "-m", "recurve", "page", str(self.folder), "--port", str(port), "--no-browser"]
        self.process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
        assert self.process.stdout is not None
        line = self.process.stdout.readline()
        found = re.search(r"http://127\.0\.0\.1:(\d+)/", line)
        assert found is not None, line + self.process.stdout.read()
        self.port = int(found[1])
        self.address = found[0].rstrip("/")
        for _ in range(100):
            try:
                with urllib.request.urlopen(f"{self.address}/static/page.js") as answer:
                    if answer.status == 200:
                        return
            except OSError:
                time.sleep(0.1)
        raise AssertionError("the page does not answer")

    def kill(self) -> None:
        """As a power failure would."""
        self.process.send_signal(signal.SIGKILL)
        self.process.wait()
        self._close()

    def _close(self) -> None:
        if self.process.stdout is not None:
            self.process.stdout.close()

    def end(self) -> None:
        """As Ctrl-C does."""
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGINT)
            try:
                self.process.wait(10)
            except subprocess.TimeoutExpired:
                self.process.kill()
                self.process.wait()
        self._close()


@contextmanager
def served(folder: Path) -> Iterator[Served]:
    """A served folder while it is needed."""
    server = Served(folder)
    try:
        yield server
    finally:
        server.end()


@contextmanager
def driven() -> Iterator[Any]:
    """Chromium, driven by Playwright, that asks nothing of any network."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        options = [
            "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
            "--disable-component-update", "--disable-sync",
        ]  # fmt: skip
        made = driver.chromium.launch(executable_path=executable(), args=options)
        try:
            yield made
        finally:
            made.close()
