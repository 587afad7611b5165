"""The JSON documents of `wind` and `spring`: shapes, the unit of every number, and how they are filled."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Annotated

from pydantic import WithJsonSchema

from recurve.job.model import Job
from recurve.output.documents.base import (
    Document,
    Files,
    Fingerprint,
    Notes,
    PlaceName,
    Title,
    if_known,
    listed,
    mm,
    number,
    told,
)
from recurve.springs.spring import checked
from recurve.springs.stress import STRESSES
from recurve.springs.weighing import WeighedSpring, measured_notes
from recurve.springs.winding import LIMITS, Envelope, Wanted, Winding, Wound, check_lengths, shortfall
from recurve.springs.wire import materials

# Whole degrees, and so printed; programs may take it for any number.
WholeDegrees = Annotated[int, WithJsonSchema({"type": "number"})]

# --- wind -------------------------------------------------------------------------------------------------


def finite(value: float | None) -> float | None:
    """A number [any], rounded; None where there is none or it has no bound."""
    return None if value is None or not math.isfinite(value) else number(value)


class WantedSpring(Document):
    """What is wanted of a spring; lengths are inside the hooks."""

    rate_n_per_mm: Annotated[float, told("Rate", "N/mm")]
    installed_length_mm: Annotated[float, told("Length over the posts at rest", "mm")]
    longest_mm: Annotated[float, told("Length at full advance", "mm")]
    pull_at_rest_n: Annotated[float | None, told("Pull at rest; null: it is slack there", "N")]
    free_length_mm: Annotated[float | None, told("Free length; null: free, with the tension", "mm")]
    initial_tension_n: Annotated[float | None, told("Initial tension; null: what winds well", "N")]
    post_mm: Annotated[float, told("Diameter that the hooks must go over; 0: not given", "mm")]

    @classmethod
    def of(cls, wanted: Wanted) -> WantedSpring:
        """The figures to wind to."""
        return cls(
            rate_n_per_mm=number(wanted.rate / 1e3),
            installed_length_mm=mm(wanted.rest),
            longest_mm=mm(wanted.longest),
            pull_at_rest_n=finite(wanted.pull),
            free_length_mm=if_known(mm, wanted.free_length),
            initial_tension_n=finite(wanted.initial_tension),
            post_mm=mm(wanted.post),
        )


class WindingEnvelope(Document):
    """What a wound spring must keep within."""

    outer_mm: Annotated[float, told("Largest diameter over the coils", "mm")]
    overall_mm: Annotated[float, told("Largest length over the hooks, unloaded", "mm")]
    rate_tolerance: Annotated[float, told("± of the rate", "1")]
    hooks_in_one_plane: bool

    @classmethod
    def of(cls, envelope: Envelope) -> WindingEnvelope:
        """The limits of size, rate and hooks."""
        return cls(
            outer_mm=mm(envelope.outer),
            overall_mm=mm(envelope.overall),
            rate_tolerance=number(envelope.tolerance),
            hooks_in_one_plane=envelope.in_plane,
        )


class PullAtLength(Document):
    """A length by which to accept a spring."""

    length_mm: Annotated[float, told("Length inside the hooks", "mm")]
    pull_n: Annotated[float, told("Pull at it", "N")]


class StressUsed(Document):
    """Of the stress that is allowed, at the spring's longest; null: no such stress."""

    body_torsion: Annotated[float | None, told("Torsion of the body", "1")]
    hook_torsion: Annotated[float | None, told("Torsion of the hooks", "1")]
    hook_bending: Annotated[float | None, told("Bending of the hooks", "1")]

    @classmethod
    def of(cls, wound: Wound) -> StressUsed:
        """What of each stress a spring uses."""
        return cls(**{n.replace(" ", "_"): finite(s) for n, s in zip(STRESSES, wound.stress_fractions, strict=True)})

    @property
    def largest(self) -> float:
        """The largest of those that there are [1]."""
        fractions: list[float] = [fraction for _, fraction in self if fraction is not None]
        return max(fractions)


