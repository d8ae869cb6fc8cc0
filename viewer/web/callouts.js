// The labels that a picture wants, the most important first.
import { faces, onRing } from "./rooms.js";
import { labelOf } from "./sightlines.js";
import { panelName, percent, shown } from "./words.js";

/** @import { Callout, Face, Point, StageLike, ViewState } from "./types" */
/** @import { LeakJson } from "./scene" */

const NARROW_PX = 520;
const NAMED_FROM = 0.003; // least share of a face that has its name in the picture
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
    ...(state.mode === "treatment" ? codes(stage, state, eye, project) : []),
    ...leakNames(stage, state, { eye, narrow, project }),
    ...sourceNames(stage, state, narrow, project),
    ...receiverName(stage, state, project),
    ...stage.hints().map(({ text, at }) => hint(text, project(at))),
  ];
}

/** @returns {Callout} */
const hint = (text, at) => ({ kind: "hint", text, at, away: 8 });

/** @returns {Callout[]} */
function compass({ scene, ring }, project) {
  return WAYS.map(([text, degrees]) => ({
    kind: "compass",
    text,
    at: project(onRing(scene, ring, (degrees * Math.PI) / 180, 1.08)),
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
 * The faces that let in most.
 * @param {StageLike} stage
 * @param {ViewState} state
 * @returns {Callout[]}
 */
function leakNames(stage, state, { eye, narrow, project }) {
  /** @type {Array<[Face, LeakJson]>} */
  const leaks = stage.faces.flatMap((face) => {
    const leak = face.stands ? stage.leakOf(face.panel) : null;
    return leak && leak.share > NAMED_FROM ? [[face, leak]] : [];
  });
  leaks.sort(([, a], [, b]) => b.share - a.share);
  return leaks.slice(0, narrow ? 3 : 4).map(([face, leak]) => ({
    kind: leak.is_gap ? "gap" : "face",
    text: leakText(stage, state, face, leak, narrow),
    at: project(stage.anchorOf(face, eye)),
    away: face.small || !faces(face.panel.normal, eye) ? 16 : 0,
  }));
}

/**
 * @param {StageLike} stage
 * @param {ViewState} state
 * @param {Face} face
 * @param {LeakJson} leak
 * @param {boolean} narrow
 */
export function leakText({ scene }, state, { panel }, leak, narrow) {
  const name = panelName(scene, panel, state.receiver);
  const { stands, treatments } = panel.plans[state.plan];
  const named = stands ? `${name}, ${stands}` : name;
  if (narrow) return `${named}: ${percent(leak.share)}`;
  const worn = treatments.map((id) => shown(id, 24)).join(" + ") || "untreated";
  return `${named}, ${worn}: ${percent(leak.share)}`;
}

/** @returns {Callout[]} */
function sourceNames(stage, state, narrow, project) {
  const receiver = stage.scene.receivers[state.receiver];
  return stage.scene.sources.flatMap((source) => {
    const at = stage.placeOf(source);
    if (!at) return [];
    const text = narrow
      ? shown(source.id, 24)
      : labelOf(stage.scene, source, receiver, stage.ring, source.label);
    return [{ kind: "source", text, at: project(at), away: 8 }];
  });
}

/** @returns {Callout[]} */
function receiverName(stage, state, project) {
  const receiver = stage.scene.receivers[state.receiver];
  if (!receiver || !stage.rooms.full.has(receiver.space)) return [];
  return [
    { kind: "receiver", text: shown(receiver.id, 24), at: project(receiver.position), away: 16 },
  ];
}
