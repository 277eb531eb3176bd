// A measured photograph with its marks: each can be dragged, or moved with the arrow keys.
// Those that were not found can be added.

import { h, s } from './dom.js';
import { makeButton } from './press.js';

/**
 * Which way a mark moves, what it is called, and where it begins when a person adds it, over width and height.
 * @type {Record<string, { across: boolean, text: string, column: number, row: number }>}
 */
const MARKS = {
  surface: { across: false, text: 'surface', column: 0.5, row: 0.75 },
  tip: { across: false, text: 'tip of the jet', column: 0.5, row: 0.5 },
  drop: { across: false, text: 'lowest point of drop 2', column: 0.5, row: 0.35 },
  left: { across: true, text: 'left end of the umbrella', column: 0.35, row: 0.5 },
  right: { across: true, text: 'right end of the umbrella', column: 0.65, row: 0.5 },
};

/**
 * @param {number} shot
 * @param {MeasuredPicture} measured
 * @param {{ className?: string, name: string, use: (marks: string) => unknown }} how `use` takes the marks that were
 *   moved, as `tip 512 left 310`; `name` is on the button that gives them.
 */
export function makeMarked(shot, measured, { className = '', name, use }) {
  const { width, height } = measured;
  const drawing = s('svg.marks', { viewBox: `0 0 ${width} ${height}` });
  /** Marks that a person has moved, in pixels. @type {Map<string, number>} */
  const moved = new Map();
  const button = makeButton(name, () => use(say()), { hidden: true });
  const say = () => [...moved].map(([mark, pixel]) => `${mark} ${pixel.toFixed(1)}`).join(' ');

  /** @param {string} mark @param {{ column: number, row: number }} place */
  function add(mark, place) {
    const kind = MARKS[mark];
    const start = kind.across ? place.column : place.row;
    const most = kind.across ? width : height;
    const shape = s('path.line'),
      grip = s('path.grip');
    const group = s(
      'g.mark',
      {
        'data-mark': mark,
        tabindex: 0,
        role: 'slider',
        'aria-label': kind.text,
        'aria-orientation': kind.across ? 'horizontal' : 'vertical',
        'aria-valuemin': 0,
        'aria-valuemax': most,
      },
      shape,
      grip,
    );
    const draw = (/** @type {number} */ pixel) => {
      group.setAttribute('aria-valuenow', pixel.toFixed(0));
      group.setAttribute('aria-valuetext', `${pixel.toFixed(0)} pixels`);
      const column = kind.across ? pixel : place.column;
      const row = kind.across ? place.row : pixel;
      const arm = mark === 'surface' ? width : 0.05 * width;
      const path = kind.across
        ? `M${column} ${row - arm}V${row + arm}`
        : `M${Math.max(0, column - arm)} ${row}H${Math.min(width, column + arm)}`;
      shape.setAttribute('d', path);
      grip.setAttribute('d', path);
    };
    const move = (/** @type {number} */ pixel) => {
      const kept = Math.min(most, Math.max(0, pixel));
      moved.set(mark, kept);
      group.classList.add('moved');
      button.hidden = false;
      draw(kept);
    };
    draw(start);
    group.addEventListener('pointerdown', (event) => {
      event.preventDefault();
      group.focus();
      group.setPointerCapture(event.pointerId);
    });
    group.addEventListener('pointermove', (event) => {
      if (!group.hasPointerCapture(event.pointerId)) return;
      const box = drawing.getBoundingClientRect();
      move(
        kind.across
          ? ((event.clientX - box.left) / box.width) * width
          : ((event.clientY - box.top) / box.height) * height,
      );
    });
    group.addEventListener('keydown', (event) => {
      const [less, more] = kind.across ? ['ArrowLeft', 'ArrowRight'] : ['ArrowUp', 'ArrowDown'];
      if (event.key !== less && event.key !== more) return;
      event.preventDefault();
      event.stopPropagation(); // arrows are keys of the page, too
      const step = (event.shiftKey ? 0.02 : 0.002) * most;
      move((moved.get(mark) ?? start) + (event.key === more ? step : -step));
    });
    drawing.append(group);
    return { group, move, start };
  }
  const missing = Object.entries(MARKS)
    .filter(([mark]) => !measured.marks[mark])
    .map(([mark, kind]) =>
      makeButton(`Set the ${kind.text}`, (event) => {
        const added = add(mark, { column: kind.column * width, row: kind.row * height });
        added.move(added.start);
        added.group.focus();
        if (event.currentTarget instanceof Element) event.currentTarget.remove();
      }),
    );
  for (const [mark, place] of Object.entries(measured.marks)) if (MARKS[mark]) add(mark, place);
  return h(
    'div',
    { class: `pic marked ${className}` },
    h(
      'div.overlaid',
      h('img', { src: `/shots/${shot}/picture`, alt: `Photograph of shot ${shot} with its measurements` }),
      drawing,
    ),
    h('div.row', button, missing.length ? h('details', h('summary', 'Add a mark'), missing) : null),
  );
}
