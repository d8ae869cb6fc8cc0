// What the picture tells of the land around: the ground's level on walls below it, and over which
// part of the compass something outdoors stands. As viewer/scene/rooms.py has it.

import { onRing } from "./rooms.js";
import { add, cross, dot, sub, TAU } from "./shapes.js";

/** @import { SceneJson } from "./scene" */
/** @import { Face, Point, Ring } from "./types" */

const BELOW_M = 0.3; // depth under the ground from which a room's picture shows the ground's level
const SHORT_M = 0.02;
const STEPS = 24; // pieces of an arc

/**
 * Where the ground outside ends on walls that show, as [a, b].
 * @param {SceneJson} scene
 * @param {Face[]} walls faces that show
 */
export function gradeLines(scene, walls) {
  const floors = new Map(scene.spaces.map((space) => [space.id, space.floor_m]));
  const found = [];
  for (const { panel, outlines } of walls) {
    if (panel.kind !== "wall" || Math.abs(panel.normal[2]) > 0.02) continue;
    const floor = floors.get(panel.space) ?? scene.grade_m;
    if (floor > scene.grade_m - BELOW_M) continue;
    if (!panel.behind.some((name) => name === "outdoors" || name === "earth")) continue;
    const along = cross(panel.normal, [0, 0, 1]);
    const marks = outlines
      .flatMap((ring) => crossings(ring, along, scene.grade_m))
      .sort((a, b) => a - b);
    for (let k = 0; k + 1 < marks.length; k += 2) {
      if (marks[k + 1] - marks[k] < SHORT_M) continue;
      found.push(
        [marks[k], marks[k + 1]].map((at) => {
          const [x, y] = add(panel.centre, along, at - dot(panel.centre, along));
          return [x, y, scene.grade_m];
        }),
      );
    }
  }
  return found;
}

/** Where the sides of a ring pass a height, as places along the wall. */
function crossings(ring, along, height_m) {
  const found = [];
  ring.forEach((a, k) => {
    const b = ring[(k + 1) % ring.length];
    if (a[2] > height_m === b[2] > height_m) return;
    const share = (height_m - a[2]) / (b[2] - a[2]);
    found.push(dot(add(a, sub(b, a), share), along));
  });
  return found;
}

/**
 * Arcs of the ring before things outdoors, seen from its middle.
 * @param {SceneJson} scene
 * @param {Ring} ring
 * @returns {Array<{id: string, points: Point[]}>}
 */
export function blockedArcs(scene, ring) {
  const north = scene.north;
  const east = [north[1], -north[0], 0];
  const found = [];
  for (const block of scene.blocks) {
    const corners = [];
    for (let k = 0; k < block.corners.length / 2; k++) {
      corners.push(sub([...block.corners.slice(2 * k, 2 * k + 2), ring.centre[2]], ring.centre));
    }
    if (around(corners)) continue; // the ring's middle lies in it
    const turns = corners.map((p) => Math.atan2(dot(p, east), dot(p, north)));
    const off = turns.map((turn) => turnsTo(turn - turns[0]));
    const [low, high] = [turns[0] + Math.min(...off), turns[0] + Math.max(...off)];
    const points = Array.from({ length: STEPS + 1 }, (_, k) =>
      onRing(scene, ring, low + ((high - low) * k) / STEPS, 1.025),
    );
    found.push({ id: block.id, points });
  }
  return found;
}

/** An angle between -π and π. */
function turnsTo(angle) {
  return angle - TAU * Math.round(angle / TAU);
}

/** Whether a ring of corners goes once around the origin. */
function around(corners) {
  const total = corners.reduce((sum, a, k) => {
    const b = corners[(k + 1) % corners.length];
    return sum + turnsTo(Math.atan2(b[1], b[0]) - Math.atan2(a[1], a[0]));
  }, 0);
  return Math.abs(total) > Math.PI;
}
