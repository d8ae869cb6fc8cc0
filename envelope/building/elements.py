"""The building part behind each patch, and which assembly it is made of."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence

from envelope.building.model import OPENING_KINDS, Behind, Element, ElementKind, Panel
from envelope.errors import Fault

# Where `[construction]` has no line for a kind, this one is used.
STAND_INS: Mapping[str, str] = {"hatch": "door", "skylight": "window", "slab": "floor"}
# A box or a light is set into its host, which goes on behind it.
SET_IN = ("box", "light")
LISTED = 4  # panels named in one message


class ElementMaker:
    """Makes each element once and notes what the construction leaves unsaid."""

    def __init__(self, *, panels: Sequence[Panel], construction: Mapping[str, str]) -> None:
        self.construction = construction
        self.by_id = {panel.id: panel for panel in panels}
        self.order = {panel.id: index for index, panel in enumerate(panels)}
        self.elements: list[Element] = []
        self.known: dict[tuple[ElementKind, str | None, str, str | None], int] = {}
        self.missing: dict[str, list[str]] = defaultdict(list)
        self.clashes: dict[frozenset[str], Fault] = {}

    def base(self, panel: Panel) -> Panel:
        """The wall, floor or ceiling that carries a panel, or the panel itself."""
        return panel if panel.host is None else self.by_id.get(panel.host, panel)

    def behind(self, panel: Panel, far: Panel | None, behind: Behind, *, void: bool = False) -> int:
        """Index of the element behind a panel.

        `void` says that it is the left-over strip beside an interior wall or floor.
        """
        kind = self._kind(panel, far, behind, void)
        kind, assembly = self._assembly(kind, panel, far, behind, void)
        first, second = self._sides(panel, far)
        key = (kind, assembly, first, second)
        if key not in self.known:
            self.known[key] = len(self.elements)
            self.elements.append(
                Element(
                    index=len(self.elements),
                    kind=kind,
                    assembly=assembly,
                    first=first,
                    second=second,
                )
            )
        return self.known[key]

    def faults(self) -> list[Fault]:
        """What the construction does not say, and sides that contradict each other."""
        found = []
        for key, names in self.missing.items():
            listed = list(dict.fromkeys(names))
            more = f" and {len(listed) - LISTED} more" if len(listed) > LISTED else ""
            instead = f" (or {STAND_INS[key]})" if key in STAND_INS else ""
            found.append(
                Fault(
                    message=f"[construction] has no line for {key}{instead}, which "
                    f"{', '.join(listed[:LISTED])}{more} needs",
                    subject=("construction", "", key),
                )
            )
        return found + list(self.clashes.values())

    def _own_kind(self, panel: Panel) -> ElementKind | None:
        """Kind that a panel alone decides; None where it is that of its wall, floor or ceiling."""
        if panel.kind == "open" or panel.stands_open:
            return "none"
        if panel.kind == "seam":
            opening = self.by_id.get(panel.opening or "")
            if opening is not None and opening.kind in SET_IN:
                return None
            if opening is None or opening.stands_open or not panel.filled:
                return "none"
            return self._own_kind(opening)
        if panel.kind in OPENING_KINDS:
            return panel.kind  # type: ignore[return-value]
        return None

    def _kind(self, panel: Panel, far: Panel | None, behind: Behind, void: bool) -> ElementKind:
        if far is None:
            own = self._own_kind(panel)
            if own is not None:
                return own
            base = self.base(panel).kind
            inner = void or behind == "unmodelled"
            if base == "wall":
                return "interior-wall" if inner else "exterior-wall"
            if base == "floor":
                return "slab" if behind == "earth" and not void else "floor"
            return "floor" if inner else "roof"
        own, other = self._own_kind(panel), self._own_kind(far)
        if own == "none" and other == "none":
            return "none"
        # A hole on one side only leaves the other side's part of the wall standing.
        for kind in (own, other):
            if kind is not None and kind != "none":
                return kind
        bases = (self.base(panel), self.base(far))
        if any(base.kind == "floor" for base in bases):
            return "floor"
        if any(base.kind == "wall" for base in bases):
            return "interior-wall"
        return "floor"

    def _named(self, panel: Panel) -> str | None:
        """Assembly that the project names for a panel; a ring follows its wall."""
        if panel.assembly is None and panel.kind == "seam":
            return self.base(panel).assembly
        return panel.assembly

    def _assembly(
        self,
        kind: ElementKind,
        panel: Panel,
        far: Panel | None,
        behind: Behind,
        void: bool,
    ) -> tuple[ElementKind, str | None]:
        if kind == "none":
            return kind, None
        sides = [panel] if far is None else [panel, far]
        named = [(side, self._named(side)) for side in sides if self._carries(side, kind)]
        given = [(side, name) for side, name in named if name is not None]
        if len({name for _, name in given}) > 1:
            (one, first), (two, second) = given
            self.clashes.setdefault(
                frozenset((one.id, two.id)),
                Fault(
                    message=f"{one.id} names assembly {first} and {two.id}, the other side of "
                    f"the same {kind}, names {second}; they must agree",
                    subject=("panel", one.id, "assembly"),
                ),
            )
        if given:
            return kind, given[0][1]
        line = self.construction.get(kind) or self.construction.get(STAND_INS.get(kind, ""))
        if line is not None:
            return kind, line
        if kind == "vent":
            return "none", None
        if kind in SET_IN:
            host = self.base(panel)
            behind_it = None if far is None else self.base(far)
            inner = self._kind(host, behind_it, behind, void)
            return kind, self._assembly(inner, host, behind_it, behind, void)[1]
        self.missing[kind].append(panel.id)
        return kind, None

    def _carries(self, side: Panel, kind: ElementKind) -> bool:
        """Whether an assembly named for this side is one of the whole element.

        Opposite a window or a box set into one side, the wall's assembly says nothing of it.
        """
        return self._own_kind(side) == kind or kind not in OPENING_KINDS

    def _sides(self, panel: Panel, far: Panel | None) -> tuple[str, str | None]:
        """The panel on the side of the assembly's first layer, and the other one."""
        if far is None:
            return panel.id, None
        near_named, far_named = panel.assembly is not None, far.assembly is not None
        if near_named != far_named:
            return (panel.id, far.id) if near_named else (far.id, panel.id)
        if abs(panel.normal[2]) > 0.5:  # layers run from the upper space down
            upper_first = panel.normal[2] > 0.0
        else:
            upper_first = self.order[panel.id] < self.order[far.id]
        return (panel.id, far.id) if upper_first else (far.id, panel.id)
