"""The findings of the vacuum unit: what its readings and its leak test show against its book. SI."""

from __future__ import annotations

from dataclasses import dataclass

from recurve.inspection.bench import Item, Judged, by_limit
from recurve.inspection.findings import Cause, Finding, Words
from recurve.inspection.vacuum import VacuumCheck


def vacuum_findings(found: VacuumCheck) -> list[Finding]:
    """The findings of the vacuum unit: one where it does not move at all, else each check that does not pass."""
    mixed = (Item.VACUUM_POINT, Item.VACUUM_MAXIMUM) if found.factor is not None else ()
    dead_at = (Item.VACUUM_POINT,) if found.dead else ()
    judged = [j for j in found.judged if j.item not in (*mixed, *dead_at)]
    told: list[Finding] = [] if found.factor is None else [VacuumBasis("medium", found.factor)]
    told += [f for j in judged if (f := _of_vacuum_check(j)) is not None]
    dead = [VacuumDead("medium", j) for j in found.judged if j.item is Item.VACUUM_POINT and j.verdict == "fail"]
    unread: list[Finding] = [VacuumNotRead("open question", found.unjudged)] if found.unjudged else []
    return [*(dead[-1:] if found.dead else []), *told, *unread]


def _of_vacuum_check(j: Judged) -> Finding | None:
    if j.verdict in ("pass", "suspect", "no limit"):
        return None
    if j.item is Item.VACUUM_HOLD:
        return LeakTestShort("open question", j)
    if j.verdict == "too close to call":
        return VacuumTooClose("open question", j)
    if j.item is Item.VACUUM_LOSS:
        return VacuumLeaks("repair first", j)
    return VacuumSticks("medium", j) if j.item is Item.VACUUM_STICTION else VacuumOffBook("medium", j)


@dataclass(frozen=True)
class VacuumFinding(Finding):
    """A finding of the vacuum unit: the check `judged`."""

    judged: Judged
    cause = Cause.VACUUM


@dataclass(frozen=True)
class VacuumDead(VacuumFinding):
    """No reading shows the vacuum unit to move: the check `judged` is one that it fails."""

    def words(self) -> Words:
        """The finding in words."""
        j = self.judged
        return Words(
            f"the vacuum unit does not move: {j.seen} at{j.detail}, vacuum rising",
            by_limit(j),
            "there is no vacuum advance: the engine burns more fuel and runs hotter at part load; full load is not affected",
            "draw a vacuum and close the line. If the vacuum falls, the diaphragm or the hose leaks: replace it. "
            "If it holds, look for a seized breaker plate or a rod off its pin",
        )


@dataclass(frozen=True)
class VacuumBasis(Finding):
    """All readings but those at no advance are off the book by the same `factor` [1], 2 or 1/2."""

    factor: float
    cause = Cause.VACUUM

    def words(self) -> Words:
        """The finding in words."""
        twice = self.factor > 1
        return Words(
            f"the vacuum unit's readings are {'twice' if twice else 'half'} what its book asks for: crank and "
            "distributor degrees mixed up?",
            f"{'halved' if twice else 'doubled'}, every reading lies in its band",
            "a sound vacuum unit would be thrown away",
            "check whether book and readings are both in crank or both in distributor degrees (2° of crank are 1° "
            "of distributor). Write both in the same degrees, and say which in basis",
        )


@dataclass(frozen=True)
class VacuumNotRead(Finding):
    """Something of the vacuum unit's book cannot be judged by the readings: `lacking`, in words."""

    lacking: tuple[str, ...]
    cause = Cause.VACUUM

    def words(self) -> Words:
        """The finding in words."""
        return Words(
            "the vacuum unit cannot be judged in full",
            "; ".join(self.lacking),
            "whether it works as its book asks is not known",
            "read it at the book's own vacuums, vacuum rising, and give the book's figures",
        )


@dataclass(frozen=True)
class LeakTestShort(VacuumFinding):
    """The leak test was not drawn to its vacuum."""

    def words(self) -> Words:
        """The finding in words."""
        return Words(
            "the leak test did not reach its vacuum", by_limit(self.judged), "whether the vacuum unit holds is not known",
            "draw the full vacuum and time the test again",
        )  # fmt: skip


@dataclass(frozen=True)
class VacuumTooClose(VacuumFinding):
    """A check of the vacuum unit that is too close to its limit to call."""

    def words(self) -> Words:
        """The finding in words."""
        return Words(
            f"{self.judged.what}: too close to call", by_limit(self.judged), "the vacuum unit may be off its book",
            "read it again more closely, vacuum rising and falling",
        )  # fmt: skip


@dataclass(frozen=True)
class VacuumLeaks(VacuumFinding):
    """The vacuum unit lost more vacuum in the leak test than is allowed."""

    def words(self) -> Words:
        """The finding in words."""
        lost = self.judged.in_units(self.judged.measured.value)
        return Words(
            f"replace the vacuum unit first: it leaks, {lost} in{self.judged.detail}",
            by_limit(self.judged), "there is no vacuum advance, the mixture is weak, and fuel vapour is drawn to the spark",
            "replace it; plug the line until then",
        )  # fmt: skip


@dataclass(frozen=True)
class VacuumSticks(VacuumFinding):
    """Rising and falling vacuum lie too far apart."""

    def words(self) -> Words:
        """The finding in words."""
        return Words(
            "the vacuum unit or the breaker plate sticks", by_limit(self.judged),
            "the vacuum advance comes late and stays in",
            "free and oil the breaker plate; if it still sticks, replace the unit",
        )  # fmt: skip


@dataclass(frozen=True)
class VacuumOffBook(VacuumFinding):
    """Start, full, maximum or a point of the vacuum unit is outside the book's band."""

    def words(self) -> Words:
        """The finding in words."""
        j = self.judged
        short = {Item.VACUUM_START: "begins at", Item.VACUUM_FULL: "full at", Item.VACUUM_POINT: "at"}
        return Words(
            f"the vacuum unit is off its book: {short.get(j.item, j.item)}{j.detail} {j.seen}",
            by_limit(j), "the advance is wrong at part load; full load is not affected unless vacuum reaches the unit there",
            "replace it, or adjust it if it has a screw; check the number stamped on its arm",
        )  # fmt: skip
