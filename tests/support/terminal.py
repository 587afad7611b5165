"""A command in a pseudo-terminal, answered as a person would: what is shown up to each prompt, a line typed in return."""

from __future__ import annotations

import os
import pty
import re
import select
import subprocess
import sys
import time
from pathlib import Path

from recurve.job.questions import Question, questions

LAUNCH = (
    "import fcntl, runpy, signal, sys, termios; fcntl.ioctl(0, termios.TIOCSCTTY, 0); "
    "signal.signal(signal.SIGINT, signal.default_int_handler); "  # tests that run in the background inherit its being ignored
    "sys.argv[0] = 'recurve'; runpy.run_module('recurve', run_name='__main__')"
)
PROMPT = re.compile(r"(?:^|\n)[\w ?]*> $")


class Terminal:
    """`recurve` with these arguments, run in `folder` in a pseudo-terminal of 80 columns."""

    def __init__(self, arguments: list[str], folder: Path) -> None:
        self.shown = ""
        self.handle, inside = pty.openpty()
        environment = {**os.environ, "COLUMNS": "80", "TERM": "dumb", "PYTHONUTF8": "1"}
        # A session of its own whose terminal this is, so that Ctrl-C reaches it; without a fork of the tests' threads.
        self.process = subprocess.Popen(
            [sys.executable, "-c", LAUNCH, *arguments],
            stdin=inside, stdout=inside, stderr=inside, cwd=folder, env=environment, start_new_session=True,
        )  # fmt: skip
        os.close(inside)

    def wait(self, seconds: float = 60.0) -> str | None:
        """What is shown up to the next prompt, None where the command has ended (its words are in `shown`)."""
        text, end = "", time.monotonic() + seconds
        raw = b""
        while time.monotonic() < end:
            if not select.select([self.handle], [], [], 0.2)[0]:
                continue
            try:
                more = os.read(self.handle, 65536)
            except OSError:  # the other end is closed: how Linux tells the end of a terminal
                more = b""
            if not more:
                self.shown += text
                return None
            raw += more
            text = raw.decode("utf-8", errors="replace").replace("\r\n", "\n")
            if PROMPT.search(text):
                self.shown += text
                return text
        raise TimeoutError(f"no prompt within {seconds} s after: {text[-400:]}")

    def type(self, line: str) -> None:
        os.write(self.handle, line.encode("utf-8") + b"\n")

    def interrupt(self) -> int:
        """Ctrl-C, and the exit status. Pressed again where nothing comes of it: a signal that arrives between the prompt and
        the read behind it is seen by Python only once the read returns."""
        for _ in range(5):
            os.write(self.handle, b"\x03")
            try:
                if self.wait(6.0) is not None:
                    raise AssertionError("it still asks: " + self.shown[-300:])
                return self.ended()
            except TimeoutError:
                continue
        raise AssertionError("five times Ctrl-C, and it still runs")

    def status(self) -> int:
        """Wait for its end and return the exit status."""
        if self.wait() is not None:
            raise AssertionError("it still asks: " + self.shown[-300:])
        return self.ended()

    def kill(self) -> None:
        """As a power cut for the process: SIGKILL, nothing of it runs any more."""
        self.process.kill()
        self.ended()

    def ended(self) -> int:
        """The exit status of a command that has nothing more to say."""
        status = self.process.wait(60)
        os.close(self.handle)
        return status


def question_in(text: str) -> Question | None:
    """The last question whose words are shown in this text."""
    flat = " ".join(text.split())
    found = [(flat.rfind(" ".join(q.ask.split())), q) for q in questions()]
    at, question = max(found, key=lambda one: one[0])
    return question if at >= 0 else None


def answer(terminal: Terminal, answers: dict[str, str | list[str]], until: str = "") -> list[str]:
    """Answer each question by its key, "" where there is no answer, to the end or before the question `until`.

    Returns the keys asked. A list is typed line by line, "" after it.
    """
    keys: list[str] = []
    lines: list[str] = []
    while (text := terminal.wait()) is not None:
        question = question_in(text)
        if question is not None:
            if question.key == until:
                return keys
            keys.append(question.key)
            given = answers.get(question.key, "")
            lines = [given] if isinstance(given, str) else [*given, ""]
        terminal.type(lines.pop(0) if lines else "")
    return keys
