"""One door for every format: what the file is, in which unit, which way is up.

What reads and works on meshes is loaded where it is used: a command that finds what an earlier one
has made of the file needs none of it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from envelope.errors import Fault, Location, ModelFileError
from envelope.exchange.mesh_cache import keep_import, key_of, load_import
from envelope.exchange.records import Imported, Listing, Note
from envelope.exchange.select import Wanted
from envelope.geometry.plane import Floats

if TYPE_CHECKING:
    from envelope.exchange.mesh.soup import Soup

MOST_BYTES = 500_000_000

UNITS_M = {
    **dict.fromkeys(("m", "metre", "metres", "meter", "meters"), 1.0),
    **dict.fromkeys(("cm", "centimetre", "centimetres", "centimeter", "centimeters"), 0.01),
    **dict.fromkeys(("mm", "millimetre", "millimetres", "millimeter", "millimeters"), 0.001),
    **dict.fromkeys(("ft", "foot", "feet"), 0.3048),
    **dict.fromkeys(("in", "inch", "inches"), 0.0254),
}
# Which of the file's axes become x, y and z of ours, and with which sign.
_AXES: dict[str, Floats] = {
    "z": np.eye(3),
    "y": np.array([[1.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, 1.0, 0.0]]),
    "x": np.array([[0.0, 1.0, 0.0], [0.0, 0.0, 1.0], [1.0, 0.0, 0.0]]),
}
_FORMATS = {
    ".glb": "glTF",
    ".gltf": "glTF",
    ".obj": "OBJ",
    ".stl": "STL",
    ".ply": "PLY",
    ".ifc": "IFC",
    ".ifczip": "IFC",
    ".xml": "gbXML",
    ".gbxml": "gbXML",
}
# What is not read, and what to export in its place.
_INSTEAD = {
    ".ifcxml": "export it as IFC (STEP, .ifc), which holds the same",
    ".dwg": "export the rooms as IFC, or the walls as 3D faces in OBJ",
    ".dxf": "export the rooms as IFC, or the walls as 3D faces in OBJ",
    ".rvt": "export it as IFC with rooms and space boundaries, or as gbXML",
    ".skp": "export it as IFC or as GLB, in metres",
    ".pln": "export it as IFC with zones",
    ".3ds": "export it as GLB or OBJ",
    ".fbx": "export it as GLB",
    ".dae": "export it as GLB",
    ".zip": "unpack it first; of archives IFCZIP (.ifczip) alone is read",
}

_COARSE_M = 1e-3
_LARGEST_M = 1000.0  # of what unit makes of a file; a house in millimetres read as metres is more
_FARTHEST_M = 1e8  # from the origin; coordinates of maps reach a tenth of it


def _fault(path: Path, message: str) -> ModelFileError:
    return ModelFileError([Fault(message=message, location=Location(path=str(path)))])


def sniffed(path: Path) -> str:
    """Format of a file by its name, checked against its first bytes."""
    suffix = path.suffix.lower()
    if suffix in _INSTEAD:
        raise _fault(path, f"files that end in {suffix} cannot be imported: {_INSTEAD[suffix]}")
    if suffix not in _FORMATS:
        raise _fault(
            path,
            f"files that end in {suffix or 'nothing'} cannot be imported; "
            f"{', '.join(_FORMATS)} can",
        )
    try:
        if not path.is_file():
            raise _fault(path, "there is no such file")
        size = path.stat().st_size
        with path.open("rb") as stream:
            head = stream.read(512)
    except OSError as error:
        raise _fault(path, f"cannot be read: {error.strerror}") from None
    if size == 0:
        raise _fault(path, "is empty")
    if size > MOST_BYTES:
        raise _fault(path, f"has {size / 1e6:.0f} MB; at most {MOST_BYTES / 1e6:.0f} MB")
    found = _FORMATS[suffix]
    # The count of a binary STL may look like the first letter of text.
    start = head.lstrip() if found != "STL" or head[:80].strip() else b""
    is_what = (
        "glTF"
        if head.startswith(b"glTF") or start.startswith(b"{")
        else "PLY"
        if head.startswith((b"ply\n", b"ply\r"))
        else "IFC"
        if start.startswith(b"ISO-10303-21")
        else "a ZIP archive"
        if head.startswith(b"PK\x03\x04")
        else "XML"
        if start.startswith((b"<", b"\xef\xbb\xbf<", b"\xff\xfe<", b"\xfe\xff\0<"))
        else found
    )
    if (suffix, is_what) in ((".ifczip", "a ZIP archive"), (".xml", "XML"), (".gbxml", "XML")):
        return found
    if is_what != found:
        raise _fault(
            path, f"is named as {found} but its content is {is_what}; rename or convert it"
        )
    if found == "OBJ" and b"\0" in head:
        raise _fault(path, "is named as OBJ, which is plain text, but its content is binary")
    return found


def in_feet(unit: str | None) -> bool:
    """Whether a model's unit is one of those who read feet and inches."""
    return UNITS_M.get(str(unit).strip().lower()) in (0.3048, 0.0254)


