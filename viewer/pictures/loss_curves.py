"""Loss of a stack against frequency, as a picture (matplotlib)."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np

from envelope.errors import MissingExtraError
from envelope.exposure.stack_loss import StackLoss
from envelope.files import write_atomically

# One hue from dark to light for the angles: order is carried by lightness and by the line's dash.
INKS = ("#0b2545", "#2f4b7c", "#5c6f9c", "#8f9bb8", "#b9bfcc")
DASHES = ("-", (0, (6, 2)), (0, (3, 2)), (0, (1, 1.5)), (0, (5, 2, 1, 2)))


def draw_loss(found: StackLoss, *, title: str, path: Path) -> None:
    """Draw the mean of TE and TM for each angle, and the even field, over frequency.

    Raises
    ------
    MissingExtraError
        Without matplotlib.
    EnvelopeError
        Where the file cannot be written.
    """
    try:
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.figure import Figure
        from matplotlib.ticker import FuncFormatter
    except ImportError as error:
        raise MissingExtraError(library="matplotlib", extra="viewer") from error
    figure = Figure(figsize=(8.0, 5.0), dpi=200, facecolor="#f6f4ef", layout="constrained")
    FigureCanvasAgg(figure)
    axes = figure.add_subplot(facecolor="#fbfaf7")
    ghz = found.frequency_hz / 1e9
    passed = (10.0 ** (-found.loss_db / 10.0)).mean(axis=2)
    for column, angle in enumerate(found.angle_deg):
        axes.plot(
            ghz,
            -10.0 * np.log10(passed[:, column]),
            color=INKS[column % len(INKS)],
            linestyle=DASHES[column % len(DASHES)],
            linewidth=1.6,
            label=f"{angle:.0f}°",
        )
    axes.plot(ghz, found.diffuse_loss_db, color="#b45309", linewidth=2.4, label="even field")
    axes.set_xscale("log")
    axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
    axes.xaxis.set_minor_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
    axes.set_xlim(float(ghz[0]), float(ghz[-1]))
    axes.set_ylim(bottom=0.0)
    axes.set_xlabel("frequency, GHz")
    axes.set_ylabel("loss, dB (both polarizations)")
    axes.set_title(title, loc="left", parse_math=False)  # a `$` in a name is a `$`
    axes.grid(color="#dedad0", linewidth=0.6, which="both")
    axes.legend(title="angle from head-on", frameon=False, ncols=2)
    picture = io.BytesIO()
    figure.savefig(picture, format="png")
    write_atomically(path, picture.getvalue())
