"""What the fields of a glTF file may hold: types alone, checked before anything is read from them.

Only fields that geometry, names and materials are read from are listed; all others may hold
anything. Source: the glTF 2.0 specification, property reference.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import Any

Check = Callable[[str, Any], Iterator[str]]


def _wrong(place: str, found: Any, allowed: str) -> str:
    shown = repr(found)
    if len(shown) > 40:
        shown = shown[:37] + "..."
    return f"{place} is {shown}; allowed: {allowed}"


def _is_whole(value: Any) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and 0 <= value < 2**53


def _whole(place: str, value: Any) -> Iterator[str]:
    if not _is_whole(value):
        yield _wrong(place, value, "a whole number from 0 on")


def _text(place: str, value: Any) -> Iterator[str]:
    if not isinstance(value, str):
        yield _wrong(place, value, "text")


def _wholes(place: str, value: Any) -> Iterator[str]:
    if not (isinstance(value, list) and all(map(_is_whole, value))):
        yield _wrong(place, value, "a list of whole numbers from 0 on")


def _texts(place: str, value: Any) -> Iterator[str]:
    if not (isinstance(value, list) and all(isinstance(each, str) for each in value)):
        yield _wrong(place, value, "a list of texts")


def _numbers(count: int) -> Check:
    def check(place: str, value: Any) -> Iterator[str]:
        if not (
            isinstance(value, list)
            and len(value) == count
            and all(isinstance(each, int | float) and not isinstance(each, bool) for each in value)
            and all(abs(each) < 1e300 for each in value)  # not where a number is infinite or none
        ):
            yield _wrong(place, value, f"a list of {count} numbers")

    return check


def _table(fields: Mapping[str, Check]) -> Check:
    def check(place: str, value: Any) -> Iterator[str]:
        if not isinstance(value, dict):
            yield _wrong(place, value, "a table of fields")
            return
        for key, each in fields.items():
            if key in value:
                yield from each(f"{place}.{key}" if place else key, value[key])

    return check


def _tables(fields: Mapping[str, Check]) -> Check:
    entry = _table(fields)

    def check(place: str, value: Any) -> Iterator[str]:
        if not isinstance(value, list):
            yield _wrong(place, value, "a list of tables")
            return
        for index, each in enumerate(value):
            yield from entry(f"{place}[{index}]", each)

    return check


_PART = _table({"bufferView": _whole, "byteOffset": _whole, "componentType": _whole})
_PRIMITIVE: dict[str, Check] = {
    "attributes": _table({"POSITION": _whole}),
    "indices": _whole,
    "material": _whole,
    "mode": _whole,
    "extensions": _table({}),
}
_DOCUMENT = _table(
    {
        "scene": _whole,
        "extensionsRequired": _texts,
        "scenes": _tables({"nodes": _wholes}),
        "nodes": _tables(
            {
                "children": _wholes,
                "mesh": _whole,
                "matrix": _numbers(16),
                "rotation": _numbers(4),
                "scale": _numbers(3),
                "translation": _numbers(3),
            }
        ),
        "meshes": _tables({"primitives": _tables(_PRIMITIVE)}),
        "accessors": _tables(
            {
                "bufferView": _whole,
                "byteOffset": _whole,
                "componentType": _whole,
                "count": _whole,
                "type": _text,
                "sparse": _table({"count": _whole, "indices": _PART, "values": _PART}),
            }
        ),
        "bufferViews": _tables(
            {
                "buffer": _whole,
                "byteOffset": _whole,
                "byteLength": _whole,
                "byteStride": _whole,
                "extensions": _table({}),
            }
        ),
        "materials": _tables({}),
    }
)


def wrong_fields(tree: Mapping[str, Any]) -> Iterator[str]:
    """A message for each field that holds another type than the format allows."""
    return _DOCUMENT("", tree)
