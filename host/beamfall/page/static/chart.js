// A chart that the server describes as data, with its buttons, keys and legend. chartdraw.js draws it.

import { drawPanel, makeSample } from './chartdraw.js';
import { fit, h, show } from './dom.js';

/**
 * @typedef {import('./chartdraw.js').Panel} Panel
 * @typedef {import('./chartdraw.js').View} View
 * @typedef {import('./chartdraw.js').Shape} Shape
 */

const LEAST_MS = 0.02; // the narrowest part that can be seen

/**
 * A chart with its buttons and its legend. `update` shows a panel; null shows the words for no chart.
 * `opens` names the view that is shown first, where there is one.
 * @param {{label: string, empty?: string, height?: number, opens?: string}} options
 */
export function makeChart({ label, empty = '', height = 210, opens = '' }) {
  const box = h('div', {
    class: 'chart',
    tabindex: '0',
    role: 'group',
    'aria-label': `${label}. Arrow keys move it, plus and minus scale it, 0 shows all of it.`,
  });
  const legend = h('p', { class: 'legend small soft' });
  const buttons = h('div', { class: 'row small' });
  /** @type {Panel | null} */
  let panel = null;
  /** @type {View | null} the view whose heights are shown, and whose times unless they were moved */
  let view = null;
  /** @type {[number, number]} */
  let range = [0, 1];

  const redraw = fit(box, (width) => {
    if (!panel || !view) show(box, h('p', { class: 'soft' }, empty));
    else show(box, drawPanel(panel, { ...view, x: range }, width, height));
  });
  const look = (/** @type {View} */ next) => {
    view = next;
    range = next.x;
    redraw();
  };
  const move = (/** @type {number} */ low, /** @type {number} */ high) => {
    if (!panel) return;
    const [first, last] = panel.views[0].x;
    const span = Math.min(Math.max(high - low, LEAST_MS), last - first);
    const start = Math.min(Math.max(low, first), last - span);
    range = [start, start + span];
    redraw();
  };
  const zoom = (/** @type {number} */ factor, at = (range[0] + range[1]) / 2) =>
    move(at - (at - range[0]) * factor, at + (range[1] - at) * factor);
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
  listen(box, { zoom, pan, whole, share, at, ready: () => panel !== null });

  /** @param {Panel | null | undefined} fresh */
  function update(fresh) {
    if (fresh === panel) return;
    const was = view?.name;
    const moved = view !== null && (range[0] !== view.x[0] || range[1] !== view.x[1]);
    panel = fresh ?? null;
    show(legend, panel ? makeLegend(panel) : '');
    show(buttons, panel && panel.views.length > 1 ? makeButtons(panel.views, look, zoom) : '');
    if (!panel) {
      redraw();
      return;
    }
    // Whoever looks at the flash looks at the next shot's flash, too.
    view = panel.views.find((one) => one.name === (was ?? opens)) ?? panel.views[0];
    if (moved) move(...range);
    else look(view);
  }
  update(null);
  return { box, legend, buttons, update };
}

/**
 * @param {View[]} views
 * @param {(view: View) => void} look
 * @param {(factor: number) => void} zoom
 */
function makeButtons(views, look, zoom) {
  const make = (/** @type {string} */ text, /** @type {() => void} */ click, name = text) =>
    h('button', { type: 'button', on: { click }, 'aria-label': name }, text);
  return [
    views.map((view) => make(view.name, () => look(view))),
    make('+', () => zoom(0.5), 'Closer'),
    make('−', () => zoom(2), 'Wider'),
  ];
}

/**
 * Keys, the wheel with Ctrl, and dragging.
 * @param {HTMLElement} box
 * @param {{
 *   zoom: (factor: number, at?: number) => void,
 *   share: (event: MouseEvent) => number,
 *   at: (event: MouseEvent) => number,
 *   pan: (share: number) => void,
 *   whole: () => void,
 *   ready: () => boolean,
 * }} how
 */
function listen(box, { zoom, pan, whole, share, at, ready }) {
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
  /** @type {number | null} */
  let from = null;
  box.addEventListener('pointerdown', (event) => {
    from = ready() ? share(event) : null;
  });
  box.addEventListener('pointermove', (event) => {
    if (from === null || !event.buttons) return;
    pan(from - share(event));
    from = share(event);
  });
}

// -- legend -------------------------------------------------------------------------------------------------------

/** One sample of each named shape. @param {Panel} panel */
function makeLegend(panel) {
  /** @type {Map<string, Shape>} */
  const named = new Map();
  for (const shape of panel.shapes) if (shape.name && !named.has(shape.name)) named.set(shape.name, shape);
  return [...named].map(([name, shape]) => h('span', { class: 'key' }, makeSample(shape), name));
}
