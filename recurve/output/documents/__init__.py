"""The JSON documents: one shape for each result, with the unit of every number.

Each is built from its result by `of`; the reports and the build sheet read its attributes.

Offers:

- `base`: `deg`, `if_known`, `listed`, `mm`, `number`, `PlaceName`, `rpm`, `TargetBand`, `TrustDocument`,
  `UncertainAngle`, `UncertainSpeed`
- `check`: `CheckDocument`, `EngineBand`, `FindingDocument`, `JudgedBand`, `VerifyDocument`
- `condition`: `Angle`, `CapsuleDocument`, `CoilCharge`, `ConditionDocument`, `Pressure`, `Slope`
- `curve`: `CurveDocument`
- `fit`: `FitDocument`, `FittedParameter`
- `honesty`: `ChancesHeld`, `CurvesHeld`, `ErrorsAtSpeed`, `ErrorsTold`, `HonestyDocument`, `ShareTold`, `ToleranceHeld`
- `ideal`: `IdealPlan`, `WindowSpring`
- `learn`: `LearnDocument`, `MisfitDocument`
- `look`: `BandAsRead`, `ReadingsDocument`, `StrengthNeeded`
- `order`: `KeptSpring`, `LeftOut`, `OrderDocument`, `OrderedFor`, `OrderLine`, `SharedSpring`
- `plan`: `CheckedCurve`, `JobOfMany`, `PlanDocument`, `PlannedBand`, `PlannedSpring`, `PlansDocument`
- `schemas`: `document_schema`
- `springs`: `SpringDocument`, `WantedSpring`, `WindDocument`, `WindingDocument`, `WoundSpring`
- `timing`: `TimingDocument`, `at_least`, `columns`, `off_book_words`, `timing_cell`, `unit_words`
- `units`: `BandOfUnit`, `FindingOfUnit`, `first_time`, `FoundOfUnit`, `LeftOfUnit`, `OffOfUnit`, `PlacedOfUnit`, `PlanOfUnit`,
  `searched`, `SideOfBand`, `TolerancesOfUnit`, `UnitOfFolder`, `UnitsDocument`
"""
