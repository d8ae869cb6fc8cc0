"""Where one may stop in a sequence: after which steps the money so far is well spent.

step     1     2     3     4     5          told by itself: 1 and 5
gain     ██    ▒     ▒     ▒     █          2 and 3 together can be told: so one may stop
stops    ↑           ↑                      after 3; 4 and 5 cannot, though 5 by itself can
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence

from envelope.exposure.differences import Difference
from envelope.plans.decision import BETTER_ODDS, Change, Rival, Step, is_worth_doing

Gain = Callable[[int, int], Difference]


def stops_of(count: int, gain: Gain) -> tuple[int, ...]:
    """Steps after which one may stop, in order; none where no step is worth doing.

    Parameters
    ----------
    count : int
        Steps of the sequence.
    gain : callable
        What the steps after one number up to another bring together.

    Notes
    -----
    One may stop where going on from every earlier stop, the start included, brings what can be
    told and is enough. A step that cannot be told by itself is then done only with the steps that
    make it so, and a later step that can be told never brings in what stands before it in vain.

    Examples
    --------
    >>> def gain(start: int, end: int) -> Difference:
    ...     odds = 0.95 if end - start > 1 else 0.8
    ...     return Difference(below_db=2.0, low_db=odds - 0.9, high_db=4.0, odds=odds)
    >>> stops_of(5, gain)  # any two together can be told
    (2, 4)
    """
    found = [0]
    for number in range(1, count + 1):
        if all(is_worth_doing(gain(stop, number)) for stop in found):
            found.append(number)
    return tuple(found[1:])


def why_stop(steps: Sequence[Step], stops: Sequence[int], *, reached: bool) -> str:
    """Why nothing after the last stop is worth doing, and what is done only together.

    Parameters
    ----------
    steps : sequence of Step
    stops : sequence of int
        Steps after which one may stop.
    reached : bool
        Whether the last step is below the target.
    """
    if reached:
        return "the target is reached"
    last = stops[-1] if stops else 0
    bundles = [
        (start + 1, stop) for start, stop in itertools.pairwise((0, *stops)) if stop - start > 1
    ]
    said = [_only_together(bundles)] if bundles else []
    later = [number for number, step in enumerate(steps, 1) if number > last and step.is_better]
    if last == len(steps):
        said.append("nothing more is on offer that lowers the level")
    elif later and later[-1] > last + 1:
        own = "step " + " and step ".join(str(number) for number in later)
        said.append(
            f"{own} can be told by itself, but steps {last + 1} to {later[-1]} together bring too "
            "little, or no difference that can be told"
        )
    else:
        said.append("what follows brings too little, or no difference that can be told")
    return "; ".join(said)


def doubtful_steps(steps: Sequence[Step], stops: Sequence[int]) -> list[tuple[int, Rival]]:
    """Steps to take, by number, each with what may as well be done instead.

    What is done as one with the step anyway is no other way to spend its money.

    Parameters
    ----------
    steps : sequence of Step
    stops : sequence of int
        Steps after which one may stop.
    """
    found = []
    for start, stop in itertools.pairwise((0, *stops)):
        bought = {_made(change) for step in steps[start:stop] for change in step.changes}
        for number, step in enumerate(steps[start:stop], start + 1):
            rival = step.rival
            if rival is None or rival.odds >= BETTER_ODDS:
                continue
            if not {_made(change) for change in rival.changes} <= bought:
                found.append((number, rival))
    return found


def _made(change: Change) -> tuple[str, str]:
    return change.unit, change.label


def _only_together(bundles: Sequence[tuple[int, int]]) -> str:
    """First and last steps of what is done as one."""
    named = [
        f"steps {first} {'and' if last == first + 1 else 'to'} {last}" for first, last in bundles
    ]
    several = f"{', '.join(named[:-1])} and {named[-1]}, each" if len(named) > 1 else named[0]
    return f"do {several} as one or not at all: only together can it be told that they help"
