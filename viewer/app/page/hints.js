// One line on what to do next, for somebody who sees the job for the first time.

/** @import { SceneJson } from "./scene" */
/** @import { Looking } from "./looking.js" */

/**
 * What a line says, the word of its button, and what the button does.
 * @typedef {{words: string, button: string, act: {table: string} | "plan" | "steps"}} Hint
 */

/**
 * The line for a job as it stands; null where somebody has found their way.
 * @param {Pick<SceneJson, "receivers" | "treatments" | "plans">} scene
 * @param {{assumed: boolean}} about
 * @param {Pick<Looking, "picked">} looking
 * @returns {Hint | null}
 */
export function hintOf(scene, { assumed }, { picked }) {
  if (!scene.receivers.length)
    return {
      words: "Nobody sleeps here yet, so that no level can be told.",
      button: "Say where the pillow is",
      act: { table: "receiver" },
    };
  if (assumed)
    return {
      words:
        "The job names no source: an even field from all around at 2.45 GHz is counted instead.",
      button: "Say where the energy comes from",
      act: { table: "source" },
    };
  if (!scene.treatments.length)
    return {
      words: "There is nothing yet to put on a wall or a window.",
      button: "Add a treatment",
      act: { table: "treatment" },
    };
  if (scene.plans.length < 2)
    return {
      words: "Today stays as it is; treatments go into a plan.",
      button: "Begin a plan",
      act: "plan",
    };
  if (picked !== null) return null;
  return {
    words: "Click a wall, a window or a door to see what treating it brings.",
    button: "Or see what to do first",
    act: "steps",
  };
}
