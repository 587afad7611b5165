"""Springs to have wound: every wire, diameter and number of coils that gives what is wanted, as arrays.

A candidate is a wire that can be ordered, an outer diameter in steps, and coils in steps of a half or a quarter near
the number that gives the rate, wound coil on coil with an initial tension or with the coils apart without one. Each
limit leaves it some room [1]: 0 on the limit, 1 where more would hardly help, negative past it. The least of these is
the robustness of a spring.

A spring that pulls from rest is specified by its pull at rest and its rate alone: a shorter free length with less
initial tension pulls the same over its posts. Of these the one whose hooks come out full is taken.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from recurve.arrays import Array, Indices, Mask
from recurve.springs.spring import rate_from_wire
from recurve.springs.stress import (
    STRESSES,
    body_length,
    hook_uncertainty,
    load_at,
    preferred_initial_stress,
    rate_spread,
    stresses,
)
from recurve.springs.wire import Sizes, wire_half_width

OUTER_STEP = 0.05e-3  # m, what callipers tell apart
INDEX = (4.0, 16.0)
INDEX_EASE = 3.0  # an index this far inside the range is easy to wind; common practice, no source
HOOK = (0.85, 1.10)  # inside length of a full hook over the coils' inside diameter; common practice, no source
FULL_HOOK = 0.975  # the middle of that range
GAP = 0.3  # greatest gap between coils of a spring without initial tension, as a fraction of the wire
BAND_FRACTION = 0.6  # the initial tension is set within this fraction of the preferred band, about its middle
FEWEST_COILS = 3.0
NEAR_OUTER = 1.5  # diameters up to this multiple of the envelope are tried, to say what would help
TURNS_EACH_WAY = 2  # steps of coils tried either side of the exact number
LIMITS = (
    "index", "rate", "hook count", "initial tension", "stress", "hooks", "turns", "outer diameter", "post", "overall length",
)  # fmt: skip


@dataclass(frozen=True)
class Wanted:
    """What a spring must do: its `rate` [N/m], and its length inside the hooks [m] over the posts at `rest` and at its
    `longest`, at full advance. Either the `pull` [N] at rest, if it pulls from rest, or a `free_length` [m] with an
    `initial_tension` [N], None for whatever winds well. `post` [m]: a diameter that the hooks must go over."""

    place: str
    rate: float
    rest: float
    longest: float
    pull: float | None = None
    free_length: float | None = None
    initial_tension: float | None = None
    post: float = 0.0


@dataclass(frozen=True)
class Envelope:
    """The limits of a wound spring: `outer` diameter and unloaded `overall` length over the outsides of the hooks [m];
    `tolerance` of the rate [1]; with `in_plane`, both hooks in one plane, as parallel posts need."""

    outer: float
    overall: float
    tolerance: float
    in_plane: bool = True


@dataclass(frozen=True)
class Wound:
    """A spring as it would be wound.

    `material` and wire `label`; `wire` and `outer` diameter [m]; `coils` of the body; `hook`: inside length of each
    hook [m]; `gap` between coils [m]; `free_length` inside the hooks [m]; `rate` [N/m]; `initial_tension` and `load` at
    its longest [N]; `stress_fractions`: stresses at that load as fractions of the allowable ones [1], in the order of
    `STRESSES`; `spread`: relative ± of the rate by the wire's tolerance [1]; `hook_uncertainty`: how much softer it is
    by the other count of the hooks [1]; `rooms` [1] in the order of `LIMITS`.
    """

    material: str
    label: str
    wire: float
    outer: float
    coils: float
    hook: float
    gap: float
    free_length: float
    rate: float
    initial_tension: float
    load: float
    stress_fractions: tuple[float, float, float]
    spread: float
    hook_uncertainty: float
    rooms: tuple[float, ...]

    @property
    def mean(self) -> float:
        """Mean diameter of the coils [m]."""
        return self.outer - self.wire

    @property
    def index(self) -> float:
        """C = D/d [1]."""
        return self.mean / self.wire

    @property
    def hook_angle(self) -> int:
        """The angle [deg] between the planes of the two hooks: a quarter turn of the coils is 90."""
        return round(self.coils % 1 * 360)

    @property
    def body(self) -> float:
        """Length of the body [m], gaps between the coils included."""
        return float(body_length(self.wire, self.coils)) + self.gap * self.coils

    @property
    def overall(self) -> float:
        """Length over the outsides of the hooks [m], unloaded."""
        return self.free_length + 2 * self.wire

    @property
    def robustness(self) -> float:
        """The least room that any limit leaves [1]; negative where a limit is broken."""
        return min(self.rooms)

    @property
    def broken(self) -> tuple[str, ...]:
        """The limits that are broken."""
        return tuple(name for name, room in zip(LIMITS, self.rooms, strict=True) if room < 0)


@dataclass(frozen=True)
class Winding:
    """The answer for one spring: the best of each wire and material as `proposals`, the most robust first; without
    proposals the `nearest` candidate, None if nothing comes near; how many candidates were `tried`."""

    wanted: Wanted
    envelope: Envelope
    proposals: tuple[Wound, ...]
    nearest: Wound | None
    tried: int


def wind(wanted: Wanted, envelope: Envelope, sizes: Sizes) -> Winding:
    """All springs of these wires that meet what is wanted inside the envelope, one for each wire and material."""
    wires = _Wires.of(sizes)
    table = _judged(wanted, envelope, wires, _candidates(wanted, envelope, wires))
    if not len(table.size):
        return Winding(wanted, envelope, (), None, 0)
    least = table.rooms.min(axis=0)
    order = np.argsort(-least, kind="stable")
    good = order[least[order] >= 0]
    first = np.sort(np.unique(table.size[good], return_index=True)[1])  # the best of each wire, best first
    proposals = tuple(_wound(table, sizes, int(i)) for i in good[first])
    return Winding(wanted, envelope, proposals, None if proposals else _wound(table, sizes, int(order[0])), len(least))


def check_lengths(wanted: Wanted, wound: Wound) -> tuple[tuple[float, float], tuple[float, float]]:
    """Two lengths inside the hooks [m] with the pull at each [N], for the acceptance of a spring: at rest, or a third
    of the way to its longest if it is slack at rest, and at its longest."""
    first = wanted.rest
    if first <= wound.free_length + 1e-9:
        first = wound.free_length + (wanted.longest - wound.free_length) / 3
    one, two = (
        (length, wound.initial_tension + wound.rate * (length - wound.free_length))
        for length in (first, wanted.longest)
    )
    return one, two


def coils_wound(wound: Wound) -> str:
    """How the coils lie, in words."""
    if wound.initial_tension > 0:
        return "coil on coil"
    return f"coils {1e3 * wound.gap:.2f} mm apart" if wound.gap >= 0.01e-3 else "coils just apart"


def hooks_stand(wound: Wound) -> str:
    """How the hooks are placed relative to each other, in words: a half turn of the coils opposes them."""
    return {0: "in one plane, same side", 180: "in one plane, opposite sides"}.get(
        wound.hook_angle % 360, "at right angles"
    )


def shortfall(winding: Winding) -> list[str]:
    """Why the nearest candidate cannot be wound, empty if there are proposals."""
    w = winding.nearest
    if w is None:
        none = f"{winding.wanted.place}: no wire of the chosen kinds can be wound into such a spring."
        return [] if winding.proposals else [none]
    what = f"{w.material} wire, {w.label}, {1e3 * w.outer:.2f} mm outer, {w.coils:g} coils"
    about = f"{winding.wanted.place}: the nearest is {what}"
    return [f"{about}; {'; '.join(_broken(name, w, winding.wanted, winding.envelope) for name in w.broken)}."]


@dataclass(frozen=True)
class _Wires:
    """The wires as arrays (s,): `diameter` and its tolerance ± `half_width` [m], E, G and strength [Pa], and the `allowed`
    fractions (3, s) of the strength."""

    diameter: Array
    half_width: Array
    young: Array
    shear: Array
    tensile: Array
    allowed: Array

    @classmethod
    def of(cls, sizes: Sizes) -> _Wires:
        """The wires that can be ordered."""
        pairs = list(zip(sizes.material, sizes.diameter, strict=True))
        moduli = np.array([m.moduli(d) for m, d in pairs], float).reshape(-1, 2)
        allowed = [(m.allowable.body, m.allowable.hook_torsion, m.allowable.hook_bending) for m, _ in pairs]
        return cls(
            diameter=sizes.diameter,
            half_width=wire_half_width(sizes.diameter),
            young=moduli[:, 0],
            shear=moduli[:, 1],
            tensile=np.array([float(m.tensile(d)) for m, d in pairs]),
            allowed=np.array(allowed, float).reshape(-1, 3).T,
        )


@dataclass(frozen=True)
class _Candidates:
    """Index of the wire, outer diameter [m], coils [1], and whether wound coil on coil, (n,) each."""

    size: Indices
    outer: Array
    coils: Array
    close: Mask


@dataclass(frozen=True)
class _Table:
    """Candidates with their figures (n,), as in `Wound`; `stress_fractions` (3, n) and `rooms` (limits, n)."""

    size: Indices
    outer: Array
    coils: Array
    hook: Array
    gap: Array
    free_length: Array
    rate: Array
    initial_tension: Array
    load: Array
    spread: Array
    hook_uncertainty: Array
    stress_fractions: Array
    rooms: Array


def _candidates(wanted: Wanted, envelope: Envelope, wires: _Wires) -> _Candidates:
    """Wires of known strength, by diameters, by coils near those that give the rate, by the two ways to wind."""
    outer = np.arange(1, int(NEAR_OUTER * envelope.outer / OUTER_STEP) + 1) * OUTER_STEP
    index = outer[None, :] / wires.diameter[:, None] - 1
    possible = (index >= INDEX[0] / 2) & (index <= 1.5 * INDEX[1]) & np.isfinite(wires.tensile)[:, None]
    size, place = np.nonzero(possible)
    wire, over, shear = wires.diameter[size], outer[place], wires.shear[size]
    exact = wire**4 * shear / (8 * (over - wire) ** 3 * wanted.rate) - shear / wires.young[size]
    step = 0.5 if envelope.in_plane else 0.25
    offsets = np.arange(-TURNS_EACH_WAY, TURNS_EACH_WAY + 1)
    coils = np.maximum(np.round(exact / step)[:, None] + offsets, 1.0) * step
    shape = (*coils.shape, 2)
    return _Candidates(
        size=np.broadcast_to(size[:, None, None], shape).ravel(),
        outer=np.broadcast_to(over[:, None, None], shape).ravel(),
        coils=np.broadcast_to(coils[:, :, None], shape).ravel(),
        close=np.broadcast_to(np.array([True, False]), shape).ravel(),
    )


def _judged(wanted: Wanted, envelope: Envelope, wires: _Wires, c: _Candidates) -> _Table:
    """Every candidate worked out, with the room that each limit leaves it."""
    wire, young, shear = wires.diameter[c.size], wires.young[c.size], wires.shear[c.size]
    mean, inner = c.outer - wire, c.outer - 2 * wire
    rate = rate_from_wire(wire, mean, c.coils, young, shear)
    low, high = (load_at(stress, wire, mean) for stress in preferred_initial_stress(mean / wire))
    body = body_length(wire, c.coils)
    tension, free = _setting(wanted, rate, (low, high), body + 2 * FULL_HOOK * inner, c.close)
    hook = (free - body) / 2
    apart = ~c.close & (hook > FULL_HOOK * inner)
    gap = np.where(apart, (free - body - 2 * FULL_HOOK * inner) / c.coils, 0.0)
    hook = np.where(apart, FULL_HOOK * inner, hook)
    load = tension + rate * np.maximum(wanted.longest - free, 0.0)
    fractions = stresses(load, wire, mean).fractions(wires.tensile[c.size], wires.allowed[:, c.size])
    spread = rate_spread(wire, wires.half_width[c.size])
    uncertainty = hook_uncertainty(c.coils, young, shear)
    full = hook / inner
    rooms = {
        "index": np.minimum(mean / wire - INDEX[0], INDEX[1] - mean / wire) / INDEX_EASE,
        "rate": 1 - (np.abs(rate / wanted.rate - 1) + spread) / envelope.tolerance,
        "hook count": 1 - uncertainty / envelope.tolerance,
        "initial tension": _tension_room(wanted, tension, (low, high), c.close),
        "stress": 1 - fractions.max(axis=0),
        "hooks": np.where(
            apart, 1 - gap / (GAP * wire), np.minimum(full - HOOK[0], HOOK[1] - full) / ((HOOK[1] - HOOK[0]) / 2)
        ),
        "turns": _met(c.coils / FEWEST_COILS - 1),
        "outer diameter": _met(1 - c.outer / envelope.outer),
        "post": _met(np.minimum(inner, hook) / wanted.post - 1) if wanted.post > 0 else np.ones_like(rate),
        "overall length": _met(1 - (free + 2 * wire) / envelope.overall),
    }
    return _Table(
        size=c.size,
        outer=c.outer,
        coils=c.coils,
        hook=hook,
        gap=gap,
        free_length=free,
        rate=rate,
        initial_tension=tension,
        load=load,
        spread=spread,
        hook_uncertainty=uncertainty,
        stress_fractions=fractions,
        rooms=np.minimum(np.stack([rooms[name] for name in LIMITS]), 1.0),
    )


def _setting(wanted: Wanted, rate: Array, band: tuple[Array, Array], full: Array, close: Mask) -> tuple[Array, Array]:
    """Initial tension [N] and free length [m] of each candidate; `band` [N]: the preferred initial tension; `full` [m]:
    the free length with full hooks."""
    middle, half = (band[0] + band[1]) / 2, (band[1] - band[0]) / 2
    low, high = middle - BAND_FRACTION * half, middle + BAND_FRACTION * half
    if wanted.pull is not None:
        asked = np.clip(wanted.pull - rate * (wanted.rest - full), low, high)
        tension = np.where(close, np.minimum(asked, wanted.pull), 0.0)
        return tension, wanted.rest - (wanted.pull - tension) / rate
    assert wanted.free_length is not None  # one of the two is given
    fixed = middle if wanted.initial_tension is None else np.full_like(rate, wanted.initial_tension)
    return np.where(close, fixed, 0.0), np.full_like(rate, wanted.free_length)


def _tension_room(wanted: Wanted, tension: Array, band: tuple[Array, Array], close: Mask) -> Array:
    """Room in the preferred band. Coils apart have no initial tension, which is right unless one is wanted."""
    middle, half = (band[0] + band[1]) / 2, (band[1] - band[0]) / 2
    apart = 1.0 if not wanted.initial_tension else -1.0
    return np.where(close, 1 - np.abs(tension - middle) / half, apart)


def _met(room: Array) -> Array:
    """The room of a limit that is simply met or not: 1 if it is met, however well."""
    return np.where(room >= -1e-9, 1.0, room)


def _wound(table: _Table, sizes: Sizes, at: int) -> Wound:
    """One candidate of the table."""
    size = int(table.size[at])
    body, torsion, bending = (float(x) for x in table.stress_fractions[:, at])
    return Wound(
        material=sizes.material[size].name,
        label=sizes.label[size],
        wire=float(sizes.diameter[size]),
        outer=float(table.outer[at]),
        coils=float(table.coils[at]),
        hook=float(table.hook[at]),
        gap=float(table.gap[at]),
        free_length=float(table.free_length[at]),
        rate=float(table.rate[at]),
        initial_tension=float(table.initial_tension[at]),
        load=float(table.load[at]),
        stress_fractions=(body, torsion, bending),
        spread=float(table.spread[at]),
        hook_uncertainty=float(table.hook_uncertainty[at]),
        rooms=tuple(float(x) for x in table.rooms[:, at]),
    )


def _broken(name: str, w: Wound, wanted: Wanted, envelope: Envelope) -> str:
    """One broken limit with its figure, and the option that would change it."""
    worst = STRESSES[w.stress_fractions.index(max(w.stress_fractions))]
    inner = w.outer - 2 * w.wire
    words = {
        "index": f"index {w.index:.1f}, expected {INDEX[0]:g} to {INDEX[1]:g}",
        "rate": f"the rate may be {100 * (abs(w.rate / wanted.rate - 1) + w.spread):.1f}% off, {100 * w.spread:.1f}% of it by "
        f"the wire's tolerance, expected ± {100 * envelope.tolerance:g}% (--tolerance)",
        "hook count": (
            f"so few coils that the rate depends on how far the hooks flex, by {100 * w.hook_uncertainty:.1f}%, "
            f"expected {100 * envelope.tolerance:g}% at most (--tolerance)"
        ),
        "initial tension": _tension_words(w, wanted),
        "stress": f"{worst} {100 * max(w.stress_fractions):.0f}% of what is allowed at {1e3 * wanted.longest:.2f} mm",
        "hooks": (
            f"coils and full hooks do not add up to {1e3 * w.free_length:.2f} mm: the hooks would be "
            f"{1e3 * w.hook:.2f} mm inside, expected {1e3 * HOOK[0] * inner:.2f} to {1e3 * HOOK[1] * inner:.2f} mm"
        )
        if w.gap == 0
        else f"coils would stand {1e3 * w.gap:.2f} mm apart",
        "turns": f"{w.coils:g} coils, expected 3 or more",
        "outer diameter": f"expected at most {1e3 * envelope.outer:.2f} mm outer (--outer)",
        "post": f"hooks of {1e3 * min(inner, w.hook):.2f} mm do not go over posts of {1e3 * wanted.post:.2f} mm (--post)",
        "overall length": f"{1e3 * w.overall:.2f} mm over the hooks, expected at most "
        f"{1e3 * envelope.overall:.2f} mm (--overall)",
    }
    return words[name]


def _tension_words(w: Wound, wanted: Wanted) -> str:
    if w.initial_tension == 0 and wanted.initial_tension:
        return f"coils apart give no initial tension, {wanted.initial_tension:.2f} N is asked"
    return f"initial tension {w.initial_tension:.2f} N, outside the band that winds well"
