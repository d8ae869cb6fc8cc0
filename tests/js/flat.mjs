// The pages are served from one folder; on disk their scripts stand in three. A name that is not
// beside the script that imports it is looked for in the others.
import { existsSync } from "node:fs";
import { registerHooks } from "node:module";

const FOLDERS = ["web/", "app/page/", "handout/"].map(
  (name) => new URL(`../../viewer/${name}`, import.meta.url),
);

registerHooks({
  resolve(specifier, context, next) {
    if (specifier.startsWith("./") && context.parentURL?.includes("/viewer/")) {
      for (const folder of FOLDERS) {
        const place = new URL(specifier, folder);
        if (existsSync(place)) return { url: place.href, shortCircuit: true };
      }
    }
    return next(specifier, context);
  },
  load(url, context, next) {
    // no package.json says that these are modules
    const format = url.includes("/viewer/") ? "module" : undefined;
    return next(url, format ? { ...context, format } : context);
  },
});
