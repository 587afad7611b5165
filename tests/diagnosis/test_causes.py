"""Which part is blamed: worn units whose one fault is known, made by code that shares nothing with the model (`worn`)."""

from __future__ import annotations

import os
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest
from longer import some
from whole_units import PEN, Springs, whole
from worn import SLIPS, WEAR, WRONG_SPRINGS, Restless, Way, worn

from recurve.diagnosis.causes import as_blamed
from recurve.diagnosis.check import Check, check_bare, check_unit
from recurve.diagnosis.findings import sure_together
from recurve.diagnosis.flat import NoAdvance
from recurve.diagnosis.trust import FREE_FIRST, trust_in
from recurve.errors import PhysicsError
from recurve.fit.fit import fit_sweep
from recurve.fit.state import Evidence
from recurve.inspection.findings import Cause
from recurve.job.model import Job
from recurve.job.read import load_any
from recurve.physics.target import Band, Target, margins, passes

ACCUSING = ("check first", "repair first", "high", "medium")
RIGHT = {
    "weak primary": {Cause.PRIMARY}, "slack primary": {Cause.PRIMARY},
    "weak secondary": {Cause.SECONDARY}, "late secondary": {Cause.SECONDARY},
    "strong": {Cause.PRIMARY, Cause.SECONDARY, Cause.SPRINGS},
    "stop worn": {Cause.STOP}, "stop short": {Cause.STOP}, "sluggish": {Cause.FRICTION},
    "broken primary": {Cause.PRIMARY, Cause.SPRINGS}, "broken secondary": {Cause.SECONDARY, Cause.SPRINGS},
    "springs changed over": {Cause.PRIMARY, Cause.SECONDARY, Cause.SPRINGS},
}  # fmt: skip
KNOWN: tuple[Springs, ...] = ("known", "half", "unknown")
WAYS = (Way(), Way(count=5), Way(count=18), Way(count=30), Way(count=6, both=False), Way(count=4))
Case = tuple[int, str, Springs, Way, str | None]


def judged(case: Case) -> tuple[Case, str, str]:
    """What is said first of the unit of a case: "right", "wrong", "open" (one of the springs, or springs or what binds),
    "slip", "nothing", or "refused"; and the verdict."""
    seed, fault, springs, way, slip = case
    with TemporaryDirectory() as folder:
        try:
            job = whole(seed, fault, springs, way, slip).job(Path(folder))
        except (PhysicsError, Restless):
            # Drawn so near its limits that its own ± would make it bind; or never at rest in MuJoCo.
            return case, "refused", ""
        check = check_unit(job)
    return case, _first(check, fault), check.verdict


def _first(check: Check, fault: str) -> str:
    accusing = [f for f in check.findings if f.severity in ACCUSING]
    if not accusing:
        return "nothing"
    if accusing[0].cause in RIGHT.get(fault, set()):
        return "right"
    if accusing[0].severity == "check first":
        return "slip"
    if isinstance(accusing[0], NoAdvance) and accusing[0].by_springs:  # it names what binds, and springs
        return "open"
    return "open" if accusing[0].cause == Cause.SPRINGS and fault in RIGHT else "wrong"


@pytest.mark.parametrize("fault", ["sound", *RIGHT])
@pytest.mark.parametrize("seed", some([36, 32, 34], 1))
def test_the_part_that_was_spoilt_is_named(seed: int, fault: str) -> None:
    """One fault each, springs unknown or known, swept up and down in 8 to 13 readings. Only a unit that meets its book in
    truth may be passed over; nothing that was not spoilt is named."""
    case: Case = (seed, fault, KNOWN[seed % 3], Way(), None)
    _, first, verdict = judged(case)
    unit = whole(seed, fault, KNOWN[seed % 3])
    off = max(float(unit.seen.above().max()), float(unit.seen.below().max()))
    if fault == "sound":
        assert first == "nothing", verdict
    elif first == "nothing":
        assert off < unit.seen.reading, (off, verdict)
        assert fault not in ("stop worn", "stop short")
    else:
        assert first == "right", (first, verdict)


