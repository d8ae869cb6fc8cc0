// Inner corners of a room, where one face lies in the shade of another.
import { distanceToSegment, dot, mid, norm, outlinesOf, sub } from "./shapes.js";

/** @import { Face, Point } from "./types" */

const IN_PLANE_M = 2e-3;
const TOUCH_M = 5e-3;

/**
 * Edges of a face where another face of its room rises before it, the longest first.
 * @param {Face} face
 * @param {Face[]} mates faces of the same room
 * @returns {Point[][]}
 */
export function innerEdges(face, mates) {
  const edges = [];
  for (const ring of face.outlines) {
    ring.forEach((a, k) => {
      const b = ring[(k + 1) % ring.length];
      if (mates.some((mate) => mate !== face && risesAt(mate, face, a, b))) edges.push([a, b]);
    });
  }
  return edges.sort((p, q) => norm(sub(q[1], q[0])) - norm(sub(p[1], p[0])));
}

/**
 * Whether a face contains an edge of another and stands before it there.
 * @param {Face} mate
 * @param {Face} face
 * @param {Point} a
 * @param {Point} b
 */
function risesAt({ panel }, face, a, b) {
  if (Math.abs(dot(panel.normal, face.panel.normal)) > 0.9) return false;
  const off = (p) => Math.abs(dot(sub(p, panel.centre), panel.normal));
  if (off(a) > IN_PLANE_M || off(b) > IN_PLANE_M) return false;
  const middle = mid(a, b);
  const touches = outlinesOf(panel).some((other) =>
    other.some((c, j) => distanceToSegment(middle, c, other[(j + 1) % other.length]) < TOUCH_M),
  );
  return touches && dot(sub(panel.centre, middle), face.panel.normal) > 1e-3;
}
