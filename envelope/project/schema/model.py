"""What a project file may say where its rooms come from a model file instead of dimensions."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from envelope.building.model import OPENING_KINDS, PanelKind
from envelope.building.questions import QUESTION_IDS
from envelope.project.schema import fields
from envelope.project.schema.fields import Choice, Text
from envelope.project.schema.rooms import Problems, Table

UNITS = ("m", "cm", "mm", "ft", "in")
AXES = ("x", "y", "z")
_HOSTS: tuple[PanelKind, ...] = ("wall", "floor", "ceiling")

FileName = Annotated[str, Text(what="a file name", example="house.ifc", longest=1000)]
Pattern = Annotated[str, Text(what="a pattern", example="*glass*")]
Kind = Annotated[
    PanelKind, Choice(what="a kind of panel", words=(*_HOSTS, *OPENING_KINDS, "reveal", "seam"))
]
NewKind = Annotated[PanelKind, Choice(what="a kind of panel", words=(*_HOSTS, *OPENING_KINDS))]


class Model(Table):
    """A model file that the spaces come from: GLB, glTF, OBJ, STL, PLY, IFC or gbXML."""

    file: FileName = Field(description="Relative to the project file")
    unit: Annotated[str, Choice(what="a unit", words=UNITS)] | None = Field(
        None, description="Of OBJ, STL and PLY; never guessed"
    )
    up: Annotated[str, Choice(what="an axis", words=AXES)] | None = Field(
        None, description="Their axis that points up"
    )
    spaces: Annotated[list[fields.Reference], Field(min_length=1, max_length=500)] | None = Field(
        None, description="Ids or names of the spaces to take; default all"
    )
    storey: fields.Reference | None = Field(None, description="Take the spaces of this one only")
    fit: bool = Field(
        False, description="Of a mesh that is open, as a scan: fit closed rooms to its surfaces"
    )
    materials: Annotated[dict[str, fields.Reference], Field(max_length=500)] = Field(
        default_factory=dict, description="Names in an IFC file, each with a known material"
    )
    accept: Annotated[
        list[Annotated[str, Choice(what="a question", words=QUESTION_IDS)]], Field(max_length=10)
    ] = Field(
        default_factory=list,
        description="Questions of `check` that stay open: what counts meanwhile is accepted",
    )
    fingerprint: Annotated[str, Text(what="a fingerprint", example="9f86d081884c7d65")] | None = (
        Field(None, description="Of the model file when it was imported")
    )


class Tag(Table):
    """A rule for a model's panels; the last in the file that catches a panel wins.

    Patterns have * and ? and mind no capitals; conditions left out hold for every panel.
    """

    id: fields.Id | None = None
    name: Pattern | None = Field(
        None, description="Held against the panel's id and every name that the model gave it"
    )
    kind: Kind | None = None
    storey: fields.Reference | None = None
    material: Pattern | None = Field(None, description="Held against the model's materials")
    assembly: fields.Reference | None = Field(None, description="What it is made of")
    becomes: NewKind | None = Field(None, description="What kind of panel it is")

    def problems(self) -> Problems:
        if self.assembly is None and self.becomes is None:
            yield "id", "a rule takes assembly, becomes or both, and this has neither"
