"""What the steps of a decision are called, worded once for the terminal, the app and pages."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from envelope.building.job import AS_BUILT, Job, Plan
from envelope.building.source_measures import MEASURES
from envelope.errors import EnvelopeError
from envelope.plans.bed import BedPlace, BedPlan
from envelope.plans.candidates import SEAMS
from envelope.plans.decision import (
    Change,
    Decision,
    FreeMeasure,
    NothingOnOfferError,
    Rival,
    SmallBudgetError,
    Step,
    Worse,
)
from envelope.plans.source_changes import SourceChange, free_where_it_stands
from envelope.plans.sure import Spared
from envelope.plans.units import Option, Unit, groups_of
from envelope.text.measures import agreed_measures, measure_words
from envelope.text.names import listed, panel_title, plan_title
from envelope.text.numbers import SPACE, area, grouped, length, level, percent
from envelope.text.sentences import change_words
from envelope.text.trade import (
    face_name,
    figure_words,
    plan_name,
    source_title,
    space_title,
    treatment_title,
    unpriced_words,
)

MAX_WORN = 3  # treatments named in a title
BED_DB = 1.0  # from which another place is worth moving the bed; common practice, no source
MAX_UNPRICED = 3  # what lacks a price, named in one line
MAX_FRAMES = 2
LEAST_FRAME = 0.01  # of what is left, below which a frame that stays open is not named
MAX_KEPT = 4  # faces that stay as they are, named in one line


def unit_title(job: Job, unit: str) -> str:
    """What is decided in one go, as people name it: "walls of bedroom", "window W1 of bedroom".

    Parameters
    ----------
    job : Job
        Whose unit it is.
    unit : str
        Id of a panel, or a room's id with a group of its faces.
    """
    for panel in job.building.panels:
        if unit == panel.id:
            return face_name(job, unit)
        if unit in panel.aliases:  # parts of one wall
            title = panel_title(
                panel=unit, space=panel.space, kind=panel.kind, aliases=panel.aliases
            )
            return f"{title} of {space_title(job, panel.space)}"
    room, _, group = unit.rpartition("/")
    if group == SEAMS:
        return f"seams of {face_name(job, room)}"
    return f"{group.replace('-', ' ')} of {space_title(job, room)}"


def done_words(job: Job, changes: Sequence[Change]) -> str:
    """What a step does in one go: "walls of bedroom: coating, 31.64 m²".

    Parameters
    ----------
    job : Job
    changes : sequence of Change
        One, or those of one group with the same label.
    """
    first = changes[0]
    if first.source is not None:
        device = source_title(job, first.source.device)
        return f"{device}: {measure_words(job, first.source)}"
    beside = f" beside {_titles(job, first.was)}" if first.was else ""
    size = area(sum(each.area_m2 for each in changes), feet=job.feet)
    never = " (now or never)" if any(each.now_or_never for each in changes) else ""
    return f"{_units_title(job, changes)}: {_titles(job, first.label)}{beside}, {size}{never}"


def _units_title(job: Job, changes: Sequence[Change]) -> str:
    """Units of one group: all of it, what is left of it, or each by its name."""
    first = changes[0]
    if len(changes) == 1:
        return unit_title(job, first.unit)
    if len(changes) == first.group_units:
        return unit_title(job, first.group)
    room, _, group = first.group.rpartition("/")
    if first.group_done == first.group_units and not first.was:
        return f"the other {group} of {space_title(job, room)}"
    of_room = f" of {space_title(job, room)}"
    names = [unit_title(job, each.unit).removesuffix(of_room) for each in changes]
    if all(name.endswith(" wall") for name in names):
        names = [name.removesuffix(" wall") for name in names]
        return f"{listed(names)} {group}{of_room}"
    if all(name.startswith("wall ") for name in names):
        return f"{group} {listed([name.removeprefix('wall ') for name in names])}{of_room}"
    return listed(names) + of_room


def step_lines(job: Job, step: Step) -> tuple[str, ...]:
    """All that a step does, each in a line; what it does to several walls of a room in one."""
    return _lines(job, step.changes)


def _lines(job: Job, changes: Sequence[Change]) -> tuple[str, ...]:
    together: dict[tuple[str, str, str], list[Change]] = {}
    for change in changes:
        key = (change.group or change.unit, change.label, change.was)
        together.setdefault(key, []).append(change)
    return tuple(done_words(job, each) for each in together.values())


def rival_words(job: Job, number: int, rival: Rival) -> str:
    """What the money of a step would buy instead, and how likely the step is the better one."""
    return (
        f"Instead of step {number} the same money buys {'; '.join(_lines(job, rival.changes))}: "
        f"step {number} is the better one in {round(100.0 * rival.odds)} of 100"
    )


def only_room(job: Job, decision: Decision) -> str:
    """The room in which all steps are done; "" where there are several, or none."""
    spaces = {panel.id: panel.space for panel in job.building.panels}
    found = {
        spaces[panel]
        for step in decision.steps
        for change in step.changes
        for panel in change.panels
    }
    return space_title(job, found.pop()) if len(found) == 1 else ""


def step_words(job: Job, step: Step) -> str:
    """All that a step does, in one line."""
    return "; ".join(step_lines(job, step))


def steps_title(job: Job, steps: Sequence[Step]) -> str:
    """What a client calls the sequence up to a step: what it puts on, not where.

    Such as "Step 1: window film", or "Steps 1 to 3: window film, coating".
    """
    worn = [
        _titles(job, change.label)
        for step in steps
        for change in step.changes
        if change.source is None
    ]
    named = list(dict.fromkeys(worn))
    more = len(named) - MAX_WORN
    what = ", ".join(named[:MAX_WORN]) + (f" and {more} more" if more > 0 else "")
    return f"{'Step 1' if len(steps) == 1 else f'Steps 1 to {len(steps)}'}: {what}"


def begins_without_words(job: Job) -> str:
    """That a decision begins with the rooms as built, where visits say that work was done since."""
    done = [visit for visit in job.visits if visit.plan != AS_BUILT]
    if not done:
        return ""
    last = max(done, key=lambda visit: (visit.date, visit.id))
    return (
        f"the work of “{plan_name(job, last.plan)}”, done by {last.date.isoformat()}, does not "
        "count here: today and all steps are of the rooms as built"
    )


def counted_words(job: Job, decision: Decision) -> str:
    """Which sources and receivers a decision counts, where not all sources or not the worst."""
    said = []
    if decision.sources:
        names = listed(list(dict.fromkeys(source_title(job, each) for each in decision.sources)))
        said.append(f"what {names} brings, and no other source")
    if decision.shares:
        said.append(
            "the weighted mean of "
            + listed([f"{name} ({percent(share)})" for name, share in decision.shares])
        )
    return "; ".join(said)


def cost_words(job: Job, decision: Decision, cents: int) -> str:
    """A sum with its currency; an area where prices are missing, since area then stands for cost.

    Parameters
    ----------
    job : Job
        Whose currency and measure it is.
    decision : Decision
        Which knows whether all is priced.
    cents : int
        A step's, or that of all steps so far.
    """
    if decision.candidates.priced:
        return f"{grouped(cents / 100.0)} {job.costs.currency or ''}".rstrip()
    return area(cents / 100.0, feet=job.feet)


def spared_words(job: Job, decision: Decision, spared: Spared) -> str:
    """What measuring first may spare, such as "measuring it first may spare step 6 (…)"."""
    first, last = spared.steps
    cost = cost_words(job, decision, sum(each.cents for each in decision.steps[first - 1 : last]))
    mean = cost_words(job, decision, round(spared.cents))
    one = first == last
    return (
        f"{figure_words(job, spared.words)} decides on {_numbers(first, last)} ({cost}): in "
        f"{max(1, round(100.0 * spared.odds))} of 100 {'it is' if one else 'they are'} not worth "
        f"doing, so settling this first spares {mean} on average: {spared.settle}"
    )


def undone_words(job: Job, decision: Decision) -> str:
    """Free measures that steps count on, as left undone: "kitchen router stays on at night"."""
    changes = [each.change for each in decision.free if each.counted]
    names = list(dict.fromkeys(source_title(job, each.device) for each in changes))
    stay = "stays" if len(names) == 1 else "stay"
    if all(each.do == "off-at-night" for each in changes):
        return f"{listed(names)} {stay} on at night"
    return f"{listed(names)} {stay} as today"


def refused_words(job: Job, error: EnvelopeError) -> str:
    """Why nothing could be decided, with faces and treatments as people call them.

    Parameters
    ----------
    job : Job
        That was decided about.
    error : EnvelopeError
        Of `envelope.plans.decide.decide`.
    """
    if isinstance(error, SmallBudgetError):
        if error.label in MEASURES:
            return error.said(f"{source_title(job, error.unit)}: {error.label.replace('-', ' ')}")
        return error.said(f"{unit_title(job, error.unit)}: {_titles(job, error.label)}")
    if isinstance(error, NothingOnOfferError):
        return error.said(
            kept=[face_name(job, each) for each in error.kept],
            goes_nowhere=[treatment_title(job, each) for each in error.goes_nowhere],
        )
    return str(error)


def out_of_reach_words(decision: Decision) -> str | None:
    """What can be had in place of a target that is out of reach; None where it is not."""
    if decision.target_w_m2 is None or decision.best_w_m2 < decision.target_w_m2:
        return None
    of_what = "everything on offer together"
    if decision.budget_cents is not None:
        of_what = "the most that the budget buys"
    return (
        f"The target of {level(decision.target_w_m2)} is out of reach: {of_what} comes to "
        f"{level(decision.best_w_m2)}"
    )


def stop_words(decision: Decision) -> str:
    """Where to stop and why, as a sentence without its full stop."""
    after = decision.stop_after
    what = f"Stop after step {after}" if after else "Do none of them"
    return f"{what}: {decision.why_stop}"


def _numbers(first: int, last: int) -> str:
    return f"step {first}" if first == last else f"steps {first} to {last}"


def shares_words(job: Job, levels: Sequence[tuple[str, float]], *, most: int = 4) -> str:
    """Which share of a level each source brings: "mast 59 %, kitchen-router 26 %"."""
    total = sum(level for _, level in levels)
    if total <= 0.0:
        return "nothing arrives"
    return ", ".join(
        f"{source_title(job, name)} {percent(level / total)}"
        for name, level in levels[:most]
        if level > 0.0
    )


def worse_words(job: Job, decision: Decision, worse: Worse) -> str:
    """Such as "ceiling of bedroom with coating", with the step that does it in its turn."""
    words = f"{unit_title(job, worse.unit)} with {_titles(job, worse.label)}"
    for number, step in enumerate(decision.steps[: decision.stop_after], start=1):
        if any((each.unit, each.label) == (worse.unit, worse.label) for each in step.changes):
            return f"{words}, except as step {number}"
    return words


def prices_missing(job: Job, unpriced: Sequence[str]) -> str:
    """What lacks a price, the first few named and the others counted."""
    said = [unpriced_words(job, each) for each in unpriced[:MAX_UNPRICED]]
    more = len(unpriced) - len(said)
    return "; ".join(said) + (f"; and {more} more" if more > 0 else "")


def not_offered_words(kinds: Sequence[str]) -> str:
    """Kinds of face on which nothing is on offer, and how to have something offered.

    Examples
    --------
    >>> not_offered_words(["door", "window"])
    'no plan treats any door or window; to have it offered, put a treatment on it in some plan'
    """
    any_of = " or ".join(filter(None, (", ".join(kinds[:-1]), kinds[-1])))
    return f"no plan treats any {any_of}; to have it offered, put a treatment on it in some plan"


def where_words(job: Job, place: BedPlace, space: str) -> str:
    """Such as "head to the east, pillow at 3.85 m, 1.19 m", in the room's own coordinates."""
    origin = job.building.space(space).origin
    east, north = (place.pillow_m[axis] - origin[axis] for axis in (0, 1))
    at = f"{length(east, feet=job.feet)}, {length(north, feet=job.feet)}"
    return f"head to the {place.head}, pillow at {at}"


