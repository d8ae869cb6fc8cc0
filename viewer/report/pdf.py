"""A page as a file: HTML as it is, PDF through a Chromium that is installed."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from pathlib import Path

from envelope.errors import EnvelopeError
from envelope.files import write_atomically

_PROGRAMS = ("chromium", "chromium-browser", "chrome")
_PATIENCE_S = 120
SUFFIXES = (".html", ".htm", ".pdf")


def browser() -> str | None:
    """Path of a Chromium, if one is installed."""
    return next((found for name in _PROGRAMS if (found := shutil.which(name))), None)


def check_name(path: Path) -> None:
    """Refuse a name that is neither a page nor a PDF, or a PDF that nothing can print.

    Raises
    ------
    EnvelopeError
        With what is allowed.
    """
    suffix = path.suffix.lower()
    if suffix not in SUFFIXES:
        raise EnvelopeError(f"{path}: its name must end in .html or .pdf")
    if suffix == ".pdf" and browser() is None:
        raise EnvelopeError(
            f"{path}: a PDF is printed by Chromium, and none is installed: write .html and print "
            "it from a browser"
        )


def write_page(path: Path, page: str) -> None:
    """Write a page as the name of its file says.

    Parameters
    ----------
    path : Path
        Ends in .html, .htm or .pdf.
    page : str
        HTML that needs nothing else.

    Raises
    ------
    EnvelopeError
        Where a PDF is asked for and cannot be printed.
    """
    check_name(path)
    if path.suffix.lower() != ".pdf":
        write_atomically(path, page.encode("utf-8"))
        return
    program = browser()
    assert program is not None
    with tempfile.TemporaryDirectory() as folder:
        source, printed = Path(folder) / "page.html", Path(folder) / "page.pdf"
        source.write_text(page, encoding="utf-8")
        as_root = hasattr(os, "geteuid") and os.geteuid() == 0  # no sandbox for the superuser
        command = [
            program,
            "--headless",
            "--disable-gpu",
            *(("--no-sandbox",) if as_root else ()),
            f"--user-data-dir={folder}/profile",
            "--no-pdf-header-footer",
            f"--print-to-pdf={printed}",
            source.as_uri(),
        ]
        try:
            subprocess.run(command, capture_output=True, timeout=_PATIENCE_S, check=False)
        except (OSError, subprocess.TimeoutExpired) as error:
            raise EnvelopeError(f"{path}: Chromium did not print the page: {error}") from None
        if not printed.is_file():
            raise EnvelopeError(f"{path}: Chromium printed nothing: write .html instead")
        write_atomically(path, printed.read_bytes())
