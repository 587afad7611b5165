"""Springs to have wound: every wire, diameter and number of turns that gives what is wanted, as arrays.

A candidate is a wire to order, an outer diameter in steps, and turns in quarters near those that give the rate; wound
coil on coil with an initial tension, or coils apart without one. Each limit leaves it a room [1]: 0 on the limit, 1 where
there could hardly be more, negative past it. The least of its rooms is how robust a spring is.

A spring that pulls from rest is known by its pull at rest and its rate alone: a shorter free length with less initial
tension pulls the same over its posts. Of those the one is taken whose hooks come out full.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from recurve.arrays import Array
from recurve.springs.spring import rate_from_wire
from recurve.springs.wire import (
    Sizes,
    body_length,
    hook_doubt,
    load_at,
    preferred_initial_stress,
    rate_spread,
    stresses,
    wire_limit,
)

Mask = NDArray[np.bool_]
Indices = NDArray[np.intp]
OUTER_STEP = 0.05e-3  # m, what callipers tell apart
INDEX = (4.0, 16.0)
INDEX_EASE = 3.0  # so far inside the range an index is easy to wind; common practice, no source
HOOK = (0.85, 1.10)  # inside length of a full hook over the coils' inside diameter; common practice, no source
FULL_HOOK = 0.975  # the middle of it
GAP = 0.3  # of the wire, the most that coils may stand apart in a spring without initial tension
BAND_SHARE = 0.6  # of the preferred band, from its middle, within which the initial tension is put
FEWEST_COILS = 3.0
NEAR_OUTER = 1.5  # diameters past the envelope by so much are still tried, to tell what would help
TURNS_EACH_WAY = 2
LIMITS = (
    "index", "rate", "hook count", "initial tension", "stress", "hooks", "turns", "outer diameter", "post", "overall length",
)  # fmt: skip


@dataclass(frozen=True)
class Wanted:
    """What is wanted of a spring: `rate` [N/m], its length inside the hooks [m] over the posts at `rest` and at its
    `longest`, at full advance. Either `pull` [N] at rest, where it pulls from rest, or a `free_length` [m] with an
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
    """What a wound spring must keep within: `outer` diameter and `overall` length, unloaded, over the outsides of the
    hooks [m]; `tolerance` of the rate [1]; with `in_plane`, both hooks in one plane, as parallel posts ask."""

    outer: float
    overall: float
    tolerance: float
    in_plane: bool = True


@dataclass(frozen=True)
class Wound:
    """A spring as it would be wound: `material`, wire `label`; `wire`, `outer` [m]; `coils` of the body; `hook`: inside
    length of each [m]; `gap` between coils [m]; `free_length` inside the hooks [m]; `rate` [N/m]; `initial_tension` and
    `load` at its longest [N]; `shares` of what is allowed that body, hook torsion and hook bending then take [1];
    `spread`: ± of the rate by the wire's tolerance [1]; `doubt`: how much softer it is by another count of
    the hooks [1]; `rooms` in the order of `LIMITS` [1]."""

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
    shares: tuple[float, float, float]
    spread: float
    doubt: float
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
    def hook_angle(self) -> float:
        """How far [deg] one hook's plane is turned from the other's: a quarter turn of the coils is 90."""
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
        """The limits that are not met."""
        return tuple(name for name, room in zip(LIMITS, self.rooms, strict=True) if room < 0)


@dataclass(frozen=True)
class Winding:
    """The answer for one spring: `proposals`, the most robust first, the best of each wire and material; the `nearest`
    that is not one, None where nothing comes near or there are proposals; how many candidates were `tried`."""

    wanted: Wanted
    envelope: Envelope
    proposals: tuple[Wound, ...]
    nearest: Wound | None
    tried: int


def wind(wanted: Wanted, envelope: Envelope, sizes: Sizes) -> Winding:
    """All springs of these wires that do what is wanted inside the envelope, one for each wire and material."""
    table = _judged(wanted, envelope, sizes, _candidates(wanted, envelope, sizes))
    if not len(table.size):
        return Winding(wanted, envelope, (), None, 0)
    least = table.rooms.min(axis=0)
    order = np.argsort(-least, kind="stable")
    good = order[least[order] >= 0]
    first = np.sort(np.unique(table.size[good], return_index=True)[1])  # the best of each wire, best first
    proposals = tuple(_wound(table, sizes, int(i)) for i in good[first])
    return Winding(wanted, envelope, proposals, None if proposals else _wound(table, sizes, int(order[0])), len(least))


@dataclass(frozen=True)
class _Candidates:
    """Which wire (n,), outer diameter [m], coils [1], and whether wound coil on coil."""

    size: Indices
    outer: Array
    coils: Array
    close: Mask


@dataclass(frozen=True)
class _Table:
    """Candidates with all that is known of each (n,), `shares` (3, n) and `rooms` (limits, n)."""

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
    doubt: Array
    shares: Array
    rooms: Array


