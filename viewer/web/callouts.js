// The labels that a picture wants, the most important first.
import { readingNames } from "./readmarks.js";
import { asMoved, onRing } from "./scope.js";
import { add, faces, sub } from "./shapes.js";
import { cableNames } from "./wiring.js";
import { shown } from "./words.js";

/** @import { Callout, Face, Point, StageLike, ViewState } from "./types" */

const COATED = ["treatment", "wiring"]; // ways of colouring that show what faces carry
const NARROW_PX = 520;
const CODED_FROM_M2 = 0.25; // least area of a face that carries its treatment's letter
const TOWARDS_CORNERS = [0.35, 0.6, 0.8]; // where else a letter may stand, from its place on
/** @type {Array<[string, number]>} */
const WAYS = [
  ["N", 0],
  ["E", 90],
  ["S", 180],
  ["W", 270],
];

/** @typedef {(id: string, spot: Point) => boolean} Shows whether a face is what shows at a point */

/**
 * @param {StageLike} stage
 * @param {ViewState} state
 * @param {{eye: Point, width: number, project: (p: Point) => Point, shows: Shows}} seen
 * @returns {Callout[]}
 */
export function calloutsOf(stage, state, { eye, width, project, shows }) {
  const narrow = width < NARROW_PX;
  return [
    ...compass(stage, project), // before everything: without north a picture tells no direction
    ...(COATED.includes(state.mode) ? codes(stage, state, { eye, project, shows }) : []),
    ...(state.mode === "wiring"
      ? cableNames(stage, state, project)
      : [
          ...leakNames(stage, state, { eye, narrow, project }),
          ...sourceNames(stage, narrow, project),
          ...readingNames(stage, project),
        ]),
    ...receiverName(stage, state, project),
    ...stage.hints().map(({ text, at }) => hint(text, project(at))),
  ];
}

/** @returns {Callout} */
const hint = (text, at) => ({ kind: "hint", text, at, away: 8 });

/** @returns {Callout[]} */
function compass({ scene, scope }, project) {
  return WAYS.map(([text, degrees]) => ({
    kind: "compass",
    text,
    at: project(onRing(scene, scope.ring, (degrees * Math.PI) / 180, 1.08)),
    near: true,
  }));
}

/**
 * Where a face shows, in the picture: its mark's place, then places towards its corners.
 * @param {Face} face
 * @param {(p: Point) => Point} project
 * @param {Shows} shows
 */
function* shownSpots({ panel, outlines }, project, shows) {
  const at = panel.mark ?? panel.centre;
  const others = TOWARDS_CORNERS.flatMap((share) =>
    outlines[0].map((corner) => add(at, sub(corner, at), share)),
  );
  for (const place of [at, ...others]) {
    const spot = project(place);
    if (shows(panel.id, spot)) yield spot;
  }
}

/**
 * The letters of their treatments on the faces that show, where nothing stands before them.
 * @param {StageLike} stage
 * @param {ViewState} state
 * @returns {Callout[]}
 */
function codes({ scene, faces: all }, state, { eye, project, shows }) {
  const letters = new Map(scene.treatments.map((style) => [style.id, style.letter]));
  return all.flatMap((face) => {
    const { panel, stands } = face;
    const text = panel.plans[state.plan].treatments.map((id) => letters.get(id)).join("+");
    if (!text || !stands || panel.area_m2 <= CODED_FROM_M2 || !faces(panel.normal, eye)) return [];
    const spots = shownSpots(face, project, shows);
    const at = spots.next().value;
    const kind = /** @type {const} */ ("code");
    return at ? [{ kind, text, at, fixed: true, elsewhere: spots }] : [];
  });
}

/**
 * The faces that the scene names, as many as there is room for.
 * @param {StageLike} stage
 * @param {ViewState} state
 * @returns {Callout[]}
 */
function leakNames(stage, state, { eye, narrow, project }) {
  const { scene } = stage;
  const named = scene.plans[state.plan]?.receivers[state.receiver]?.labels ?? [];
  /** @type {Callout[]} */
  const found = [];
  for (const { panel, text, short, is_gap, only_seen } of named) {
    const face = stage.get(panel);
    if (found.length === scene.look.max_labels) break;
    if (!face?.stands) continue;
    const seen = faces(face.panel.normal, eye);
    if (only_seen && !seen) continue;
    found.push({
      kind: is_gap ? "gap" : "face",
      text: narrow ? short : text,
      at: project(stage.anchorOf(face, eye)),
      away: face.small || !seen ? 16 : 0,
    });
  }
  return found;
}

/** @returns {Callout[]} */
function sourceNames(stage, narrow, project) {
  return stage.marks().map(({ label, short, at }) => ({
    kind: "source",
    text: narrow ? short : label,
    at: project(at),
    away: 8,
  }));
}

/** @returns {Callout[]} */
function receiverName({ scene, scope }, state, project) {
  const receiver = asMoved(scene, state.plan).receivers[state.receiver];
  if (!receiver || !scope.full.includes(receiver.space)) return [];
  return [
    { kind: "receiver", text: shown(receiver.title, 24), at: project(receiver.position), away: 16 },
  ];
}
