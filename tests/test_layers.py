"""What may import what: read from the imports, so that one direction of data flow stays one."""

from __future__ import annotations

import ast
import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent

# Layer of each package or module, and what else of the project it may import.
LAYERS: dict[str, float] = {
    "envelope.errors": 0,
    "envelope.units": 1,
    "envelope.trade_units": 1,
    "envelope.electrical_units": 1,
    "envelope.physics": 1,
    "envelope.geometry": 1,
    "envelope.pricing": 1,
    "envelope.files": 1,
    "envelope.kept": 2,
    "envelope.building": 2,
    "envelope.rays": 3,
    "envelope.exposure": 4,
    "envelope.plans": 5.5,  # counts what steps cost by the take-off
    "envelope.works": 5,
    "envelope.survey": 5,
    "envelope.wiring": 5,
    "envelope.text": 6,
    "envelope.wiring_text": 7,
    "envelope.exchange": 7,
    "envelope.project": 8,
    "envelope.api": 9,
    "envelope.cast_cache": 9,
    "envelope.batch": 9,
    "envelope.commands": 9,
    "envelope.cli": 9,
    "viewer": 9,
}
# What the project file and model files are read without: nothing is cast while a file is read.
NEVER = {
    "envelope.project": (
        "envelope.rays",
        "envelope.exposure",
        "envelope.survey",
        "envelope.plans",
    ),
    "envelope.exchange": ("envelope.rays", "envelope.exposure", "envelope.survey"),
}
# Packages that import nothing of the project but themselves, and these libraries.
ALONE = {"envelope.rays.kernel": {"numpy", "numba"}}
# Layers 1 to 5 never parse a unit, open a file, print or plot.
CLEAN = {name for name, layer in LAYERS.items() if layer < 6} - {
    "envelope.units",
    "envelope.trade_units",
    "envelope.electrical_units",
    "envelope.files",
    "envelope.kept",
}
FORBIDDEN_IN_CLEAN = {
    "envelope.text",
    "envelope.units",
    "envelope.trade_units",
    "envelope.electrical_units",
    "envelope.files",
    "pathlib",
    "tomllib",
    "tomlkit",
    "pydantic",
    "rich",
    "argparse",
    "matplotlib",
    "pyvista",
    "nicegui",
    "trimesh",
}
# Inside of viewer: what each package may import of the others.
VIEWER: dict[str, set[str]] = {
    "scene": set(),
    "web": {"scene"},
    "pictures": {"scene"},
    "handout": {"scene", "web"},
    "app": {"scene", "web"},
    "report": {"scene"},
    "review": {"web"},
}
# Each third-party library that shows things enters in named places only.
ONLY_IN = {
    "pyvista": {"viewer/pictures"},
    "vtkmodules": {"viewer/pictures"},
    "nicegui": {"viewer/app/server.py"},
    "jinja2": {"viewer/handout", "viewer/report", "viewer/review"},
    "tomlkit": set(),  # tests write with it, to hold our own writer against it
    "pydantic": {"envelope/project", "viewer/app/protocol"},
    "rich": {"envelope/commands"},
    "numba": {"envelope/rays"},
    "ifcopenshell": {"envelope/exchange"},
}


def _modules() -> list[Path]:
    return sorted([*ROOT.glob("envelope/**/*.py"), *ROOT.glob("viewer/**/*.py")])


def _name(path: Path) -> str:
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def _package(module: str) -> str | None:
    for length in (2, 1):
        name = ".".join(module.split(".")[:length])
        if name in LAYERS:
            return name
    return None


def _imports(path: Path) -> list[tuple[str, int]]:
    found = []
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            found += [(alias.name, node.lineno) for alias in node.names]
        elif isinstance(node, ast.ImportFrom) and node.module is not None:
            assert node.level == 0, f"{path}:{node.lineno}: relative import"
            found.append((node.module, node.lineno))
            found += [(f"{node.module}.{alias.name}", node.lineno) for alias in node.names]
    return found


@pytest.mark.parametrize("path", _modules(), ids=_name)
def test_imports_go_downward(path: Path) -> None:
    own = _package(_name(path))
    if own is None:
        assert _name(path) == "envelope"
        return
    for module, line in _imports(path):
        other = _package(module)
        if other is None or other == own:
            continue
        where = f"{_name(path)}:{line} imports {module}"
        if other == "viewer":
            assert own in ("envelope.commands", "envelope.cli"), where
        else:
            assert LAYERS[other] < LAYERS[own] or LAYERS[own] == 9, where
            assert other not in NEVER.get(own, ()), where


