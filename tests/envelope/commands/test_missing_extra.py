"""Pages and pictures without the libraries that draw them: a line says what to install."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[3]
WITHOUT = """
import sys
for name in ("jinja2", "markupsafe", "pyvista", "vtk", "matplotlib", "PIL", "nicegui"):
    sys.modules[name] = None
from envelope.cli import main
sys.exit(main(sys.argv[1:]))
"""


@pytest.mark.parametrize("command", ["handout", "report", "handover", "offer", "picture"])
def test_what_is_to_be_installed_is_said_in_a_line(command: str, tmp_path: Path) -> None:
    page = tmp_path / ("page.png" if command == "picture" else "page.html")
    ended = subprocess.run(
        [
            sys.executable, "-c", WITHOUT,
            command, str(ROOT / "models" / "bedroom.toml"), "-o", str(page),
        ],
        env={**os.environ, "PYTHONPATH": str(ROOT), "COLUMNS": "200"},
        capture_output=True,
        text=True,
        check=False,
    )  # fmt: skip
    assert ended.returncode == 2
    assert 'python -m pip install "gapcast[viewer]"' in ended.stderr
    assert "Traceback" not in ended.stderr
    assert not page.exists()