@pytest.mark.parametrize("slip", some((s for s in PEN if s not in ("count", "angle's sign")), 2))
def test_a_slip_of_the_pen_is_told_before_any_wear(slip: str, tmp_path: Path) -> None:
    """The unit is measured rightly and one thing is written down wrongly: nothing is said of wear, and nothing is built."""
    unit = whole(41, "weak primary", "known", Way(), slip)
    job = unit.job(tmp_path)
    check = check_unit(job)
    assert check.verdict == "cannot tell" and not check.trust.ok
    assert {f.severity for f in check.findings} <= {"check first", "open question"}
    words = {
        "weights of both": "the mass is that of all",
        "outside hooks": "over the outside of the hooks",
        "between centres": "between centres",
        "springs exchanged": "exchanged",
        "inch rates": "lbf/in, entered as N/mm",
    }[slip]
    assert words in " ".join(f.evidence + f.what for f in check.findings)
    assert not trust_in(job, fit_sweep(job)).ok


@pytest.mark.parametrize("fault", some(list(SLIPS), 1))
def test_crank_figures_contradict_measured_springs(fault: str, tmp_path: Path) -> None:
    check = check_unit(whole(42, fault, "known").job(tmp_path))
    assert check.verdict == "cannot tell"
    assert [f.cause for f in check.findings if f.severity != "open question"] == [Cause.CRANK_FIGURES]


def test_plan_and_check_stand_on_the_same_gate(tmp_path: Path) -> None:
    """Friction that no springs make up for bars a plan as it bars the check."""
    for seed in range(50, 60):
        job = whole(seed, "sluggish", "known", Way(count=18)).job(tmp_path)
        check = check_unit(job)
        assert trust_in(job, fit_sweep(job)).ok == check.trust.ok
        if check.verdict == "mechanical repair first":
            assert not check.trust.ok
            assert any("sluggish" in reason for reason in check.trust.reasons)
            return
    pytest.fail("no unit of these seeds is sluggish enough")


@pytest.mark.parametrize(
    ("seed", "fault"), some([(764, "sluggish"), (760, "sluggish"), (764, "sound")], 1, several=True)
)
def test_a_unit_whose_return_was_not_read_is_not_called_sound(seed: int, fault: str, tmp_path: Path) -> None:
    """Read with speed rising only, a sluggish unit looks like a sound one."""
    check = check_unit(whole(seed, fault, "known", Way(count=10, both=False)).job(tmp_path))
    assert check.verdict == "cannot tell" and check.passing is not None and check.passing > 0.9
    assert "no falling readings" in check.why[0]


@pytest.mark.parametrize("measured", [True, False], ids=["measured", "bare"])
def test_where_stop_and_springs_are_off_at_once_the_book_is_asked_about(measured: bool, tmp_path: Path) -> None:
    """A sound unit under the book of the next one is wrong all over; one whose stop alone is worn is asked nothing."""
    unit = whole(774, "sound", "known", Way(count=12)) if measured else worn(774, "sound", Way(count=12))
    unit.job(tmp_path)
    [path] = tmp_path.glob("*.toml")
    book = worn(775, "sound").text
    book = book[book.index("[target]") : book.index("[sweep]")]
    head, _, rest = unit.text.partition("[target]")
    path.write_text(f"{head}{book}{rest[rest.index('[sweep]') :]}", encoding="utf-8")
    job = load_any(path)
    check = check_unit(job) if isinstance(job, Job) else check_bare(job)
    assert any("the book's figures are its own" in why for why in check.why), (check.verdict, check.why)
    alone = check_unit(whole(34, "stop worn", "known").job(tmp_path))
    assert not any("the book's figures are its own" in why for why in alone.why)


def test_what_is_sure_is_sure_together() -> None:
    """By hand: of 100 states the first event fails in 3, the second in 4 others: each is 96 % sure or more, together 93 %."""
    states = np.arange(100)
    events = {"a": states >= 3, "b": (states < 50) | (states >= 54)}
    assert sure_together(events) == {"a"}
    assert sure_together({**events, "b": states >= 4}) == {"a", "b"}
    assert sure_together({"a": states < 94}) == frozenset()


