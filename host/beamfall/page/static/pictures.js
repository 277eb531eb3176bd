// Pictures that may still be in the drawing: an image asks for its file only once the server has it.
import { h } from './dom.js';
import { state, on, hear } from './net.js';

const drawn = new Set();
const waiting = new Map(); // shot -> images

function come(shot) {
  drawn.add(shot);
  for (const image of waiting.get(shot) ?? []) {
    image.src = image.dataset.when;
    image.hidden = false;
  }
  waiting.delete(shot);
}
hear('picture', ({ shot }) => come(shot));
on('shot', () => {
  if (state.shot?.picture) come(state.shot.shot);
});

// `known`: whether the server said that there is a picture.
export function makePicture(shot, { small = true, known = false, ...props } = {}) {
  const source = `/shots/${shot}/picture${small ? '?small' : ''}`;
  const image = h('img', { alt: `Picture of shot ${shot}`, ...props });
  if (known || drawn.has(shot)) image.src = source;
  else {
    image.hidden = true;
    image.dataset.when = source;
    if (!waiting.has(shot)) waiting.set(shot, []);
    waiting.get(shot).push(image);
  }
  return image;
}
