"""Which openings let a view through: windows, skylights, and doors that are mostly a pane."""

from __future__ import annotations

from envelope.building.job import Job
from envelope.building.model import Panel
from envelope.physics.materials import canonical_name, is_material

_GLASS = "glass"


def is_glazed(job: Job, panel: Panel) -> bool:
    """Whether a leaf is a pane that may be coated: a sliding door of glass is one too.

    Parameters
    ----------
    job : Job
    panel : Panel
        Of its building.
    """
    if panel.kind in ("window", "skylight"):
        return True
    if panel.kind != "door":
        return False
    elements = job.building.elements
    made_of = {elements[patch.element].assembly for patch in job.building.patches_of[panel.id]}
    layers = [
        layer for name in made_of if name is not None for layer in job.assemblies[name].layers
    ]
    materials = [layer.material for layer in layers if layer.material is not None]
    return any(is_material(each) and canonical_name(each) == _GLASS for each in materials)
