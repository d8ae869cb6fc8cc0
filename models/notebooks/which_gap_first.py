"""Which face to treat next: each untreated face tried by itself on top of a plan.

Run it in a folder with the demo jobs: python which_gap_first.py
The job is an invention.
"""

import sys
from dataclasses import replace
from pathlib import Path

import envelope

folder = Path(sys.argv[1] if len(sys.argv) > 1 else ".")
job = envelope.solve_levels(envelope.load(folder / "bedroom.toml"))
casts = envelope.cast(job)

# A stand-in that nearly everything stops at, to see what a face is worth before choosing a product.
tight = envelope.Treatment(
    id="tight", kind="fixed", loss=envelope.LossCurve(frequencies_hz=(), losses_db=(60.0,))
)
job = replace(job, treatments={**job.treatments, tight.id: tight})

start = job.plan("walls-only")
kinds = ("window", "door", "ceiling", "floor")
faces = [
    panel.id
    for panel in job.building.space("bedroom").panels
    if panel.kind in kinds and panel.id not in start.treatments
]
tried = [
    envelope.Plan(id=face.replace("/", "-"), treatments={**start.treatments, face: tight.id})
    for face in faces
]
found = envelope.analyze(job, casts, plans=[start, *tried], ranges=False)
before = found.plan(start.id).receivers[0].level_w_m2
after = {
    face: found.plan(plan.id).receivers[0].level_w_m2
    for face, plan in zip(faces, tried, strict=True)
}
print(f"{start.id}: {1e6 * before:.3g} µW/m²")
for face, level in sorted(after.items(), key=lambda item: item[1]):
    word = "lower" if level < before else "higher: it keeps in what gets in elsewhere"
    print(f"  with {face} tight: {1e6 * level:.3g} µW/m², {word}")
