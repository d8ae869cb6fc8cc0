// The coloured disc of all directions, drawn on a canvas.
import { discCells, expanded, RADIUS } from "./skycells.js";
import { cividis, placeOn } from "./words.js";

/** @import { SkyViewJson } from "./scene" */

const BLOCKED = 254;
const NOTHING = 255;
const BLOCKED_COLOUR = [216, 210, 198];
const HATCH = 7;

/**
 * Colour of every code of a loss, as red, green and blue from 0 to 255.
 * @param {SkyViewJson} sky
 */
export function colourTable(sky) {
  return Array.from({ length: 256 }, (_, code) => {
    if (code === BLOCKED) return BLOCKED_COLOUR;
    const place = code === NOTHING ? 1 : placeOn(sky.scale_db, code, 1);
    return cividis(sky, 1 - place).map((part) => Math.round(255 * part));
  });
}

/**
 * Paint a sky under a plan, as wide as the element is.
 * @param {HTMLCanvasElement} canvas
 * @param {SkyViewJson} sky
 * @param {number} plan
 * @param {number} wide of the element, in CSS pixels
 */
export function paintSky(canvas, sky, plan, wide) {
  const { page, blocked } = pageOf(sky, plan);
  const width = Math.round(wide * Math.min(window.devicePixelRatio || 1, 2));
  canvas.width = canvas.height = width;
  const ink = /** @type {CanvasRenderingContext2D} */ (canvas.getContext("2d"));
  const radius = (width * RADIUS) / 120;
  ink.save();
  ink.beginPath();
  ink.arc(width / 2, width / 2, radius, 0, 2 * Math.PI);
  ink.clip();
  ink.imageSmoothingEnabled = true;
  ink.drawImage(page, width / 2 - radius, width / 2 - radius, 2 * radius, 2 * radius);
  hatch(ink, blocked, { side: sky.side, width, radius });
  ink.restore();
}

/**
 * One pixel a cell, and the cells that the ground blocks.
 * @param {SkyViewJson} sky
 * @param {number} plan
 */
function pageOf(sky, plan) {
  const { side } = sky;
  const page = document.createElement("canvas");
  page.width = page.height = side;
  const pen = /** @type {CanvasRenderingContext2D} */ (page.getContext("2d"));
  const image = pen.createImageData(side, side);
  const table = colourTable(sky);
  const values = expanded(sky.losses[plan]);
  /** @type {number[]} */
  const blocked = [];
  discCells(side).forEach((cell, k) => {
    image.data.set([...table[values[k]], 255], 4 * cell);
    if (values[k] === BLOCKED) blocked.push(cell);
  });
  bleed(image.data, side);
  pen.putImageData(image, 0, 0);
  return { page, blocked };
}

/**
 * Carry colours of the disc's rim outward, so that smoothing finds no dark edge there.
 * @param {Uint8ClampedArray} data
 * @param {number} side
 */
export function bleed(data, side) {
  for (let row = 0; row < side; row++) {
    for (let column = 0; column < side; column++) {
      const cell = row * side + column;
      if (data[4 * cell + 3]) continue;
      const [x, y] = [column + 0.5 - side / 2, row + 0.5 - side / 2];
      const shrink = (side / 2 - 1) / Math.hypot(x, y);
      const from = Math.floor(y * shrink + side / 2) * side + Math.floor(x * shrink + side / 2);
      data.set(data.slice(4 * from, 4 * from + 3), 4 * cell);
    }
  }
  for (let k = 3; k < data.length; k += 4) data[k] = 255;
}

/** Blocked directions are hatched: told from the others without colour. */
function hatch(ink, blocked, { side, width, radius }) {
  const step = (2 * radius) / side;
  const left = width / 2 - radius;
  ink.save();
  ink.beginPath();
  for (const cell of blocked) {
    const [x, y] = [left + (cell % side) * step, left + Math.floor(cell / side) * step];
    ink.rect(x, y, step + 0.5, step + 0.5);
  }
  ink.clip();
  ink.strokeStyle = "#8b8475";
  ink.lineWidth = Math.max(1, width / 420);
  ink.beginPath();
  const gap = (HATCH * width) / 360;
  for (let x = -width; x < width; x += gap) {
    ink.moveTo(x, 0);
    ink.lineTo(x + width, width);
  }
  ink.stroke();
  ink.restore();
}
