// Small drawings beside the fields of a form, which write what is drawn into the fields.
import { feetInches } from "./words.js";

const SVG = "http://www.w3.org/2000/svg";
const INCH_M = 0.0254;

/**
 * An SVG node.
 * @param {string} tag
 * @param {Record<string, unknown>} [attributes]
 * @param {...(Node | string)} children
 * @returns {SVGElement}
 */
export function s(tag, attributes = {}, ...children) {
  const node = document.createElementNS(SVG, tag);
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, String(value));
  node.append(...children);
  return node;
}

/**
 * Where a pointer is, in the units of a drawing.
 * @param {SVGGraphicsElement} drawing
 * @param {PointerEvent} event
 * @returns {[number, number]}
 */
export function placeIn(drawing, event) {
  const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(
    drawing.getScreenCTM()?.inverse(),
  );
  return [at.x, at.y];
}

/**
 * To the centimetre, or to half an inch.
 * @param {number} value
 * @param {boolean} feet
 */
export function snapped(value, feet) {
  const grid = feet ? INCH_M / 2 : 0.01;
  return Math.round(value / grid) * grid;
}

/**
 * A length as one types it.
 * @param {number} value
 * @param {boolean} feet
 */
export function typedLength(value, feet) {
  return feet ? feetInches(value, 2) : `${Number(value.toFixed(2))} m`;
}

/**
 * Lengths of a point or a size, with one unit at the end where they are metric.
 * @param {number[]} values
 * @param {boolean} feet
 * @param {string} between
 */
export function typedLengths(values, feet, between) {
  if (feet) return values.map((each) => feetInches(each, 2)).join(between);
  if (between === " x ") return values.map((each) => typedLength(each, false)).join(between);
  return `${values.map((each) => Number(each.toFixed(2))).join(between)} m`;
}

/**
 * Metres of a length that somebody typed, near enough to draw it; NaN where it is none.
 * @param {string} text
 */
export function metres(text) {
  const words = text.trim().replaceAll("−", "-");
  const sign = words.startsWith("-") ? -1 : 1;
  const feet = words.match(/([\d.]+)\s*(?:ft|')/);
  const inches = words.match(/(?:(\d+(?:\.\d+)?)\s+)?(?:(\d+)\/(\d+)|(\d+(?:\.\d+)?))\s*(?:in|")/);
  if (feet || inches) {
    const whole = Number(inches?.[1] ?? 0);
    const part = inches?.[2] ? Number(inches[2]) / Number(inches[3]) : Number(inches?.[4] ?? 0);
    return sign * (Number(feet?.[1] ?? 0) * 12 + whole + part) * INCH_M;
  }
  const number = Number.parseFloat(words);
  if (/mm\s*$/.test(words)) return number / 1000;
  return /cm\s*$/.test(words) ? number / 100 : number;
}

/**
 * Metres of the coordinates of a point that somebody typed, one unit at the end or one each.
 * @param {string} text
 * @returns {number[]}
 */
export function spotOf(text) {
  const parts = text.split(",").map((each) => each.trim());
  const unit = parts[parts.length - 1]?.match(/[a-zµ]+$/i)?.[0] ?? "";
  return parts.map((each) => metres(/[a-z'"]/i.test(each) ? each : `${each} ${unit}`));
}
