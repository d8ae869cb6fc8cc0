"""Two hundred plans from one cast: every coat of the walls with every film on the windows.

Run it in a folder with the demo jobs: python sweep.py
The job is an invention.
"""

import csv
import sys
from dataclasses import replace
from pathlib import Path

import envelope

WALLS_OHM_SQ = [1.0 * 1.5**step for step in range(20)]
FILMS_OHM_SQ = [2.0 * 1.6**step for step in range(10)]

folder = Path(sys.argv[1] if len(sys.argv) > 1 else ".")
job = envelope.solve_levels(envelope.load(folder / "bedroom.toml"))
casts = envelope.cast(job, rays="few")  # once for all two hundred

treatments = dict(job.treatments)
plans = []
for number, wall in enumerate(WALLS_OHM_SQ):
    for kind, film in enumerate(FILMS_OHM_SQ):
        for name, ohm_sq in ((f"wall-{number}", wall), (f"film-{kind}", film)):
            treatments[name] = envelope.Treatment(
                id=name, kind="sheet", sheet_resistance_ohm_sq=ohm_sq
            )
        plans.append(
            envelope.Plan(
                id=f"wall-{number}-film-{kind}",
                treatments={"bedroom/walls": f"wall-{number}", "bedroom/windows": f"film-{kind}"},
            )
        )
job = replace(job, treatments=treatments)

found = envelope.analyze(job, casts, plans=plans, ranges=False)
writer = csv.writer(sys.stdout, lineterminator="\n")
writer.writerow(("wall_ohm_sq", "film_ohm_sq", "level_w_m2"))
for index, plan in enumerate(found.plans):
    wall, film = WALLS_OHM_SQ[index // len(FILMS_OHM_SQ)], FILMS_OHM_SQ[index % len(FILMS_OHM_SQ)]
    writer.writerow((f"{wall:.3g}", f"{film:.3g}", f"{plan.receivers[0].level_w_m2:.4e}"))
