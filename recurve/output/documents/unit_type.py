"""What of a job came from a type of unit, how much of the doubt it causes, and whether the unit fits: for `plan` and `check`."""

from __future__ import annotations

from typing import Annotated

from recurve.errors import dotted
from recurve.fit.fit import Fit
from recurve.job.model import BareJob, Job
from recurve.output.documents.base import Document, if_known, number, told
from recurve.types.belonging import belonging
from recurve.types.facts import unlike_type


class TypeDocument(Document):
    """A type of unit, and a unit against it."""

    file: Annotated[str, told("The type file, as the job names it")]
    title: Annotated[str, told("What the type is called")]
    units: Annotated[int, told("Units that it was learned from", "1")]
    taken: Annotated[list[str], told("Keys that were taken from it, since the job does not state them")]
    share: Annotated[
        float | None,
        told(
            "Share of the variance of the planned curve that would go if these were exact; null: nothing planned", "1"
        ),
    ]
    fits: Annotated[
        bool | None,
        told("Whether neither job nor sweep speaks against the unit being of the type; null: nothing to tell it by"),
    ]
    chance: Annotated[
        float | None, told("Chance that a unit of the type lies as far off; null: nothing to tell it by", "1")
    ]
    odds: Annotated[
        float | None,
        told("How many times likelier it is of the type than of another; null: nothing to tell it by", "1"),
    ]

    @classmethod
    def of(cls, job: Job | BareJob, fit: Fit | None, share: float | None) -> TypeDocument | None:
        """The type that a job names, with the `share` [1] of the doubt that it causes; None without one."""
        kind = job.kind
        if kind is None:
            return None
        found = belonging(kind, job, fit) if isinstance(job, Job) else None
        unlike = unlike_type(job) if isinstance(job, Job) else ()
        return cls(
            file=str(job.model.type),
            title=kind.title,
            units=kind.units,
            taken=[dotted(key) for key in sorted(kind.taken, key=dotted)],
            share=if_known(lambda x: number(x, 4), share),
            fits=False if unlike else None if found is None else found.fits,
            chance=None if found is None else float(f"{found.chance:.4g}"),
            odds=None if found is None else float(f"{found.odds:.4g}"),
        )