def test_margins_of_many_are_those_of_each(tmp_path: Path) -> None:
    """Against `Band.margin` of each curve by itself; a curve on the edge passes."""
    job = whole(34, "sound", "known").job(tmp_path)
    evidence = Evidence.of(job, fit_sweep(job))
    target, made = job.target, evidence.curves
    assert target is not None
    worst = margins(target, made)
    idle = target.idle_speed
    assert idle is not None
    for i in range(0, 2048, 500):
        one = [m for b in target.timed for m in _by_hand(b, made, i, idle)]
        top = target.maximum
        assert top is not None
        one.append(float(top.margin(made.advance[i, -1])))
        assert worst[i] == pytest.approx(min(one), abs=1e-12)
    assert (passes(target, made) == (worst >= -1e-7)).all()


def _by_hand(band: Band, made: object, i: int, idle: float) -> list[float]:
    from recurve.physics.ensemble import Curves

    assert isinstance(made, Curves) and band.speed is not None
    one = Curves(made.advance[i : i + 1], made.rising[i : i + 1], made.falling[i : i + 1])
    start = one.falling_advance(np.array([idle]))[:, 0]
    speed = np.array([band.speed])
    both = (one.rising_advance(speed, start)[0, 0], one.falling_advance(speed)[0, 0])
    return [float(band.margin(x)) for x in both]


@pytest.mark.parametrize(("seed", "fault"), [(201, "slack primary"), (226, "slack primary")])
def test_friction_is_not_needed_where_a_spring_does(seed: int, fault: str, tmp_path: Path) -> None:
    """Spoilt is the primary alone. That no better pair of springs is found must not make the spindle sluggish: what one
    spring does, two do."""
    job = whole(seed, fault, KNOWN[seed % 3], WAYS[seed % len(WAYS)]).job(tmp_path)
    _, blamed = as_blamed(Evidence.of(job, fit_sweep(job)), None)
    assert blamed is not None
    assert not blamed.surely(Cause.FRICTION), blamed


def test_a_spring_that_must_be_put_right_is_named_though_friction_may_be_high_too() -> None:
    """A broken primary lets 9 degrees in at idle; four readings do not rule out friction beside it. Whatever else is done, the
    primary must be put right, and so it is told first."""
    _, first, verdict = judged((8021, "broken primary", "unknown", Way(count=4), None))
    assert (first, verdict) == ("right", "new springs")


def test_friction_that_may_set_the_curves_apart_is_settled_first(tmp_path: Path) -> None:
    """Sluggish, read at four speeds: 1.2° stay in, which a slack primary would explain as well. Whatever the primary is, nothing
    is ordered or built before the unit is freed, by `check` as by `plan`."""
    job = whole(8207, "sluggish", "unknown", Way(count=4)).job(tmp_path)
    check, trust = check_unit(job), trust_in(job, fit_sweep(job))
    assert check.verdict == "cannot tell" and check.why == (FREE_FIRST,)
    assert check.trust.reasons == trust.reasons == (FREE_FIRST,)


def test_a_stiff_spring_may_hold_its_coils_together_harder() -> None:
    """A sound unit whose second spring, 15 N/mm, pulls 7.9 N as soon as it takes up: the curve stands still there, which six
    rising readings do not show. It is not accused of what the readings leave open."""
    _, first, verdict = judged((8002, "sound", "half", Way(count=6, both=False), None))
    assert (first, verdict) == ("nothing", "cannot tell")


def test_nobody_is_blamed_without_bands(tmp_path: Path) -> None:
    job = whole(34, "stop worn", "known").job(tmp_path)
    evidence = Evidence.of(job, fit_sweep(job))
    passing, blamed = as_blamed(evidence, None)
    assert passing is not None and passing < 0.05
    assert blamed is not None and blamed.causes == (Cause.STOP,)
    assert blamed.surely(Cause.STOP) and not blamed.surely(Cause.FRICTION)
    from dataclasses import replace

    bare = replace(evidence, job=replace(job, target=None))
    assert as_blamed(bare, None) == (None, None)
    assert isinstance(job.target, Target)


