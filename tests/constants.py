"""Constants that rest on common practice or on memory, gathered from the code into one table.

python tests/constants.py --write DEVELOPERS.md
"""

from __future__ import annotations

import ast
import sys
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parent.parent
MARKS = ("common practice", ", no source", "; no source", "from memory")
BEGIN, END = "<!-- constants:begin -->", "<!-- constants:end -->"
MAX_VALUE = 60  # characters of a value that are shown


@dataclass(frozen=True, slots=True, kw_only=True)
class Constant:
    """A named value and what the code says of it."""

    module: str
    name: str
    value: str
    said: str


def _above(lines: list[str], node: ast.stmt) -> str:
    """The comment on the lines right above a statement."""
    found: list[str] = []
    above = node.lineno - 2
    while above >= 0 and lines[above].strip().startswith("#"):
        found.insert(0, lines[above].strip().lstrip("# "))
        above -= 1
    return " ".join(found)


def _beside(lines: list[str], node: ast.stmt) -> str:
    """Comments on the lines of a statement."""
    parts = [line.partition("  # ")[2] for line in lines[node.lineno - 1 : node.end_lineno]]
    return " ".join(part.strip() for part in parts if part)


def _assigned(node: ast.stmt) -> tuple[str, ast.expr] | None:
    if isinstance(node, ast.Assign) and len(node.targets) == 1:
        target, value = node.targets[0], node.value
    elif isinstance(node, ast.AnnAssign) and node.value is not None:
        target, value = node.target, node.value
    else:
        return None
    return (target.id, value) if isinstance(target, ast.Name) else None


def constants() -> list[Constant]:
    """Every marked constant, module by module."""
    found = []
    for path in sorted([*ROOT.glob("envelope/**/*.py"), *ROOT.glob("viewer/**/*.py")]):
        text = path.read_text("utf-8")
        if not any(mark in text for mark in MARKS):
            continue
        lines = text.split("\n")
        tree = ast.parse(text)
        bodies = [tree.body]
        bodies += [node.body for node in tree.body if isinstance(node, ast.ClassDef)]
        for body in bodies:
            group, group_end = "", -1  # what was said above a run of assignments
            for node, after in zip(body, [*body[1:], None], strict=True):
                assigned = _assigned(node)
                if assigned is None:
                    continue
                above = _above(lines, node)
                if above or node.lineno != group_end + 1:
                    group = above
                group_end = node.end_lineno or node.lineno
                said = " ".join(part for part in (group, _beside(lines, node)) if part)
                if isinstance(after, ast.Expr) and isinstance(after.value, ast.Constant):
                    said += " " + " ".join(str(after.value.value).split())
                if any(mark in said.lower() for mark in MARKS):
                    found.append(
                        Constant(
                            module=path.relative_to(ROOT).as_posix(),
                            name=assigned[0],
                            value=ast.unparse(assigned[1]),
                            said=said.strip(),
                        )
                    )
    return found


def table() -> str:
    """The table as Markdown."""
    rows = ["| constant | value | what it is | where |", "| --- | --- | --- | --- |"]
    for each in constants():
        value = each.value if len(each.value) <= MAX_VALUE else "a table"
        cells = (f"`{each.name}`", f"`{value}`", each.said, f"`{each.module}`")
        rows.append("| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |")
    return "\n".join(rows)


def written(text: str) -> str:
    """A document with the table between its marks."""
    head, begin, rest = text.partition(BEGIN)
    _, end, tail = rest.partition(END)
    if not begin or not end:
        raise ValueError(f"the document has no {BEGIN} and {END}")
    return f"{head}{BEGIN}\n{table()}\n{END}{tail}"


if __name__ == "__main__":
    target = Path(sys.argv[sys.argv.index("--write") + 1])
    target.write_text(written(target.read_text("utf-8")), encoding="utf-8")
