"""Pages for paper of a job that is already worked out: one plain function writes each file.

Commands and the app call them. A file that ends in .pdf is printed through Chromium. What draws
pages is imported where it is used.
"""

from __future__ import annotations

import argparse
from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from envelope.building.job import Job, Plan
from envelope.errors import EnvelopeError, MissingExtraError
from envelope.works.bonding import bonding_of
from envelope.works.takeoff import TakeOff, take_off
from envelope.works.workorder import WorkOrder, work_order

if TYPE_CHECKING:
    from envelope.exposure.analysis_record import Analysis
    from envelope.plans.decision import Decision
    from viewer.report.render import Paper, Sheet
    from viewer.report.report_page import ReportParts


def add_page(parser: argparse.ArgumentParser, *, required: bool) -> None:
    """Declare the arguments of a command that writes a page for paper."""
    parser.add_argument(
        "-o",
        "--output",
        type=Path,
        required=required,
        metavar="FILE",
        help="page to write: .html, or .pdf where Chromium is installed",
    )
    parser.add_argument(
        "--paper", choices=("a4", "letter"), default="a4", help="paper size (default: a4)"
    )
    parser.add_argument(
        "--practice", type=Path, metavar="FILE", help="TOML file with your [practice]"
    )


def sheet_of(options: argparse.Namespace) -> Sheet:
    """Whose page it is and on which paper; the file's name is looked at before work begins."""
    sheet = make_sheet(paper=options.paper, practice=options.practice)
    from viewer.report.pdf import check_name

    check_name(options.output)
    return sheet


def make_sheet(*, paper: Paper = "a4", practice: Path | None = None) -> Sheet:
    """Paper and letterhead of a page that is made today.

    Raises
    ------
    EnvelopeError
        Where the practice's file cannot be read, or the extra for pages is missing.
    """
    try:
        from viewer.report.practice import Practice, read_practice
        from viewer.report.render import Sheet
    except ModuleNotFoundError as error:
        raise MissingExtraError(library="Jinja2", extra="viewer") from error
    own = Practice() if practice is None else read_practice(practice)
    return Sheet(practice=own, day=date.today(), paper=paper)


def ordered(job: Job, plan: Plan) -> WorkOrder:
    """Take-off, bonding and steps of a plan.

    Raises
    ------
    EnvelopeError
        Where the plan treats nothing.
    RangeError
        Where packages cannot cover what is needed.
    """
    from viewer.report.wording import words_of

    if not plan.treatments and not (job.wiring and job.wiring.plan(plan.id).strips):
        raise EnvelopeError(f"plan {plan.id!r} treats nothing: there is nothing to do")
    return work_order(job, plan, words_of(job))


def ring_shares(job: Job, analysis: Analysis | None, plan: Plan) -> dict[str, float]:
    """Share of the level at the first receiver that comes in by each ring around a box."""
    if analysis is None:
        return {}
    result = next((each for each in analysis.plans if each.plan == plan.id), None)
    if result is None or not result.receivers:
        return {}
    boxes = {panel.id for panel in job.building.panels if panel.kind == "box"}
    rings = {
        panel.id for panel in job.building.panels if panel.kind == "seam" and panel.opening in boxes
    }
    return {leak.panel: leak.share for leak in result.receivers[0].panels if leak.panel in rings}


def write_offer(
    path: Path,
    job: Job,
    analysis: Analysis,
    *,
    plans: Sequence[Plan],
    receiver: str,
    sheet: Sheet,
) -> None:
    """Write the offer that the client signs.

    Parameters
    ----------
    path : Path
        Ends in .html or .pdf.
    job : Job
    analysis : Analysis
        Of today and of the plans, with bands.
    plans : sequence of Plan
        One to three, as options.
    receiver : str
        Id of the receiver whose level is promised.
    sheet : Sheet
    """
    from envelope.works.offer import offer_of
    from viewer.report.offer_page import offer_page
    from viewer.report.pdf import write_page

    write_page(path, offer_page(job, offer_of(job, analysis, plans, receiver), sheet=sheet))


def write_order_list(
    path: Path, job: Job, plan: Plan, *, sheet: Sheet, found: TakeOff | None = None
) -> None:
    """Write the order list of a plan: areas, packages, cuts.

    Parameters
    ----------
    path : Path
        Ends in .html or .pdf.
    job : Job
    plan : Plan
    sheet : Sheet
    found : TakeOff, optional
        Of the plan, where it has been worked out.
    """
    from viewer.report.order_page import order_page
    from viewer.report.pdf import write_page

    write_page(path, order_page(job, plan, found or take_off(job, plan), sheet=sheet))


