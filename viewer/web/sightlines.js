// Transmitters that stand at a place: where they are shown, and the line from a receiver to each.
// As viewer/scene/transmitters.py has it: one near the rooms that are shown stands where it is; one that
// is farther comes as an arrow on the ring, with its distance in its label.
import { add, norm, point, sub, unit } from "./shapes.js";
import { farLength } from "./words.js";

const NEAR = 2; // radii of the ring within which a transmitter stands where it is
const DASH_M = 0.16;
const STEP_M = 0.27;

/** Whether a transmitter is shown where it is. */
export function isNear(source, ring) {
  if (!source.position) return false;
  const [x, y, z] = sub(source.position, ring.centre);
  return Math.hypot(x, y) <= NEAR * ring.radius && Math.abs(z) <= NEAR * ring.radius;
}

/** The way to a source: its direction, or from the receiver to its place; null for an even field. */
export function wayTo(source, receiver) {
  if (source.direction || !source.position || !receiver) return source.direction;
  return unit(sub(source.position, receiver.position));
}

/** A source's label, with its distance where it is not shown where it is. */
export function labelOf(scene, source, receiver, ring, text) {
  if (!source.position || !receiver || isNear(source, ring)) return text;
  return `${text}, ${farLength(scene, norm(sub(source.position, receiver.position)))} away`;
}

/** What is drawn of a line, as [a, b]: whole in the receiver's room, dashed beyond the first panel. */
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
        const even = ((x === 3) + (y === 4) + (z === 5)) % 2 === 0;
        triangles.push(...(even ? [x, y, z] : [y, x, z]));
      }
    }
  }
  return { vertices, triangles };
}