def _sizes(extent: Floats) -> str:
    """What a model would measure in each unit."""
    listed = []
    for word, factor in (("metres", 1.0), ("feet", 0.3048), ("inches", 0.0254), ("mm", 0.001)):
        a, b, c = extent * factor
        listed.append(f"as {word} it measures {a:.3g} × {b:.3g} × {c:.3g} m")
    return "; ".join(listed)


def _upright(soup: Soup, path: Path, format: str, unit: str | None, up: str | None) -> Soup:
    """The soup in metres with z up."""
    if soup.faces == 0:
        raise _fault(path, "holds no faces; there is nothing to import")
    corners = soup.points[soup.corners]
    if not np.all(np.isfinite(corners)):
        raise _fault(path, "a vertex is not a finite number")
    factor = 1.0 if unit is None else UNITS_M.get(unit.strip().lower(), 1.0)
    farthest = float(np.abs(corners).max())
    if farthest >= _FARTHEST_M / factor:
        raise _fault(
            path,
            f"a vertex lies {farthest:.3g} {unit or 'm'} from the origin along an axis; allowed is "
            f"less than {_FARTHEST_M / factor:g}: move the model to the origin",
        )
    if format == "glTF":
        if unit is not None or up is not None:
            raise _fault(path, "glTF is in metres with y up by definition; leave unit and up away")
        return soup
    missing = [name for name, value in (("unit", unit), ("up", up)) if value is None]
    if missing:
        extent = np.ptp(soup.points[soup.corners], axis=0)
        a, b, c = extent
        raise _fault(
            path,
            f"{format} carries no unit and no up axis; say {' and '.join(missing)}. Along x, y, z "
            f"it is {a:.6g} × {b:.6g} × {c:.6g}: {_sizes(extent)}",
        )
    if str(unit).strip().lower() not in UNITS_M:
        raise _fault(path, f"unit {unit!r} is not known; m, cm, mm, ft and in are")
    extent = np.ptp(corners, axis=0)
    if float(extent.max()) * factor > _LARGEST_M:
        raise _fault(
            path,
            f"in {unit} it would be {float(extent.max()) * factor:.3g} m long, and no house is: "
            f"{_sizes(extent)}; say which with unit",
        )
    axes = _AXES.get(str(up).strip().lower())
    if axes is None:
        raise _fault(path, f"up axis {up!r} is not known; x, y and z are")
    # Points that no face uses may be anything; they are left behind.
    used = np.unique(soup.corners)
    points = np.zeros_like(soup.points)
    points[used] = factor * soup.points[used] @ axes.T
    return replace(soup, points=points)


def _mesh(path: Path, format: str, unit: str | None, up: str | None) -> Soup:
    from envelope.exchange.formats.gltf import read_gltf
    from envelope.exchange.formats.obj import read_obj
    from envelope.exchange.formats.ply import read_ply
    from envelope.exchange.formats.stl import read_stl

    readers = {"glTF": read_gltf, "OBJ": read_obj, "STL": read_stl, "PLY": read_ply}
    try:
        soup = readers[format](path)
    except MemoryError:
        raise _fault(path, "is too large for the memory of this machine") from None
    return _upright(soup, path, format, unit, up)


def read_model(
    path: Path | str,
    *,
    unit: str | None = None,
    up: str | None = None,
    spaces: Sequence[str] | None = None,
    storey: str | None = None,
    materials: Mapping[str, str] | None = None,
    fit: bool = False,
) -> Imported:
    """Import a model file.

    Parameters
    ----------
    path : Path or str
        GLB, glTF, OBJ, STL, PLY, IFC, IFCZIP or gbXML.
    unit : str, optional
        Unit of OBJ, STL and PLY: "m", "cm", "mm", "ft" or "in". It is never guessed.
    up : str, optional
        Their axis that points up: "x", "y" or "z".
    spaces : sequence of str, optional
        Ids or names of the spaces to import; all if not given.
    storey : str, optional
        Import only the spaces of this storey.
    materials : mapping, optional
        For IFC, the user's corrections: name of a material in the file → known material.
    fit : bool, optional
        Of meshes: fit closed rooms to open surfaces, as those of a scan.

    Returns
    -------
    imported : Imported

    Raises
    ------
    ModelFileError
        Where the file cannot be read, or holds no such space.
    MissingExtraError
        For IFC where ifcopenshell is not installed.
    """
    where = Path(path)
    format = sniffed(where)
    asked = Wanted(spaces=spaces, storey=storey, materials=materials or {})
    if format == "IFC":
        from envelope.exchange.ifc.import_ifc import import_ifc

        _no_unit(where, unit, up, fit)
        return import_ifc(where, asked)
    if format == "gbXML":
        from envelope.exchange.gbxml.import_gbxml import import_gbxml

        _no_unit(where, unit, up, fit)
        return import_gbxml(where, asked)
    key = key_of(
        where,
        {
            "unit": unit,
            "up": up,
            "spaces": None if spaces is None else list(spaces),
            "storey": storey,
            "fit": fit,
        },
    )
    found = None if key is None else load_import(key)
    if found is None:
        found = _import_mesh(where, format, unit, up, asked, fit)
        if key is not None:
            keep_import(key, found)
    return found


