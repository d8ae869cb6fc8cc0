// Labels over a picture: none covers another, and one for which there is no room is left out.

const RINGS = 6; // how far from its place a label may stand
const STEP = 15;
const BEAD = 7; // of what labels keep clear of
const EDGE = 24; // over the picture's edge, from where a label that belongs near is still brought in

/** Labels in an element. Each wanted label is {kind, text, at: [x, y], away, fixed, near}. */
export function labelsIn(root) {
  const leaders = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  leaders.setAttribute("class", "gc-leaders");
  leaders.setAttribute("aria-hidden", "true");
  const box = document.createElement("div");
  box.className = "gc-labels";
  box.setAttribute("aria-hidden", "true");
  root.append(leaders, box);
  const made = new Map(); // kind, text and which of its like → element, kept from picture to picture

  function labelOf({ kind, text }, which) {
    const key = `${kind}\n${text}\n${which}`;
    let node = made.get(key);
    if (!node) {
      node = document.createElement("span");
      node.className = `gc-label gc-${kind}`;
      node.textContent = text;
      box.append(node);
      made.set(key, node);
    }
    if (!node.size?.[0]) {
      node.hidden = false;
      node.size = [node.offsetWidth, node.offsetHeight];
    }
    return node;
  }

  /** Small boxes along a line, so that a label keeps clear of it. */
  function beads([a, b]) {
    const count = Math.ceil(Math.hypot(b[0] - a[0], b[1] - a[1]) / BEAD) + 1;
    return Array.from({ length: count }, (_, k) => {
      const [x, y] = [0, 1].map(
        (axis) => a[axis] + ((b[axis] - a[axis]) * k) / Math.max(count - 1, 1),
      );
      return [x - BEAD / 2, y - BEAD / 2, x + BEAD / 2, y + BEAD / 2];
    });
  }

  /** Where a label may stand, as shifts from its place, the best first. */
  function tries([w, h], { away, fixed, near }) {
    if (fixed) return [[0, 0]];
    if (near)
      return [0, 12, 22].flatMap((d) =>
        d
          ? [
              [0, d],
              [0, -d],
              [d, 0],
              [-d, 0],
            ]
          : [[0, 0]],
      );
    const found = away ? [] : [[0, 0]];
    for (let r = 0; r < RINGS; r++) {
      const d = 16 + STEP * r;
      const [x, y] = [w / 2, h / 2 + d];
      found.push([0, -y], [0, y], [x + d, 0], [-x - d, 0], [x, -y], [-x, -y], [x, y], [-x, y]);
    }
    return found;
  }

  /** A place brought into the picture where it lies over its edge by little. */
  function inward(value, half, size) {
    const inside = Math.min(Math.max(value, half), size - half);
    return Math.abs(inside - value) <= EDGE ? inside : value;
  }

  /** Place labels in a picture of a size, the most important first, none over `lines` [[a, b]] or `boxes`. */
  function place(wanted, [width, height], lines = [], boxes = []) {
    const alike = new Map();
    const nodes = wanted.map((want) => {
      const like = `${want.kind}\n${want.text}`;
      alike.set(like, (alike.get(like) ?? -1) + 1);
      return labelOf(want, alike.get(like));
    });
    for (const node of made.values()) node.hidden = true;
    const taken = [...lines.flatMap(beads), ...boxes];
    const strokes = [];
    wanted.forEach((want, k) => {
      const [w, h] = nodes[k].size;
      for (const [dx, dy] of tries(nodes[k].size, want)) {
        let [x, y] = [want.at[0] + dx, want.at[1] + dy];
        if (want.near) [x, y] = [inward(x, w / 2 + 5, width), inward(y, h / 2 + 4, height)];
        const edge = [x - w / 2 - 3, y - h / 2 - 2, x + w / 2 + 3, y + h / 2 + 2];
        if (edge[0] < 2 || edge[1] < 2 || edge[2] > width - 2 || edge[3] > height - 2) continue;
        if (taken.some((b) => edge[0] < b[2] && edge[2] > b[0] && edge[1] < b[3] && edge[3] > b[1]))
          continue;
        taken.push(edge);
        nodes[k].hidden = false;
        nodes[k].style.transform =
          `translate(${Math.round(x - w / 2)}px, ${Math.round(y - h / 2)}px)`;
        const end = [
          Math.min(Math.max(want.at[0], x - w / 2), x + w / 2),
          Math.min(Math.max(want.at[1], y - h / 2), y + h / 2),
        ];
        if (Math.hypot(end[0] - want.at[0], end[1] - want.at[1]) > 6) strokes.push([want, end]);
        break;
      }
    });
    leaders.replaceChildren(...strokes.map(leader));
  }

  function leader([{ at, kind }, end]) {
    const line = document.createElementNS("http://www.w3.org/2000/svg", "line");
    line.setAttribute("class", `gc-leader gc-${kind}`);
    const ends = { x1: at[0], y1: at[1], x2: end[0], y2: end[1] };
    for (const [name, value] of Object.entries(ends)) line.setAttribute(name, value.toFixed(1));
    return line;
  }

  return {
    place,
    forget() {
      for (const node of made.values()) node.remove();
      made.clear();
    },
  };
}
