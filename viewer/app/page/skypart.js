// The part of the page that shows all directions around a receiver, asked for once it is opened.
import { h } from "./parts.js";
import { mountSky } from "./skymap.js";

/** @import { SceneJson, SkyJson } from "./scene" */
/** @import { Looking } from "./looking.js" */

const QUIET_MS = 350; // after an edit, before a new map is asked for

export class SkyPart {
  #box = h("div", { class: "ga-sky" });
  /** @type {ReturnType<typeof mountSky> | null} */
  map = null;
  #timer = 0;

  /**
   * @param {() => void} opened
   * @param {{pick: (id: string | null) => void, hover: (id: string | null) => void}} act
   */
  constructor(opened, act) {
    this.act = act;
    this.node = h(
      "details",
      { class: "ga-skypart", ontoggle: () => this.node.open && opened() },
      h("summary", {}, "What it sees"),
      this.#box,
      h(
        "p",
        { class: "ga-note" },
        "Every direction, up in the middle, north at the top: bright where more comes in, hatched where the ground blocks.",
      ),
    );
  }

  /**
   * Ask for a map once nobody edits, if it shows.
   * @param {() => void} ask
   */
  later(ask, wait = QUIET_MS) {
    clearTimeout(this.#timer);
    if (this.node.open) this.#timer = window.setTimeout(ask, wait);
  }

  /**
   * @param {SkyJson} sky
   * @param {SceneJson} scene
   * @param {number} plan
   * @param {Looking} looking
   */
  show(sky, scene, plan, { receiver, picked }) {
    if (this.map) {
      this.map.setSky({ sky, scene, plan, receiver });
      return;
    }
    const { pick, hover } = this.act;
    this.map = mountSky(this.#box, sky, scene, { plan, receiver, onPick: pick, onHover: hover });
    if (picked) this.map.select(picked);
  }

  dispose() {
    this.map?.dispose();
    this.map = null;
  }
}
