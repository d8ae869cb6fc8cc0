// Readings in the picture: with the plan that they were taken under, in the rooms that are shown.

/** @import { ReadingJson, SceneJson, ScopeJson } from "./scene" */
/** @import { Callout, Point, StageLike, ViewState } from "./types" */

/**
 * Readings under the plan that is shown, in the rooms that are.
 * @param {Pick<SceneJson, "plans">} scene
 * @param {Pick<ViewState, "mode" | "plan" | "readings">} state
 * @param {Pick<ScopeJson, "full">} scope
 * @returns {ReadingJson[]}
 */
export function readingsShown(scene, state, scope) {
  if (state.mode === "wiring") return [];
  const plan = scene.plans[state.plan]?.id;
  return state.readings.filter(
    (each) => each.plan === plan && each.space !== null && scope.full.includes(each.space),
  );
}

/**
 * What was read, once for each place: the first reading in full, the others counted.
 * @param {StageLike} stage
 * @param {(p: Point) => Point} project
 * @returns {Callout[]}
 */
export function readingNames(stage, project) {
  /** @type {Map<string, {label: string, at: Point, more: number}>} */
  const places = new Map();
  for (const { at, label } of stage.readings()) {
    const key = at.map((each) => each.toFixed(1)).join();
    const found = places.get(key);
    if (found) found.more += 1;
    else places.set(key, { label, at, more: 0 });
  }
  return [...places.values()].map(({ label, at, more }) => ({
    kind: "reading",
    text: more ? `${label} (+${more})` : label,
    at: project(at),
    away: 14,
  }));
}
