// What a picture shows around a receiver, as the scene has it: rooms, ring, marks, first corner.

/** @import { ScopeJson, SceneJson } from "./scene" */
/** @import { Point, ViewState } from "./types" */

const ELEVATION_RAD = 0.6;
const MARK_M = 0.1;

/**
 * Where sources and beds stand under a plan.
 * @param {SceneJson} scene
 * @param {number} plan
 * @returns {Pick<SceneJson, "receivers" | "sights" | "scopes">}
 */
export function asMoved(scene, plan) {
  return scene.plans[plan]?.moved ?? scene;
}

/**
 * The scope of a viewer's state; that of the room where a choice is gone.
 * @param {SceneJson} scene
 * @param {Pick<ViewState, "plan" | "receiver" | "storeys">} state
 * @returns {ScopeJson}
 */
export function scopeOf(scene, { plan, receiver, storeys }) {
  const own = asMoved(scene, plan).scopes.filter((each) => each.receiver === receiver);
  const fits = ({ mode, storey, count }) =>
    mode === storeys.mode &&
    (mode !== "one" || storey === storeys.id) &&
    (mode !== "peel" || count === storeys.count);
  return own.find(fits) ?? own.find(({ mode }) => mode === "room") ?? wholeHouse(scene);
}

/**
 * Every room, for a job that has no receiver to begin with.
 * @param {SceneJson} scene
 * @returns {ScopeJson}
 */
function wholeHouse({ bounds, spaces }) {
  const [x0, y0, z0, x1, y1] = bounds;
  return {
    receiver: -1,
    mode: "all",
    storey: null,
    count: 0,
    full: spaces.map(({ id }) => id),
    low: [],
    below: [],
    ring: {
      centre: [(x0 + x1) / 2, (y0 + y1) / 2, z0],
      radius_m: 0.55 * Math.hypot(x1 - x0, y1 - y0) + 0.25,
    },
    azimuth_rad: 0.6,
    elevation_rad: ELEVATION_RAD,
    mark_m: MARK_M,
    marks: [],
    arcs: [],
  };
}

/**
 * A point of the ring at a true azimuth.
 * @param {Pick<SceneJson, "north">} scene
 * @param {ScopeJson["ring"]} ring
 * @param {number} azimuth
 * @param {number} [times] so many radii from the middle
 * @returns {Point}
 */
export function onRing({ north }, { centre, radius_m }, azimuth, times = 1) {
  const [c, s] = [Math.cos(azimuth), Math.sin(azimuth)];
  const reach = times * radius_m;
  return [
    centre[0] + reach * (c * north[0] + s * north[1]),
    centre[1] + reach * (c * north[1] - s * north[0]),
    centre[2],
  ];
}
