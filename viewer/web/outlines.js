// Lines of the faces that show: edges, gaps, marks, and what is left of a wall that is cut away.
import { add, dot, faces, mid, norm, sub } from "./shapes.js";

/** @import { ThemeJson } from "./scene" */
/** @import { Face, Point, Segment, StageLike } from "./types" */

const CUT_AWAY = ["wall", "ceiling"];

/**
 * The sides of a ring, as pairs of points.
 * @param {Point[]} ring
 * @returns {Point[][]}
 */
export const sidesOf = (ring) => ring.map((p, k) => [p, ring[(k + 1) % ring.length]]);

/**
 * Lines of all faces that show: thin ones, and those of the gaps with their dark casing.
 * @param {StageLike} stage
 * @param {Point} eye
 * @param {ThemeJson} theme
 * @returns {{thin: Segment[], cases: Segment[], amber: Segment[]}}
 */
export function faceLines(stage, eye, theme) {
  const { look } = stage.scene;
  /** @type {Segment[]} */
  const thin = [];
  /** @type {Segment[]} */
  const amber = [];
  const slopes = new Set(
    stage.faces
      .filter(({ panel }) => panel.kind === "ceiling" && Math.abs(panel.normal[2]) < 0.999)
      .map(({ panel }) => panel.space),
  );
  for (const face of stage.faces) {
    if (!face.mesh.visible) continue;
    const { panel, outlines } = face;
    const seen = faces(panel.normal, eye);
    // of a roof that is cut away, its lines alone tell the shape
    if (!seen && panel.kind === "ceiling" && slopes.has(panel.space)) {
      for (const [a, b] of sidesOf(outlines[0])) thin.push([a, b, theme.ring, 1]);
    }
    if (seen) thin.push(...edgesOf(face, theme));
    if (isMarkedGap(stage, face)) {
      for (const [a, b] of seen || !["wall", "ceiling", "floor"].includes(panel.kind)
        ? outlines.flatMap(sidesOf)
        : remains(face, stage, eye)) {
        amber.push([a, b, look.amber, 3]);
      }
    }
  }
  /** @type {Segment[]} */
  const cases = amber.map(([a, b]) => [a, b, look.amber_case, 4.8]);
  return { thin, cases, amber };
}

/**
 * Whether a face has lines of its own as a gap: jambs of an opening that is a gap itself need none.
 * @param {StageLike} stage
 * @param {Face} face
 */
function isMarkedGap(stage, { panel }) {
  if (!stage.leakOf(panel)?.outlined) return false;
  const opening = panel.kind === "reveal" ? stage.get(panel.opening) : undefined;
  return !(opening && stage.leakOf(opening.panel)?.outlined);
}

/**
 * @param {Face} face
 * @param {ThemeJson} theme
 * @returns {Segment[]}
 */
function edgesOf(face, theme) {
  const opening = face.panel.is_opening;
  /** @type {Segment[]} */
  const found = face.outlines
    .flatMap(sidesOf)
    .map(([a, b]) => [a, b, opening ? theme.rim : theme.edge, opening ? 1.2 : 1]);
  if (face.panel.kind === "window") found.push(...mullions(face, theme));
  return found;
}

/**
 * Bars of a window: one upright, one level where it is not much wider than high.
 * @param {Face} face
 * @param {ThemeJson} theme
 * @returns {Segment[]}
 */
export function mullions({ panel, across, up, spans }, theme) {
  const [w, h] = spans;
  const middle = panel.centre;
  /** @type {Segment[]} */
  const bars = [[add(middle, up, -h / 2), add(middle, up, h / 2), theme.rim, 1.2]];
  if (h > 0.9 * w) {
    bars.push([add(middle, across, -w / 2), add(middle, across, w / 2), theme.rim, 1.2]);
  }
  return bars;
}

/**
 * What is left to see of a wall or ceiling that is cut away, as pairs of points.
 * @param {Face} face
 * @param {Pick<StageLike, "faces" | "scene">} stage
 * @param {Point} eye
 * @returns {Point[][]}
 */
export function remains({ panel, outlines, across }, stage, eye) {
  const ring = outlines[0];
  if (panel.kind === "wall") {
    const { stub_m } = stage.scene.look;
    const low = Math.min(...ring.map((p) => p[2]));
    const foot = ring.filter((p) => p[2] < low + 1e-3).sort((p, q) => dot(sub(p, q), across));
    return [[add(foot[0], [0, 0, stub_m]), add(foot[foot.length - 1], [0, 0, stub_m])]];
  }
  const standing = stage.faces.filter(
    (each) =>
      each.panel.space === panel.space &&
      each.panel.kind === "wall" &&
      faces(each.panel.normal, eye),
  );
  const onWall = (side) =>
    standing.some(({ panel: wall }) =>
      side.every((p) => Math.abs(dot(sub(p, wall.centre), wall.normal)) < 1e-3),
    );
  return sidesOf(ring).filter(onWall);
}

/**
 * Lines around a face that is pointed at or picked.
 * @param {Face} face
 * @param {Pick<StageLike, "faces" | "scene">} stage
 * @param {Point} eye
 * @returns {Point[][]}
 */
export function markSides(face, stage, eye) {
  const away = !faces(face.panel.normal, eye) && CUT_AWAY.includes(face.panel.kind);
  return away ? remains(face, stage, eye) : face.outlines.flatMap(sidesOf);
}

/**
 * Where the label of a face has its place.
 * @param {Face} face
 * @param {Pick<StageLike, "faces" | "scene">} stage
 * @param {Point} eye
 * @returns {Point}
 */
export function anchorOf(face, stage, eye) {
  const { panel } = face;
  const own = panel.mark ?? panel.centre;
  if (faces(panel.normal, eye) || !CUT_AWAY.includes(panel.kind)) return own;
  const left = remains(face, stage, eye);
  if (!left.length) return own;
  const long = (side) => norm(sub(side[1], side[0]));
  const [a, b] = left.reduce((p, q) => (long(q) > long(p) ? q : p));
  return mid(a, b);
}
