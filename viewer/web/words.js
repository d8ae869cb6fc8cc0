// Words and colours that the cutaway, the map of directions and the pages share.

/** @import { PanelJson, SceneJson } from "./scene" */

/**
 * A name from a file, fit for a label: one line, no invisible or direction marks, not endless.
 * @param {string} name
 */
export function shown(name, limit = 48) {
  const plain = name.replace(/\s+/gu, " ").replace(/\p{C}/gu, "").trim();
  return plain.length <= limit ? plain : `${plain.slice(0, limit - 1).trimEnd()}…`;
}

const SPACE = "\u00a0"; // between thousands, and before a unit that must not stand alone

/**
 * A share 0 to 1: whole per cents from 10 on, one decimal below, never a rounded nothing.
 * @param {number} share
 */
export function percent(share) {
  const value = 100 * share;
  if (!(value > 0)) return `0${SPACE}%`;
  if (value < 0.1) return `<${SPACE}0.1${SPACE}%`;
  if (value >= 99.5 && value < 99.95) return `${value.toFixed(1)}${SPACE}%`;
  if (value >= 9.95) return `${value.toFixed(0)}${SPACE}%`;
  return `${value.toFixed(1).replace(/\.0$/, "")}${SPACE}%`;
}

/**
 * A loss or a reduction; a loss that rounds to nothing has no sign.
 * @param {number | null} value null where nothing passes
 */
export function decibels(value) {
  if (value === null) return "nothing passes";
  const words = value.toFixed(1).replace(/^-0\.0$/, "0.0");
  return `${words.replace("-", "−")}${SPACE}dB`;
}

/**
 * A frequency in the unit that leaves the fewest digits.
 * @param {number} value in Hz
 */
export function hertz(value) {
  /** @type {Array<[number, string]>} */
  const units = [
    [1e9, "GHz"],
    [1e6, "MHz"],
    [1e3, "kHz"],
  ];
  const [size, unit] = units.find(([each]) => value >= each) ?? [1, "Hz"];
  return `${Number((value / size).toPrecision(4))}${SPACE}${unit}`;
}

/**
 * A number with its thousands set apart.
 * @param {number} value
 */
export function grouped(value, digits = 0) {
  const [whole, rest] = Math.abs(value).toFixed(digits).split(".");
  const sign = value < 0 && Number(whole + (rest ?? "")) ? "-" : "";
  return sign + whole.replace(/\B(?=(\d{3})+$)/g, SPACE) + (rest ? `.${rest}` : "");
}

/**
 * A power density in µW/m², with three figures that matter.
 * @param {number | null | undefined} value in W/m²
 */
export function density(value) {
  if (value === null || value === undefined) return "–";
  const micro = value * 1e6;
  const words = micro === 0 ? "0" : micro < 0.001 ? `<${SPACE}0.001` : significant(micro);
  return `${words}${SPACE}µW/m²`;
}

/** @param {number} value */
function significant(value) {
  const rounded = Number(value.toPrecision(3));
  return grouped(value, Math.max(0, 2 - Math.floor(Math.log10(rounded))));
}

const INCH_M = 0.0254;

/**
 * Metres as feet, inches and a part of an inch.
 * @param {number} value
 */
export function feetInches(value, parts = 2) {
  const steps = Math.round((Math.abs(value) / INCH_M) * parts);
  const feet = Math.floor(steps / (12 * parts));
  const inches = Math.floor((steps % (12 * parts)) / parts);
  let over = steps % parts;
  let under = parts;
  while (over && over % 2 === 0) [over, under] = [over / 2, under / 2];
  const words = feet ? [`${feet} ft`] : [];
  if (inches || over)
    words.push(`${[inches || "", over ? `${over}/${under}` : ""].filter(Boolean).join(" ")} in`);
  return (value < 0 && steps ? "-" : "") + (words.join(" ") || "0 in");
}

/**
 * A length in the measure that the job is written in: to the centimetre, or half an inch.
 * @param {Pick<SceneJson, "feet">} scene
 * @param {number} value
 */
export function length(scene, value) {
  return (scene.feet ? feetInches(value) : `${value.toFixed(2)} m`).replaceAll(" ", SPACE);
}

/**
 * A distance out of doors, in whole metres or feet.
 * @param {Pick<SceneJson, "feet">} scene
 * @param {number} value
 */
export function farLength(scene, value) {
  return scene.feet ? `${grouped(value / (12 * INCH_M))}${SPACE}ft` : `${grouped(value)}${SPACE}m`;
}

/**
 * @param {Pick<SceneJson, "feet">} scene
 * @param {number} value in m²
 */
export function area(scene, value) {
  const feet = value / 0.09290304;
  if (scene.feet) return `${grouped(feet, feet >= 1 ? 1 : 3)}${SPACE}ft²`;
  return `${grouped(value, value >= 0.1 ? 2 : 4)}${SPACE}m²`;
}

/**
 * What a room is called: its title, or its id without one.
 * @param {Pick<SceneJson, "spaces">} scene
 * @param {string} id
 */
export function spaceName(scene, id) {
  return shown(scene.spaces.find((each) => each.id === id)?.title || id);
}

/**
 * What a face is called; with its room where that is not the receiver's own.
 * @param {SceneJson} scene
 * @param {PanelJson} panel
 */
export function panelName(scene, panel, receiver = 0) {
  const home = scene.receivers[receiver]?.space;
  const title = panel.title || shown(panel.id);
  return panel.space === home ? title : `${title} of ${spaceName(scene, panel.space)}`;
}

/**
 * Title and plain sentences about one face under a plan, for a tip or a card.
 * @param {SceneJson} scene
 * @param {PanelJson} panel
 * @param {number} plan
 * @param {number} receiver
 */
export function describe(scene, panel, plan, receiver) {
  const state = panel.plans[plan];
  const leak = state?.leaks[receiver];
  const who = scene.receivers[receiver];
  const lines = leak ? [...leak.lines] : who && state ? [who.nothing] : [];
  if (state) lines.push(state.worn);
  return [panelName(scene, panel, receiver), ...lines];
}

/**
 * Colour of a value on cividis, 0 dark to 1 bright, as [r, g, b] from 0 to 1.
 * @param {{cividis: string[]}} scene
 * @param {number} place
 */
export function cividis(scene, place) {
  const table = scene.cividis;
  const at = Math.min(Math.max(place, 0), 1) * (table.length - 1);
  const low = Math.floor(at);
  const [a, b] = [rgb(table[low]), rgb(table[Math.min(low + 1, table.length - 1)])];
  return a.map((part, k) => part + (b[k] - part) * (at - low));
}

/**
 * Place of a value in dB on a scale [low, high]; null stands for "nothing passes".
 * @param {number[]} scale
 * @param {number | null | undefined} value
 * @param {number} whereNull
 */
export function placeOn(scale, value, whereNull) {
  if (value === null || value === undefined) return whereNull;
  return Math.min(Math.max((value - scale[0]) / (scale[1] - scale[0]), 0), 1);
}

/**
 * "#rrggbb" as [r, g, b] from 0 to 1.
 * @param {string} colour
 */
export function rgb(colour) {
  return [1, 3, 5].map((k) => parseInt(colour.slice(k, k + 2), 16) / 255);
}
