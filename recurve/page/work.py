"""What takes longer than a moment runs in a process of its own, one for a unit and a kind of work, and can be stopped.

The process writes what it makes into the unit's own folder, as the commands do, and sends words of progress and its result.
"""

from __future__ import annotations

import json
import traceback
from dataclasses import dataclass, field
from multiprocessing import get_context
from multiprocessing.connection import Connection
from multiprocessing.context import SpawnProcess
from pathlib import Path
from time import monotonic
from typing import Any, Literal

from recurve.errors import InputError, RecurveError
from recurve.files import write_folder
from recurve.output.planfile import plan_folder

Kind = Literal["found", "plan", "left"]
KEPT: dict[Kind, str] = {"found": "as-found.json", "plan": "plan.json", "left": "as-left.json"}
MOST_AT_ONCE = 2


@dataclass
class Run:
    """Work under way or done: what it says of its progress, `faults` where it ended in them, and since when it runs [s]."""

    kind: Kind
    process: SpawnProcess
    hears: Connection
    said: str = "Starting"
    done: bool = False
    faults: tuple[str, ...] = ()
    since: float = field(default_factory=monotonic)

    def look(self) -> None:
        """Take in what the process has said; a process that died has said all it will."""
        try:
            while not self.done and self.hears.poll():
                word, told = self.hears.recv()
                if word == "progress":
                    self.said = str(told)
                else:
                    self.done, self.faults = True, tuple(told)
        except (EOFError, OSError):
            pass
        if not self.done and not self.process.is_alive() and not self._pending():
            self.done, self.faults = True, ("The work stopped before it was done; start it again.",)

    def _pending(self) -> bool:
        try:
            return self.hears.poll()
        except (EOFError, OSError):
            return False

    def stop(self) -> None:
        """End it; what was written before stays whole."""
        if self.process.is_alive():
            self.process.terminate()
            self.process.join(5)
        if not self.done:
            self.done, self.faults = True, ("Stopped.",)


class Works:
    """All work of the page."""

    def __init__(self) -> None:
        """Nothing runs yet."""
        self.runs: dict[tuple[Path, Kind], Run] = {}

    def start(self, path: Path, kind: Kind, told: dict[str, Any]) -> Run:
        """Begin, unless the same is under way. Raises InputError where too much runs already."""
        run = self.of(path, kind)
        if run is not None and not run.done:
            return run
        if sum(not r.done for r in self.runs.values()) >= MOST_AT_ONCE:
            raise InputError(f"{path}: got more work than two at once, expected one of them to be through first")
        context = get_context("spawn")
        hears, says = context.Pipe(duplex=False)
        process = context.Process(target=_work, args=(str(path), kind, told, says), daemon=True)
        process.start()
        says.close()
        run = self.runs[path, kind] = Run(kind, process, hears)
        return run

    def of(self, path: Path, kind: Kind) -> Run | None:
        """The last work of this kind on a unit."""
        run = self.runs.get((path, kind))
        if run is not None:
            run.look()
        return run

    def forget(self, path: Path, kind: Kind) -> None:
        """What was told of work that is through."""
        self.runs.pop((path, kind), None)

    def end(self) -> None:
        """Stop all."""
        for run in self.runs.values():
            run.stop()


def kept(path: Path, kind: Kind) -> dict[str, Any] | None:
    """The document of the last work of this kind on a unit, as the command gives it with --json; None if there is none."""
    try:
        found: dict[str, Any] = json.loads((plan_folder(path) / KEPT[kind]).read_text(encoding="utf-8"))
        return found
    except (OSError, ValueError):
        return None


def _work(name: str, kind: Kind, told: dict[str, Any], says: Connection) -> None:
    """In the process: do the work, write its document, and say how it ended."""
    path = Path(name)

    def report(words: str) -> None:
        says.send(("progress", words))

    try:
        document, text, remark = _done(path, kind, told, report)
        content = json.dumps({"document": document, "text": text, "remark": remark}, ensure_ascii=False, indent=1)
        write_folder(plan_folder(path), {KEPT[kind]: content.encode("utf-8")})
        says.send(("done", ()))
    except InputError as refused:
        says.send(("done", refused.faults))
    except RecurveError as refused:
        says.send(("done", (str(refused),)))
    except Exception:  # a bug: told in full, and the page goes on
        says.send(("done", tuple(traceback.format_exc().splitlines()[-3:])))


def _done(path: Path, kind: Kind, told: dict[str, Any], report: Any) -> tuple[dict[str, Any], str, str]:
    """The document, the report's text, and what is to be said besides."""
    if kind == "plan":
        from recurve.output.results import Asked, plan_job
        from recurve.planner.springset import Constraints

        asked = Asked("yield", Constraints(), 6, told.get("paper", "a4"), told.get("units", "both"), html=True)
        planned = plan_job(path, asked, report)
        assert planned.document is not None  # a plan that was made has one
        return planned.document.as_json(), planned.text, ""
    from recurve.output.judged import AskedFound, AskedLeft, judge_found, judge_left

    if kind == "found":
        found = judge_found(path, AskedFound(), report)
        return found.document.as_json(), found.text, ""
    left = judge_left(path, plan_folder(path) / "as-left.csv", AskedLeft(was_set={}), report)
    return left.document.as_json(), left.text, left.remark
