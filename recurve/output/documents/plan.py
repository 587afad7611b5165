"""The JSON documents of `curve` and `plan`: shapes, and the unit of every number."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import RootModel

from recurve.document import (
    BandHigh,
    BandKind,
    BandLow,
    BandSpeed,
    Document,
    Files,
    Fingerprint,
    Margin,
    Notes,
    Place,
    Range,
    TakeUps,
    Title,
    told,
)

# --- curve ------------------------------------------------------------------------------------------------


class Snap(Document):
    """Advance that is jumped over at one speed."""

    from_deg: Annotated[float, told("Where the jump begins", "distributor deg")]
    to_deg: Annotated[float, told("Where it ends", "distributor deg")]
    speed_rpm: Annotated[float, told("The speed of the jump", "distributor rpm")]


class CurveDocument(Document):
    """An advance curve, rising and falling, and its marks. All speeds and angles are the distributor's."""

    speed_rpm: Annotated[list[float], told("Speeds", "distributor rpm")]
    rising_deg: Annotated[list[float], told("Advance at each, the speed rising", "distributor deg")]
    falling_deg: Annotated[list[float], told("Advance at each, the speed falling", "distributor deg")]
    onset_rpm: Annotated[float | None, told("Where advance begins; null: none", "distributor rpm")]
    return_rpm: Annotated[float | None, told("Where it is gone, the speed falling; null: none", "distributor rpm")]
    all_in_rpm: Annotated[float | None, told("Where it is complete; null: none", "distributor rpm")]
    residual_deg: Annotated[float, told("What stays in at idle", "distributor deg")]
    residual_without_drag_deg: Annotated[float, told("The same without the rubbing block's drag", "distributor deg")]
    stop_deg: Annotated[float, told("The largest advance", "distributor deg")]
    takeup_deg: TakeUps
    snap: list[Snap]


# --- plan -------------------------------------------------------------------------------------------------


class PlannedSpring(Document):
    """A spring in its place; lengths are inside the hooks."""

    id: Annotated[str, told("Its name in the catalogue; empty: the spring as found")]
    rate_n_per_mm: Annotated[float, told("Rate", "N/mm")]
    free_length_mm: Annotated[float, told("Free length inside the hooks", "mm")]
    initial_tension_n: Annotated[float, told("Initial tension", "N")]
    installed_length_mm: Annotated[float, told("Length over the posts at rest, once these are set", "mm")]
    bend_mm: Annotated[float, told("How far the anchor post is bent, + out", "mm")]
    takeup_deg: Annotated[float | None, told("Where it begins to pull; null: never", "distributor deg")]
    pull_at_rest_n: Annotated[float, told("Pull at rest", "N")]
    wire_mm: Annotated[float | None, told("Diameter of the wire", "mm")]
    outer_mm: Annotated[float | None, told("Diameter over the coils", "mm")]
    coils: Annotated[float | None, told("Coils of the body", "1")]
    material: Annotated[str, told("Material; empty: not known")]


class PlannedSprings(Document):
    """The springs in their places; null: none there."""

    primary: PlannedSpring | None
    secondary: PlannedSpring | None


class Cost(Document):
    """What an uncertainty costs of the yield."""

    source: Annotated[str, told("Which uncertainty")]
    yield_gained: Annotated[float, told("By how much the yield would be larger were it exact", "1")]


class PlannedStop(Document):
    """The stop."""

    found_deg: Annotated[float, told("As found", "distributor deg")]
    planned_deg: Annotated[float | None, told("As planned", "distributor deg")]
    trim_mm: Annotated[float | None, told("What to do to it: + build up, − file", "mm")]


class PlannedBand(Document):
    """A band of the target against the planned curve."""

    band: BandKind
    speed_rpm: BandSpeed
    min_deg: BandLow
    max_deg: BandHigh
    rising_deg: Annotated[float, told("Advance, the speed rising", "distributor deg")]
    falling_deg: Annotated[float, told("Advance, the speed falling", "distributor deg")]
    margin: Margin


class Settings(Document):
    """Speeds by which the posts are set on the bench; null: the curve has none."""

    primary_rpm: Annotated[float | None, told("Rising speed at which 1 degree must be in", "distributor rpm")]
    secondary_rpm: Annotated[float | None, told("Rising speed at 1 degree below the maximum", "distributor rpm")]


