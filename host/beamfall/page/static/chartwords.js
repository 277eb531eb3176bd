// The words beside a chart's shapes, written where there is room for them.
import { findEnds } from './chartshapes.js';
import { s } from './dom.js';

/**
 * @typedef {import('./chartdraw.js').Panel} Panel
 * @typedef {import('./chartdraw.js').Shape} Shape
 * @typedef {import('./chartdraw.js').Place} Place
 * @typedef {import('./chartdraw.js').Box} Box
 */

const LETTER = 7.6; // pixels, about, of one letter of a note

/**
 * What words may not cover: bars, and marks on rows.
 * @param {Panel} panel
 * @param {Place} place
 * @returns {Box[]}
 */
export function findObstacles(panel, place) {
  if (!panel.rows.length) return [];
  return panel.shapes.flatMap((shape) => {
    if (shape.shape === 'Dots')
      return shape.xs.map((/** @type {number} */ v, /** @type {number} */ n) =>
        makeBox(place.x(v) - 7, place.y(shape.ys[n]), 14),
      );
    const ends = shape.shape === 'Bar' ? findEnds(shape, place) : null;
    return ends ? [makeBox(ends[0], place.y(shape.y), ends[1] - ends[0])] : [];
  });
}

/**
 *
 * @param {number} x
 * @param {number} y
 * @param {number} width
 * @returns {Box} a line of words, or as high as one, that begins at x around the height y
 */
const makeBox = (x, y, width) => ({ left: x, right: x + width, top: y - 7, bottom: y + 7 });
/** @param {Box} a @param {Box} b */
const meet = (a, b) => a.left < b.right && b.left < a.right && a.top < b.bottom && b.top < a.bottom;

/**
 * The words of an arrow or a rule, which are written even where there is little room.
 * @param {Element} words
 * @param {Shape} shape
 * @param {Place} place
 * @param {Box[]} taken
 * @param {number} width of the whole chart
 */
export function writeOn(words, shape, { x, y, from, to, frame }, taken, width) {
  if (!shape.text) return;
  const wide = shape.text.length * LETTER;
  let at = frame.right - 4;
  let base = 0;
  let anchor = 'end';
  if (shape.shape === 'Arrow') {
    if (shape.end < from || shape.start > to) return;
    const middle = (Math.max(x(shape.start), frame.left) + Math.min(x(shape.end), frame.right)) / 2;
    // Words wider than the frame may use the margins: between two rows these are empty.
    const [left, right] = wide <= frame.right - frame.left ? [frame.left, frame.right] : [0, width];
    at = Math.max(Math.min(middle, right - wide / 2), left + wide / 2);
    base = y(shape.y) - 3;
    anchor = 'middle';
  } else if (shape.axis === 'x') {
    if (shape.at < from || shape.at > to) return;
    at = x(shape.at) + 4;
    base = frame.top - 4;
    anchor = 'start';
  } else {
    base = y(shape.at) - 5;
    if (base < frame.top - 6 || base > frame.bottom) return;
  }
  taken.push(makeBox(at - wide * SHARES[anchor], base - 4, wide));
  words.append(
    s('text', { x: at, y: base, class: `said c-${shape.role}`, 'text-anchor': anchor }, shape.text),
  );
}
/** @type {Record<string, number>} */
const SHARES = { start: 0, middle: 0.5, end: 1 }; // of the words that lie left of their anchor

/**
 * @param {Element} words
 * @param {Shape} note
 * @param {Place} place
 * @param {Box[]} taken
 * @param {number} right where the room for its words ends
 */
export function writeNote(words, note, { x, y, from, to, frame }, taken, right) {
  if (note.x < from || note.x > to) return;
  const wide = note.text.length * LETTER + 4;
  const [at, middle] = [x(note.x), y(note.y)];
  const places = [
    { at: at + 9, anchor: 'start', middle },
    { at: at - 9, anchor: 'end', middle },
    { at, anchor: 'start', middle: middle - 14 },
  ];
  for (const place of places) {
    const box = makeBox(place.at - wide * SHARES[place.anchor], place.middle, wide);
    if (box.left < frame.left || box.right > right || taken.some((other) => meet(box, other))) continue;
    taken.push(box);
    const kind = note.role === 'bad' ? 'said c-bad' : 'ticktext';
    const spot = { x: place.at, y: place.middle + 4, 'text-anchor': place.anchor };
    words.append(s('text', { ...spot, class: kind }, note.text));
    return;
  }
}