def write_bonding(
    path: Path, job: Job, plan: Plan, *, sheet: Sheet, analysis: Analysis | None = None
) -> None:
    """Write the bonding plan with its drawings and tests.

    Parameters
    ----------
    path : Path
        Ends in .html or .pdf.
    job : Job
    plan : Plan
    sheet : Sheet
    analysis : Analysis, optional
        Of the plan; the share of each ring is then told.
    """
    from viewer.report.bonding_page import bonding_page
    from viewer.report.pdf import write_page

    page = bonding_page(
        job,
        plan,
        take_off(job, plan),
        bonding_of(job, plan),
        sheet=sheet,
        shares=ring_shares(job, analysis, plan),
    )
    write_page(path, page)


def write_work_order(
    path: Path,
    job: Job,
    plan: Plan,
    *,
    sheet: Sheet,
    order: WorkOrder | None = None,
    trade: str | None = None,
    analysis: Analysis | None = None,
) -> None:
    """Write the work order: the whole at a glance, then a page for each trade.

    Parameters
    ----------
    path : Path
        Ends in .html or .pdf.
    job : Job
    plan : Plan
    sheet : Sheet
    order : WorkOrder, optional
        Of the plan, where it has been worked out.
    trade : str, optional
        Only this trade's page.
    analysis : Analysis, optional
        Of the plan; the share of each ring is then told.
    """
    from viewer.report.pdf import write_page
    from viewer.report.work_order_page import work_order_page

    page = work_order_page(
        job,
        plan,
        order or ordered(job, plan),
        sheet=sheet,
        trade=trade,
        shares=ring_shares(job, analysis, plan),
    )
    write_page(path, page)


def write_hand_over(
    path: Path,
    job: Job,
    plan: Plan,
    *,
    sheet: Sheet,
    order: WorkOrder | None = None,
    analysis: Analysis | None = None,
    receiver: str | None = None,
) -> None:
    """Write the file that stays with the house.

    Parameters
    ----------
    path : Path
        Ends in .html or .pdf.
    job : Job
    plan : Plan
        That was carried out.
    sheet : Sheet
    order : WorkOrder, optional
        Of the plan, where it has been worked out.
    analysis : Analysis, optional
        Of today and of the plan, with bands; the promise then stands beside the readings.
    receiver : str, optional
        Id of the receiver that the promise is about.
    """
    from viewer.report.hand_over_page import hand_over_page
    from viewer.report.pdf import write_page

    page = hand_over_page(
        job,
        plan,
        order or ordered(job, plan),
        sheet=sheet,
        analysis=analysis,
        receiver=receiver,
    )
    write_page(path, page)


def report_parts(
    job: Job,
    analysis: Analysis,
    *,
    plan: Plan,
    receiver: str,
    decision: Decision | None,
    undecided: str = "",
    pictures: Mapping[str, bytes] | None = None,
    source_text: str = "",
) -> ReportParts:
    """Everything that a report needs beside the analysis.

    Parameters
    ----------
    job : Job
    analysis : Analysis
        Of today and of the plans, with bands.
    plan : Plan
        That was chosen.
    receiver : str
        Id of the receiver that the report is about.
    decision : Decision, optional
        What to do first.
    undecided : str
        Why there is no decision.
    pictures : mapping of str to bytes, optional
        PNG by caption.
    source_text : str
        Of the job's file, for the appendix.
    """
    from envelope.commands.wiring_account import wiring_account
    from viewer.report.report_page import ReportParts

    account = wiring_account(job, plan.id, receiver=receiver)
    return ReportParts(
        plan=plan,
        receiver=receiver,
        order=ordered(job, plan),
        decision=decision,
        undecided=undecided,
        pictures=dict(pictures or {}),
        wiring=() if account is None else account.sentences,
        wiring_picture=None if account is None else account.picture,
        source_text=source_text,
        ring_shares=ring_shares(job, analysis, plan),
    )


def write_report(
    path: Path, job: Job, analysis: Analysis, *, parts: ReportParts, sheet: Sheet
) -> None:
    """Write the report of a job.

    Parameters
    ----------
    path : Path
        Ends in .html or .pdf.
    job : Job
    analysis : Analysis
        Of today and of the plans, with bands.
    parts : ReportParts
        From `report_parts`.
    sheet : Sheet
    """
    from viewer.report.pdf import write_page
    from viewer.report.report_page import report_page

    write_page(path, report_page(job, analysis, parts, sheet=sheet))
