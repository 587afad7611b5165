"""The JSON documents: one shape a result, with the unit of every number.

Offers:

- `plan`: `PlanDocument`, `CurveDocument`
- `check`: `CheckDocument`, `VerifyDocument`
- `workshop`: `TimingDocument`, `WindDocument`, `SpringDocument`
- `schemas`: `document_schema`
"""