def bed_moves(job: Job, bed: Sequence[BedPlan]) -> tuple[tuple[str, float], ...]:
    """Where to move the bed, and what that brings today [dB]; nothing where it stands well."""
    if not bed or bed[0].below_db < BED_DB:
        return ()
    where = where_words(job, bed[0].best, bed[0].floor.space)
    return ((f"move the bed, {where}", bed[0].below_db),)


def bed_words(job: Job, bed: Sequence[BedPlan]) -> str:
    """Where the bed is best and what that brings, today and once the steps are done.

    Parameters
    ----------
    job : Job
    bed : sequence of BedPlan
        Its places today, and where one stops.
    """
    today, *later = bed
    said = [f"{where}: {change_words(below_db)} today" for where, below_db in bed_moves(job, bed)]
    if not said:
        return f"it stands well: no place brings more than {BED_DB:g}{SPACE}dB"
    if later:
        # what was the best place today may be a worse one then
        below_db = 10.0 * float(np.log10(later[-1].now_w_m2 / later[-1].level_at(today.best)))
        said.append(f"{change_words(below_db)} once the steps are done")
    return f"{', '.join(said)}; no step counts on it"


def as_today_words(
    job: Job,
    plans: Sequence[tuple[str, Mapping[str, float]]],
    *,
    counting: Sequence[Plan] = (),
) -> str:
    """Which state of the sources levels count, and what free measures would bring besides.

    A decision counts on free measures and a promise does not: without this its levels seem wrong.

    Parameters
    ----------
    job : Job
    plans : sequence of (str, mapping)
        What each plan is called, and what each source brings under it. [W/m²]
    counting : sequence of Plan
        The same plans, of which some may count on what is done about sources.
    """
    if job.assumed_source:
        return ""
    said = [
        f"“{plan_title(plan.id, plan.title)}” counts on this besides: "
        f"{'; '.join(agreed_measures(job, plan))}."
        for plan in counting
        if plan.measures or plan.beds
    ]
    return " ".join([_as_today(job, plans, all_do=len(said) == len(plans)), *said]).strip()


