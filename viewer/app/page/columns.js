// New numbers of some plans, put into the scene that a page has.

/** @import { ColumnJson, PanelStateJson, SceneJson } from "./scene" */

/**
 * Put columns into a scene, whose plans are then those of `plans`, in that order.
 * @param {SceneJson} scene changed in place, as the views hold it
 * @param {string[]} plans
 * @param {Record<string, ColumnJson>} columns those that are new, by plan
 * @returns {boolean} whether a plan stands in another place than before
 */
export function takeColumns(scene, plans, columns) {
  const old = new Map(scene.plans.map((each, k) => [each.id, k]));
  const kept = (list, id) => list[old.get(id) ?? -1];
  /** @type {() => PanelStateJson} */
  const bare = () => ({
    treatments: [],
    stands: "",
    worn: "Untreated.",
    leaks: scene.receivers.map(() => null),
  });
  scene.plans = plans.map((id) => columns[id]?.plan ?? kept(scene.plans, id));
  scene.panels.forEach((panel, index) => {
    panel.plans = plans.map((id) =>
      columns[id] ? (columns[id].panels[index] ?? bare()) : (kept(panel.plans, id) ?? bare()),
    );
  });
  scene.beams.forEach((beam, index) => {
    beam.plans = plans.map((id) =>
      columns[id] ? (columns[id].beams[index] ?? null) : (kept(beam.plans, id) ?? null),
    );
  });
  return plans.some((id, k) => old.get(id) !== k);
}