def _import_mesh(
    where: Path, format: str, unit: str | None, up: str | None, asked: Wanted, fit: bool
) -> Imported:
    from envelope.exchange.formats.gltf import carried_tables
    from envelope.exchange.mesh.fit import fit_report, fitted, told_of_scan
    from envelope.exchange.mesh.import_mesh import import_soup

    soup = _mesh(where, format, unit, up)
    feet = in_feet(unit)
    made = fitted(soup, source=where.name, feet=feet) if fit else None
    found = import_soup(
        soup if made is None else made.soup,
        source=where.name,
        format=format,
        spaces=asked.spaces,
        storey=asked.storey,
        feet=feet,
    )
    if made is not None:
        panels = [panel for space in found.spaces for panel in space.panels]
        notes = (*made.notes, *map(told_of_scan, found.notes))
        found = replace(
            found, notes=notes, fit=fit_report(made, panels), worked_out="fitted to its surfaces"
        )
    return replace(
        found,
        notes=(*found.notes, *_rounded(soup, format)),
        tables=carried_tables(where) if format == "glTF" else {},
    )


def _rounded(soup: Soup, format: str) -> tuple[Note, ...]:
    """A note where float32 has rounded corners that lie far from the origin."""
    corners = soup.points[soup.corners]
    far = float(np.abs(corners).max())
    step = float(np.spacing(np.float32(far)))
    single = format == "STL" or bool(np.all(corners.astype(np.float32) == corners))
    if format == "OBJ" or not single or step < _COARSE_M:
        return ()
    message = (
        f"drawn {far:,.0f} m from its origin: single precision holds its corners there to "
        f"{1e3 * step:.2g} mm only, if the program that wrote it kept no more; move the model to "
        "the origin there and export it again"
    )
    return (Note(kind="remark", subject="", message=message),)


def list_model(
    path: Path | str, *, unit: str | None = None, up: str | None = None, fit: bool = False
) -> Listing:
    """Storeys and spaces of a model file, to choose from before importing.

    Parameters
    ----------
    path, unit, up, fit
        As of `read_model`.
    """
    where = Path(path)
    format = sniffed(where)
    if format == "IFC":
        from envelope.exchange.ifc.import_ifc import list_ifc

        _no_unit(where, unit, up, fit)
        return list_ifc(where)
    if format == "gbXML":
        from envelope.exchange.gbxml.import_gbxml import list_gbxml

        _no_unit(where, unit, up, fit)
        return list_gbxml(where)
    from envelope.exchange.mesh.fit import fitted
    from envelope.exchange.mesh.import_mesh import list_soup

    soup, feet = _mesh(where, format, unit, up), in_feet(unit)
    if not fit:
        return list_soup(soup, source=where.name, format=format, feet=feet)
    made = fitted(soup, source=where.name, feet=feet)
    listing = list_soup(made.soup, source=where.name, format=format, feet=feet)
    return replace(listing, notes=(*made.notes, *listing.notes))


def space_at(path: Path | str, *, at: tuple[float, float], storey: str | None = None) -> str:
    """Id of the space of an IFC file that holds a place on the plan, in metres."""
    where = Path(path)
    if sniffed(where) != "IFC":
        raise _fault(where, "a place on the plan names spaces of IFC files alone: name the space")
    from envelope.exchange.ifc.import_ifc import space_at as ifc_space_at

    return ifc_space_at(where, at=at, storey=storey)


def model_edges(path: Path | str, *, unit: str | None = None, up: str | None = None) -> Floats:
    """Edges of a mesh (n, 2, 3), for a drawing; none of a file whose panels are drawn. [m]"""
    where = Path(path)
    format = sniffed(where)
    if format in ("IFC", "gbXML"):
        return np.zeros((0, 2, 3))
    from envelope.exchange.mesh.feature_edges import drawn_edges

    return drawn_edges(_mesh(where, format, unit, up))


def refused_model(
    path: Path | str, *, unit: str | None = None, up: str | None = None
) -> tuple[Floats, tuple[Note, ...]]:
    """What can be drawn of a model that was refused.

    Returns
    -------
    edges_m : (n, 2, 3) float
        [m]
    notes : tuple of Note
        What is wrong with it, and where.
    """
    where = Path(path)
    if sniffed(where) == "IFC":
        from envelope.exchange.ifc.import_ifc import refused_ifc

        return refused_ifc(where)
    listing = list_model(where, unit=unit, up=up)
    return model_edges(where, unit=unit, up=up), listing.notes


def _no_unit(path: Path, unit: str | None, up: str | None, fit: bool) -> None:
    if unit is not None or up is not None:
        raise _fault(path, "such a file states its own units; leave unit and up away")
    if fit:
        raise _fault(path, "rooms are fitted to meshes alone: GLB, glTF, OBJ, STL and PLY")
