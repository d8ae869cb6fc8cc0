"""What the wiring's field comes out as: ranges over all that is not known."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from envelope.building.wiring import Conducts
from envelope.geometry.plane import Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """The least and the greatest that something comes out as, over all unknowns."""

    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Remaining:
    """The field at a receiver with one thing off."""

    what: str
    kind: str  # "circuit", "run" or "device"
    circuit: str
    field_v_m: Span
    share: Span  # of the field with everything on, state by state


@dataclass(frozen=True, slots=True, kw_only=True)
class IslandVolts:
    """What a coating stands at, and what flows through its bond."""

    panels: tuple[str, ...]
    bonds: tuple[str, ...]
    earthed_by_wall: bool  # in some state
    leaf: bool  # on the leaf of a window or door, which nobody bonds as a rule
    volts: Span
    current_a: Span

    @property
    def floats(self) -> bool:
        """Whether nothing holds it at earth in some state of the walls."""
        return not self.bonds and not self.earthed_by_wall


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldAt:
    """The field of a plan at a receiver."""

    receiver: str
    field_v_m: Span  # at its own spot
    mean_v_m: Span  # over its box, or a hand's breadth around a point
    greatest_v_m: Span
    by_walls: Mapping[Conducts, Span]  # at its own spot, for each state of unknown walls
    against_as_built: Span  # ratio, state by state
    body_volts: Span  # open circuit
    body_meter_volts: Span  # at a meter of 10 MΩ
    remaining: tuple[Remaining, ...]  # from the least
    raised_by: str | None  # the run that stays live beside earth, where a plan raises the field


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanField:
    """What a plan does to the wiring's field."""

    plan: str
    off: tuple[str, ...]
    receivers: tuple[FieldAt, ...]
    islands: tuple[IslandVolts, ...]

    @property
    def floats(self) -> bool:
        """Whether a coating of it is held at earth by nothing."""
        return any(island.floats and not island.leaf for island in self.islands)

    @property
    def unbonded(self) -> bool:
        """Whether it leaves a coating without a bond: such a plan is never proposed.

        A slab or a wall of masonry that touches it settles its voltage, but trips no breaker.
        """
        return any(not island.bonds and not island.leaf for island in self.islands)


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingBeside:
    """A reading beside what is predicted for its spot."""

    id: str
    plan: str
    off: tuple[str, ...]
    potential_free: bool
    field_v_m: float
    predicted_v_m: Span  # undisturbed, as a potential-free meter shows it


@dataclass(frozen=True, slots=True, kw_only=True)
class SwitchTest:
    """Two readings at one spot, with a circuit or device on and off."""

    what: str
    before_v_m: float
    after_v_m: float
    predicted_after_v_m: Span


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanTest:
    """Two readings at one spot, before and after a plan was carried out."""

    plan: str
    potential_free: bool
    before_v_m: float
    after_v_m: float
    predicted_ratio: Span  # of the undisturbed field


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FieldMap:
    """Field over a receiver's room at its height, in one state of what is unknown."""

    plan: str
    receiver: str
    state: str  # in words
    xs_m: Floats  # (a,)
    ys_m: Floats  # (b,)
    height_m: float
    field_v_m: Floats  # (b, a); not a number outside the room


@dataclass(frozen=True, slots=True, kw_only=True)
class WiringResults:
    """All of it."""

    frequency_hz: float
    plans: tuple[PlanField, ...]
    unknowns: tuple[str, ...]  # one phrase each
    states: int  # that were computed for each plan
    sampled: bool  # not every combination of unknowns was computed
    winner: str | None  # the plan that is best in every state at every receiver
    readings: tuple[ReadingBeside, ...]
    tests: tuple[SwitchTest, ...]  # from what leaves least
    changes: tuple[PlanTest, ...]  # before and after
    states_left: int  # that agree with every potential-free reading
    left_open: tuple[tuple[str, tuple[str, ...]], ...]  # what that leaves of each unknown
    winner_left: str | None  # the plan that is best in every state that agrees
    reaches_m: Mapping[str, float]  # of each run alone: how far into the room 5 V/m reaches
    elements: int
    coarser: float
    notes: tuple[str, ...]
