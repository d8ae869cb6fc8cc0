// The page as NiceGUI mounts it: it passes on what is asked and what is told, nothing more.
import { OrbitControls, THREE } from "nicegui-scene";
import { openPage } from "/own/page.js";

const LOOK_MS = 1000; // between looks at whether the program still answers

export default {
  template: `<div class="ga"></div>`,
  mounted() {
    this.page = openPage(this.$el, { THREE, OrbitControls }, (asked) => this.$emit("ask", asked));
    this.looks = setInterval(() => {
      const line = /** @type {any} */ (window).socket; // NiceGUI's own, made after this page
      this.page.frame.connected(!line || line.connected);
    }, LOOK_MS);
  },
  unmounted() {
    clearInterval(this.looks);
    this.page.dispose();
  },
  methods: {
    tell(what) {
      this.page.hear(what);
    },
  },
};
