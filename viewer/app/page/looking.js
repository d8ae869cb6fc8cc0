// What a page looks at: plans, receiver, face, sources that are on. Nothing here knows the screen.

/** @import { ReadingJson, SceneJson } from "./scene" */
/** @import { StoreyChoice, ViewState } from "./types" */

const VIEWS_AT_MOST = 3;
const KEPT_AS = "gapcast-look";

export class Looking {
  /** @type {string | null} the plan that is worked on */
  plan = null;
  /** @type {string[]} those shown beside it */
  beside = [];
  receiver = 0;
  /** @type {string | null} id of the face that is picked */
  picked = null;
  /** @type {Set<string>} sources that are off */
  silent = new Set();
  /** @type {ViewState["mode"]} */
  mode = "let-in";
  beams = true;
  /** @type {ReadingJson[]} of the job */
  readings = [];
  showReadings = true;
  /** @type {StoreyChoice} */
  storeys = { mode: "room", count: 0 };

  /** Plans that are shown, the one that is worked on first. */
  get plans() {
    return this.plan === null ? [] : [this.plan, ...this.beside];
  }

  /** Readings that the pictures show. */
  get seenReadings() {
    return this.showReadings ? this.readings : [];
  }

  /** @param {string} id */
  choosePlan(id) {
    this.beside = this.beside.filter((each) => each !== id);
    this.plan = id;
  }

  /**
   * @param {string} id
   * @param {boolean} on
   */
  putBeside(id, on) {
    const others = this.beside.filter((each) => each !== id);
    this.beside = on ? [...others, id].slice(-(VIEWS_AT_MOST - 1)) : others;
  }

  /**
   * Work on a plan that is shown beside; the one worked on before stays beside it.
   * @param {string} id
   */
  workOn(id) {
    if (id === this.plan || this.plan === null) return;
    const others = this.beside.filter((each) => each !== id);
    this.beside = [this.plan, ...others].slice(0, VIEWS_AT_MOST - 1);
    this.plan = id;
  }

  /**
   * @param {string} id
   * @param {boolean} on
   */
  turn(id, on) {
    if (on) this.silent.delete(id);
    else this.silent.add(id);
  }

  /**
   * Let go of what a scene no longer has.
   * @param {Pick<SceneJson, "plans" | "receivers">} scene
   */
  fitTo(scene) {
    this.fitPlans(scene.plans.map((each) => each.id));
    this.receiver = Math.min(this.receiver, Math.max(scene.receivers.length - 1, 0));
  }

  /**
   * Go on looking at the same receiver where its place in the list is another.
   * @param {Pick<SceneJson, "receivers">} scene
   * @param {string | undefined} id
   */
  follow(scene, id) {
    const found = scene.receivers.findIndex((each) => each.id === id);
    if (found >= 0) this.receiver = found;
  }

  /** @param {string[]} ids */
  fitPlans(ids) {
    if (this.plan === null || !ids.includes(this.plan)) this.plan = ids[ids.length - 1] ?? null;
    this.beside = this.beside.filter((id) => ids.includes(id) && id !== this.plan);
  }

  /**
   * Keep it over a reload of the page.
   * @param {Pick<Storage, "setItem">} storage
   * @param {SceneJson} scene
   */
  remember(storage, scene) {
    const { plan, beside, picked } = this;
    const who = scene.receivers[this.receiver]?.id ?? null;
    storage.setItem(KEPT_AS, JSON.stringify({ plan, beside, who, picked }));
  }

  /**
   * @param {Pick<Storage, "getItem">} storage
   * @param {SceneJson} scene
   */
  recall(storage, scene) {
    const kept = JSON.parse(storage.getItem(KEPT_AS) ?? "{}");
    this.plan = kept.plan ?? null;
    this.beside = Array.isArray(kept.beside) ? kept.beside : [];
    this.picked = kept.picked ?? null;
    const found = scene.receivers.findIndex((each) => each.id === kept.who);
    this.receiver = Math.max(found, 0);
  }
}
