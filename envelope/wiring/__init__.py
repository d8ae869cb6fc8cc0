"""The 50/60 Hz electric field of the house wiring: quasi-static boundary elements.

    Job.wiring ── routing ── cells ── elements ── matrix ── network ── spread ── results
      (what was     (runs in   (panels   (wires     (volts a    (islands,  (what is   (per plan,
       entered)      space)     cut up)   + cells)   coulomb)    charges)   unknown)   per receiver)

Nothing here reads a file or a unit.
"""
