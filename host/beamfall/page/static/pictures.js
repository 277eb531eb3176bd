// Pictures that may still be in the drawing: an image asks for its file only once the server has it.
import { h } from './dom.js';
import { hear, on, state } from './net.js';

/** @type {Set<number>} */
const drawn = new Set();
/** @type {Map<number, HTMLImageElement[]>} */
const waiting = new Map(); // shot -> images

/** @param {number} shot */
function come(shot) {
  drawn.add(shot);
  for (const image of waiting.get(shot) ?? []) {
    image.src = image.dataset.when ?? '';
    image.hidden = false;
  }
  waiting.delete(shot);
}
hear('picture', ({ shot }) => come(shot));
on('shot', () => {
  if (state.shot?.picture) come(state.shot.shot);
});

/**
 * `known`: whether the server said that there is a picture.
 * @param {number} shot
 * @param {Props & { small?: boolean, known?: boolean }} [how]
 */
export function makePicture(shot, { small = true, known = false, ...props } = {}) {
  const source = `/shots/${shot}/picture${small ? '?small' : ''}`;
  const image = h('img', { alt: `Picture of shot ${shot}`, ...props });
  if (known || drawn.has(shot)) image.src = source;
  else {
    image.hidden = true;
    image.dataset.when = source;
    waiting.set(shot, [...(waiting.get(shot) ?? []), image]);
  }
  return image;
}
