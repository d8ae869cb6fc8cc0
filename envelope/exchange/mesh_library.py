"""The mesh library, trimesh, loaded where it is first used.

Loading it takes a fifth of a second of the processor, so no command that reads no mesh should. What
it logs is meant for programmers and never reaches a user.
"""

from __future__ import annotations

import logging
from types import ModuleType


def mesh_library() -> ModuleType:
    """Trimesh, silent."""
    import trimesh

    logging.getLogger("trimesh").setLevel(logging.CRITICAL)
    found: ModuleType = trimesh
    return found
