"""Models of others made into spaces: GLB and glTF, OBJ, STL, PLY and IFC; and the way back."""

from envelope.exchange.export import (
    Annotations,
    PanelFinding,
    flush_openings,
    panels_csv,
    to_glb,
    to_obj,
    to_ply,
    to_stl,
)
from envelope.exchange.read import (
    in_feet,
    list_model,
    model_edges,
    read_model,
    refused_model,
    space_at,
)
from envelope.exchange.records import (
    NOTHING_FOUND,
    Fit,
    Imported,
    ListedSpace,
    Listing,
    MaterialUse,
    Note,
    Offset,
    PanelOrigin,
)
from envelope.exchange.rules import Tagged, TaggedImport, TagRule, tag_panels

__all__ = [
    "NOTHING_FOUND",
    "Annotations",
    "Fit",
    "Imported",
    "ListedSpace",
    "Listing",
    "MaterialUse",
    "Note",
    "Offset",
    "PanelFinding",
    "PanelOrigin",
    "TagRule",
    "Tagged",
    "TaggedImport",
    "flush_openings",
    "in_feet",
    "list_model",
    "model_edges",
    "panels_csv",
    "read_model",
    "refused_model",
    "space_at",
    "tag_panels",
    "to_glb",
    "to_obj",
    "to_ply",
    "to_stl",
]