class Rooms(Document):
    """What each limit leaves: 0 on it, 1 far from it, negative past it; null: no bound."""

    index: Annotated[float | None, told("Index", "1")]
    rate: Annotated[float | None, told("Rate", "1")]
    hook_count: Annotated[float | None, told("How hooks are counted", "1")]
    initial_tension: Annotated[float | None, told("Initial tension", "1")]
    stress: Annotated[float | None, told("Stress", "1")]
    hooks: Annotated[float | None, told("Shape of the hooks", "1")]
    turns: Annotated[float | None, told("Number of coils", "1")]
    outer_diameter: Annotated[float | None, told("Outer diameter", "1")]
    post: Annotated[float | None, told("Post", "1")]
    overall_length: Annotated[float | None, told("Overall length", "1")]

    @classmethod
    def of(cls, wound: Wound) -> Rooms:
        """What each limit leaves a spring."""
        return cls(**{n.replace(" ", "_"): finite(r) for n, r in zip(LIMITS, wound.rooms, strict=True)})


class WoundSpring(Document):
    """A spring as it would be wound; stresses are for a static load, fatigue is not judged."""

    material: str
    standard: Annotated[str, told("The wire's standard")]
    wire: Annotated[str, told("The wire's size, as one orders it")]
    wire_mm: Annotated[float, told("Diameter of the wire", "mm")]
    outer_mm: Annotated[float, told("Diameter over the coils", "mm")]
    coils: Annotated[float, told("Coils of the body", "1")]
    hook_angle_deg: Annotated[WholeDegrees, told("How far one hook is turned from the other", "deg")]
    hook_inside_mm: Annotated[float, told("Inside length of each hook", "mm")]
    gap_mm: Annotated[float, told("Between the coils; 0: coil on coil", "mm")]
    body_mm: Annotated[float, told("Length of the body", "mm")]
    free_length_mm: Annotated[float, told("Free length inside the hooks", "mm")]
    overall_mm: Annotated[float, told("Length over the hooks, unloaded", "mm")]
    rate_n_per_mm: Annotated[float, told("Rate", "N/mm")]
    rate_by_wire: Annotated[float, told("± of the rate by the wire's tolerance", "1")]
    rate_by_hook_count: Annotated[float, told("How much softer by another count of the hooks", "1")]
    initial_tension_n: Annotated[float, told("Initial tension", "N")]
    pulls: list[PullAtLength]
    index: Annotated[float, told("Mean diameter over the wire's", "1")]
    stress_used: StressUsed
    rooms: Rooms
    robustness: Annotated[float | None, told("The least room", "1")]

    @classmethod
    def of(cls, wanted: Wanted, wound: Wound) -> WoundSpring:
        """A spring wound to what is wanted."""
        return cls(
            material=wound.material,
            standard=materials()[wound.material].standard,
            wire=wound.label,
            wire_mm=mm(wound.wire),
            outer_mm=mm(wound.outer),
            coils=wound.coils,
            hook_angle_deg=wound.hook_angle,
            hook_inside_mm=mm(wound.hook),
            gap_mm=mm(wound.gap),
            body_mm=mm(wound.body),
            free_length_mm=mm(wound.free_length),
            overall_mm=mm(wound.overall),
            rate_n_per_mm=number(wound.rate / 1e3),
            rate_by_wire=number(wound.spread),
            rate_by_hook_count=number(wound.hook_uncertainty),
            initial_tension_n=number(wound.initial_tension),
            pulls=[PullAtLength(length_mm=mm(x), pull_n=number(f)) for x, f in check_lengths(wanted, wound)],
            index=number(wound.index),
            stress_used=StressUsed.of(wound),
            rooms=Rooms.of(wound),
            robustness=finite(wound.robustness),
        )


class WindingDocument(Document):
    """What can be wound for one place."""

    wanted: WantedSpring
    envelope: WindingEnvelope
    tried: Annotated[int, told("How many candidates", "1")]
    proposals: Annotated[list[WoundSpring], told("The most robust first; empty: it cannot be wound")]
    nearest: Annotated[WoundSpring | None, told("Where nothing can be wound, what comes nearest")]

    @classmethod
    def of(cls, winding: Winding) -> WindingDocument:
        """The answer for one place."""
        wanted, nearest = winding.wanted, winding.nearest
        return cls(
            wanted=WantedSpring.of(wanted),
            envelope=WindingEnvelope.of(winding.envelope),
            tried=winding.tried,
            proposals=[WoundSpring.of(wanted, p) for p in winding.proposals],
            nearest=None if nearest is None else WoundSpring.of(wanted, nearest),
        )


