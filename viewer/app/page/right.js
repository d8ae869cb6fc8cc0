// The right column: the face that is picked, what lets in, levels by source, all directions.
import { Aids } from "./aids.js";
import { beyondSaid, fillLevels } from "./answer.js";
import { cardOf } from "./face.js";
import { GapList } from "./lists.js";
import { h, section } from "./parts.js";
import { ReadingsPart } from "./readings.js";
import { SkyPart } from "./skypart.js";
import { StepsPart } from "./steps.js";
import { TablePanel } from "./tablepanel.js";
import { Tabs } from "./tabs.js";
import { TextPanel } from "./textpanel.js";
import { WiringTab } from "./wiringtab.js";

/** @import { Asked, FileTold } from "./protocol" */
/** @import { ReadingJson, SceneJson } from "./scene" */
/** @import { Looking } from "./looking.js" */

/**
 * @typedef {object} RightActs
 * @property {(id: string | null) => void} pick
 * @property {(id: string | null, from: "sky" | "list") => void} point
 * @property {() => void} seeSky
 * @property {() => string | null} receiver
 * @property {() => SceneJson | null} scene
 * @property {(space: string) => [number, number]} origin of a room's own coordinates
 * @property {(text: string, choices: Array<[string, Asked | null]>) => void} decide
 */

export class RightColumn {
  beyond = h("p", { class: "ga-note" });
  levelTable = h("table", { class: "ga-table" });
  levelPart = section("Level by source", this.levelTable);

  /**
   * @param {(asked: Asked) => void} send
   * @param {RightActs} act
   */
  constructor(send, { pick, point, seeSky, decide, receiver, scene, origin }) {
    const faceBox = h("section", {
      class: "ga-face",
      "aria-labelledby": "ga-face-title",
      hidden: true,
    });
    this.card = cardOf(faceBox, send);
    this.gaps = new GapList({ pick, hover: (id) => point(id, "list") });
    this.sky = new SkyPart(seeSky, { pick, hover: (id) => point(id, "sky") });
    this.aids = new Aids(send, scene, origin);
    this.tables = new TablePanel(send, decide, this.aids);
    this.text = new TextPanel(send);
    this.wiring = new WiringTab(send);
    this.steps = new StepsPart(send, receiver);
    this.readings = new ReadingsPart();
    this.faces = h(
      "div",
      { class: "ga-rightpart" },
      faceBox,
      h("section", {}, this.gaps.head, this.gaps.note, this.gaps.node, this.beyond),
      this.levelPart,
      this.readings.node,
      h("section", {}, this.sky.node),
    );
    /** @type {Array<[string, HTMLElement]>} */
    const parts = [
      ["Faces", this.faces],
      ["What first", h("div", { class: "ga-rightpart" }, this.steps.node)],
      ["Everything", h("div", { class: "ga-rightpart" }, this.tables.node)],
      ["Wiring", h("div", { class: "ga-rightpart" }, this.wiring.node)],
      ["Text", h("div", { class: "ga-rightpart ga-fill" }, this.text.node)],
    ];
    this.tabs = new Tabs("What is shown beside the picture", parts, (index) => {
      this.node.classList.toggle("ga-broad", index > 1);
      if (index === 1 && !this.steps.fresh) this.steps.look();
      send({ do: "file", on: index > 1 });
      this.wiring.open(parts[index][0] === "Wiring");
    });
    this.node = h("div", { class: "ga-right" }, this.tabs.list, this.tabs.panels);
    this.tabs.choose(0);
  }

  /** Show the steps to take. */
  showSteps() {
    this.tabs.choose(1);
  }

  /**
   * Show a table of the file, to add to it.
   * @param {string} table
   */
  showTable(table) {
    this.tabs.choose(2);
    this.tables.await(table);
  }

  /** Bring the card of a face into view. */
  showFaces() {
    this.tabs.choose(0);
    this.faces.scrollTop = 0;
    // on a narrow page the card stands below the picture
    if (window.matchMedia("(max-width: 900px)").matches)
      this.node.scrollIntoView({ block: "start" });
  }

  /** @param {FileTold} told */
  showFile(told) {
    this.tables.show(told);
    this.text.show(told.text);
    this.wiring.showFile(told);
  }

  /**
   * @param {ReadingJson[]} readings
   * @param {string | null} plan that is shown
   */
  showReadings(readings, plan) {
    this.readings.show(readings, plan);
    this.tables.judged(readings);
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
    this.wiring.look(scene, looking);
    this.beyond.textContent = beyondSaid(beyond);
    this.levelPart.hidden = !numbers?.sources.length;
    if (numbers?.sources.length) fillLevels(this.levelTable, scene, numbers, looking.silent);
  }
}
