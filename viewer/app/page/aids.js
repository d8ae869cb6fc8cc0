// Which drawing stands beside which field of which table.
import { CompassAid } from "./compassaid.js";
import { RoomAid } from "./roomaid.js";
import { WallAid } from "./wallaid.js";

/** @import { Asked, KeyTold, WallTold } from "./protocol" */
/** @import { SceneJson } from "./scene" */
/** @import { Field } from "./fields.js" */

/** @typedef {Map<string, Field>} Fields */
/** @typedef {(values: Record<string, string>) => void} Fill */

export class Aids {
  /** @type {WallAid | null} */
  #wall = null;
  /** @type {{look: () => void} | null} */
  #other = null;

  /**
   * @param {(asked: Asked) => void} ask
   * @param {() => SceneJson | null} scene
   */
  constructor(ask, scene) {
    this.ask = ask;
    this.scene = scene;
  }

  /** A form is built anew: what was drawn beside the one before goes. */
  forget() {
    this.#wall = null;
    this.#other = null;
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
      this.#other = compass;
      return compass.node;
    }
    if (
      table === "space" &&
      (key.key === "size" || key.key === "walk" || key.key === "footprint")
    ) {
      const room = new RoomAid(key.key, fields, fill, this.scene);
      this.#other = room;
      return room.node;
    }
    return null;
  }

  /** Fields have changed: draw what they say. */
  look() {
    this.#wall?.look();
    this.#other?.look();
  }

  /** @param {WallTold} told */
  wall(told) {
    this.#wall?.show(told);
  }
}
