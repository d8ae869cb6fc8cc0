// Words and colours that the cutaway, the map of directions and the pages share.

/** A name from a file, fit for a label: one line, no invisible or direction marks, not endless. */
export function shown(name, limit = 48) {
  const plain = name.replace(/\s+/gu, " ").replace(/\p{C}/gu, "").trim();
  return plain.length <= limit ? plain : plain.slice(0, limit - 1).trimEnd() + "…";
}

export function percent(share) {
  const value = 100 * share;
  if (!(value > 0)) return "0 %";
  if (value < 0.1) return "< 0.1 %";
  if (value >= 99.5 && value < 99.95) return value.toFixed(1) + " %";
  if (value >= 9.95) return value.toFixed(0) + " %";
  return value.toFixed(1).replace(/\.0$/, "") + " %";
}

export function decibels(value) {
  return value === null ? "no limit" : value.toFixed(1) + " dB";
}

/** What a face is called; with its room where that is not the receiver's own. */
export function panelName(scene, panel, receiver = 0) {
  const home = scene.receivers[receiver]?.space;
  const title = panel.title || shown(panel.id);
  return panel.space === home ? title : `${title} of ${shown(panel.space)}`;
}

/** Title and plain sentences about one face under a plan, for a tip or a card. */
export function describe(scene, panel, plan, receiver) {
  const state = panel.plans[plan];
  const lines = [];
  const leak = state?.leaks[receiver];
  const to = shown(scene.receivers[receiver]?.id ?? "");
  if (leak) {
    lines.push(`Lets in ${percent(leak.share)} of what comes straight to ${to}, all directions alike.`);
    lines.push(
      leak.loss_db === null
        ? "Lets nothing through."
        : `Lets through ${percent(10 ** (-leak.loss_db / 10))} of what meets it: ` +
            `a loss of ${decibels(leak.loss_db)}` +
            (leak.is_gap ? `, so it is a gap (below ${scene.threshold_db} dB).` : "."),
    );
  } else if (to && state) {
    lines.push(`Nothing from outside comes to ${to} through it.`);
  }
  const worn = state?.treatments ?? [];
  lines.push(worn.length ? `Treated with ${worn.map((each) => shown(each)).join(" and ")}.` : "Untreated.");
  return [panelName(scene, panel, receiver), ...lines];
}

/** Colour of a value on cividis, 0 dark to 1 bright, as [r, g, b] from 0 to 1. */
export function cividis(scene, place) {
  const table = scene.cividis;
  const at = Math.min(Math.max(place, 0), 1) * (table.length - 1);
  const low = Math.floor(at);
  const [a, b] = [rgb(table[low]), rgb(table[Math.min(low + 1, table.length - 1)])];
  return a.map((part, k) => part + (b[k] - part) * (at - low));
}

/** Place of a value in dB on a scale [low, high]; null stands for "nothing passes". */
export function placeOn(scale, value, whereNull) {
  if (value === null || value === undefined) return whereNull;
  return Math.min(Math.max((value - scale[0]) / (scale[1] - scale[0]), 0), 1);
}

/** "#rrggbb" as [r, g, b] from 0 to 1. */
export function rgb(colour) {
  return [1, 3, 5].map((k) => parseInt(colour.slice(k, k + 2), 16) / 255);
}