def _as_today(job: Job, plans: Sequence[tuple[str, Mapping[str, float]]], *, all_do: bool) -> str:
    free = [
        each
        for each in free_where_it_stands(job)
        if any(_without(brought, [each]) is not None for _, brought in plans)
    ]
    if not free:
        return "" if all_do else "Levels here count every source as it is today."
    then = [
        f"{level(after)} instead of {level(sum(brought.values()))} with “{title}”"
        for title, brought in plans
        if (after := _without(brought, free)) is not None
    ]
    on = listed([source_title(job, each.device) for each in free])
    do = "; ".join(f"{source_title(job, each.device)}: {measure_words(job, each)}" for each in free)
    return (
        f"Levels here count every source as it is today ({on} on); doing besides what costs "
        f"nothing ({do}) would leave {listed(then)}."
    )


def _without(brought: Mapping[str, float], free: Sequence[SourceChange]) -> float | None:
    """The level after free measures; None where it reads as it did before. [W/m²]"""
    factors = {source: each.factor for each in free for source in each.sources}
    after = sum(each * factors.get(source, 1.0) for source, each in brought.items())
    return None if level(after) == level(sum(brought.values())) else after


def frames_words(job: Job, decision: Decision) -> str:
    """What frames left open round treated glass let in where one stops; "" where none is.

    Such as "bare frame of window W1 lets in 62 % of what is left then".
    """
    some = [each for each in decision.frames if each[1] >= LEAST_FRAME]
    if not some:
        return ""
    names = listed([face_name(job, name) for name, _ in some[:MAX_FRAMES]])
    share = percent(sum(share for _, share in some))
    one = len(some) == 1
    more = f" and {len(some) - MAX_FRAMES} more" if len(some) > MAX_FRAMES else ""
    return (
        f"{names}{more} {'stays' if one else 'stay'} open and {'lets' if one else 'let'} in "
        f"{share} of what is left then; to have a treatment offered there, put it on "
        f'"{some[0][0]}" in some plan'
    )


