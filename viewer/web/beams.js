// Beams of the sources through the openings that are gaps, and where they land.
import { OPENINGS } from "./rooms.js";
import { add, dot, norm, outlinesOf, point, sub } from "./shapes.js";

/** @import { BeamJson, BeamSideJson, MeshJson, PanelJson, SceneJson } from "./scene" */
/** @import { Face, Point, Ring, Theme, Three, ViewState } from "./types" */

const BEAMS_AT_MOST = 4;
const SLICES = 12;
const REACH = 0.42; // of a beam outside, in radii of the ring
const STRONG_SHARE = 0.02; // of what comes through a panel, above which a beam is drawn strongly

/**
 * The strongest beams at a receiver under a plan; `strong` is false for one that misses it.
 * @param {SceneJson} scene
 * @param {ViewState} state
 * @param {(id: string) => Face | undefined} get
 * @returns {Array<BeamJson & {strong: boolean}>}
 */
export function beamsShown(scene, state, get) {
  const receiver = scene.receivers[state.receiver]?.id;
  const found = [];
  scene.beams.forEach((beam, order) => {
    const plan = beam.plans[state.plan];
    const face = get(beam.panel);
    if (beam.receiver !== receiver || !plan?.is_gap || !face?.stands) return;
    if (state.silent.has(beam.source) || !OPENINGS.includes(face.panel.kind)) return;
    found.push({ beam, order, level: plan.share > STRONG_SHARE ? plan.level_w_m2 : 0 });
  });
  found.sort((a, b) => b.level - a.level || a.order - b.order);
  return found.slice(0, BEAMS_AT_MOST).map(({ beam, level }) => ({ ...beam, strong: level > 0 }));
}

/**
 * The part of a beam outside: slices that fade away from the panel.
 * @param {BeamSideJson} side
 * @param {Ring} ring
 */
export function fadingBody({ near, far }, ring) {
  const count = near.length / 3;
  const vertices = [];
  const fade = [];
  const triangles = [];
  const long = norm(sub(point(far, 0), point(near, 0)));
  const kept = Math.min(1, (REACH * ring.radius) / Math.max(long, 1e-9));
  for (let s = 0; s <= SLICES; s++) {
    for (let k = 0; k < count; k++) {
      const a = point(near, k);
      vertices.push(...add(a, sub(point(far, k), a), (kept * s) / SLICES));
      fade.push((1 - s / SLICES) ** 1.4);
      if (s === SLICES) continue;
      const [i, j] = [s * count + k, s * count + ((k + 1) % count)];
      triangles.push(i, j, j + count, i, j + count, i + count);
    }
  }
  return { vertices, triangles, fade };
}

/**
 * Triangles of the body inside, less the lid that lies in the panel it comes through.
 * @param {MeshJson} inside
 * @param {PanelJson} panel
 */
export function withoutLid({ vertices, triangles }, panel) {
  const off = (corner) =>
    Math.abs(dot(sub(point(vertices, corner), panel.centre), panel.normal)) > 1e-3;
  const kept = [];
  for (let k = 0; k < triangles.length; k += 3) {
    const corners = triangles.slice(k, k + 3);
    if (corners.some(off)) kept.push(...corners);
  }
  return kept;
}

/**
 * The bodies of one beam.
 * @param {BeamJson & {strong: boolean}} beam
 * @param {{THREE: Three, brush: Three, theme: Theme, ring: Ring, get: (id: string) => Face | undefined}} given
 */
export function beamBodies(beam, { THREE, brush, theme, ring, get }) {
  const weight = beam.strong ? 1 : 0.5;
  const bodies = beam.outside.map((side) => {
    const { vertices, triangles, fade } = fadingBody(side, ring);
    return brush.flat(vertices, triangles, theme.beam, 0.3 * weight, fade);
  });
  const own = /** @type {Face} */ (get(beam.panel)).panel;
  const kept = withoutLid(beam.inside, own);
  if (kept.length) bodies.push(brush.flat(beam.inside.vertices, kept, theme.beam, 0.17 * weight));
  const rims = [];
  for (const landing of beam.landings) {
    const facing = get(landing.on)?.panel.normal ?? null; // none for a bed
    const opacity = (facing ? 0.3 : 0.5) * weight;
    const patch = brush.flat(landing.vertices, landing.triangles, "#ffd27a", opacity, null, 3e-4);
    patch.material.side = THREE.FrontSide;
    patch.userData.facing = facing;
    bodies.push(patch);
    for (const outline of outlinesOf(landing)) {
      outline.forEach((p, k) => {
        rims.push([p, outline[(k + 1) % outline.length], theme.beamEdge, 1.3]);
      });
    }
  }
  bodies.push(brush.lines(rims, { opacity: 0.75 * weight }));
  return bodies;
}
