// Labels over a picture, as elements that are kept from picture to picture.
import { beads, placed } from "./placing.js";

/** @import { Box } from "./placing.js" */
/** @import { Callout, Point } from "./types" */

const SVG = "http://www.w3.org/2000/svg";

/**
 * Labels in an element.
 * @param {HTMLElement} root
 */
export function labelsIn(root) {
  const leaders = document.createElementNS(SVG, "svg");
  leaders.setAttribute("class", "gc-leaders");
  leaders.setAttribute("aria-hidden", "true");
  const box = document.createElement("div");
  box.className = "gc-labels";
  box.setAttribute("aria-hidden", "true");
  root.append(leaders, box);
  /** @type {Map<string, {node: HTMLElement, size: number[]}>} */
  const made = new Map(); // by kind, text and which of its like

  /**
   * @param {Callout} callout
   * @param {number} which
   */
  function labelOf({ kind, text }, which) {
    const key = `${kind}\n${text}\n${which}`;
    let label = made.get(key);
    if (!label) {
      const node = document.createElement("span");
      node.className = `gc-label gc-${kind}`;
      node.textContent = text;
      box.append(node);
      label = { node, size: [0, 0] };
      made.set(key, label);
    }
    if (!label.size[0]) {
      label.node.hidden = false;
      label.size = [label.node.offsetWidth, label.node.offsetHeight];
    }
    return label;
  }

  /**
   * Place labels in a picture of a size, the most important first, none over lines or boxes.
   * @param {Callout[]} wanted
   * @param {number[]} size
   * @param {Point[][]} lines
   * @param {Box[]} boxes
   */
  function place(wanted, size, lines = [], boxes = []) {
    const alike = new Map();
    const labels = wanted.map((want) => {
      const like = `${want.kind}\n${want.text}`;
      const which = (alike.get(like) ?? -1) + 1;
      alike.set(like, which);
      return labelOf(want, which);
    });
    for (const { node } of made.values()) node.hidden = true;
    const sized = wanted.map((want, k) => ({ ...want, size: labels[k].size }));
    const found = placed(sized, size, [...lines.flatMap(beads), ...boxes]);
    const drawn = [];
    found.forEach((spot, k) => {
      if (!spot) return;
      const { node, size: own } = labels[k];
      const [left, top] = [spot.x - own[0] / 2, spot.y - own[1] / 2];
      node.hidden = false;
      node.style.transform = `translate(${Math.round(left)}px, ${Math.round(top)}px)`;
      if (spot.leader) drawn.push(leader(wanted[k], spot.leader));
    });
    leaders.replaceChildren(...drawn);
  }

  /**
   * @param {Callout} callout
   * @param {Point} end
   */
  function leader({ at, kind }, end) {
    const line = document.createElementNS(SVG, "line");
    line.setAttribute("class", `gc-leader gc-${kind}`);
    const ends = { x1: at[0], y1: at[1], x2: end[0], y2: end[1] };
    for (const [name, value] of Object.entries(ends)) line.setAttribute(name, value.toFixed(1));
    return line;
  }

  return {
    place,
    forget() {
      for (const { node } of made.values()) node.remove();
      made.clear();
    },
  };
}
