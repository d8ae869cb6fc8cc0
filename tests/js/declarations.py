"""TypeScript declarations of the messages and of the scene, made from their Python records.

python tests/js/declarations.py        # writes them
"""

from __future__ import annotations

import dataclasses
import sys
import types
import typing
from collections.abc import Iterable
from pathlib import Path
from typing import Any, Literal, Union, get_args, get_origin

from typing_extensions import is_typeddict

from viewer.app import protocol
from viewer.app.protocol import drawing, file, job, model, out, start, steps, whole, wiring
from viewer.scene import json_types

VIEWER = Path(__file__).parent.parent.parent / "viewer"
SCENE_FILE = VIEWER / "web" / "scene.d.ts"
PROTOCOL_FILE = VIEWER / "app" / "page" / "protocol.d.ts"
HEAD = "// Generated from {module} by tests/js/declarations.py; not to be edited.\n"
PLAIN = {str: "string", int: "number", float: "number", bool: "boolean", type(None): "null"}


def written(annotation: Any) -> str:
    """An annotation as a TypeScript type."""
    if annotation in PLAIN:
        return PLAIN[annotation]
    if annotation is Any:
        return "unknown"
    origin, inner = get_origin(annotation), get_args(annotation)
    if origin is typing.Annotated:
        return written(inner[0])
    if origin is Literal:
        return " | ".join(f'"{each}"' if isinstance(each, str) else str(each) for each in inner)
    if origin in (Union, types.UnionType):
        return " | ".join(dict.fromkeys(written(each) for each in inner))
    if origin is list or (origin is tuple and inner[-1] is Ellipsis):
        return f"Array<{written(inner[0])}>"
    if origin is tuple:
        return f"[{', '.join(written(each) for each in inner)}]"
    if origin is dict:
        return f"Record<{written(inner[0])}, {written(inner[1])}>"
    assert is_typeddict(annotation) or dataclasses.is_dataclass(annotation), annotation
    return str(annotation.__name__)


def interface(record: Any) -> str:
    """A record as a TypeScript interface; what has a default, but for its tag, may be left out."""
    hints = typing.get_type_hints(record, include_extras=True)
    free = set()
    if dataclasses.is_dataclass(record):
        free = {
            field.name
            for field in dataclasses.fields(record)
            if field.name != "do"
            and not (field.default is field.default_factory is dataclasses.MISSING)
        }
    lines = [f"  {name}{'?' if name in free else ''}: {written(hints[name])};" for name in hints]
    said = (record.__doc__ or "").strip().splitlines()[0]
    return f"/** {said} */\nexport interface {record.__name__} {{\n" + "\n".join(lines) + "\n}\n"


def records_of(module: types.ModuleType) -> list[Any]:
    """Records that a module defines, in its order."""
    return [
        each
        for each in vars(module).values()
        if getattr(each, "__module__", None) == module.__name__
        and (is_typeddict(each) or dataclasses.is_dataclass(each))
    ]


def union(name: str, records: Iterable[Any]) -> str:
    return f"export type {name} = " + " | ".join(each.__name__ for each in records) + ";\n"


def scene_declarations() -> str:
    """`viewer/web/scene.d.ts`."""
    parts = [interface(each) for each in records_of(json_types)]
    return HEAD.format(module="viewer/scene/json_types.py") + "\n" + "\n".join(parts)


def protocol_declarations() -> str:
    """`viewer/app/page/protocol.d.ts`."""
    parts = (drawing, job, file, model, out, start, steps, whole, wiring)
    records = [record for part in parts for record in records_of(part)]
    named = {each.__name__ for each in records_of(json_types)}
    body = "\n".join(interface(each) for each in records)
    body += "\n" + union("Asked", protocol.ASKS) + union("Told", get_args(protocol.Told))
    used = sorted(each for each in named if f"{each}" in body)
    imported = f'import type {{ {", ".join(used)} }} from "./scene";\n'
    return HEAD.format(module="viewer/app/protocol") + "\n" + imported + "\n" + body


if __name__ == "__main__":
    SCENE_FILE.write_text(scene_declarations(), encoding="utf-8")
    PROTOCOL_FILE.write_text(protocol_declarations(), encoding="utf-8")
    sys.stdout.write(f"wrote {SCENE_FILE.name} and {PROTOCOL_FILE.name}\n")
