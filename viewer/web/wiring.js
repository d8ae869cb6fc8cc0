// The house wiring: cables as tubes that nothing hides, outlets, bonds, strips of coating.

/** @import { CableJson, SceneJson, ScopeJson, ThemeJson } from "./scene" */
/** @import { Callout, Face, Point, StageLike, Three, ViewState } from "./types" */

const BEFORE = 8; // order in which what nothing hides is drawn

/**
 * What remains with a cable off, under the plan and at the receiver that are shown.
 * @param {CableJson} cable
 * @param {ViewState} state
 */
const shareOf = (cable, state) => cable.plans[state.plan]?.[state.receiver] ?? null;

/**
 * Bodies of the wiring in the rooms that are shown in full.
 * @param {SceneJson} scene
 * @param {ViewState} state
 * @param {{brush: Three, theme: ThemeJson, scope: ScopeJson, get: (id: string) => Face | undefined}} given
 * @returns {Three[]}
 */
export function wiringBodies(scene, state, { brush, theme, scope, get }) {
  const { wiring } = scene;
  if (!wiring) return [];
  const plan = scene.plans[state.plan]?.id ?? "";
  const strips = wiring.strips
    .filter(({ panel, plans }) => plans.includes(plan) && get(panel)?.stands)
    .map((strip) => {
      const body = brush.flat(strip.vertices, strip.triangles, strip.colour, 1, null, 3e-4);
      body.userData.facing = get(strip.panel)?.panel.normal ?? null;
      return body;
    });
  const cables = wiring.cables
    .filter(({ spaces }) => spaces.some((space) => scope.full.includes(space)))
    .map((cable) => ({ ...cable, colour: shareOf(cable, state)?.colour ?? theme.muted }));
  const spots = wiring.spots.filter(
    ({ space, plans }) => scope.full.includes(space) && (!plans || plans.includes(plan)),
  );
  const before = [...cables, ...spots].map((each) => {
    const body = brush.solid(each, each.colour);
    Object.assign(body.material, { depthTest: false, transparent: true });
    body.renderOrder = BEFORE;
    return body;
  });
  return [...strips, ...before];
}

/**
 * Names of the cables whose absence helps most.
 * @param {StageLike} stage
 * @param {ViewState} state
 * @param {(p: Point) => Point} project
 * @returns {Callout[]}
 */
export function cableNames({ scene, scope }, state, project) {
  const { wiring } = scene;
  if (!wiring) return [];
  return wiring.cables
    .map((cable) => ({ cable, share: shareOf(cable, state) }))
    .filter(({ cable, share }) => share?.matters && cable.id === cable.what)
    .filter(({ cable }) => cable.spaces.some((space) => scope.full.includes(space)))
    .sort((a, b) => (a.share?.rank ?? 0) - (b.share?.rank ?? 0))
    .slice(0, wiring.most_named)
    .map(({ cable, share }) => ({
      kind: /** @type {const} */ ("face"),
      text: share?.label ?? "",
      at: project(cable.mark),
    }));
}
