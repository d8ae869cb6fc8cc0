// What the browser finds under names that are not files beside the page's scripts.
declare module "nicegui-scene" {
  // biome-ignore lint/suspicious/noExplicitAny: no types of three.js here
  export const THREE: any;
  // biome-ignore lint/suspicious/noExplicitAny: no types of three.js here
  export const OrbitControls: any;
}
