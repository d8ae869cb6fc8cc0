// The page as NiceGUI mounts it: it passes on what is asked and what is told, nothing more.
import { OrbitControls, THREE } from "nicegui-scene";
import { openPage } from "/own/page.js";

export default {
  template: `<div class="ga"></div>`,
  mounted() {
    this.page = openPage(this.$el, { THREE, OrbitControls }, (asked) => this.$emit("ask", asked));
  },
  unmounted() {
    this.page.dispose();
  },
  methods: {
    tell(what) {
      this.page.hear(what);
    },
  },
};