class IdealSpring(Document):
    """The best spring for a place, free of any catalogue, and what may be about it."""

    rate_n_per_mm: Annotated[float, told("Rate", "N/mm")]
    rate_range_n_per_mm: Annotated[Range, told("Least and most rate at range_margin", "N/mm")]
    pull_at_rest_n: Annotated[float, told("Pull at rest, negative where slack", "N")]
    pull_at_rest_range_n: Annotated[Range, told("Least and most of it at range_margin", "N")]
    takeup_deg: Annotated[float | None, told("Where it begins to pull; null: never", "distributor deg")]
    pull_at_takeup_n: Annotated[float, told("Its pull there", "N")]


class WindowRow(Document):
    """What may be at one rate."""

    rate_n_per_mm: Annotated[float, told("The rate", "N/mm")]
    pull_at_rest_n: Annotated[list[Range], told("Stretches of pull at rest that serve, negative where slack", "N")]
    free_length_mm: Annotated[Range, told("Free lengths inside the hooks, without initial tension", "mm")]
    takeup_deg: Annotated[tuple[float | None, float | None], told("Take-ups; null: never", "distributor deg")]


class WindowSpring(Document):
    """What may be ordered for one place."""

    rate_range_n_per_mm: Annotated[Range, told("Least and most rate", "N/mm")]
    at: Annotated[list[WindowRow], told("What goes with rates between")]


class OrderingWindow(Document):
    """Every spring that keeps a margin, the other spring following."""

    margin: Margin
    primary: WindowSpring
    secondary: WindowSpring | None


class IdealPlan(Document):
    """The best springs there could be, free of any catalogue."""

    margin: Margin
    range_margin: Annotated[float, told("The margin that the ranges keep", "1")]
    stop_deg: Annotated[float, told("The stop with them", "distributor deg")]
    primary: IdealSpring
    secondary: IdealSpring | None
    window: OrderingWindow | None


class Searched(Document):
    """How much was tried."""

    pairs: Annotated[int, told("Pairs of springs", "1")]
    feasible: Annotated[int, told("Of these, how many pass", "1")]


class OtherPair(Document):
    """A pair that the plan was chosen from."""

    springs: Annotated[list[str], told("Names in the catalogue, the primary first")]
    margin: Margin


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


class OrderedSpring(Document):
    """A spring to take or to order."""

    place: Place
    id: Annotated[str, told("Its name in the catalogue")]
    quantity: Annotated[int, told("How many", "1")]
    alternates: Annotated[list[str], told("Names of springs that pass in its stead, the best first")]
    rate_range_n_per_mm: Annotated[Range, told("Least and most rate that keep range_margin", "N/mm")]
    free_length_range_mm: Annotated[Range, told("Least and most free length that keep range_margin", "mm")]
    range_margin: Annotated[float, told("The margin that the ranges keep", "1")]
    rate_tolerance_assumed: Annotated[float, told("± of the rate that the yield counts on", "1")]


class SuggestedChange(Document):
    """A single change after which a plan passes."""

    kind: Annotated[Literal["band", "stop", "posts", "mass", "springs"], told("What is changed")]
    text: Annotated[str, told("What to do, in words")]
    amount: Annotated[float, told("How much, in `unit`: a widening, a length, a factor or a count", "unit")]
    unit: Annotated[Literal["deg", "mm", "1"], told("Unit of the amount; degrees are the distributor's")]
    margin: Margin
    springs: Annotated[list[str], told("Names of the springs it then takes")]


class CheckedCurve(Document):
    """The planned curve against the same computed another way."""

    method: Literal["energy minimisation"]
    speeds: Annotated[int, told("How many speeds were looked at, rising and falling", "1")]
    largest_difference_deg: Annotated[float, told("The largest difference there", "distributor deg")]
    agrees: Annotated[bool, told("False: do not build from this plan, it is a fault of recurve")]


class PlanDocument(Document):
    """A plan for one job. All speeds and angles are the distributor's, whatever the job's basis."""

    verdict: Literal["passes", "passes with stop trim", "out of reach"]
    title: Title
    fingerprint: Fingerprint
    margin: Annotated[float | None, told("The worst over bands and directions; null: nothing can be built", "1")]
    yield_: Annotated[float | None, told("Share of builds that pass at first setting; null: nothing to build", "1")]
    costs: list[Cost]
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