def _wire_columns(sizes: Sizes) -> dict[str, Array]:
    """E, G, strength, allowable shares and limit of every wire (s,), shares (3, s)."""
    pairs = list(zip(sizes.material, sizes.diameter, strict=True))
    moduli = np.array([m.moduli(d) for m, d in pairs], float).reshape(-1, 2)
    allowed = [(m.allowable.body, m.allowable.hook_torsion, m.allowable.hook_bending) for m, _ in pairs]
    return {
        "young": moduli[:, 0],
        "shear": moduli[:, 1],
        "tensile": np.array([float(m.tensile(d)) for m, d in pairs]),
        "allowed": np.array(allowed, float).reshape(-1, 3).T,
        "limit": wire_limit(sizes.diameter),
    }


def _candidates(wanted: Wanted, envelope: Envelope, sizes: Sizes) -> _Candidates:
    """Wires of known strength by diameters, by turns near those of the rate, by the two ways to wind."""
    columns = _wire_columns(sizes)
    outer = np.arange(1, int(NEAR_OUTER * envelope.outer / OUTER_STEP) + 1) * OUTER_STEP
    index = outer[None, :] / sizes.diameter[:, None] - 1
    possible = (index >= INDEX[0] / 2) & (index <= 1.5 * INDEX[1]) & np.isfinite(columns["tensile"])[:, None]
    size, place = np.nonzero(possible)
    wire, over = sizes.diameter[size], outer[place]
    shear = columns["shear"][size]
    exact = wire**4 * shear / (8 * (over - wire) ** 3 * wanted.rate) - shear / columns["young"][size]
    step = 0.5 if envelope.in_plane else 0.25
    offsets = np.arange(-TURNS_EACH_WAY, TURNS_EACH_WAY + 1)
    coils = np.maximum(np.round(exact / step)[:, None] + offsets, 1.0) * step
    shape = (*coils.shape, 2)

    def spread_out(values: NDArray[Any]) -> Any:
        return np.broadcast_to(values, shape).ravel()

    return _Candidates(
        spread_out(size[:, None, None]), spread_out(over[:, None, None]), spread_out(coils[:, :, None]),
        spread_out(np.array([True, False])),
    )  # fmt: skip


def _judged(wanted: Wanted, envelope: Envelope, sizes: Sizes, c: _Candidates) -> _Table:
    """Every candidate worked out, with the room that each limit leaves it."""
    columns = _wire_columns(sizes)
    wire, young, shear = sizes.diameter[c.size], columns["young"][c.size], columns["shear"][c.size]
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
    shares = stresses(load, wire, mean).shares(columns["tensile"][c.size], columns["allowed"][:, c.size])
    spread = rate_spread(wire, columns["limit"][c.size])
    doubt = hook_doubt(c.coils, young, shear)
    rooms = {
        "index": np.minimum(mean / wire - INDEX[0], INDEX[1] - mean / wire) / INDEX_EASE,
        "rate": 1 - (np.abs(rate / wanted.rate - 1) + spread) / envelope.tolerance,
        "hook count": 1 - doubt / envelope.tolerance,
        "initial tension": _tension_room(wanted, tension, (low, high), c.close),
        "stress": 1 - shares.max(axis=0),
        "hooks": np.where(apart, 1 - gap / (GAP * wire), _hook_room(hook / inner)),
        "turns": _met(c.coils / FEWEST_COILS - 1),
        "outer diameter": _met(1 - c.outer / envelope.outer),
        "post": _met(np.minimum(inner, hook) / wanted.post - 1) if wanted.post > 0 else np.ones_like(rate),
        "overall length": _met(1 - (free + 2 * wire) / envelope.overall),
    }
    return _Table(
        c.size, c.outer, c.coils, hook, gap, free, rate, tension, load, spread, doubt, shares,
        np.minimum(np.stack([rooms[name] for name in LIMITS]), 1.0),
    )  # fmt: skip


def _setting(wanted: Wanted, rate: Array, band: tuple[Array, Array], full: Array, close: Mask) -> tuple[Array, Array]:
    """Initial tension [N] and free length [m] of each candidate; `band` [N] of the preferred tension, `full` [m] the
    length inside full hooks."""
    middle, half = (band[0] + band[1]) / 2, (band[1] - band[0]) / 2
    low, high = middle - BAND_SHARE * half, middle + BAND_SHARE * half
    if wanted.pull is not None:
        asked = np.clip(wanted.pull - rate * (wanted.rest - full), low, high)
        tension = np.where(close, np.minimum(asked, wanted.pull), 0.0)
        return tension, wanted.rest - (wanted.pull - tension) / rate
    assert wanted.free_length is not None  # one of the two is given
    fixed = middle if wanted.initial_tension is None else np.full_like(rate, wanted.initial_tension)
    return np.where(close, fixed, 0.0), np.full_like(rate, wanted.free_length)


