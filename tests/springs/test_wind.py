"""Springs to have wound, each worked out again by formulas written out here.

EN 13906-2 symbols (from MEMORY): R = G d⁴/(8 D³ n), τ = 8FD/(πd³) with Wahl's factor where the package takes
Bergsträsser's, w = D/d, hook bending by the theory of curved beams. Moduli in Mpsi and strengths in kpsi·in^m are those of
Shigley's tables (music and hard-drawn moduli READ, the rest SECOND-HAND or MEMORY), not the package's file.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from recurve.springs.winding import HOOK, INDEX, Envelope, Wanted, Winding, Wound, wind
from recurve.springs.wire import wire_sizes

INCH, PSI = 25.4, 0.006894757  # mm, MPa
# E, G [Mpsi] up to 0.032 in and up to 0.063 in; A [kpsi·in^m] and m; shares of strength: body, hook torsion, hook bending.
CARBON, AUSTENITIC = (0.45, 0.40, 0.75), (0.35, 0.30, 0.55)
BOOK = {
    "music": ((29.5, 12.0), (29.0, 11.85), 201.0, 0.145, CARBON),
    "hard-drawn": ((28.8, 11.7), (28.7, 11.6), 140.0, 0.190, CARBON),
    "oil-tempered": ((28.5, 11.2), (28.5, 11.2), 147.0, 0.187, CARBON),
    "stainless": ((28.0, 10.0), (28.0, 10.0), 169.0, 0.146, AUSTENITIC),
}
SIZES = wire_sizes(("metric", "gauge"), tuple(BOOK))
ROOMY = Envelope(outer=9e-3, overall=40e-3, tolerance=0.1)


class Independent:
    """What EN 13906-2's symbols make of a wound spring, in N and mm."""

    def __init__(self, w: Wound) -> None:
        self.d, self.D, self.n = 1e3 * w.wire, 1e3 * (w.outer - w.wire), w.coils
        thin, thick, a, m, self.allowed = BOOK[w.material]
        e, g = thin if self.d / INCH < 0.0325 else thick
        self.turns = self.n + g / e
        self.G = 1e6 * g * PSI
        self.Rm = 1e3 * a / (self.d / INCH) ** m * PSI

    @property
    def w(self) -> float:
        return self.D / self.d

    @property
    def R(self) -> float:
        return self.G * self.d**4 / (8 * self.D**3 * self.turns)

    def tau(self, force: float) -> float:
        return 8 * force * self.D / (math.pi * self.d**3)

    @property
    def wahl(self) -> float:
        return (4 * self.w - 1) / (4 * self.w - 4) + 0.615 / self.w

    @property
    def other_factor(self) -> float:
        return (self.w + 0.5) / (self.w - 0.75)

    def curved(self, force: float) -> float:
        """Inner stress of a curved beam of round section, R = D/2, M = F·D/2."""
        radius, area = self.D / 2, math.pi * self.d**2 / 4
        neutral = self.d**2 / (4 * (2 * radius - math.sqrt(4 * radius**2 - self.d**2)))
        inner = radius - self.d / 2
        return force * radius * (neutral - inner) / (area * (radius - neutral) * inner) + force / area

    def band(self) -> tuple[float, float]:
        """Preferred initial stress [MPa] (Shigley 10-41, SECOND-HAND)."""
        middle, half = 33500 / math.exp(0.105 * self.w), 1000 * (4 - (self.w - 3) / 6.5)
        return (middle - half) * PSI, (middle + half) * PSI


def random_wanted(seed: int) -> list[Wanted]:
    """Springs as distributors have them: from rest, slack with a tension, slack without, and free to be chosen."""
    rng = np.random.default_rng(seed)
    found = []
    for i in range(12):
        rest, rate = rng.uniform(12e-3, 20e-3), float(np.exp(rng.uniform(np.log(600), np.log(8000))))
        longest = rest + rng.uniform(1e-3, 3e-3)
        base = {"place": "primary", "rate": rate, "rest": float(rest), "longest": float(longest)}
        if i % 4 == 0:
            found.append(Wanted(**base, pull=float(rng.uniform(0.3, 4.0))))
        else:
            tension = {1: float(rng.uniform(0.5, 6.0)), 2: 0.0, 3: None}[i % 4]
            found.append(Wanted(**base, free_length=float(rest * rng.uniform(0.95, 1.04)), initial_tension=tension))
    return found


@pytest.fixture(scope="module")
def windings() -> list[Winding]:
    return [wind(wanted, ROOMY, SIZES) for wanted in random_wanted(11)]


def test_most_can_be_wound(windings: list[Winding]) -> None:
    assert sum(bool(w.proposals) for w in windings) >= 8
    assert sum(len(w.proposals) for w in windings) >= 60


