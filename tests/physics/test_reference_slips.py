"""Reference sweeps of units that are known (`reference_units`), with springs told as they were and with single slips."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from commands import run
from longer import some
from reference_units import swept

from recurve.job.read import build_parts, load_job, read_files
from recurve.physics.reference import KnownSpring, Reference, fit_reference, reference_faults
from recurve.physics.reference_slips import ReferenceDoubt, reference_doubt
from recurve.springs.spring import Spring

Change = Callable[[Spring], Spring]
SLIPS: dict[str, tuple[Change, str]] = {
    "over the hooks": (lambda s: replace(s, free_length=s.free_length + 2e-3), "outside of the hooks"),
    "between centres": (lambda s: replace(s, free_length=s.free_length - 2.5e-3), "between centres"),
    "a rate in lbf/in": (lambda s: replace(s, rate=s.rate * 5.71), "entered as N/mm"),  # 1 N/mm is 5.71 lbf/in
}


def reference(seed: int, folder: Path) -> Reference:
    """A reference sweep and its springs as they were."""
    given = build_parts(read_files(swept(seed, folder)[1])).measured.weights.motion
    assert isinstance(given, Reference)
    return given


def with_springs(given: Reference, change: Change) -> Reference:
    def changed(one: KnownSpring) -> KnownSpring:
        return replace(one, installed=replace(one.installed, spring=change(one.installed.spring)))

    return replace(given, springs=tuple(changed(s) for s in given.springs))


def doubted(given: Reference) -> ReferenceDoubt | None:
    return reference_doubt(fit_reference(given))


@pytest.mark.parametrize("seed", [3, 14])
def test_springs_told_as_they_were_are_believed(seed: int, tmp_path: Path) -> None:
    assert doubted(reference(seed, tmp_path)) is None


@pytest.mark.parametrize("slip", some(SLIPS, 1))
def test_where_springs_and_sweep_contradict_each_other_the_slip_is_named(slip: str, tmp_path: Path) -> None:
    """Of two units those that contradict; a slip that the sweep bears out nobody can tell."""
    change, words = SLIPS[slip]
    seen = 0
    for seed in (1, 7):
        wrong = with_springs(reference(seed, tmp_path), change)
        doubt = None if reference_faults(wrong) else doubted(wrong)
        if doubt is not None:
            seen += 1
            assert any(words in s.words for s in doubt.slips[:2]), (seed, [s.words for s in doubt.slips])
    assert seen >= 1


def test_it_is_what_check_and_plan_say_first(tmp_path: Path) -> None:
    """The free lengths of the job made 1.2 mm longer, as over the hooks: check cannot tell, plan's trust is not ok."""
    unit, path = swept(1, tmp_path)
    text = path.read_text(encoding="utf-8")
    for spring in load_job(path).places:
        assert spring.found is not None
        was = f'free_length = "{1e3 * spring.found.free_length!r} '
        assert was in text
        text = text.replace(was, f'free_length = "{1e3 * spring.found.free_length + 2.0!r} ')
    path.write_text(text, encoding="utf-8")
    assert load_job(path).doubt is not None
    status, out, _ = run(["check", str(path)])
    flat = " ".join(out.split())
    assert status == 3 and "CANNOT TELL - the reference sweep was not made with the springs the job names" in flat
    assert "everything agrees if the free lengths were measured over the outside of the hooks" in flat
    assert unit is not None