@pytest.mark.parametrize("package", sorted(ALONE))
def test_compiled_code_stands_alone(package: str) -> None:
    inside = [path for path in _modules() if f"{_name(path)}.".startswith(f"{package}.")]
    assert inside
    allowed = ALONE[package] | sys.stdlib_module_names
    for path in inside:
        for module, line in _imports(path):
            own = f"{module}.".startswith(f"{package}.")
            known = own or module.split(".")[0] in allowed
            assert known, f"{_name(path)}:{line} imports {module}"


def test_no_two_modules_import_each_other() -> None:
    """Not in a circle of several either, nor inside functions, nor for types alone."""
    names = {_name(path): path for path in _modules()}
    imported = {
        name: {module for module, _ in _imports(path) if module in names and module != name}
        for name, path in names.items()
    }
    # of "from package import name" the package itself counts only where the name is no module
    for name, path in names.items():
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if (
                isinstance(node, ast.ImportFrom)
                and node.module in imported[name]
                and all(f"{node.module}.{alias.name}" in names for alias in node.names)
            ):
                imported[name].discard(node.module)
    while loose := [  # imports nothing that is left, or is imported by nothing that is left
        name
        for name, others in imported.items()
        if not others or not any(name in them for them in imported.values())
    ]:
        for name in loose:
            del imported[name]
        for others in imported.values():
            others.difference_update(loose)
    assert not imported, f"modules that import each other: {imported}"


@pytest.mark.parametrize("path", sorted(ROOT.glob("viewer/*/**/*.py")), ids=_name)
def test_inside_of_viewer_everything_is_built_on_the_scene(path: Path) -> None:
    own = _name(path).split(".")[1]
    for module, line in _imports(path):
        if module.startswith("viewer."):
            other = module.split(".")[1]
            allowed = other == own or other in VIEWER[own]
            assert allowed, f"{_name(path)}:{line} imports {module}"


@pytest.mark.parametrize("path", _modules(), ids=_name)
def test_computing_layers_stay_clean(path: Path) -> None:
    own = _package(_name(path))
    if own not in CLEAN:
        return
    for module, line in _imports(path):
        top = module.split(".")[0]
        assert module not in FORBIDDEN_IN_CLEAN, f"{_name(path)}:{line} imports {module}"
        assert top not in FORBIDDEN_IN_CLEAN, f"{_name(path)}:{line} imports {module}"
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            assert node.func.id not in {"open", "print"}, f"{_name(path)}:{node.lineno}"


@pytest.mark.parametrize("library", sorted(ONLY_IN))
def test_each_library_enters_in_one_place(library: str) -> None:
    for path in _modules():
        relative = path.relative_to(ROOT).as_posix()
        if any(relative == place or relative.startswith(place + "/") for place in ONLY_IN[library]):
            continue
        names = {module.split(".")[0] for module, _ in _imports(path)}
        assert library not in names, f"{relative} imports {library}"


def test_saying_hello_imports_nothing_heavy() -> None:
    code = (
        "import sys, envelope.cli\n"
        "envelope.cli._parser().format_help()\n"
        "heavy = {'numba', 'numpy', 'scipy', 'shapely', 'pydantic', 'vtk', 'rich', 'tomlkit'}\n"
        "print(sorted(heavy & set(sys.modules)))\n"
    )
    answer = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT
    )
    assert answer.stdout.strip() == "[]"


@pytest.mark.parametrize(
    ("arguments", "absent"),
    [
        (["check", "house.toml"], {"numba", "scipy"}),
        # numba loads the top of SciPy, which is quick
        (["analyze", "house.toml"], {"scipy.interpolate", "scipy.optimize"}),
    ],
)
def test_commands_load_what_they_use_alone(arguments: list[str], absent: set[str]) -> None:
    code = (
        "import sys, envelope.cli\n"
        f"sys.argv = ['gapcast', *{arguments}]\n"
        "envelope.cli.main()\n"
        f"print(sorted(set({sorted(absent)}) & set(sys.modules)), file=sys.stderr)\n"
    )
    answer = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        check=True,
        cwd=ROOT / "models",
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )
    assert answer.stderr.strip().splitlines()[-1] == "[]"


def test_top_level_holds_what_the_layout_says() -> None:
    allowed = {
        "README.md",
        "DEVELOPERS.md",
        "pyproject.toml",
        "envelope",
        "viewer",
        "tests",
        "models",
    }
    listed = subprocess.run(
        ["git", "ls-files"], capture_output=True, text=True, check=True, cwd=ROOT
    ).stdout.split("\n")
    top = {name.split("/")[0] for name in listed if name}
    assert {name for name in top if not name.startswith(".")} <= allowed