def now_or_never_words(job: Job, unit: str, step: int | None) -> str:
    """What to do about faces that are out of reach later.

    Parameters
    ----------
    job : Job
    unit : str
        What is decided in one go.
    step : int, optional
        That does it, from 1; none where no step worth doing does.
    """
    title = unit_title(job, unit)
    if step is None:
        return f"{title}: no step that is worth doing needs it"
    return f"{title} (step {step}): do it before it is closed, even if the steps before it wait"


def kept_words(job: Job, panels: Sequence[str]) -> str:
    """Which faces stay as they are, with what the job says of them."""
    words = [
        f"{face_name(job, panel)}" + (f" ({job.work[panel]})" if panel in job.work else "")
        for panel in panels[:MAX_KEPT]
    ]
    more = len(panels) - len(words)
    return ", ".join(words) + (f" and {more} more" if more > 0 else "")


def agreement_words(free: FreeMeasure, *, for_client: bool = False) -> str:
    """Who must agree to a measure, and whether the steps count on it.

    For a client what to write in the file is left out.
    """
    change = free.change
    if change.agreed_by == "neighbour":
        why = f": {change.reason}" if change.reason and not for_client else ""
        return f"the neighbour must agree, so no step counts on it{why}"
    if change.agreed_by == "unknown":
        if for_client:
            return "nobody has said whose it is, so no step counts on it"
        return 'whose is it? No step counts on it until owner = "household" says so'
    if free.counted:
        reason = change.reason.partition(" (may")[0] if for_client else change.reason
        return f"counted on below: {reason}" if reason else "counted on below"
    if change.cost > 0:
        return "among the steps, where it pays"
    return "not counted on"


def chosen_lines(job: Job, units: Sequence[Unit], chosen: Sequence[int]) -> tuple[str, ...]:
    """What a plan does, a group whose units are all done alike as one.

    Parameters
    ----------
    job : Job
    units : (n,) Unit
        What is decided.
    chosen : (n,) int
        Index of the option of each; 0 is left out.
    """
    done = {
        unit.id: (unit.group, _option_words(job, unit.options[option]))
        for unit, option in zip(units, chosen, strict=True)
        if option
    }
    for group, members in groups_of(units).items():
        found = {done.get(units[member].id) for member in members}
        if len(members) > 1 and len(found) == 1 and None not in found:
            whole = done[units[members[0]].id]
            done = {
                group if name == units[members[0]].id else name: words
                for name, words in done.items()
                if name == units[members[0]].id or words[0] != group
            }
            done[group] = whole
    return tuple(f"{unit_title(job, name)}: {words}" for name, (_, words) in done.items())


def _option_words(job: Job, option: Option) -> str:
    if option.change is not None:
        return measure_words(job, option.change)
    return _titles(job, option.label)


def _titles(job: Job, label: str) -> str:
    """The treatments of a label as the client calls them."""
    return " and ".join(treatment_title(job, name) for name in label.split(" and "))
