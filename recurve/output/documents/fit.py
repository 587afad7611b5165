"""What a sweep says of a unit, as the JSON documents of `check` and `verify` have it."""

from __future__ import annotations

from typing import Annotated, Literal

from recurve.fit.fit import Estimate, Fit
from recurve.output.documents.base import Document, listed, number, told

Parameter = Literal[
    "primary.rate", "primary.takeup", "primary.pull", "secondary.rate", "secondary.takeup", "secondary.pull",
    "primary.tension", "secondary.tension", "drag", "friction", "friction_share", "stop", "zero", "scale",
]  # fmt: skip


class FittedParameter(Document):
    """A quantity as the readings show it."""

    value: Annotated[float | None, told("In `unit`; null: the readings do not determine it", "unit")]
    standard_uncertainty: Annotated[float | None, told("In `unit`; null: not determined", "unit")]
    unit: Annotated[Literal["N/mm", "N", "mN*m", "deg", ""], told("Degrees are the distributor's; empty: a ratio")]
    at_bound: Annotated[bool, told("Whether it lies on a physical limit")]
    source: Annotated[Literal["readings", "as given", "not determined"], told("Where the value comes from")]

    @classmethod
    def of(cls, one: Estimate) -> FittedParameter:
        """An estimate, in the unit it is reported in."""
        by = one.standard_uncertainty
        return cls(
            value=None if one.value is None else number(one.value, 9),
            standard_uncertainty=None if by is None else number(by, 9),
            unit=listed(one.unit),
            at_bound=one.at_bound,
            source=one.source,
        )


class Correlation(Document):
    """How the fitted quantities go together."""

    names: Annotated[list[str], told("The rows and columns")]
    matrix: Annotated[list[list[float]], told("Correlation", "1")]


class FitDocument(Document):
    """What a sweep says of the unit."""

    parameters: dict[Parameter, FittedParameter]
    chi2: Annotated[float, told("χ² of the readings kept", "1")]
    dof: Annotated[float, told("Degrees of freedom", "1")]
    scatter: Annotated[float, told("How much larger the readings' scatter is than stated; 1: as stated", "1")]
    converged: bool
    outlier_rows: Annotated[list[int], told("Rows of the sweep's file that were left out", "1")]
    correlation: Correlation

    @classmethod
    def of(cls, fit: Fit) -> FitDocument:
        """Every parameter of a fit, null where the readings do not determine it."""
        return cls(
            parameters={listed(e.name): FittedParameter.of(e) for e in fit.estimates},
            chi2=number(fit.chi2),
            dof=number(fit.dof),
            scatter=number(fit.inflation),
            converged=fit.converged,
            outlier_rows=list(fit.outliers),
            correlation=Correlation(
                names=list(fit.names), matrix=[[number(x, 4) for x in row] for row in fit.correlation]
            ),
        )