# --- the study ----------------------------------------------------------------------------------------------

# What was wrong with units of earlier runs has been mended since: a run that is to be told takes seeds of its own.
FIRST = int(os.environ.get("RECURVE_FIRST", "200"))
STUDIED = range(FIRST, FIRST + 36)
SIMULATED = range(FIRST + 100, FIRST + 106)
SLIPPED = range(FIRST + 200, FIRST + 240)
CLEAN = range(FIRST + 200, FIRST + 300)


@pytest.mark.study
@pytest.mark.parametrize("simulated", [False, True], ids=["432 units", "72 by MuJoCo"])
def test_causes_study(simulated: bool) -> None:
    """The first cause is right in at least 90 % of those that are told at all, sound units are accused in under 3 %, and no
    unit is called sound that is off its book by more than the bench reads."""
    faults = (*WEAR, *WRONG_SPRINGS)
    seeds = SIMULATED if simulated else STUDIED
    results = _all_judged(
        [
            (s, f, KNOWN[s % 3], Way(simulated=True) if simulated else WAYS[s % len(WAYS)], None)
            for s in seeds
            for f in faults
        ],
        ("wrong", "slip"),
    )
    for fault in faults:
        print(f"{fault:16s}", dict(Counter(first for case, first, _ in results if case[1] == fault)))
    sound = Counter(first for case, first, _ in results if case[1] == "sound")
    assert sum(n for k, n in sound.items() if k != "nothing") < 0.03 * sum(sound.values()) + 1
    worn = Counter(first for case, first, _ in results if case[1] != "sound")
    told = sum(n for k, n in worn.items() if k in ("right", "wrong", "slip"))
    assert worn["right"] >= 0.9 * told
    passed = [case for case, _, verdict in results if verdict == "sound" and _off(case)]
    assert passed == []


def _all_judged(cases: list[Case], wrongly: tuple[str, ...]) -> list[tuple[Case, str, str]]:
    """All cases judged, those told `wrongly` printed as soon as they are known."""
    results = []
    with ProcessPoolExecutor(2) as pool:
        for case, first, verdict in pool.map(judged, cases, chunksize=4):
            results.append((case, first, verdict))
            if first in wrongly:
                print(first, case, verdict, flush=True)
    return results


def _off(case: Case) -> bool:
    """Whether the unit in truth is off its book by more than its bench reads."""
    seed, fault, springs, way, slip = case
    seen = whole(seed, fault, springs, way, slip).seen
    return bool(max(float(seen.above().max()), float(seen.below().max())) > seen.reading)


@pytest.mark.study
def test_slips_study() -> None:
    """Slips of the pen and crank figures on 40 seeds, springs known: told or doubted in at least 95 %, and
    units without one doubted in under 1 %."""
    cases: list[Case] = [
        (s, WEAR[s % len(WEAR)], "known", WAYS[s % len(WAYS)], slip)
        for s in SLIPPED
        for slip in PEN
        if slip not in ("count", "angle's sign")
    ]
    cases += [(s, slip, "known", WAYS[s % len(WAYS)], None) for s in SLIPPED for slip in SLIPS]
    clean: list[Case] = [(s, "sound", "known", WAYS[s % len(WAYS)], None) for s in CLEAN]
    results, alone = _all_judged(cases, ("right", "open", "wrong", "nothing")), _all_judged(clean, ("slip",))
    for slip in (*PEN, *SLIPS):
        counted = Counter(first for case, first, _ in results if slip in (case[4], case[1]))
        print(f"{slip:20s}", dict(counted))
    assert sum(first == "slip" for _, first, _ in results) >= 0.95 * len(results)
    assert sum(first == "slip" for _, first, _ in alone) <= 1
