// What a choice brings, in words: the level that it leaves, against now, and its cost.
import { decibels, density } from "./parts.js";

/** @import { ChoiceTold } from "./protocol" */

const SAME_DB = 0.05;

/**
 * How far a choice lies below what stands now; a rise is marked and never called a gain.
 * @param {number | null} below_db
 */
export function againstNow(below_db) {
  if (below_db === null) return "nothing more comes";
  if (Math.abs(below_db) < SAME_DB) return "no change";
  return below_db > 0 ? `${decibels(below_db)} less` : `▲ ${decibels(-below_db)} more`;
}

/**
 * @param {ChoiceTold} choice
 */
export function becomes({ level_w_m2, reduction_db, below_now_db, more }) {
  const level =
    level_w_m2 === null
      ? `${decibels(reduction_db)} below an isotropic field`
      : density(level_w_m2);
  return [`level becomes ${level}`, againstNow(below_now_db), more].filter(Boolean).join(", ");
}
