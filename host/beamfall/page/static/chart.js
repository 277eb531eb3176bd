// A chart that the server describes as data, with its buttons, keys and legend. chartdraw.js draws it,
// with the shapes of chartshapes.js and the words of chartwords.js.

import { drawPanel } from './chartdraw.js';
import { makeSample } from './chartshapes.js';
import { fit, h, show } from './dom.js';
import { makeButton } from './press.js';

/**
 * @typedef {import('./chartdraw.js').Panel} Panel
 * @typedef {import('./chartdraw.js').View} View
 * @typedef {import('./chartdraw.js').Shape} Shape
 *
 * What is done with a bar that has a handle: taken by its whole (delay) or its end (width), dragged by some ms where a
 * pixel is `pixel` ms wide, and released.
 * @typedef {{
 *   start: (handle: number, part: string) => void,
 *   move: (ms: number, pixel: number) => void,
 *   end: (kept: boolean) => void,
 * }} Grab
 */

const LEAST_MS = 0.005; // the narrowest part that can be seen

/**
 * A chart with its buttons and its legend. `update` shows a panel; null shows the words for no chart.
 * `opens` names the view that is shown first, where there is one. `grab` hears of bars that are dragged.
 * @param {{label: string, empty?: string, height?: number, opens?: string, grab?: Grab}} options
 */
export function makeChart({ label, empty = '', height = 210, opens = '', grab }) {
  const box = h('div.chart', {
    tabindex: '0',
    role: 'group',
    'aria-label': `${label}. Arrow keys move it, plus and minus zoom, 0 shows all of it.`,
  });
  const legend = h('p.legend.small.soft');
  const buttons = h('div.row.small');
  /** @type {Panel | null} */
  let panel = null;
  /** @type {View | null} the view whose heights are shown, and whose times unless they were moved */
  let view = null;
  /** @type {[number, number]} */
  let range = [0, 1];
  let follows = true, // whether the times shown are the view's
    held = false, // whether a bar is being dragged: what is under the finger must not move by itself
    marked = -1; // the bar that is marked

  const redraw = fit(box, (width) => {
    if (!panel || !view) show(box, h('p.soft', empty));
    else show(box, drawPanel(panel, { ...view, x: range }, width, height));
    mark(marked);
  });
  /** Mark the bar of a handle. @param {number} handle */
  function mark(handle) {
    marked = handle;
    for (const bar of box.querySelectorAll('[data-bar]'))
      bar.classList.toggle('chosen', bar.getAttribute('data-bar') === String(handle));
  }
  const look = (/** @type {View} */ next) => {
    follows = true;
    view = next;
    range = next.x;
    redraw();
  };
  const move = (/** @type {number} */ low, /** @type {number} */ high) => {
    if (!panel) return;
    follows = false;
    const [first, last] = panel.views[0].x;
    const span = Math.min(Math.max(high - low, LEAST_MS), last - first);
    const start = Math.min(Math.max(low, first), last - span);
    range = [start, start + span];
    redraw();
  };
  /** Around `at`; without it around the middle, or closer to the start of the bar that is marked. */
  const zoom = (/** @type {number} */ factor, /** @type {number | undefined} */ at = undefined) => {
    const middle = (range[0] + range[1]) / 2;
    const bar = at === undefined && factor < 1 && panel?.shapes.find((one) => one.handle === marked);
    const by = at ?? middle;
    const shift = bar ? bar.start - middle : 0;
    move(by - (by - range[0]) * factor + shift, by + (range[1] - by) * factor + shift);
  };
  const pan = (/** @type {number} */ share) => {
    const step = (range[1] - range[0]) * share;
    move(range[0] + step, range[1] + step);
  };
  const whole = () => panel && look(panel.views[0]);
  /** How far along the frame the pointer is: 0 at its left end, 1 at its right. */
  const share = (/** @type {MouseEvent} */ event) => {
    const frame = box.querySelector('clipPath rect');
    const [left, width] = ['x', 'width'].map((name) => Number(frame?.getAttribute(name)));
    return (event.clientX - box.getBoundingClientRect().left - left) / width;
  };
  const at = (/** @type {MouseEvent} */ event) => range[0] + share(event) * (range[1] - range[0]);
  const pixel = () =>
    (range[1] - range[0]) / Number(box.querySelector('clipPath rect')?.getAttribute('width'));
  const how = { zoom, pan, whole, share, at, ready: () => panel !== null };
  listen(box, how);
  /** @type {Grab | undefined} */
  const holding = grab && {
    ...grab,
    start: (handle, part) => {
      held = true;
      grab.start(handle, part);
    },
    end: (kept) => {
      held = false;
      grab.end(kept);
    },
  };
  drag(box, how, pixel, holding);

  /** @param {Panel | null | undefined} fresh */
  function update(fresh) {
    if (fresh === panel) return;
    const was = view?.name;
    panel = fresh ?? null;
    show(legend, panel ? makeLegend(panel) : '');
    show(buttons, panel && panel.views.length > 1 ? makeButtons(panel.views, look, zoom) : '');
    if (!panel) {
      redraw();
      return;
    }
    // Whoever looks at the flash looks at the next shot's flash, too.
    view = panel.views.find((one) => one.name === (was ?? opens)) ?? panel.views[0];
    if (held) redraw();
    else if (follows) look(view);
    else move(...range);
  }
  update(null);
  return { box, legend, buttons, update, mark };
}

