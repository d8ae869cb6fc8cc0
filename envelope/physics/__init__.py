"""What walls, sheets, holes and rooms do to radio waves: plain functions over arrays.

Nothing here knows of buildings, files or units. Powers are fractions of what arrives, losses are
dB and positive when less passes. Polarizations stand on the last axis: 0 is TE (the electric
field parallel to the surface), 1 is TM.

    materials ─┐                 ┌─ bands (means over a band, over a hemisphere)
    sheets    ─┼─→ stacks ───────┤
    meshes    ─┘                 └─ diffuse (rooms coupled through their walls) ── cavities (checks)
    apertures, diffraction: holes, slots and the edges of beams
    levels: conversions and reference lines
    entry_loss: statistics of whole buildings, for comparison
"""