def _tension_room(wanted: Wanted, tension: Array, band: tuple[Array, Array], close: Mask) -> Array:
    """Room in the preferred band; coils apart have no initial tension, which is right unless one is asked for."""
    middle, half = (band[0] + band[1]) / 2, (band[1] - band[0]) / 2
    apart = 1.0 if not wanted.initial_tension else -1.0
    return np.where(close, 1 - np.abs(tension - middle) / half, apart)


def _hook_room(share: Array) -> Array:
    """Room of a hook's inside length over the coils' inside diameter: 1 in the middle of what a full hook may be."""
    room: Array = np.minimum(share - HOOK[0], HOOK[1] - share) / ((HOOK[1] - HOOK[0]) / 2)
    return room


def _met(room: Array) -> Array:
    """The room of a limit that is met or not, and that is no better met from afar."""
    return np.where(room >= -1e-9, 1.0, room)


def _wound(table: _Table, sizes: Sizes, at: int) -> Wound:
    size = int(table.size[at])
    taken = {f.name for f in fields(Wound)} & {f.name for f in fields(_Table)} - {"shares", "rooms"}
    shares = tuple(float(x) for x in table.shares[:, at])
    return Wound(
        material=sizes.material[size].name,
        label=sizes.label[size],
        wire=float(sizes.diameter[size]),
        shares=(shares[0], shares[1], shares[2]),
        rooms=tuple(float(x) for x in table.rooms[:, at]),
        **{name: float(getattr(table, name)[at]) for name in taken},
    )


FATIGUE = "Stresses are judged for a static load only; fatigue is not judged."
STRESSES = ("body torsion", "hook torsion", "hook bending")


def check_lengths(wanted: Wanted, wound: Wound) -> tuple[tuple[float, float], tuple[float, float]]:
    """Two lengths inside the hooks [m] with the pull at each [N], by which to accept a spring: at rest, or a third of
    the way where it is slack there, and at its longest."""
    first = wanted.rest
    if first <= wound.free_length + 1e-9:
        first = wound.free_length + (wanted.longest - wound.free_length) / 3
    one, two = (
        (length, wound.initial_tension + wound.rate * (length - wound.free_length))
        for length in (first, wanted.longest)
    )
    return one, two


def coils_wound(wound: Wound) -> str:
    """How the coils lie."""
    if wound.initial_tension > 0:
        return "coil on coil"
    return f"coils {1e3 * wound.gap:.2f} mm apart" if wound.gap >= 0.01e-3 else "coils just apart"


def hooks_stand(wound: Wound) -> str:
    """How the hooks stand to each other: a half turn of the coils opposes them."""
    return {0: "in one plane, same side", 180: "in one plane, opposite sides"}.get(
        int(wound.hook_angle) % 360, "at right angles"
    )


def shortfall(winding: Winding) -> list[str]:
    """What keeps the nearest candidate from being wound, nothing where there are proposals."""
    w = winding.nearest
    if w is None:
        none = f"{winding.wanted.place}: no wire of the chosen kinds can be coiled to such a spring."
        return [] if winding.proposals else [none]
    what = f"{w.material} wire, {w.label}, {1e3 * w.outer:.2f} mm outer, {w.coils:g} coils"
    about = f"{winding.wanted.place}: the nearest is {what}"
    return [f"{about}; {'; '.join(_broken(name, w, winding.wanted, winding.envelope) for name in w.broken)}."]


def _broken(name: str, w: Wound, wanted: Wanted, envelope: Envelope) -> str:
    """One broken limit with its figure, and what would change it."""
    worst = STRESSES[w.shares.index(max(w.shares))]
    inner = w.outer - 2 * w.wire
    words = {
        "index": f"index {w.index:.1f}, expected {INDEX[0]:g} to {INDEX[1]:g}",
        "rate": f"the rate may be {100 * (abs(w.rate / wanted.rate - 1) + w.spread):.1f}% off, {100 * w.spread:.1f}% of it by "
        f"the wire's tolerance, expected ± {100 * envelope.tolerance:g}% (--tolerance)",
        "hook count": f"so few coils that the two ways to count the hooks part by {100 * w.doubt:.1f}%, expected "
        f"{100 * envelope.tolerance:g}% at most (--tolerance)",
        "initial tension": _tension_words(w, wanted),
        "stress": f"{worst} {100 * max(w.shares):.0f}% of what is allowed at {1e3 * wanted.longest:.2f} mm",
        "hooks": f"coils and full hooks do not make {1e3 * w.free_length:.2f} mm: the hooks would be {1e3 * w.hook:.2f} mm "
        f"inside, expected {1e3 * HOOK[0] * inner:.2f} to {1e3 * HOOK[1] * inner:.2f} mm"
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
