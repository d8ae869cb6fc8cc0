"""`gapcast decide`: what to do first, what it brings and costs, where to stop, what not to do."""

from __future__ import annotations

import argparse
import csv
import io
import json
import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from envelope.building.job import Job
from envelope.building.selectors import SelectionError, select
from envelope.commands import decide_tables
from envelope.commands.arguments import add_job, add_output_switches, png_path
from envelope.commands.bed import places_json
from envelope.commands.common import cast, nearest, read_job, stops_for_questions
from envelope.commands.progress import Progress
from envelope.errors import EnvelopeError, UnitError
from envelope.files import write_atomically
from envelope.plans.decide import decide
from envelope.plans.decision import Decision, NothingOnOfferError, SmallBudgetError
from envelope.plans.steps import front_taken_off
from envelope.project.edit_table import add_row
from envelope.project.plan_entry import plan_entry
from envelope.text.decisions import refused_words, steps_title
from envelope.text.trade import source_title
from envelope.trade_units import parse_amount
from envelope.units import parse_loss, parse_power_density

DESCRIPTION = (
    "Finds the measures that lower the level at the bed most for the money, in an order that can "
    "be built: amount, cost, level after each step with the range of its effect, where to stop, "
    "and what makes the room worse. What a plan of the job puts on a kind of face is on offer."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    add_job(parser)
    add_output_switches(parser, csv=True)
    parser.add_argument(
        "--receiver", metavar="ID", help="only this receiver (default: all, the worst counts)"
    )
    parser.add_argument(
        "--weight",
        action="append",
        metavar="ID=NUMBER",
        default=[],
        help="the weighted mean of the receivers named so counts, not the worst of all: "
        "--weight pillow=2 --weight cot=1",
    )
    parser.add_argument(
        "--target",
        metavar="LEVEL",
        help='level to get below, such as "10 uW/m2", or "20 dB" below today; "mast: 5 uW/m2" '
        "counts what this source brings, and no other",
    )
    parser.add_argument(
        "--budget", metavar="AMOUNT", help='what may be spent before tax, such as "1500 EUR"'
    )
    parser.add_argument(
        "--keep",
        action="append",
        metavar="FACE",
        default=[],
        help="leave this face or group as it is, such as bedroom/W2; may be given several times",
    )
    parser.add_argument(
        "--leave-sources",
        action="store_true",
        help="count on nothing that would be done about sources, such as a router off at night",
    )
    parser.add_argument(
        "--bed",
        action="store_true",
        help="the bed may move, as may-move = true in bed of its receiver says in the file: show "
        "where it is best today and where one stops, which takes some seconds more",
    )
    parser.add_argument(
        "-o",
        "--output",
        type=Path,
        metavar="FILE",
        help="write the job with the sequence as a plan of it, up to where one stops: what is put "
        "on, and what is done about sources",
    )
    parser.add_argument(
        "--step", type=int, metavar="N", help="with --output: the sequence up to this step"
    )
    parser.add_argument("--png", type=png_path, metavar="FILE", help="draw cost and level too")
    parser.add_argument("--detail", action="store_true", help="the plans behind the sequence, too")


def run(options: argparse.Namespace) -> int:
    """Decide and print."""
    if options.step is not None and options.output is None:
        raise EnvelopeError("--step goes with --output: it says up to which step a plan is written")
    job = read_job(options.job)
    if stops_for_questions(job, as_json=options.json):
        return 1
    known = [receiver.id for receiver in job.receivers]
    if options.receiver is not None and options.receiver not in known:
        raise EnvelopeError(
            f"no receiver {options.receiver!r} in this job: {nearest(options.receiver, known)}"
        )
    keep = _kept(job, options.keep)
    target = _Target() if options.target is None else _target(job, options.target)
    weights = _weights(job, options.weight)
    if weights and options.receiver is not None:
        raise EnvelopeError("--weight: this does not go with --receiver, which leaves others out")
    budget = None if options.budget is None else _budget(job, options.budget)
    casts = cast(job, path=Path(options.job))
    progress = Progress("levels over the floor")
    try:
        decision = decide(
            job,
            casts=casts,
            receiver=options.receiver,
            keep=keep,
            move_bed=options.bed,
            progress=progress,
            leave_sources=options.leave_sources,
            sources=target.sources,
            weights=weights,
            target_w_m2=target.level_w_m2,
            target_db=target.below_db,
            budget_cents=budget,
        )
    except (NothingOnOfferError, SmallBudgetError) as error:
        raise EnvelopeError(refused_words(job, error)) from None
    progress.done()
    kept = None if options.output is None else _kept_plan(job, decision, options)
    if options.png is not None:
        from viewer.pictures.decision_chart import draw_decision

        draw_decision(job, decision, path=options.png)
    if options.json:
        print(json.dumps(decision_json(job, decision), indent=2, ensure_ascii=False))
    elif options.csv:
        print(_csv(job, decision), end="")
    else:
        decide_tables.print_decision(job, decision, detail=options.detail)
        if kept is not None:
            print(f"{options.output}: the job with the plan {kept}")
    return 0


def _kept_plan(job: Job, decision: Decision, options: argparse.Namespace) -> str:
    """Write the job with the sequence as one of its plans; answers the plan's id."""
    steps = decision.steps
    number = decision.stop_after if options.step is None else options.step
    if not 1 <= number <= len(steps):
        what = f"the sequence has steps 1 to {len(steps)}" if steps else "there is no step"
        why = "none of them is worth doing" if options.step is None else what
        raise EnvelopeError(f"--output: no plan is written: {why}")
    name, taken = f"to-step-{number}", {plan.id for plan in job.plans}
    while name in taken:
        name += "-again"
    entry = plan_entry(
        job, steps[number - 1].plan, name=name, title=steps_title(job, steps[:number])
    )
    text = Path(options.job).read_text(encoding="utf-8")
    text = add_row(text=text, table="plan", entry=entry)
    write_atomically(options.output, text.encode())
    return name


@dataclass(frozen=True, slots=True, kw_only=True)
class _Target:
    """A level or what it is to fall by, of all sources or of some."""

    sources: tuple[str, ...] = ()
    level_w_m2: float | None = None
    below_db: float | None = None


def _target(job: Job, text: str) -> _Target:
    name, colon, amount = text.rpartition(":")
    sources = _sources(job, name.strip()) if colon else ()
    try:
        if amount.strip().lower().endswith("db"):
            below_db = parse_loss(amount)
            if below_db <= 0.0:
                raise EnvelopeError(
                    f"--target: {amount.strip()} is no reduction: allowed is > 0 dB"
                )
            return _Target(sources=sources, below_db=below_db)
        return _Target(sources=sources, level_w_m2=float(parse_power_density(amount)))
    except UnitError as error:
        raise EnvelopeError(f"--target: {error}") from None


def _sources(job: Job, name: str) -> tuple[str, ...]:
    """Sources of a name: one, or all bands of a device."""
    found = tuple(
        each.id
        for each in job.sources
        if name in (each.id, each.device, source_title(job, each.id))
    )
    if not found:
        known = sorted({each.device or each.id for each in job.sources})
        raise EnvelopeError(f"--target: no source {name!r} in this job: {nearest(name, known)}")
    return found


def _weights(job: Job, texts: Sequence[str]) -> dict[str, float] | None:
    known = [receiver.id for receiver in job.receivers]
    found: dict[str, float] = {}
    for text in texts:
        name, _, number = text.partition("=")
        if name not in known:
            raise EnvelopeError(
                f"--weight: no receiver {name!r} in this job: {nearest(name, known)}"
            )
        try:
            found[name] = float(number)
        except ValueError:
            found[name] = math.nan
        if not 0.0 <= found[name] < math.inf:
            raise EnvelopeError(
                f"--weight: {text!r}: a number of 0 or more is wanted, such as {name}=2"
            )
    if found and not any(found.values()):
        raise EnvelopeError("--weight: all of them are 0, so that no receiver counts")
    return found or None


def _budget(job: Job, text: str) -> int:
    try:
        amount = parse_amount(text)
    except UnitError as error:
        raise EnvelopeError(f"--budget: {error}") from None
    if job.costs.currency is None:
        raise EnvelopeError(
            "--budget: the job states no price, so that nothing can be bought for it: add price "
            "to its treatments, or [[product]] tables"
        )
    if amount.currency != job.costs.currency:
        raise EnvelopeError(
            f"--budget: this is in {amount.currency}, and the job counts in {job.costs.currency}"
        )
    return int(amount.amount * 100)


def _kept(job: Job, selectors: Sequence[str]) -> set[str]:
    found: set[str] = set()
    for selector in selectors:
        try:
            found |= set(select(job.building, selector))
        except SelectionError as error:
            raise EnvelopeError(f"--keep {selector}: {error}") from None
    return found


def decision_json(job: Job, decision: Decision) -> dict[str, Any]:
    """A decision as plain data. Keys are a contract: more may be added, none change."""
    front = front_taken_off(job, decision)
    return {
        "format": 1,
        "project": job.name,
        "receiver": decision.receiver,
        "weights": dict(decision.shares) or None,
        "sources_counted": list(decision.sources) or None,
        "target_w_m2": decision.target_w_m2,
        "priced": decision.candidates.priced,
        "currency": job.costs.currency if decision.candidates.priced else None,
        "today_w_m2": dict(decision.levels_w_m2),
        "sources_today_w_m2": dict(decision.by_source),
        "free": [
            {
                "source": each.source,
                "space": each.change.space,
                "do": each.change.do,
                "to_m": None if each.change.position_m is None else each.change.position_m.tolist(),
                "cost": float(each.change.cost),
                "agreed_by": each.change.agreed_by,
                "counted_on": each.counted,
                "why": each.change.reason or None,
                "level_without_w_m2": each.level_w_m2,
                "below_today_db": each.gain.below_db if each.level_w_m2 > 0.0 else None,
                "below_today_low_db": _finite(each.gain.low_db),
                "below_today_high_db": _finite(each.gain.high_db),
            }
            for each in decision.free
        ],
        "bed": places_json(decision.bed) or None,
        "start_w_m2": decision.start_w_m2,
        "free_left_undone_w_m2": decision.undone_w_m2,
        "steps": [
            {
                "step": number,
                "changes": [
                    {
                        "unit": change.unit,
                        "with": change.label,
                        "instead_of": change.was or None,
                        "panels": list(change.panels),
                        "area_m2": change.area_m2,
                        "source": None if change.source is None else change.source.device,
                    }
                    for change in step.changes
                ],
                "sources": [
                    {
                        "device": done.device,
                        "do": done.do,
                        "power": done.factor,
                        "to_m": None if done.position_m is None else done.position_m.tolist(),
                    }
                    for done in step.sources
                ],
                "cost": step.cents / 100.0 if decision.candidates.priced else None,
                "cost_so_far": step.total_cents / 100.0 if decision.candidates.priced else None,
                "levels_w_m2": dict(step.levels_w_m2),
                "gain_at": step.gain_at,
                "gain_db": step.gain.below_db,
                "gain_low_db": step.gain.low_db,
                "gain_high_db": step.gain.high_db,
                "odds_of_gain": step.gain.odds,
                "odds_of_target": step.target_odds,
                "rival": None
                if step.rival is None
                else {
                    "changes": [
                        {"unit": each.unit, "with": each.label} for each in step.rival.changes
                    ],
                    "level_w_m2": step.rival.level_w_m2,
                    "odds_step_is_better": step.rival.odds,
                },
                "below_today_db": step.so_far.below_db,
                "below_today_low_db": step.so_far.low_db,
                "below_today_high_db": step.so_far.high_db,
                "worth_doing": number <= decision.stop_after,
                "treatments": {
                    panel: list(names) for panel, names in sorted(step.plan.treatments.items())
                },
            }
            for number, step in enumerate(decision.steps, 1)
        ],
        "stop_after": decision.stop_after,
        "stops": list(decision.stops),
        "why_stop": decision.why_stop,
        "sources_left_w_m2": dict(decision.left),
        "worse_alone": [
            {
                "unit": each.unit,
                "with": each.label,
                "level_w_m2": each.level_w_m2,
                "above_today_db": each.above_db,
            }
            for each in decision.worse
        ],
        "now_or_never": [{"unit": unit, "step": number} for unit, number in decision.now_or_never],
        "frames_left_open": [{"panel": panel, "share": share} for panel, share in decision.frames],
        "left_as_they_are": list(decision.candidates.kept),
        "front": {
            "proved": front.finished and front.slack == 0.0,
            "within": front.slack,
            "plans": [
                {"cost": int(cents) / 100.0, "level_w_m2": float(level)}
                for cents, level in zip(front.cents, front.levels_w_m2, strict=True)
            ],
        },
        "rests_on": [
            {
                "what": each.words,
                "moves_db": each.moves_db,
                "taken": each.taken,
                "settle": each.settle,
                "stated": not each.is_unknown,
            }
            for each in decision.rests
        ],
        "measure_first": [
            {
                "what": each.words,
                "settle": each.settle,
                "step": each.steps[1],
                "steps": list(each.steps),
                "odds_not_worth_doing": each.odds,
                "spares_on_average": each.cents / 100.0,
            }
            for each in decision.spared
        ],
        "unpriced": list(decision.candidates.unpriced),
    }


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _csv(job: Job, decision: Decision) -> str:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(
        ["step", "unit", "with", "area_m2", "cost_so_far", "level_w_m2", "gain_db", "gain_low_db",
         "gain_high_db", "odds_of_gain", "worth_doing"]
    )  # fmt: skip
    for row in decision_json(job, decision)["steps"]:
        for change in row["changes"]:
            writer.writerow(
                [row["step"], change["unit"], change["with"], f"{change['area_m2']:.3f}",
                 "" if row["cost_so_far"] is None else f"{row['cost_so_far']:.2f}",
                 max(row["levels_w_m2"].values()), row["gain_db"], row["gain_low_db"],
                 row["gain_high_db"], row["odds_of_gain"], row["worth_doing"]]
            )  # fmt: skip
    return text.getvalue()
