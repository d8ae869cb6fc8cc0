// The right column: the face that is picked, what lets in, levels by source, all directions.
import { beyondSaid, fillLevels } from "./answer.js";
import { cardOf } from "./face.js";
import { GapList } from "./lists.js";
import { h, section } from "./parts.js";
import { SkyPart } from "./skypart.js";

/** @import { Asked } from "./protocol" */
/** @import { SceneJson } from "./scene" */
/** @import { Looking } from "./looking.js" */

/**
 * @typedef {object} RightActs
 * @property {(id: string | null) => void} pick
 * @property {(id: string | null, from: "sky" | "list") => void} point
 * @property {() => void} seeSky
 */

export class RightColumn {
  beyond = h("p", { class: "ga-note" });
  levelTable = h("table", { class: "ga-table" });
  levelPart = section("Level by source", this.levelTable);

  /**
   * @param {(asked: Asked) => void} send
   * @param {RightActs} act
   */
  constructor(send, { pick, point, seeSky }) {
    const faceBox = h("section", {
      class: "ga-face",
      "aria-labelledby": "ga-face-title",
      hidden: true,
    });
    this.card = cardOf(faceBox, send);
    this.gaps = new GapList({ pick, hover: (id) => point(id, "list") });
    this.sky = new SkyPart(seeSky, { pick, hover: (id) => point(id, "sky") });
    this.node = h(
      "div",
      { class: "ga-right" },
      faceBox,
      h("section", {}, this.gaps.head, this.gaps.node, this.beyond),
      this.levelPart,
      h("section", {}, this.sky.node),
    );
  }

  /**
   * @param {SceneJson} scene
   * @param {Looking} looking
   * @param {number} column of the plan
   * @param {string[]} beyond what was used outside the range of its source
   */
  show(scene, looking, column, beyond) {
    const numbers = scene.plans[column]?.receivers[looking.receiver] ?? null;
    this.gaps.show(scene, looking, column);
    this.beyond.textContent = beyondSaid(beyond);
    this.levelPart.hidden = !numbers?.sources.length;
    if (numbers?.sources.length) fillLevels(this.levelTable, numbers, looking.silent);
  }
}
