"""The JSON documents: one shape for each result, with the unit of every number.

Each is built from its result by `of`; the reports and the build sheet read its attributes.

Offers:

- `curve`: `CurveDocument`
- `plan`: `CheckedCurve`, `JobOfMany`, `PlanDocument`, `PlannedBand`, `PlannedSpring`, `PlansDocument`
- `ideal`: `IdealPlan`
- `check`: `CheckDocument`, `EngineBand`, `FindingDocument`, `JudgedBand`, `VerifyDocument`
- `fit`: `FitDocument`, `FittedParameter`
- `condition`: `Angle`, `CapsuleDocument`, `CoilCharge`, `ConditionDocument`, `Pressure`, `Slope`
- `timing`: `TimingDocument`, `columns`
- `springs`: `SpringDocument`, `WantedSpring`, `WindDocument`, `WindingDocument`, `WoundSpring`
- `schemas`: `document_schema`
- `base`: `PlaceName`, `TargetBand`, `deg`, `mm`, `rpm`, `UncertainAngle`, `UncertainSpeed`, `TrustDocument`
- `look`: `BandAsRead`, `ReadingsDocument`, `StrengthNeeded`
"""
