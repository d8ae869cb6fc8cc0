"""What a film on the windows brings beside coated walls: one room, three plans, made here.

Run it in a folder with the demo jobs: python wall_and_film.py
The job is an invention.
"""

import sys
from dataclasses import replace
from pathlib import Path

import envelope

folder = Path(sys.argv[1] if len(sys.argv) > 1 else ".")
job = envelope.solve_levels(envelope.load(folder / "bedroom.toml"))

# Treatments are records. One that cannot be is refused where it is made.
film = envelope.Treatment(id="clear-film", kind="sheet", sheet_resistance_ohm_sq=10.0)
job = replace(job, treatments={**job.treatments, film.id: film})

# Panels may be named by id, by side, or by group; an unknown one is refused with the nearest names.
walls = envelope.Plan(id="walls", treatments={"bedroom/walls": "coating"})
both = envelope.Plan(
    id="walls-and-film",
    treatments={"bedroom/walls": "coating", "bedroom/windows": film.id},
)

casts = envelope.cast(job)  # once: plans do not move a wall
found = envelope.compare(job, casts, plans=[walls, both])
for row in found.plans:
    level = f"{row.plan} at {row.receiver}: {1e6 * (row.level_w_m2 or 0.0):.3g} µW/m²"
    if row.below_as_built_db is None:
        print(level)
    elif not row.can_be_told:
        print(f"{level}, no difference from today that can be told")
    else:
        low, high = row.below_low_db, row.below_high_db
        print(f"{level}, {row.below_as_built_db:.1f} dB below today ({low:.1f} to {high:.1f})")
