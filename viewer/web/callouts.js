// The labels that a picture wants, the most important first.
import { readingNames } from "./readmarks.js";
import { onRing } from "./scope.js";
import { faces } from "./shapes.js";
import { cableNames } from "./wiring.js";
import { shown } from "./words.js";

/** @import { Callout, Point, StageLike, ViewState } from "./types" */

const COATED = ["treatment", "wiring"]; // ways of colouring that show what faces carry
const NARROW_PX = 520;
const CODED_FROM_M2 = 0.25; // least area of a face that carries its treatment's letter
/** @type {Array<[string, number]>} */
const WAYS = [
  ["N", 0],
  ["E", 90],
  ["S", 180],
  ["W", 270],
];

/**
 * @param {StageLike} stage
 * @param {ViewState} state
 * @param {{eye: Point, width: number, project: (p: Point) => Point}} seen
 * @returns {Callout[]}
 */
export function calloutsOf(stage, state, { eye, width, project }) {
  const narrow = width < NARROW_PX;
  return [
    ...compass(stage, project), // before everything: without north a picture tells no direction
    ...(COATED.includes(state.mode) ? codes(stage, state, eye, project) : []),
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
 * The letters of their treatments on the faces that show.
 * @param {StageLike} stage
 * @param {ViewState} state
 * @returns {Callout[]}
 */
function codes({ scene, faces: all }, state, eye, project) {
  const letters = new Map(scene.treatments.map((style) => [style.id, style.letter]));
  return all
    .filter(
      ({ panel, stands }) => stands && panel.area_m2 > CODED_FROM_M2 && faces(panel.normal, eye),
    )
    .map(({ panel }) => ({
      kind: /** @type {const} */ ("code"),
      text: panel.plans[state.plan].treatments.map((id) => letters.get(id)).join("+"),
      at: project(panel.mark ?? panel.centre),
      fixed: true,
    }))
    .filter(({ text }) => text);
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
  const receiver = scene.receivers[state.receiver];
  if (!receiver || !scope.full.includes(receiver.space)) return [];
  return [
    { kind: "receiver", text: shown(receiver.title, 24), at: project(receiver.position), away: 16 },
  ];
}
