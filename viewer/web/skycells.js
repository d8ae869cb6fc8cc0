// The cells of the disc of all directions: which panel each shows, and where names fit.

/** @import { SkyViewJson } from "./scene" */
/** @import { Point } from "./types" */

export const RADIUS = 50; // of the disc, in the drawing's own units
const OUTSIDE = -2;

/**
 * Values of a run-length code.
 * @param {number[]} code
 */
export function expanded(code) {
  const values = [];
  for (let k = 0; k < code.length; k += 2) {
    for (let n = code[k + 1]; n > 0; n--) values.push(code[k]);
  }
  return values;
}

/**
 * Cells of a square grid whose middles lie on the disc, row by row from the top.
 * @param {number} side
 */
export function discCells(side) {
  const found = [];
  for (let row = 0; row < side; row++) {
    for (let column = 0; column < side; column++) {
      const [x, y] = [((column + 0.5) / side) * 2 - 1, 1 - ((row + 0.5) / side) * 2];
      if (Math.hypot(x, y) < 1) found.push(row * side + column);
    }
  }
  return found;
}

/** What each cell of a sky shows. */
export class SkyCells {
  /** @type {Record<string, Int32Array>} */
  #sums = {};

  /** @param {SkyViewJson} sky */
  constructor(sky) {
    this.side = sky.side;
    this.panels = sky.panels;
    this.cells = new Int32Array(sky.side * sky.side).fill(OUTSIDE);
    const values = expanded(sky.first);
    discCells(sky.side).forEach((cell, k) => {
      this.cells[cell] = values[k];
    });
  }

  /**
   * Id of the panel at a place of the drawing, whose middle is 0, 0 and whose y goes down.
   * @param {number} x
   * @param {number} y
   */
  panelAt(x, y) {
    const column = Math.floor(((x / RADIUS + 1) / 2) * this.side);
    const row = Math.floor(((y / RADIUS + 1) / 2) * this.side);
    if (column < 0 || row < 0 || column >= this.side || row >= this.side) return null;
    const place = this.cells[row * this.side + column];
    return place >= 0 ? this.panels[place] : null;
  }

  /**
   * Middles where a box lies wholly in what is seen of a panel, those nearest to a spot first.
   * @param {string} panel
   * @param {number[]} half of the box: across and down
   * @param {Point} spot
   * @returns {Point[]}
   */
  within(panel, [across, down], [x0, y0]) {
    const { side } = this;
    this.#sums[panel] ??= this.#summed(this.panels.indexOf(panel));
    const sums = this.#sums[panel];
    const size = (2 * RADIUS) / side;
    const [wide, high] = [Math.ceil((2 * across) / size), Math.ceil((2 * down) / size)];
    const upTo = (row, column) => sums[row * (side + 1) + column];
    const found = [];
    for (let r = 0; r + high <= side; r++) {
      for (let c = 0; c + wide <= side; c++) {
        const held = upTo(r + high, c + wide) - upTo(r, c + wide) - upTo(r + high, c) + upTo(r, c);
        if (held !== wide * high) continue;
        found.push([(c + wide / 2) * size - RADIUS, (r + high / 2) * size - RADIUS]);
      }
    }
    const away = ([x, y]) => Math.hypot(x - x0, y - y0);
    return found.sort((a, b) => away(a) - away(b));
  }

  /** Sums over the cells above and left of each corner, of those that show one panel. */
  #summed(index) {
    const { side, cells } = this;
    const sums = new Int32Array((side + 1) * (side + 1));
    for (let row = 0; row < side; row++) {
      for (let column = 0; column < side; column++) {
        const at = (row + 1) * (side + 1) + column + 1;
        const own = cells[row * side + column] === index ? 1 : 0;
        sums[at] = sums[at - 1] + sums[at - side - 1] - sums[at - side - 2] + own;
      }
    }
    return sums;
  }
}

/**
 * Middles of a box round a spot, the nearest first; with a clearance the first four touch it.
 * @param {Point} spot
 * @param {number[]} half of the box: across and down
 * @param {number} clear
 * @returns {Array<{x: number, y: number, touches: boolean}>}
 */
export function beside([x, y], [across, down], clear) {
  const found = [];
  if (clear) {
    const [dx, dy] = [across + clear, down + clear];
    for (const [sx, sy] of [
      [0, -dy],
      [0, dy],
      [dx, 0],
      [-dx, 0],
    ]) {
      found.push({ x: x + sx, y: y + sy, touches: true });
    }
  }
  for (let r = 1; r < 16; r++) {
    const reach = clear + 1.6 * down * r;
    for (let k = 0; k < 16; k++) {
      const turn = (k * Math.PI) / 8;
      const [dx, dy] = [Math.sin(turn), -Math.cos(turn)];
      found.push({
        x: x + dx * (reach + across),
        y: y + dy * (reach + 0.5 * down),
        touches: false,
      });
    }
  }
  return found;
}
