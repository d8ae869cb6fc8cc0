"""The process that draws: drawings come in by a pipe, pixels go out by another."""

from __future__ import annotations

import os
import pickle
import signal
import sys


def serve() -> None:
    """Say whether anything can be drawn here, then draw what comes until nothing more does."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)  # whoever asked says why it stops
    answers = os.fdopen(os.dup(sys.stdout.fileno()), "wb")
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())  # what drivers print
    from viewer.pictures.rendering import Renderer

    renderer = Renderer()
    works = renderer.works()
    pickle.dump(works, answers)
    answers.flush()
    while works:
        try:
            drawing = pickle.load(sys.stdin.buffer)
        except EOFError:
            return
        pixels = renderer.draw(drawing)
        pickle.dump(pixels, answers, protocol=pickle.HIGHEST_PROTOCOL)
        answers.flush()
