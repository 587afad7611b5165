"""The JSON documents: one shape for each result, with the unit of every number.

Each is built from its result by `of`; the reports and the build sheet read its attributes.

Offers:

- `curve`: `CurveDocument`
- `plan`: `PlanDocument`, `PlansDocument`
- `ideal`: `IdealPlan`
- `check`: `CheckDocument`, `VerifyDocument`
- `fit`: `FitDocument`
- `condition`: `ConditionDocument`
- `timing`: `TimingDocument`
- `springs`: `WindDocument`, `SpringDocument`
- `schemas`: `document_schema`
"""
