// Vectors as [x, y, z], and small bodies as {vertices, triangles}, flat.

/** @import { MeshJson } from "./scene" */
/** @import { Point } from "./types" */

export const TAU = 2 * Math.PI;
export const dot = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
export const sub = (a, b) => [a[0] - b[0], a[1] - b[1], a[2] - b[2]];
export const add = (a, b, t = 1) => [a[0] + t * b[0], a[1] + t * b[1], a[2] + t * b[2]];
export const mid = (a, b) => [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2, (a[2] + b[2]) / 2];
export const cross = (a, b) => [
  a[1] * b[2] - a[2] * b[1],
  a[2] * b[0] - a[0] * b[2],
  a[0] * b[1] - a[1] * b[0],
];
export const norm = (a) => Math.hypot(a[0], a[1], a[2]);
export const unit = (a) => a.map((part) => part / (norm(a) || 1));
export const point = (flat, k) => [flat[3 * k], flat[3 * k + 1], flat[3 * k + 2]];

const EDGE_ON = 1e-3; // cosine below which a panel stands edge on

/**
 * Whether a panel's inside is turned to the eye.
 * @param {Point} normal
 * @param {Point} eye
 */
export const faces = (normal, eye) => dot(normal, eye) > EDGE_ON;

/**
 * A flat list of points, as points.
 * @param {number[]} flat
 * @returns {Point[]}
 */
export const points = (flat) => Array.from({ length: flat.length / 3 }, (_, k) => point(flat, k));

/**
 * Axes of a panel's plane: across (level) and upward.
 * @param {Point} normal
 */
export function axesOf(normal) {
  const up = Math.abs(normal[2]) < 0.9 ? [0, 0, 1] : [0, 1, 0];
  const across = unit(cross(up, normal));
  return [across, cross(normal, across)];
}

/**
 * Outlines of a panel as lists of points.
 * @param {{vertices: number[], rings: number[]}} item
 * @returns {Point[][]}
 */
export function outlinesOf(item) {
  const found = [];
  let start = 0;
  for (const count of item.rings) {
    found.push(Array.from({ length: count }, (_, k) => point(item.vertices, start + k)));
    start += count;
  }
  return found;
}

/**
 * @param {Point} p
 * @param {Point} a
 * @param {Point} b
 */
export function distanceToSegment(p, a, b) {
  const along = sub(b, a);
  const t = Math.min(Math.max(dot(sub(p, a), along) / Math.max(dot(along, along), 1e-12), 0), 1);
  return norm(sub(p, add(a, along, t)));
}

/**
 * A soft box: squareness 1 is an ellipsoid, towards 0 a sharp box.
 * @param {number[]} size
 * @param {number} squareness
 * @returns {MeshJson}
 */
export function softBox(size, squareness) {
  const [rows, columns] = [14, 28];
  const bend = (value) => Math.sign(value) * Math.abs(value) ** squareness;
  const vertices = [];
  const triangles = [];
  for (let r = 0; r <= rows; r++) {
    const lat = -Math.PI / 2 + (Math.PI * r) / rows;
    for (let c = 0; c < columns; c++) {
      const lon = (TAU * c) / columns;
      vertices.push(
        (size[0] / 2) * bend(Math.cos(lat)) * bend(Math.cos(lon)),
        (size[1] / 2) * bend(Math.cos(lat)) * bend(Math.sin(lon)),
        (size[2] / 2) * bend(Math.sin(lat)),
      );
      if (r < rows) {
        const [a, b] = [r * columns + c, r * columns + ((c + 1) % columns)];
        triangles.push(a, b, b + columns, a, b + columns, a + columns);
      }
    }
  }
  return { vertices, triangles };
}

/**
 * @param {number[]} size
 * @returns {MeshJson}
 */
export function hardBox(size) {
  const [x, y, z] = size.map((edge) => edge / 2);
  const vertices = [];
  for (const k of [-z, z]) vertices.push(-x, -y, k, x, -y, k, x, y, k, -x, y, k);
  const triangles = [
    0, 2, 1, 0, 3, 2, 4, 5, 6, 4, 6, 7, 0, 1, 5, 0, 5, 4, 1, 2, 6, 1, 6, 5, 2, 3, 7, 2, 7, 6, 3, 0,
    4, 3, 4, 7,
  ];
  return { vertices, triangles };
}

/**
 * A body turned about the vertical and put at a place.
 * @param {MeshJson} mesh
 * @param {Point} centre
 * @param {number} heading
 * @returns {MeshJson}
 */
export function turned(mesh, centre, heading) {
  const [c, s] = [Math.cos(heading), Math.sin(heading)];
  const vertices = [];
  for (let k = 0; k < mesh.vertices.length; k += 3) {
    const [x, y, z] = mesh.vertices.slice(k, k + 3);
    vertices.push(centre[0] + c * x - s * y, centre[1] + s * x + c * y, centre[2] + z);
  }
  return { vertices, triangles: mesh.triangles };
}

/**
 * @param {Point} tail
 * @param {Point} tip
 * @returns {MeshJson}
 */
export function arrowMesh(tail, tip) {
  const axis = sub(tip, tail);
  const length = norm(axis);
  const way = unit(axis);
  const side = unit(cross(way, Math.abs(way[2]) < 0.9 ? [0, 0, 1] : [1, 0, 0]));
  const over = cross(way, side);
  const profile = [
    [0, 0],
    [0, 0.028],
    [0.68, 0.028],
    [0.68, 0.085],
    [1, 0],
  ];
  const count = 24;
  const vertices = [];
  const triangles = [];
  profile.forEach(([along, radius], r) => {
    for (let c = 0; c < count; c++) {
      const turn = (TAU * c) / count;
      const arm = add(add([0, 0, 0], side, Math.cos(turn)), over, Math.sin(turn));
      vertices.push(...add(add(tail, way, along * length), arm, radius * length));
      if (r + 1 < profile.length) {
        const [a, b] = [r * count + c, r * count + ((c + 1) % count)];
        triangles.push(a, b, b + count, a, b + count, a + count);
      }
    }
  });
  return { vertices, triangles };
}

/**
 * Edges of a body, each once.
 * @param {MeshJson} mesh
 * @returns {Point[][]}
 */
export function edgesOf({ vertices, triangles }) {
  const found = new Map();
  triangles.forEach((a, k) => {
    const b = triangles[k % 3 === 2 ? k - 2 : k + 1];
    found.set(`${Math.min(a, b)} ${Math.max(a, b)}`, [point(vertices, a), point(vertices, b)]);
  });
  return [...found.values()];
}

/**
 * The mark of a transmitter: a body of eight faces that stands on its tip.
 * @param {Point} centre
 * @param {number} half its width
 * @returns {MeshJson}
 */
export function diamondMesh(centre, half) {
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
