// Which rooms a picture shows, the compass ring around them, and the best corner to look from.
import { add, dot, sub, unit } from "./shapes.js";

/** @import { PanelJson, ReceiverJson, SceneJson } from "./scene" */
/** @import { Face, Point, Ring, Rooms, ViewState } from "./types" */

export const OPENINGS = ["window", "door", "hatch", "vent", "skylight", "light", "box", "open"];
export const EDGE_ON = 1e-3; // cosine below which a panel stands edge on

/**
 * Whether a panel's inside is turned to the eye.
 * @param {Point} normal
 * @param {Point} eye
 */
export const faces = (normal, eye) => dot(normal, eye) > EDGE_ON;

/**
 * A room and those that a bare opening makes one with it.
 * @param {SceneJson} scene
 * @param {string} room
 */
function joinedWith(scene, room) {
  const found = [room];
  const known = new Set(scene.spaces.map((space) => space.id));
  for (let k = 0; k < found.length; k++) {
    for (const panel of scene.panels) {
      if (panel.kind !== "open" || panel.space !== found[k]) continue;
      for (const name of panel.behind)
        if (known.has(name) && !found.includes(name)) found.push(name);
    }
  }
  return found;
}

/**
 * Rooms in full, rooms cut low around them, and rooms below that are hinted at.
 * @param {SceneJson} scene
 * @param {Pick<ViewState, "receiver" | "storeys">} state
 * @returns {Rooms}
 */
export function chooseRooms(scene, state) {
  const order = scene.storeys.map((storey) => storey.id);
  const on = (storey) =>
    scene.spaces.filter((space) => space.storey === storey).map((space) => space.id);
  const home = scene.receivers[state.receiver]?.space ?? scene.spaces[0].id;
  const level = scene.spaces.find((space) => space.id === home)?.storey ?? order[0];
  const { mode, id, count } = state.storeys;
  /** @type {string[]} */
  let low = [];
  /** @type {string[]} */
  let full = [];
  let ground = 0;
  if (mode === "all" || mode === "peel") {
    const kept = mode === "peel" ? Math.max(1, order.length - (count ?? 1)) : order.length;
    full = order.slice(0, kept).flatMap(on);
  } else if (mode === "one") {
    const storey = id !== undefined && order.includes(id) ? id : level;
    full = on(storey);
    ground = order.indexOf(storey);
  } else {
    full = joinedWith(scene, home).filter((name) => on(level).includes(name));
    low = on(level).filter((name) => !full.includes(name));
    ground = order.indexOf(level);
  }
  return { full: new Set(full), low: new Set(low), below: ground ? on(order[ground - 1]) : [] };
}

/**
 * The compass ring around the rooms in full, at the foot of their floor.
 * @param {SceneJson} scene
 * @param {Rooms} cast
 * @returns {Ring}
 */
export function ringAround(scene, cast) {
  const shown = scene.spaces.filter((space) => cast.full.has(space.id));
  const low = [Infinity, Infinity],
    high = [-Infinity, -Infinity];
  let deep = Infinity;
  for (const space of shown) {
    for (const outline of space.outer) {
      outline.forEach((value, k) => {
        low[k % 2] = Math.min(low[k % 2], value);
        high[k % 2] = Math.max(high[k % 2], value);
      });
    }
    for (let k = 2; k < space.base.vertices.length; k += 3)
      deep = Math.min(deep, space.base.vertices[k]);
  }
  return {
    centre: [(low[0] + high[0]) / 2, (low[1] + high[1]) / 2, deep],
    radius: 1.04 * 0.5 * Math.hypot(high[0] - low[0], high[1] - low[1]) + 0.25,
  };
}

/**
 * A point of the ring at a true azimuth.
 * @param {SceneJson} scene
 * @param {Ring} ring
 * @param {number} azimuth
 */
export function onRing(scene, ring, azimuth, times = 1) {
  const north = scene.north;
  const east = [north[1], -north[0], 0];
  const way = add(add([0, 0, 0], north, Math.cos(azimuth)), east, Math.sin(azimuth));
  return add(ring.centre, way, times * ring.radius);
}

/**
 * The corner from which most of what leaks is seen; the same for every plan.
 * @param {SceneJson} scene
 * @param {Face[]} panels
 * @param {number} receiver
 */
export function bestAzimuth(scene, panels, receiver) {
  const own = panels.filter((each) => each.stands);
  const walls = own.filter((each) => each.panel.kind === "wall");
  const longest = [...walls].sort((a, b) => b.spans[0] - a.spans[0])[0];
  const first = longest ? Math.atan2(longest.panel.normal[0], longest.panel.normal[1]) : 0;
  const weights = own.map(({ panel }) => {
    const shares = panel.plans.map((plan) => plan.leaks[receiver]?.share ?? 0);
    return (
      Math.max(0, ...shares) * (OPENINGS.includes(panel.kind) ? 4 : 1) +
      (OPENINGS.includes(panel.kind) ? 0.05 : 0)
    );
  });
  const bed = scene.receivers[receiver]?.position;
  let best = [-1, 0];
  for (let quarter = 0; quarter < 4; quarter++) {
    for (const turn of [0.62, 0.95]) {
      const azimuth = first + (quarter * Math.PI) / 2 + turn;
      const way = unit([Math.sin(azimuth), Math.cos(azimuth), 0.68]);
      let score = bed && hidden(bed, way, walls) ? 0 : 0.35;
      own.forEach(({ panel }, k) => {
        const facing = Math.min(Math.max(dot(panel.normal, way), 0), 0.45);
        if (facing)
          score +=
            weights[k] *
            facing *
            (hidden(panel.mark ?? panel.centre, way, walls, panel) ? 0.15 : 1);
      });
      if (score > best[0] + 1e-9) best = [score, azimuth];
    }
  }
  return best[1];
}

/**
 * Whether a wall that shows stands between a point and the eye.
 * @param {Point} from
 * @param {Point} way
 * @param {Face[]} walls
 * @param {PanelJson} [own]
 */
function hidden(from, way, walls, own) {
  return walls.some(({ panel, across, up, spans }) => {
    const along = dot(panel.normal, way);
    if (panel === own || along <= EDGE_ON) return false;
    const reach = dot(sub(panel.centre, from), panel.normal) / along;
    if (reach <= 1e-3) return false;
    const met = sub(add(from, way, reach), panel.centre);
    return Math.abs(dot(met, across)) < spans[0] / 2 && Math.abs(dot(met, up)) < spans[1] / 2;
  });
}