def test_rate_again(windings: list[Winding]) -> None:
    """R within 0.02 % (the table's rounding of Mpsi to GPa), near the asked rate, and within tolerance with the wire at
    either end of ASTM A228's tolerance (SECOND-HAND), (1 ± t/d)⁴."""
    for winding in windings:
        for w in winding.proposals:
            again = Independent(w)
            assert 1e-3 * w.rate == pytest.approx(again.R, rel=2e-4)
            inches = again.d / INCH
            limit = 0.0002 if inches <= 0.01 else 0.0003 if inches <= 0.0281 else 0.0004
            for wire in (inches + limit, inches - limit):
                rate = 1e3 * again.R * (wire / inches) ** 4
                assert rate == pytest.approx(winding.wanted.rate, rel=winding.envelope.tolerance + 5e-4)


def test_stresses_again(windings: list[Winding]) -> None:
    """Body with Wahl's factor within the difference of the factors, bending within 1.5 % of the curved beam, torsion of
    the hook by its formula, all inside the allowables; strengths to 0.3 %."""
    for winding in windings:
        for w in winding.proposals:
            again = Independent(w)
            force = again.R * 1e3 * (winding.wanted.longest - w.free_length) + w.initial_tension
            assert w.load == pytest.approx(force, rel=1e-3)
            shares = [
                again.wahl * again.tau(force) / (again.allowed[0] * again.Rm),
                1.25 * again.tau(force) / (again.allowed[1] * again.Rm),
                again.curved(force) / (again.allowed[2] * again.Rm),
            ]
            apart = again.wahl / again.other_factor - 1
            assert 0 < apart < 0.02
            assert w.stress_fractions[0] == pytest.approx(shares[0] / (1 + apart), rel=0.004)
            assert w.stress_fractions[1] == pytest.approx(shares[1], rel=0.004)
            assert w.stress_fractions[2] == pytest.approx(shares[2], rel=0.019)
            assert max(shares) <= 1.02


def test_initial_tension_again(windings: list[Winding]) -> None:
    """In the preferred band, or none in coils apart; as asked where it was asked."""
    for winding in windings:
        for w in winding.proposals:
            low, high = Independent(w).band()
            stress = Independent(w).tau(w.initial_tension)
            assert w.initial_tension == 0.0 or low * 0.999 <= stress <= high * 1.001
            if winding.wanted.initial_tension is not None:
                assert w.initial_tension == winding.wanted.initial_tension
            assert w.gap == 0.0 or w.initial_tension == 0.0


def test_lengths_again(windings: list[Winding]) -> None:
    """Body and hooks make the free length; the pull at rest is the asked one; coils never bind."""
    for winding in windings:
        wanted = winding.wanted
        for w in winding.proposals:
            d, inner = 1e3 * w.wire, 1e3 * (w.outer - 2 * w.wire)
            body = (w.coils + 1) * d + w.coils * 1e3 * w.gap
            assert 1e3 * w.free_length == pytest.approx(body + 2e3 * w.hook, abs=1e-9)
            assert HOOK[0] - 1e-9 <= 1e3 * w.hook / inner <= HOOK[1] + 1e-9
            assert w.gap >= 0.0
            if wanted.pull is not None:
                assert w.initial_tension + w.rate * (wanted.rest - w.free_length) == pytest.approx(wanted.pull)
                assert w.free_length <= wanted.rest + 1e-12
            else:
                assert w.free_length == wanted.free_length


def test_what_can_be_wound_and_ordered(windings: list[Winding]) -> None:
    for winding in windings:
        wires = [(w.material, w.label) for w in winding.proposals]
        assert len(wires) == len(set(wires))
        assert [w.robustness for w in winding.proposals] == sorted(
            (w.robustness for w in winding.proposals), reverse=True
        )
        for w in winding.proposals:
            assert INDEX[0] <= w.index <= INDEX[1]
            assert w.coils % 0.5 == 0.0  # hooks in one plane
            assert w.outer <= winding.envelope.outer + 1e-12
            assert (w.outer / 0.05e-3) == pytest.approx(round(w.outer / 0.05e-3))


def test_nothing_is_missed() -> None:
    """One wire tried by a plain loop over diameters and half turns, judged by the formulas above: where the loop finds a
    spring with 3 % to spare there is a proposal, and where there is a proposal the loop finds one."""
    sizes = wire_sizes(("metric",), ("music",))
    met = set()
    for wanted in random_wanted(5)[1::4] + random_wanted(6)[2::4]:
        found = {w.label for w in wind(wanted, ROOMY, sizes).proposals}
        for label, wire in zip(sizes.label, sizes.diameter, strict=True):
            met.add(label in found)
            if label in found:
                assert _loop(wanted, float(wire), 1.02), label
            else:
                assert not _loop(wanted, float(wire), 0.97), label
    assert met == {True, False}


