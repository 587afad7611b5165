"""The JSON document of `plan`: shapes, the unit of every number, and how they are filled.

All speeds are distributor rpm and all angles distributor degrees, whatever the job's basis. What is not known, or is
not there, is null and never NaN.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Literal

from pydantic import RootModel

from recurve.diagnosis.trust import trust_in
from recurve.job.posts_at_rest import LengthByType, lengths_by_type
from recurve.output.documents.base import (
    Document,
    Files,
    Fingerprint,
    Margin,
    Notes,
    PlaceName,
    Range,
    TargetBand,
    Title,
    TrustDocument,
    band_fields,
    by_place,
    deg,
    if_known,
    listed,
    mm,
    number,
    pair,
    rates,
    rpm,
    told,
)
from recurve.output.documents.curve import CurveDocument
from recurve.output.documents.ideal import IdealPlan
from recurve.output.documents.unit_type import TypeDocument
from recurve.physics.target import BandResult
from recurve.planner.build import Build, Checked, Fitted
from recurve.planner.buying import Purchase
from recurve.planner.changes import ChangeKind
from recurve.planner.plan import AlternativeBuild, Plan
from recurve.planner.simulate import Built
from recurve.planner.suggest import Suggestion

LEAST_COST = 0.01  # of the yield [1]


class PlannedSpring(Document):
    """A spring in its place; lengths are inside the hooks."""

    id: Annotated[str, told("Its name in the catalogue; empty: the spring as found")]
    rate_n_per_mm: Annotated[float, told("Rate", "N/mm")]
    free_length_mm: Annotated[float, told("Free length inside the hooks", "mm")]
    initial_tension_n: Annotated[float, told("Initial tension", "N")]
    installed_length_mm: Annotated[float, told("Length over the posts at rest, once these are set", "mm")]
    bend_mm: Annotated[float, told("How far the anchor post is bent, + out; see bend_holds", "mm")]
    bend_holds: Annotated[
        bool, told("Whether bend_mm counts from where the post stands; false: measure it, and set installed_length_mm")
    ]
    found_length_mm: Annotated[
        float | None, told("Length over the posts at rest as found; null: nobody measured it on this unit", "mm")
    ]
    type_length_mm: Annotated[
        float | None, told("The same by the type of unit alone; null: it was measured on this unit", "mm")
    ]
    type_length_2u_mm: Annotated[float | None, told("± of that, two standard uncertainties; null: likewise", "mm")]
    takeup_deg: Annotated[float | None, told("Where it begins to pull; null: never", "distributor deg")]
    pull_at_rest_n: Annotated[float, told("Pull at rest", "N")]
    wire_mm: Annotated[float | None, told("Diameter of the wire", "mm")]
    outer_mm: Annotated[float | None, told("Diameter over the coils", "mm")]
    coils: Annotated[float | None, told("Coils of the body", "1")]
    material: Annotated[str, told("Material; empty: not known")]

    @classmethod
    def of(cls, fitted: Fitted, by_type: LengthByType | None, seen: bool) -> PlannedSpring:
        """A spring that was chosen, the length over its posts where only the type tells it, and whether the sweep has `seen` this
        spring on these posts, so that a bend holds whatever they measure."""
        spring = fitted.spring
        return cls(
            id=spring.id,
            rate_n_per_mm=number(spring.rate / 1e3, 9),
            free_length_mm=mm(spring.free_length),
            initial_tension_n=number(spring.initial_tension),
            installed_length_mm=mm(fitted.length),
            bend_mm=mm(fitted.bend),
            bend_holds=by_type is None or seen,
            found_length_mm=mm(float(fitted.posts.length(0.0)[0])) if by_type is None else None,
            type_length_mm=None if by_type is None else mm(by_type.length),
            type_length_2u_mm=None if by_type is None else mm(2.0 * by_type.standard_uncertainty),
            takeup_deg=if_known(deg, fitted.takeup),
            pull_at_rest_n=number(fitted.pull),
            wire_mm=if_known(mm, spring.wire),
            outer_mm=if_known(mm, spring.outer),
            coils=spring.coils,
            material=spring.material,
        )


class PlannedSprings(Document):
    """The springs in their places; null: none there."""

    primary: PlannedSpring | None
    secondary: PlannedSpring | None

    @classmethod
    def of(cls, build: Build | None, plan: Plan) -> PlannedSprings:
        """The springs of a build of this plan."""
        fitted = () if build is None else build.springs
        kept = [plan.fit is not None and p.found == s.spring for p, s in zip(plan.job.places, fitted, strict=False)]
        told = zip(fitted, lengths_by_type(plan.job), kept, strict=False)
        primary, secondary = by_place([PlannedSpring.of(*one) for one in told])
        return cls(primary=primary, secondary=secondary)

    @property
    def in_place(self) -> list[tuple[str, PlannedSpring]]:
        """The springs that there are, each with the name of its place."""
        return [(place, spring) for place, spring in self if spring is not None]


class Cost(Document):
    """What an uncertainty costs of the yield."""

    source: Annotated[str, told("Which uncertainty")]
    yield_gained: Annotated[float, told("By how much the yield would be larger were it exact", "1")]


class PlannedStop(Document):
    """The stop."""

    found_deg: Annotated[float, told("As found", "distributor deg")]
    planned_deg: Annotated[float | None, told("As planned", "distributor deg")]
    trim_mm: Annotated[float | None, told("What to do to it: + build up, − file", "mm")]

    @classmethod
    def of(cls, plan: Plan) -> PlannedStop:
        """The stop as found, and as the build has it."""
        build = plan.build
        return cls(
            found_deg=deg(plan.job.stop.advance),
            planned_deg=None if build is None else deg(build.stop),
            trim_mm=None if build is None else mm(build.trim),
        )


class PlannedBand(TargetBand):
    """A band of the target against the planned curve."""

    rising_deg: Annotated[float, told("Advance, the speed rising", "distributor deg")]
    falling_deg: Annotated[float, told("Advance, the speed falling", "distributor deg")]
    margin: Margin

    @classmethod
    def of(cls, result: BandResult) -> PlannedBand:
        """A band and what the curve makes of it."""
        return cls(
            **band_fields(result.band),
            rising_deg=deg(result.rising),
            falling_deg=deg(result.falling),
            margin=number(result.margin),
        )


class Settings(Document):
    """Speeds by which the posts are set on the bench; null: the curve has none."""

    primary_rpm: Annotated[float | None, told("Rising speed at which 1 degree must be in", "distributor rpm")]
    secondary_rpm: Annotated[float | None, told("Rising speed at 1 degree below the maximum", "distributor rpm")]
    leave_within_deg: Annotated[float | None, told("A post is left alone within ± this of it", "distributor deg")]

    @classmethod
    def of(cls, build: Build | None, built: Built | None) -> Settings:
        """The speeds of a build, and by its simulation within what a post is left alone."""
        primary, secondary = (None, None) if build is None else build.settings
        leave = None if built is None else built.leave
        return cls(
            primary_rpm=if_known(rpm, primary),
            secondary_rpm=if_known(rpm, secondary),
            leave_within_deg=if_known(deg, leave),
        )


class Searched(Document):
    """How much was tried."""

    pairs: Annotated[int, told("Pairs of springs", "1")]
    feasible: Annotated[int, told("Of these, how many pass", "1")]


class OtherPair(Document):
    """A pair that the plan was chosen from."""

    springs: Annotated[list[str], told("Names in the catalogue, the primary first")]
    margin: Margin

    @classmethod
    def of(cls, build: Build) -> OtherPair:
        """A pair by its build."""
        return cls(springs=[s.spring.id for s in build.springs], margin=number(build.margin))


class PairStop(Document):
    """The stop with a pair that was asked for."""

    planned_deg: Annotated[float, told("As planned", "distributor deg")]
    trim_mm: Annotated[float, told("+ build up, − file", "mm")]


class AskedPair(Document):
    """A pair that was asked for by --top."""

    margin: Margin
    yield_: Annotated[float, told("Share of builds that pass at first setting", "1")]
    springs: PlannedSprings
    stop: PairStop

    @classmethod
    def of(cls, one: AlternativeBuild, plan: Plan) -> AskedPair:
        """A pair of this plan, with its build and its yield."""
        return cls(
            margin=number(one.build.margin),
            yield_=number(one.fraction, 4),
            springs=PlannedSprings.of(one.build, plan),
            stop=PairStop(planned_deg=deg(one.build.stop), trim_mm=mm(one.build.trim)),
        )


class OrderedSpring(Document):
    """A spring to take or to order."""

    place: PlaceName
    id: Annotated[str, told("Its name in the catalogue")]
    quantity: Annotated[int, told("How many", "1")]
    alternates: Annotated[list[str], told("Names of springs that pass in its stead, the best first")]
    rate_range_n_per_mm: Annotated[Range, told("Least and most rate that keep range_margin", "N/mm")]
    free_length_range_mm: Annotated[Range, told("Least and most free length that keep range_margin", "mm")]
    range_margin: Annotated[float, told("The margin that the ranges keep", "1")]
    rate_tolerance_assumed: Annotated[float, told("± of the rate that the yield counts on", "1")]

    @classmethod
    def of(cls, one: Purchase) -> OrderedSpring:
        """One spring and how far it may be off."""
        return cls(
            place=listed(one.place),
            id=one.spring.id,
            quantity=1,
            alternates=list(one.alternates),
            rate_range_n_per_mm=rates(one.rates),
            free_length_range_mm=pair([1e3 * x for x in one.lengths]),
            range_margin=number(one.floor),
            rate_tolerance_assumed=number(one.assumed),
        )


class SuggestedChange(Document):
    """A single change after which a plan passes."""

    kind: Annotated[ChangeKind, told("What is changed; two: two changes together")]
    text: Annotated[str, told("What to do, in words")]
    amount: Annotated[float, told("How much, in `unit`: a widening, a length, a factor or a count", "unit")]
    unit: Annotated[Literal["deg", "mm", "1"], told("Unit of the amount; degrees are the distributor's")]
    margin: Margin
    springs: Annotated[list[str], told("Names of the springs it then takes")]

    @classmethod
    def of(cls, one: Suggestion) -> SuggestedChange:
        """A change and the build that follows."""
        return cls(
            kind=listed(one.kind),
            text=one.text,
            amount=number(one.amount),
            unit=listed(one.unit),
            margin=number(one.build.margin),
            springs=[s.spring.id for s in one.build.springs],
        )


class CheckedCurve(Document):
    """The planned curve against the same computed another way."""

    method: Literal["energy minimisation"]
    speeds: Annotated[int, told("How many speeds were looked at, rising and falling", "1")]
    largest_difference_deg: Annotated[float, told("The largest difference there", "distributor deg")]
    agrees: Annotated[bool, told("False: do not build from this plan, it is a fault of recurve")]

    @classmethod
    def of(cls, checked: Checked) -> CheckedCurve:
        """How the curve stands against the least energy."""
        return cls(
            method="energy minimisation",
            speeds=checked.speeds,
            largest_difference_deg=deg(checked.largest),
            agrees=checked.agrees,
        )


class PlanDocument(Document):
    """A plan for one job. All speeds and angles are the distributor's, whatever the job's basis."""

    verdict: Literal["passes", "passes with stop trim", "may not pass", "out of reach"]
    trust: Annotated[TrustDocument, told("Not ok: do not build from it yet; exit status 3")]
    title: Title
    fingerprint: Fingerprint
    margin: Annotated[float | None, told("The worst over bands and directions; null: nothing can be built", "1")]
    yield_: Annotated[
        float | None, told("Share of builds that pass, set by calliper alone; null: nothing to build", "1")
    ]
    yield_set: Annotated[
        float | None, told("Share of builds that pass once set on the bench by `setting`; null: nothing to build", "1")
    ]
    costs: list[Cost]
    type_: Annotated[TypeDocument | None, told("What came from a type of unit; null: the job names none")]
    from_: Annotated[Literal["sweep", "description"], told("Whether a sweep was fitted or the job's figures taken")]
    springs: PlannedSprings
    stop: PlannedStop
    checked: CheckedCurve | None
    targets: Annotated[list[PlannedBand], told("In the job's order; empty: nothing can be built")]
    setting: Settings
    curve: CurveDocument | None
    ideal: IdealPlan | None
    searched: Searched
    others: Annotated[list[OtherPair], told("The pairs it was chosen from, the best margin first")]
    alternatives: list[AskedPair]
    order: list[OrderedSpring]
    suggestions: Annotated[list[SuggestedChange], told("Where nothing passes")]
    reasons: Annotated[list[str], told("Why nothing passes, a sentence each")]
    notes: Notes
    files: Files

    @classmethod
    def of(cls, plan: Plan, files: Sequence[str] = ()) -> PlanDocument:
        """A plan, and the files that were written of it."""
        build, built, job = plan.build, plan.built, plan.job
        return cls(
            verdict=plan.verdict,
            trust=TrustDocument.of(trust_in(plan.job, plan.fit)),
            title=job.title,
            fingerprint=job.fingerprint,
            margin=None if build is None else number(build.margin),
            yield_=None if built is None else number(built.fraction, 4),
            yield_set=None if built is None else if_known(lambda x: number(x, 4), built.fraction_set),
            costs=[] if built is None else [Cost(source=n, yield_gained=number(g, 4)) for n, g in built.costs],
            type_=TypeDocument.of(plan.job, plan.fit, None if built is None else built.by_type),
            from_="description" if plan.fit is None else "sweep",
            springs=PlannedSprings.of(build, plan),
            stop=PlannedStop.of(plan),
            checked=None if plan.checked is None else CheckedCurve.of(plan.checked),
            targets=[] if build is None else [PlannedBand.of(r) for r in build.results],
            setting=Settings.of(build, built),
            curve=None if build is None else CurveDocument.of(job, build.unit, build.curve),
            ideal=None if plan.ideal is None else IdealPlan.of(plan.ideal, plan.window),
            searched=Searched(pairs=plan.pairs, feasible=plan.feasible),
            others=[OtherPair.of(o) for o in plan.others],
            alternatives=[AskedPair.of(a, plan) for a in plan.alternatives],
            order=[OrderedSpring.of(p) for p in plan.purchases],
            suggestions=[SuggestedChange.of(s) for s in plan.suggestions],
            reasons=list(plan.reasons),
            notes=list(plan.notes),
            files=list(files),
        )

    @property
    def main_costs(self) -> list[Cost]:
        """The two that cost most of the yield; what costs less than a hundredth is not named."""
        return [cost for cost in self.costs if cost.yield_gained >= LEAST_COST][:2]


class JobOfMany(Document):
    """One of several jobs."""

    job: Annotated[str, told("The job's file")]
    status: Annotated[int, told("Exit status it would have had alone", "1")]
    plan: PlanDocument | None
    faults: Annotated[list[str], told("What is wrong with it, where there is no plan")]


class PlansDocument(Document):
    """Plans for several jobs, in the order given."""

    jobs: list[JobOfMany]


class PlanOutput(RootModel[PlanDocument | PlansDocument]):
    """One job: its plan. Several: a list of them."""