/** @param {View[]} views @param {(view: View) => void} look @param {(factor: number) => void} zoom */
function makeButtons(views, look, zoom) {
  const make = (/** @type {string} */ text, /** @type {() => void} */ click, name = text) =>
    makeButton(text, click, { 'aria-label': name });
  return [
    views.map((view) => make(view.name, () => look(view))),
    h(
      'span.together',
      make('+', () => zoom(0.5), 'Closer'),
      make('−', () => zoom(2), 'Wider'),
    ),
  ];
}

/**
 * Keys, and the wheel with Ctrl.
 * @param {HTMLElement} box
 * @param {{
 *   zoom: (factor: number, at?: number) => void,
 *   at: (event: MouseEvent) => number,
 *   pan: (share: number) => void,
 *   whole: () => void,
 *   ready: () => boolean,
 * }} how
 */
function listen(box, { zoom, pan, whole, at, ready }) {
  /** @type {Record<string, () => void>} */
  const keys = {
    ArrowLeft: () => pan(-0.2),
    ArrowRight: () => pan(0.2),
    '+': () => zoom(0.5),
    '=': () => zoom(0.5),
    '-': () => zoom(2),
    0: whole,
  };
  box.addEventListener('keydown', (event) => {
    const act = keys[event.key];
    if (!act || !ready()) return;
    event.preventDefault();
    event.stopPropagation();
    act();
  });
  box.addEventListener(
    'wheel',
    (event) => {
      if (!ready() || !event.ctrlKey) return;
      event.preventDefault();
      zoom(event.deltaY > 0 ? 1.25 : 0.8, at(event));
    },
    { passive: false },
  );
}

/**
 * Fingers and the mouse: one moves the chart or a bar of it, two scale the chart.
 * @param {HTMLElement} box
 * @param {{
 *   zoom: (factor: number, at?: number) => void,
 *   share: (event: MouseEvent) => number,
 *   at: (event: MouseEvent) => number,
 *   pan: (share: number) => void,
 *   ready: () => boolean,
 * }} how
 * @param {() => number} pixel ms
 * @param {Grab} [grab]
 */
function drag(box, { zoom, share, at, pan, ready }, pixel, grab) {
  /** Where each pointer that is down was last, as a share of the frame. @type {Map<number, number>} */
  const down = new Map();
  /** Where a bar was taken, in ms. @type {number | null} */
  let taken = null;
  const drop = (/** @type {boolean} */ kept) => {
    if (taken !== null) grab?.end(kept);
    taken = null;
  };
  const span = () => pixel() * Number(box.querySelector('clipPath rect')?.getAttribute('width'));
  box.addEventListener('pointerdown', (event) => {
    if (!ready()) return;
    down.set(event.pointerId, share(event));
    const grip = event.target instanceof SVGElement ? event.target.dataset : {};
    if (down.size > 1) drop(false);
    else if (grab && grip.handle !== undefined) {
      event.preventDefault(); // no text is selected
      taken = at(event);
      grab.start(Number(grip.handle), grip.part ?? '');
    }
    box.setPointerCapture(event.pointerId); // what it was on is drawn again
  });
  box.addEventListener('pointermove', (event) => {
    const last = down.get(event.pointerId);
    if (last === undefined) return;
    if (!event.buttons) {
      lift(event);
      return;
    }
    const here = share(event);
    if (taken !== null) grab?.move(at(event) - taken, pixel());
    else if (down.size === 1) pan(last - here);
    else {
      const other = [...down].find(([id]) => id !== event.pointerId)?.[1] ?? here;
      const [before, now] = [Math.abs(last - other), Math.abs(here - other)];
      if (before > 0.01 && now > 0.01) zoom(before / now, at(event) + ((other - here) / 2) * span());
    }
    down.set(event.pointerId, share(event));
  });
  const lift = (/** @type {PointerEvent} */ event) => {
    if (down.delete(event.pointerId)) drop(event.type !== 'pointercancel');
  };
  for (const name of /** @type {const} */ (['pointerup', 'pointercancel'])) box.addEventListener(name, lift);
}

// -- legend -------------------------------------------------------------------------------------------------------

/** One sample of each named shape. @param {Panel} panel */
function makeLegend(panel) {
  /** @type {Map<string, Shape>} */
  const named = new Map();
  for (const shape of panel.shapes) if (shape.name && !named.has(shape.name)) named.set(shape.name, shape);
  return [...named].map(([name, shape]) => h('span.key', makeSample(shape), name));
}
