"""Tables of `gapcast import`: what a model holds, its panels, and what was done to it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from rich.markup import escape

from envelope import text as figures
from envelope.building.model import Building
from envelope.commands.layout import open_console, plain_table
from envelope.exchange import Imported, Listing, MaterialUse, Note, TaggedImport

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
MOST_PARTS = 20  # that cannot be imported, each on a line of its own
MOST_LISTED = 400


def print_listing(listing: Listing, *, feet: bool = False) -> None:
    """Storeys and spaces, those that cannot be imported with the reason."""
    out = open_console()
    if listing.storeys:
        storeys = plain_table("storey", ">floor")
        for storey in reversed(listing.storeys):
            storeys.add_row(escape(storey.id), figures.length(storey.floor_m, feet=feet))
        out.print(storeys)
        out.print()
    spaces = plain_table("space", "name", "storey", ">floor area", ">volume", "cannot be imported")
    usable = [space for space in listing.spaces if not space.trouble]
    others = [space for space in listing.spaces if space.trouble]
    single = others if len(others) <= MOST_PARTS else []
    for space in (*usable[:MOST_LISTED], *single):
        spaces.add_row(
            *map(escape, (space.id, space.name, space.storey)),
            figures.area(space.area_m2, feet=feet),
            figures.volume(space.volume_m3, feet=True) if feet else f"{space.volume_m3:.2f} m³",
            escape(space.trouble),
        )
    out.print(spaces)
    if len(usable) > MOST_LISTED:
        out.print(f"and {len(usable) - MOST_LISTED} more spaces: --storey lists fewer")
    if others and not single:
        sums = plain_table(">parts", "cannot be imported")
        for trouble, count in Counter(space.trouble for space in others).most_common(MOST_LISTED):
            sums.add_row(str(count), escape(trouble))
        out.print()
        out.print(sums)
    # a listing is a look only: nothing else would show the rest of what it found
    print_notes(listing.notes, whole=True, feet=feet)


def print_panels(tagged: TaggedImport, building: Building, *, feet: bool = False) -> None:
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
            figures.area(panel.area_m2, feet=feet),
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


def print_materials(materials: Sequence[MaterialUse]) -> None:
    """What every material of the file was read as, why, and how sure that is."""
    if not materials:
        return
    out = open_console()
    out.print("\n[bold]materials[/bold]")
    table = plain_table("material in the file", "read as", "why", "how sure", ">layers")
    for use in materials:
        known = "nothing (air)" if use.known is None else use.known
        table.add_row(*map(escape, (use.name, known, use.why, use.sureness, str(use.panels))))
    out.print(table)


def print_fit(imported: Imported, *, feet: bool = False) -> None:
    """How far the model's own surfaces lie off the rooms that were fitted to them."""
    if imported.fit is None:
        return
    out = open_console()
    out.print("\n[bold]fitted to the model[/bold]")
    table = plain_table("face", ">mean off it", ">95 % within", ">beyond 5 cm")
    for panel, offset in imported.fit.offsets.items():
        table.add_row(
            escape(panel),
            figures.offset(offset.mean_m, feet=feet),
            figures.offset(offset.most_m, feet=feet),
            figures.percent(offset.beyond),
        )
    out.print(table)
    share = figures.percent(imported.fit.elsewhere)
    out.print(f"{share} of the model's surface is of no face: furniture, other sides, outdoors")


def print_notes(notes: Sequence[Note], *, whole: bool = False, feet: bool = False) -> None:
    """Everything that was repaired, left out, refused, assumed or remarked, kind by kind.

    The first of each kind only, unless `whole`; the line that counts the rest says how to see them.
    """
    out = open_console()
    for kind, heading in HEADINGS.items():
        listed = [note for note in notes if note.kind == kind]
        if not listed:
            continue
        out.print(f"\n[bold]{heading}[/bold]")
        shown = listed if whole else listed[:MOST_NOTES]
        for note in shown:
            where = ""
            if note.position_m is not None:
                x, y, z = note.position_m
                spots = (figures.length(value, feet=True) for value in (x, y, z))
                where = f" (at {x:.2f}, {y:.2f}, {z:.2f} m)"
                if feet:
                    where = f" (at {', '.join(spots)})"
            out.print(escape(f"  {note}{where}"))
        if len(listed) > len(shown):
            out.print(f"  and {len(listed) - len(shown)} more: --dry-run lists them all")
