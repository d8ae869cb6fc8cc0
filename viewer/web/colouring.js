// The colour of a face: what it lets in, its loss, or its treatment (behind the wiring too).
import { PATTERNS } from "./materials.js";
import { cividis, placeOn, rgb } from "./words.js";

/** @import { LeakJson, PanelJson, SceneJson, ThemeJson } from "./scene" */
/** @import { ViewState } from "./types" */

/** @typedef {{tint: number[], pattern: number, ink: number[] | null, lit: boolean}} Colouring */

const INK_ON_BRIGHT = [0.12, 0.15, 0.19];
const INK_ON_DARK = [1, 1, 1];

/**
 * Relative luminance of a colour as [r, g, b] from 0 to 1, with a plain power of 2.2.
 * @param {number[]} colour
 */
export function luminance([r, g, b]) {
  return 0.2126 * r ** 2.2 + 0.7152 * g ** 2.2 + 0.0722 * b ** 2.2;
}

/**
 * How a face is painted; `lit` says whether light may change its colour, which a scale forbids.
 * @param {SceneJson} scene
 * @param {PanelJson} panel
 * @param {ViewState} state
 * @param {LeakJson | null} leak
 * @param {ThemeJson} theme
 * @returns {Colouring}
 */
export function colouringOf(scene, panel, state, leak, theme) {
  const plain = rgb(panel.kind === "reveal" ? theme.rim : theme.neutral);
  if (state.mode === "treatment" || state.mode === "wiring") {
    const worn = panel.plans[state.plan]?.treatments ?? [];
    const style = scene.treatments.find((each) => each.id === worn[worn.length - 1]);
    if (!style) return { tint: plain, pattern: 0, ink: null, lit: true };
    const tint = rgb(style.colour);
    return {
      tint,
      pattern: Math.max(PATTERNS.indexOf(style.pattern), 0),
      ink: luminance(tint) > 0.35 ? INK_ON_BRIGHT : INK_ON_DARK,
      lit: true,
    };
  }
  if (!leak) return { tint: plain, pattern: 0, ink: null, lit: true };
  const place =
    state.mode === "loss"
      ? 1 - placeOn(scene.scales.loss_db, leak.loss_db, 1)
      : placeOn(scene.scales.let_in_db, leak.let_in_db, 0);
  return { tint: cividis(scene, place), pattern: 0, ink: null, lit: false };
}
