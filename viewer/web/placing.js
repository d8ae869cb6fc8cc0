// Where labels stand: none covers another, and one for which there is no room is left out.

/** @import { Callout, Point } from "./types" */

/** @typedef {[number, number, number, number]} Box left, top, right and bottom, in pixels */

const RINGS = 6; // how far from its place a label may stand
const STEP = 15;
const BEAD = 7; // of what labels keep clear of
const EDGE = 24; // over the picture's edge, from where a label that belongs near is still brought in
const LED_FROM = 6; // distance from its place at which a label has a leader

/**
 * Small boxes along a line, so that a label keeps clear of it.
 * @param {Point[]} line its two ends
 * @returns {Box[]}
 */
export function beads([a, b]) {
  const count = Math.ceil(Math.hypot(b[0] - a[0], b[1] - a[1]) / BEAD) + 1;
  return Array.from({ length: count }, (_, k) => {
    const share = k / Math.max(count - 1, 1);
    const [x, y] = [a[0] + (b[0] - a[0]) * share, a[1] + (b[1] - a[1]) * share];
    return [x - BEAD / 2, y - BEAD / 2, x + BEAD / 2, y + BEAD / 2];
  });
}

/**
 * Where a label may stand, as shifts from its place, the best first.
 * @param {number[]} size
 * @param {Pick<Callout, "away" | "fixed" | "near">} want
 * @returns {Point[]}
 */
export function shifts([w, h], { away, fixed, near }) {
  const here = [0, 0];
  if (fixed) return [here];
  if (near) {
    const round = (d) => [
      [0, d],
      [0, -d],
      [d, 0],
      [-d, 0],
    ];
    return [here, ...round(12), ...round(22)];
  }
  const found = away ? [] : [here];
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

/**
 * @param {Box} box
 * @param {Box[]} taken
 */
const meets = (box, taken) =>
  taken.some((b) => box[0] < b[2] && box[2] > b[0] && box[1] < b[3] && box[3] > b[1]);

/**
 * Middles that a label may have, the best first.
 * @param {Callout & {size: number[]}} want
 */
function* middles(want) {
  const [x, y] = want.at;
  for (const [dx, dy] of shifts(want.size, want)) yield [x + dx, y + dy];
  yield* want.elsewhere ?? [];
}

/**
 * Middles of labels in a picture, null for one that has no room; `leader` is the end of a line to a
 * label that stands away from its place.
 * @param {Array<Callout & {size: number[]}>} wanted the most important first
 * @param {number[]} picture its width and height
 * @param {Box[]} taken what labels keep clear of
 * @returns {Array<{x: number, y: number, leader: Point | null} | null>}
 */
export function placed(wanted, [width, height], taken) {
  const full = [...taken];
  return wanted.map((want) => {
    const [w, h] = want.size;
    for (let [x, y] of middles(want)) {
      if (want.near) [x, y] = [inward(x, w / 2 + 5, width), inward(y, h / 2 + 4, height)];
      /** @type {Box} */
      const box = [x - w / 2 - 3, y - h / 2 - 2, x + w / 2 + 3, y + h / 2 + 2];
      if (box[0] < 2 || box[1] < 2 || box[2] > width - 2 || box[3] > height - 2) continue;
      if (meets(box, full)) continue;
      full.push(box);
      const end = [
        Math.min(Math.max(want.at[0], x - w / 2), x + w / 2),
        Math.min(Math.max(want.at[1], y - h / 2), y + h / 2),
      ];
      const far = Math.hypot(end[0] - want.at[0], end[1] - want.at[1]) > LED_FROM && !want.fixed;
      return { x, y, leader: far ? end : null };
    }
    return null;
  });
}