def _loop(wanted: Wanted, wire: float, ease: float) -> bool:
    """Whether any diameter and number of turns keeps all limits, stretched by the factor `ease`."""
    for step in range(1, int(9e-3 / 0.05e-3) + 1):
        outer = step * 0.05e-3
        if not INDEX[0] / ease <= outer / wire - 1 <= INDEX[1] * ease:
            continue
        # Turns outside these are more than the tolerance off the rate: R goes as 1/(n + about 0.4).
        about = 82e9 * wire**4 / (8 * (outer - wire) ** 3 * wanted.rate)
        for turns in np.arange(max(3.0, math.floor(0.8 * about) - 1), min(1.25 * about + 1, 60.0), 0.5):
            if _keeps(wanted, wire, outer, float(turns), ease):
                return True
    return False


def _keeps(wanted: Wanted, wire: float, outer: float, turns: float, ease: float) -> bool:
    tension, free = wanted.initial_tension, wanted.free_length
    assert tension is not None and free is not None
    inner, body = outer - 2 * wire, (turns + 1) * wire
    hook, gap = (free - body) / 2, 0.0
    if tension == 0.0 and hook > 0.975 * inner:
        hook, gap = 0.975 * inner, (free - body - 1.95 * inner) / turns
    blank = Wound(
        "music", "", wire, outer, turns, hook, gap, free, 0.0, tension, 0.0, (0.0, 0.0, 0.0), 0.0, 0.0, ()
    )  # fmt: skip
    one = Independent(blank)
    limit = INCH * (0.0002 if one.d / INCH <= 0.01 else 0.0003 if one.d / INCH <= 0.0281 else 0.0004)
    spread = (1 + limit / one.d) ** 4 - 1
    low, high = one.band()
    force = tension + 1e3 * one.R * max(wanted.longest - free, 0.0)
    stresses = (one.other_factor * one.tau(force), 1.25 * one.tau(force), one.curved(force))
    half, middle = (HOOK[1] - HOOK[0]) / 2, (HOOK[0] + HOOK[1]) / 2
    return (
        abs(1e3 * one.R / wanted.rate - 1) + spread <= 0.1 * ease
        and (1 - one.turns / (turns + 1)) <= 0.1 * ease
        and all(s <= a * one.Rm * ease for s, a in zip(stresses, one.allowed, strict=True))
        and (tension == 0.0 or abs(one.tau(tension) - (low + high) / 2) <= (high - low) / 2 * ease)
        and abs(hook / inner - middle) <= half * ease
        and gap <= 0.3 * wire * ease
    )


# --- limits and the nearest ------------------------------------------------------------------------------------

PRIMARY = Wanted("primary", 1090.0, 13.49e-3, 15.78e-3, pull=0.8617, post=2.5e-3)


def test_hooks_go_over_the_post() -> None:
    wide = Wanted("primary", 1090.0, 13.49e-3, 15.78e-3, pull=0.8617, post=3.4e-3)
    found = wind(wide, ROOMY, SIZES).proposals
    assert found
    assert all(min(w.hook, w.outer - 2 * w.wire) >= 3.4e-3 - 1e-9 for w in found)
    assert len(found) < len(wind(PRIMARY, ROOMY, SIZES).proposals)


def test_quarter_turns_only_where_hooks_may_stand_across() -> None:
    found = wind(PRIMARY, Envelope(9e-3, 40e-3, 0.1, in_plane=False), SIZES).proposals
    assert any(w.hook_angle in (90, 270) for w in found)
    assert all(w.coils % 0.25 == 0 for w in found)


CLOSED_WAYS = [
    ("rate", Envelope(9e-3, 40e-3, 0.02)),
    ("outer diameter", Envelope(3.3e-3, 40e-3, 0.1)),
    ("overall length", Envelope(9e-3, 9e-3, 0.1)),
]


@pytest.mark.parametrize(("limit", "envelope"), CLOSED_WAYS)
def test_the_nearest_says_what_it_breaks(limit: str, envelope: Envelope) -> None:
    found = wind(PRIMARY, envelope, SIZES)
    assert found.proposals == ()
    assert found.nearest is not None
    assert limit in found.nearest.broken
    assert found.nearest.robustness < 0


def test_a_spring_that_would_break_is_not_wound() -> None:
    """A stiff spring drawn by 12 mm: whatever the wire, some stress is past its allowable."""
    found = wind(Wanted("secondary", 20e3, 14e-3, 26e-3, free_length=14e-3, initial_tension=None), ROOMY, SIZES)
    assert found.proposals == ()
    assert found.nearest is not None and "stress" in found.nearest.broken


def test_no_wire_no_spring() -> None:
    assert wind(PRIMARY, Envelope(0.3e-3, 40e-3, 0.1), SIZES).proposals == ()