class WindDocument(Document):
    """Springs to have wound."""

    title: Title
    fingerprint: Fingerprint
    source: Annotated[str, told("Whose figures they are wound to")]
    springs: Annotated[dict[PlaceName, WindingDocument], told("The springs that are asked for")]
    reasons: Annotated[list[str], told("What keeps a spring from being wound")]
    notes: Notes
    files: Files

    @classmethod
    def of(
        cls, job: Job, source: str, windings: Sequence[Winding], notes: Sequence[str], files: Sequence[str] = ()
    ) -> WindDocument:
        """The answers for all places asked for, whose figures they are, and the files that were written of them."""
        return cls(
            title=job.title,
            fingerprint=job.fingerprint,
            source=source,
            springs={listed(w.wanted.place): WindingDocument.of(w) for w in windings},
            reasons=[text for w in windings for text in shortfall(w)] if windings else [source],
            notes=list(notes),
            files=list(files),
        )


# --- spring -----------------------------------------------------------------------------------------------


class HungReading(Document):
    """A weight hung on the spring."""

    pull_n: Annotated[float, told("Pull", "N")]
    length_mm: Annotated[float, told("Length inside the hooks", "mm")]
    left_out: Annotated[bool, told("Whether the coils had not opened")]


class SpringDocument(Document):
    """A spring weighed and stretched; `_2u` are two standard uncertainties."""

    rate_n_per_mm: Annotated[float, told("Rate", "N/mm")]
    rate_2u_n_per_mm: Annotated[float, told("Two standard uncertainties of the rate", "N/mm")]
    initial_tension_n: Annotated[float | None, told("Initial tension; null: no free length was read", "N")]
    initial_tension_2u_n: Annotated[float | None, told("Two standard uncertainties of it", "N")]
    correlation: Annotated[float | None, told("Of rate and initial tension", "1")]
    free_length_mm: Annotated[float | None, told("Free length inside the hooks; null: not read", "mm")]
    zero_pull_length_mm: Annotated[float, told("Where the line of the readings meets no pull", "mm")]
    rate_by_wire_n_per_mm: Annotated[float | None, told("By wire and coils; null: not all given", "N/mm")]
    longest_mm: Annotated[float | None, told("So far it may be drawn; null: not known", "mm")]
    readings: list[HungReading]
    scatter: Annotated[float, told("The readings' scatter over what their ± says", "1")]
    of_use: Annotated[bool, told("Whether it is known well enough to plan with")]
    notes: Notes
    file: Annotated[str | None, told("The catalogue that it was added to, or noted in")]

    @classmethod
    def of(cls, m: WeighedSpring, file: str | None) -> SpringDocument:
        """A weighed spring, and the catalogue that it was added to."""
        w, made = m.weighed, m.wire_rate
        (spring,), _ = checked([m.described], "this spring")
        tension_uncertainty = w.initial_tension_uncertainty
        drawn = m.free_length is not None and math.isfinite(spring.most_extension)
        return cls(
            rate_n_per_mm=number(w.rate / 1e3),
            rate_2u_n_per_mm=number(2 * w.rate_uncertainty / 1e3),
            initial_tension_n=if_known(number, w.initial_tension),
            initial_tension_2u_n=None if tension_uncertainty is None else number(2 * tension_uncertainty),
            correlation=if_known(number, w.correlation),
            free_length_mm=None if m.free_length is None else mm(spring.free_length),
            zero_pull_length_mm=mm(w.zero_length),
            rate_by_wire_n_per_mm=None if made is None else number(made[0] / 1e3),
            longest_mm=mm(spring.most_length) if drawn else None,
            readings=[
                HungReading(pull_n=number(f), length_mm=mm(x), left_out=i in w.left_out)
                for i, (f, x) in enumerate(zip(m.hung.pull, m.hung.length, strict=True))
            ],
            scatter=number(w.scatter),
            of_use=w.of_use,
            notes=list(measured_notes(m)),
            file=file,
        )
