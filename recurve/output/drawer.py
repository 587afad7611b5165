"""What a verification or a weighing writes back to the drawer of springs, on request, and how it is told."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from recurve.diagnosis.springs_told import SpringTold, springs_told
from recurve.diagnosis.verify import Verification
from recurve.errors import InputError
from recurve.files import rewrite
from recurve.job.drawer import noted_in, own_figures, taken_before, taken_in
from recurve.job.model import Job
from recurve.output.planfile import job_of
from recurve.springs.noted import Noted, shown_value
from recurve.text import beside, path_text, plain, printable

# How far a figure may be from its row's [1] before the spring is plainly another: winders keep rates within 10 %, and what a
# spring stretched in use is longer by is less than a tenth; common practice, no source.
ANOTHER = {"rate": 0.25, "free_length": 0.1}
NAMES = {
    "rate": ("rate", 1e-3, "N/mm"),
    "free_length": ("free length", 1e3, "mm"),
    "initial_tension": ("initial tension", 1.0, "N"),
}


@dataclass(frozen=True)
class DrawerAsked:
    """What is asked of the drawer: to `note` what the springs fitted are, and to `take` them from its count."""

    note: bool = False
    take: bool = False

    @property
    def anything(self) -> bool:
        """Whether anything is asked."""
        return self.note or self.take


NOTHING_ASKED = DrawerAsked()


def drawer_of(job: Job) -> Path:
    """The catalogue file of a job. Raises InputError where it names none that is there."""
    named = job.document.get("catalogue", {}).get("file")
    path = None if named is None else beside(job.path, named)
    if path is None or not path.is_file():
        raise InputError(
            f"{job.path}: catalogue: got no file that is there, expected the drawer whose springs are to be noted"
        )
    return path


def use_of(job: Job, drawer: Path) -> str:
    """What a drawer calls a unit that its springs are for: the job's path from the drawer's folder, wherever one stands, and
    whether the unit is named by its job or by its plan."""
    path, folder = os.path.realpath(job_of(job)), os.path.dirname(os.path.realpath(drawer))
    try:
        told = path_text(Path(os.path.relpath(path, folder)))
    except ValueError:  # there is no relative path to another drive
        told = path_text(Path(path))
    return plain(told).replace(";", ",")  # a semicolon parts two uses


class DrawerEdit:
    """The edit of one drawer for one verification: worked out on the file as it is, and once more when it is written."""

    def __init__(self, job: Job, result: Verification, asked: DrawerAsked, record: str) -> None:
        self.path, self.asked = drawer_of(job), asked
        self.use, self.older = use_of(job, self.path), plain(job_of(job).name)
        date = f"{job.date}, " if job.date else ""
        self.springs = springs_told(result, f"as left of {self.use}, {date}record {record},")
        self.told: list[str] = []
        self.content()

    def content(self) -> bytes:
        """The drawer's bytes as they are to be; `told` then says what that changes, a sentence each."""
        content, self.told = self.path.read_bytes(), []
        if not self.springs:
            self.told.append(
                "No spring of the drawer is known to be fitted. Say which: --primary-spring ID, --secondary-spring ID."
            )
        for one in self.springs:
            if self.asked.note:
                content = self._note(content, one)
            if self.asked.take:
                content, why = taken_in(
                    content, str(self.path), one.id, *(f"{use} {one.place}" for use in (self.use, self.older))
                )
                self.told.append(f"{self._name(one)}: {why or 'one less in the drawer'}.")
                self.told += self._earlier(content, one)
        return content

    def write(self) -> bool:
        """Write the drawer, whole or not at all, if anything changes in it; whether it was written."""
        if self.content() == self.path.read_bytes():
            return False
        rewrite(self.path, self.content)
        return True

    def _note(self, content: bytes, one: SpringTold) -> bytes:
        if one.noted.empty:
            self.told.append(f"{self._name(one)}: not noted, {one.why}.")
            return content
        content, changed = noted_in(content, str(self.path), one.id, one.noted)
        told = (
            noted_words(one.noted, changed) if changed else "nothing new, since it was noted before or is known better"
        )
        self.told.append(f"{self._name(one)}: {told}.")
        return content

    def _earlier(self, content: bytes, one: SpringTold) -> list[str]:
        """What must be said of other springs that were counted for this place before."""
        use = f"{self.use} {one.place}"
        return [
            f"{printable(other)} is still counted as taken for this unit, as its {one.place}: if it is back in the drawer, raise "
            f'its quantity, and delete "{printable(use)}" from its taken_for.'
            for other in taken_before(content, str(self.path), use)
            if other != one.id
        ]

    def _name(self, one: SpringTold) -> str:
        return f"{one.place} {printable(one.id)}"


def noted_words(noted: Noted, changed: tuple[str, ...]) -> str:
    """The figures that were noted, in words."""
    words = []
    for name in changed:
        quantity, (called, size, unit) = getattr(noted, name), NAMES[name]
        words.append(f"{called} {shown_value(quantity) * size:.4g} ± {quantity.half_width * size:.2g} {unit}")
    return f"noted {', '.join(words)}"


def other_spring(content: bytes, shown: str, identity: str, noted: Noted) -> list[str]:
    """Where what was measured is so far from the row's own figures that the spring is plainly another: both figures, and the
    question, a sentence or two each. Raises InputError as `noted_in`."""
    told = []
    for name, own in own_figures(content, shown, identity).items():
        found, (called, size, unit) = getattr(noted, name), NAMES[name]
        if found is not None and abs(found.value - own) > ANOTHER[name] * own + (found.half_width or 0.0):
            told.append(
                f"the row says {called} {own * size:.4g} {unit}, and {found.value * size:.4g} {unit} was measured: is this the "
                "spring of that row? If not, empty the measured cells of the row, and note it by the right id."
            )
    return told


def note_weighing(path: Path, identity: str, noted: Noted) -> str:
    """Note a weighing in a drawer, and say what that changed, and whether it is the row's spring at all. Raises InputError and
    OutputError."""
    if not path.is_file():
        raise InputError(f"{path}: got no file there, expected the drawer whose spring is to be noted")
    content = path.read_bytes()
    changed = noted_in(content, str(path), identity, noted)[1]
    doubts = "".join(f". CHECK: {doubt}" for doubt in other_spring(content, str(path), identity, noted)).rstrip(".")
    if not changed:
        return f"{identity}: nothing new, since it was noted before or is known better{doubts}"
    rewrite(path, lambda: noted_in(path.read_bytes(), str(path), identity, noted)[0])
    return f"{identity}: {noted_words(noted, changed)}{doubts}"
