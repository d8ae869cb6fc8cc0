// Transmitters that stand at a place: where they are shown, and the line from a receiver to each.
// As viewer/scene/transmitters.py has it: one near the rooms that are shown stands where it is; one that
// is farther comes as an arrow on the ring, with its distance in its label.
import { add, norm, point, sub, unit } from "./shapes.js";
import { farLength } from "./words.js";

/** @import { ReceiverJson, SceneJson, SightJson, SourceJson } from "./scene" */
/** @import { Point, Ring, Rooms, ViewState } from "./types" */

/**
 * @typedef {object} SourcesDrawn
 * @property {Point[]} marks of transmitters that stand where they are
 * @property {Point[][]} arrows tail and tip
 * @property {Point[][]} threads from the ring to an arrow's tip
 * @property {Point[][]} sights pieces of the lines of sight
 * @property {Map<string, Point>} places where each source's label stands
 * @property {Point[][]} strokes lines that labels keep clear of
 */

const NEAR = 2; // radii of the ring within which a transmitter stands where it is
const DASH_M = 0.16;
const STEP_M = 0.27;

/**
 * Whether a transmitter is shown where it is.
 * @param {SourceJson} source
 * @param {Ring} ring
 */
export function isNear(source, ring) {
  if (!source.position) return false;
  const [x, y, z] = sub(source.position, ring.centre);
  return Math.hypot(x, y) <= NEAR * ring.radius && Math.abs(z) <= NEAR * ring.radius;
}

/**
 * The way to a source: its direction, or from the receiver to its place; null for an even field.
 * @param {SourceJson} source
 * @param {ReceiverJson | undefined} receiver
 */
export function wayTo(source, receiver) {
  if (source.direction || !source.position || !receiver) return source.direction;
  return unit(sub(source.position, receiver.position));
}

/**
 * A source's label, with its distance where it is not shown where it is.
 * @param {SceneJson} scene
 * @param {SourceJson} source
 * @param {ReceiverJson | undefined} receiver
 * @param {Ring} ring
 * @param {string} text
 */
export function labelOf(scene, source, receiver, ring, text) {
  if (!source.position || !receiver || isNear(source, ring)) return text;
  return `${text}, ${farLength(scene, norm(sub(source.position, receiver.position)))} away`;
}

/**
 * What is drawn of a line, as [a, b]: whole in the receiver's room, dashed beyond the first panel.
 * @param {SightJson} sight
 */
export function dashesOf(sight) {
  const drawn = [];
  sight.pieces.forEach((piece, k) => {
    const [a, b] = [point(piece, 0), point(piece, 1)];
    if (!k) {
      drawn.push([a, b]);
      return;
    }
    const long = norm(sub(b, a));
    const way = unit(sub(b, a));
    for (let from = 0; from < long; from += STEP_M)
      drawn.push([add(a, way, from), add(a, way, Math.min(from + DASH_M, long))]);
  });
  return drawn;
}

/** The mark of a transmitter: a body of eight faces that stands on its tip. */
export function diamondMesh(centre, ring) {
  const half = 0.026 * ring.radius;
  const vertices = [1, -1].flatMap((side) =>
    [0, 1, 2].flatMap((axis) =>
      centre.map((value, k) => value + (k === axis ? side * half * (k === 2 ? 1.35 : 1) : 0)),
    ),
  );
  const triangles = [];
  for (const x of [0, 3]) {
    for (const y of [1, 4]) {
      for (const z of [2, 5]) {
        const even = [x === 3, y === 4, z === 5].filter(Boolean).length % 2 === 0;
        triangles.push(...(even ? [x, y, z] : [y, x, z]));
      }
    }
  }
  return { vertices, triangles };
}

/**
 * What is drawn of the sources: marks and arrows, the threads that tie arrows to the ground, lines
 * of sight, where each one's label stands, and the lines that labels keep clear of.
 * @param {SceneJson} scene
 * @param {ViewState} state
 * @param {Rooms} rooms
 * @param {Ring} ring
 * @returns {SourcesDrawn}
 */
export function sourcesDrawn(scene, state, rooms, ring) {
  const receiver = scene.receivers[state.receiver];
  const tops = scene.spaces.filter(({ id }) => rooms.full.has(id)).map(({ top_m }) => top_m);
  /** @type {SourcesDrawn} */
  const found = { marks: [], arrows: [], threads: [], sights: [], places: new Map(), strokes: [] };
  const near = new Set();
  for (const source of scene.sources) {
    if (state.silent.has(source.id)) continue;
    const way = wayTo(source, receiver);
    if (source.position && isNear(source, ring)) {
      near.add(source.id);
      found.marks.push(source.position);
      found.places.set(source.id, source.position);
      found.strokes.push([source.position, source.position]);
    } else if (way) {
      const { foot, tail, tip } = arrowPlace(way, ring, Math.max(...tops));
      found.arrows.push([tail, tip]);
      found.threads.push([foot, tip]);
      found.places.set(source.id, tail);
      found.strokes.push([tail, tip]);
    }
  }
  if (receiver && rooms.full.has(receiver.space)) {
    const seen = scene.sights.filter(
      (sight) => sight.receiver === receiver.id && near.has(sight.source),
    );
    found.sights.push(...seen.flatMap(dashesOf));
    for (const sight of seen) {
      found.strokes.push(...sight.pieces.map((piece) => [point(piece, 0), point(piece, 1)]));
    }
  }
  return found;
}

/**
 * An arrow on the ring that points the way a source's energy comes.
 * @param {Point} way to the source
 * @param {Ring} ring
 * @param {number} top height of the rooms
 */
function arrowPlace(way, ring, top) {
  const level = [way[0], way[1], 0];
  const steep = norm(level) < 0.05;
  const foot = steep ? ring.centre : add(ring.centre, unit(level), ring.radius);
  const tip = [foot[0], foot[1], top * 0.55 + foot[2] * 0.45];
  return { foot, tip, tail: add(tip, way, 0.3 * ring.radius) };
}
