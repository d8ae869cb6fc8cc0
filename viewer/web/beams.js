// Beams of the sources through the openings that are gaps, and where they land.
import { add, dot, norm, outlinesOf, point, sub } from "./shapes.js";

/** @import { BeamJson, BeamSideJson, LookJson, MeshJson, PanelJson, SceneJson, ScopeJson, ThemeJson } from "./scene" */
/** @import { Face, Three, ViewState } from "./types" */

const SLICES = 12;
const STRONG_SHARE = 0.02; // of its source's direct power, above which a beam is drawn strongly
const REACH = 0.42; // of a beam outside, in radii of the ring

/**
 * Beams to draw at a receiver under a plan, in the order that the scene has chosen; `strong` is
 * false for one that misses the receiver.
 * @param {SceneJson} scene
 * @param {ViewState} state
 * @param {(id: string) => Face | undefined} get
 * @returns {Array<BeamJson & {strong: boolean}>}
 */
export function beamsShown(scene, state, get) {
  const chosen = scene.plans[state.plan]?.receivers[state.receiver]?.beams ?? [];
  return chosen
    .map((index) => scene.beams[index])
    .filter((beam) => !state.silent.has(beam.source) && get(beam.panel)?.stands)
    .slice(0, scene.look.max_beams)
    .map((beam) => ({ ...beam, strong: (beam.plans[state.plan]?.share ?? 0) > STRONG_SHARE }));
}

/**
 * The part of a beam outside: slices that fade away from the panel.
 * @param {BeamSideJson} side
 * @param {ScopeJson["ring"]} ring
 */
export function fadingBody({ near, far }, ring) {
  const count = near.length / 3;
  const vertices = [];
  const fade = [];
  const triangles = [];
  const long = norm(sub(point(far, 0), point(near, 0)));
  const kept = Math.min(1, (REACH * ring.radius_m) / Math.max(long, 1e-9));
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
 * @param {{THREE: Three, brush: Three, look: LookJson, theme: ThemeJson, ring: ScopeJson["ring"], get: (id: string) => Face | undefined}} given
 */
export function beamBodies(beam, { THREE, brush, look, theme, ring, get }) {
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
    const patch = brush.flat(
      landing.vertices,
      landing.triangles,
      look.landing,
      opacity,
      null,
      3e-4,
    );
    patch.material.side = THREE.FrontSide;
    patch.userData.facing = facing;
    bodies.push(patch);
    for (const outline of outlinesOf(landing)) {
      outline.forEach((p, k) => {
        rims.push([p, outline[(k + 1) % outline.length], theme.beam_edge, 1.3]);
      });
    }
  }
  bodies.push(brush.lines(rims, { opacity: 0.75 * weight }));
  return bodies;
}
