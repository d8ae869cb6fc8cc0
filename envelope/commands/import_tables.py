"""Tables of `gapcast import`: what a model holds, its panels, and what was done to it."""

from __future__ import annotations

from collections.abc import Sequence

from rich.markup import escape

from envelope.building.records import Building
from envelope.commands.layout import open_console, plain_table
from envelope.importers import Listing, Note, TaggedImport

# In the order in which they matter to whoever goes on with the model.
HEADINGS = {
    "refused": "refused",
    "gap": "kept open, or nothing behind",
    "unmapped": "materials that nothing known fits",
    "guessed": "assumed",
    "repaired": "repaired",
    "left-out": "left out",
    "remark": "remarks",
}
MOST_NOTES = 12  # of one kind


def print_listing(listing: Listing) -> None:
    """Storeys and spaces, those that cannot be imported with the reason."""
    out = open_console()
    if listing.storeys:
        storeys = plain_table("storey", ">floor")
        for storey in reversed(listing.storeys):
            storeys.add_row(escape(storey.id), f"{storey.floor_m:.2f} m")
        out.print(storeys)
        out.print()
    spaces = plain_table("space", "name", "storey", ">floor area", ">volume", "cannot be imported")
    for space in listing.spaces:
        spaces.add_row(
            *map(escape, (space.id, space.name, space.storey)),
            f"{space.area_m2:.2f} m²",
            f"{space.volume_m3:.2f} m³",
            escape(space.trouble),
        )
    out.print(spaces)
    print_notes(listing.notes)


def print_panels(tagged: TaggedImport, building: Building) -> None:
    """Every panel with what lies beyond it and the rule that caught it; leftovers by themselves."""
    out = open_console()
    table = plain_table("panel", "kind", ">area", "beyond", "assembly", "rule")
    for panel in tagged.panels:
        patches = building.patches_of.get(panel.panel, ())
        elements = [building.elements[patch.element] for patch in patches]
        behind = dict.fromkeys(patch.far or patch.behind for patch in patches)
        beyond = ", ".join(behind)
        if panel.beyond is not None and panel.beyond.startswith("space "):
            name = panel.beyond.removeprefix("space ")
            if not any(part.partition("/")[0] == name for part in behind):
                beyond += f" (the model: {name})"
        made_of = dict.fromkeys(item.assembly for item in elements if item.assembly)
        table.add_row(
            escape(panel.panel),
            panel.kind,
            f"{panel.area_m2:.2f} m²",
            escape(beyond),
            escape(", ".join(made_of)),
            escape(panel.rule or "none"),
        )
    out.print(table)
    left = tagged.leftovers
    out.print()
    if len(left) == len(tagged.panels):
        out.print("no rule caught a panel: all are as the model has them")
    elif not left:
        out.print("every panel was caught by a rule")
    else:
        names = ", ".join(panel.panel for panel in left)
        out.print(
            escape(f"left as the model has them, caught by no rule: {len(left)} panels ({names})")
        )
    for rule in tagged.unused:
        out.print(escape(f"rule {rule} catches no panel"))


def print_notes(notes: Sequence[Note]) -> None:
    """Everything that was repaired, left out, refused, assumed or remarked, kind by kind."""
    out = open_console()
    for kind, heading in HEADINGS.items():
        listed = [note for note in notes if note.kind == kind]
        if not listed:
            continue
        out.print(f"\n[bold]{heading}[/bold]")
        for note in listed[:MOST_NOTES]:
            where = ""
            if note.position_m is not None:
                x, y, z = note.position_m
                where = f" (at {x:.2f}, {y:.2f}, {z:.2f} m)"
            out.print(escape(f"  {note}{where}"))
        if len(listed) > MOST_NOTES:
            out.print(f"  and {len(listed) - MOST_NOTES} more")
