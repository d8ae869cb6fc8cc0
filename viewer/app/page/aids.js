// Which drawing stands beside which field of which table.
import { CompassAid } from "./compassaid.js";
import { RectAid } from "./rectaid.js";
import { RoofAid } from "./roofaid.js";
import { RoomAid } from "./roomaid.js";
import { WallAid } from "./wallaid.js";

/** @import { Asked, KeyTold, WallTold } from "./protocol" */
/** @import { SceneJson } from "./scene" */
/** @import { Sort } from "./rectaid.js" */
/** @import { Field, Row } from "./fields.js" */

/** @typedef {Map<string, Field>} Fields */
/** @typedef {(values: Record<string, string | Row[]>) => void} Fill */

// Keys beside which a rectangle is drawn on a plan.
const RECTANGLES = { space: "size", dormer: "size", obstacle: "size", receiver: "at" };

export class Aids {
  /** @type {WallAid | null} */
  #wall = null;
  /** @type {Array<{look: () => void}>} */
  #others = [];

  /**
   * @param {(asked: Asked) => void} ask
   * @param {() => SceneJson | null} scene
   * @param {(space: string) => [number, number]} origin of a room's own coordinates
   */
  constructor(ask, scene, origin) {
    this.ask = ask;
    this.scene = scene;
    this.origin = origin;
  }

  /** A form is built anew: what was drawn beside the one before goes. */
  forget() {
    this.#wall = null;
    this.#others = [];
  }

  /**
   * The drawing that goes with a field, if any.
   * @param {string} table
   * @param {KeyTold} key
   * @param {Fields} fields
   * @param {Fill} fill
   * @returns {HTMLElement | null}
   */
  beside(table, key, fields, fill) {
    if (["opening", "outlet", "bond"].includes(table) && key.key === "on") {
      const feet = () => Boolean(this.scene()?.feet);
      this.#wall = new WallAid(table !== "opening", fields, fill, feet, this.ask);
      return this.#wall.node;
    }
    if (table === "source" && key.key === "azimuth") {
      const compass = new CompassAid(fields, fill, this.scene);
      this.#others.push(compass);
      return compass.node;
    }
    if (table === "space" && (key.key === "walk" || key.key === "footprint")) {
      const room = new RoomAid(key.key, fields, fill, this.scene);
      this.#others.push(room);
      return room.node;
    }
    if (key.key === RECTANGLES[table]) {
      const sort = /** @type {Sort} */ (table);
      const rect = new RectAid(sort, fields, fill, { scene: this.scene, origin: this.origin });
      this.#others.push(rect);
      return rect.node;
    }
    if (["space", "dormer"].includes(table) && key.key === "ceiling") {
      const roof = new RoofAid(fields, fill, this.scene);
      this.#others.push(roof);
      return roof.node;
    }
    return null;
  }

  /** Fields have changed: draw what they say. */
  look() {
    this.#wall?.look();
    for (const each of this.#others) each.look();
  }

  /** @param {WallTold} told */
  wall(told) {
    this.#wall?.show(told);
  }
}
