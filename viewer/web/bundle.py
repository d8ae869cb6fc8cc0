"""The scripts of a page: three.js out of the installed NiceGUI wheel, and our own modules.

NiceGUI is not imported, only looked up: its wheel carries three.js and its orbit controls as one
ES module. The name of that module is documented, the file's place is not, so what is found is
checked before it is put into a page.
"""

from __future__ import annotations

import base64
import hashlib
import re
from dataclasses import dataclass
from functools import cache
from importlib import metadata, resources
from pathlib import Path

from envelope.errors import EnvelopeError, MissingExtraError

_ENGINE = "nicegui/elements/scene/dist/index.js"
_NAMES = ("THREE", "OrbitControls")
# a script element ends, or turns into something else, at these
_UNSAFE = ("</script", "<!--", "<script")
_IMPORT = re.compile(r'^import\s+(?:\{[^}]*\}\s+from\s+)?"\./([\w-]+\.js)";\n', re.MULTILINE)
_EXPORT = re.compile(r"^export\s+(?=(?:function|const|class)\b)", re.MULTILINE)
_EXPORTED = re.compile(r"^export\s+(?:function|const|class)\s+(\w+)", re.MULTILINE)
_MIT = """\
Permission is hereby granted, free of charge, to any person obtaining a copy
of this software and associated documentation files (the "Software"), to deal
in the Software without restriction, including without limitation the rights
to use, copy, modify, merge, publish, distribute, sublicense, and/or sell
copies of the Software, and to permit persons to whom the Software is
furnished to do so, subject to the following conditions:

The above copyright notice and this permission notice shall be included in
all copies or substantial portions of the Software.

THE SOFTWARE IS PROVIDED "AS IS", WITHOUT WARRANTY OF ANY KIND, EXPRESS OR
IMPLIED, INCLUDING BUT NOT LIMITED TO THE WARRANTIES OF MERCHANTABILITY,
FITNESS FOR A PARTICULAR PURPOSE AND NONINFRINGEMENT. IN NO EVENT SHALL THE
AUTHORS OR COPYRIGHT HOLDERS BE LIABLE FOR ANY CLAIM, DAMAGES OR OTHER
LIABILITY, WHETHER IN AN ACTION OF CONTRACT, TORT OR OTHERWISE, ARISING FROM,
OUT OF OR IN CONNECTION WITH THE SOFTWARE OR THE USE OR OTHER DEALINGS IN
THE SOFTWARE."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Engine:
    """three.js with its orbit controls, as the text of one ES module that imports nothing."""

    script: str
    version: str  # of the wheel
    licences: tuple[tuple[str, str], ...]  # title and text of what is in it


@cache
def engine() -> Engine:
    """three.js out of the installed NiceGUI wheel.

    Raises
    ------
    MissingExtraError
        Where NiceGUI is not installed.
    EnvelopeError
        Where its wheel does not carry three.js as expected.
    """
    try:
        wheel = metadata.distribution("nicegui")
    except metadata.PackageNotFoundError as error:
        raise MissingExtraError(library="NiceGUI", extra="viewer") from error
    place = Path(str(wheel.locate_file(_ENGINE)))
    if not place.is_file():
        raise EnvelopeError(
            f"NiceGUI {wheel.version} does not bring three.js at {_ENGINE}; "
            "allowed: 3.16 or a later 3.x"
        )
    script = place.read_text("utf-8")
    check_engine(script, origin=f"NiceGUI {wheel.version}")
    return Engine(script=script, version=wheel.version, licences=_licences(wheel, script))


def _licences(wheel: metadata.Distribution, script: str) -> tuple[tuple[str, str], ...]:
    """Licences of the wheel and of the libraries that its bundle is made of, all MIT."""
    file = next((each for each in wheel.files or () if each.name.upper() == "LICENSE"), None)
    if file is None:
        raise EnvelopeError(f"NiceGUI {wheel.version} does not bring its licence")
    found = re.search(r"Copyright [\d-]+ Three\.js Authors", script)
    three = found.group(0) if found else "Copyright three.js authors"
    tween = (
        "Copyright (c) 2010-2012 Tween.js authors.\n"
        "Easing equations Copyright (c) 2001 Robert Penner"
    )
    return (
        ("three.js", f"MIT License\n\n{three}\n\n{_MIT}"),
        ("tween.js", f"MIT License\n\n{tween}\n\n{_MIT}"),
        (f"NiceGUI {wheel.version}, which carries them", file.read_text().strip()),
    )


def check_engine(script: str, *, origin: str) -> None:
    """Refuse a module that lacks what the viewer needs or that cannot stand in a page."""
    exported = script[script.rfind("export{") :] if "export{" in script else ""
    names = {part.split(" as ")[-1].strip() for part in re.split(r"[{},;]", exported)}
    missing = [name for name in _NAMES if name not in names]
    if missing:
        raise EnvelopeError(f"the three.js of {origin} does not export {' and '.join(missing)}")
    if re.search(r"(?:^|[;}\s])import[\s{*\"']", script):
        raise EnvelopeError(f"the three.js of {origin} imports other files")
    check_inline(script, what=f"the three.js of {origin}")


def inline_hash(inline: str) -> str:
    """Hash of a script or a style that stands in the page, for its policy."""
    digest = hashlib.sha256(inline.encode()).digest()
    return f"'sha256-{base64.b64encode(digest).decode()}'"


def check_inline(script: str, *, what: str) -> None:
    """Refuse a text that would end the script element in which it stands."""
    lower = script.lower()
    for unsafe in _UNSAFE:
        if unsafe in lower:
            raise EnvelopeError(f"{what} holds {unsafe!r} and cannot be put into a page")


_FOLDERS = (
    "web",
    "handout",
    "review",
    "app/page",
)  # of viewer, where our own scripts and styles stand


@cache
def own_text(name: str) -> str:
    """The text of one of our scripts or style sheets."""
    for folder in _FOLDERS:
        file = resources.files("viewer").joinpath(folder, name)
        if file.is_file():
            return file.read_text("utf-8")
    raise FileNotFoundError(name)


def own_module(name: str) -> str:
    """One of our ES modules with everything that it imports, as one module that imports nothing.

    Ours import from one another by ``import { … } from "./name.js";``, never rename, and export
    under names that no two share. Each becomes a function that returns what it exports, so that
    names that it keeps to itself cannot meet those of another.
    """
    parts: list[str] = []
    exported: dict[str, str] = {}
    _gather(name, parts, exported)
    own = [each for each, module in exported.items() if module == name]
    if own:
        parts.append(f"export {{ {', '.join(own)} }};")
    joined = "\n".join(parts)
    check_inline(joined, what=name)
    return joined


def _gather(name: str, parts: list[str], exported: dict[str, str]) -> None:
    text = own_text(name)
    for imported in _IMPORT.findall(text):
        if imported not in exported.values():
            _gather(imported, parts, exported)
    names = _EXPORTED.findall(text)
    for each in names:
        if each in exported:
            raise EnvelopeError(f"{name} and {exported[each]} both export {each!r}")
        exported[each] = name
    body = _EXPORT.sub("", _IMPORT.sub("", text))
    given = ", ".join(names)
    head = f"const {{ {given} }} = " if names else ""
    parts.append(f"{head}(() => {{\n{body}return {{ {given} }};\n}})();")
