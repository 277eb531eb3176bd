// Buttons, and what is asked of the server with a press: what it refuses is said at the top of the page.

import { h } from './dom.js';
import { isOn, keep } from './kept.js';
import { emit } from './net.js';

/** @param {Promise<unknown>} promise */
export const attempt = (promise) => promise.catch((error) => emit('trouble', { text: error.message }));

/**
 * A button.
 * @param {Child} words
 * @param {(event: MouseEvent) => unknown} press what it does; a refusal of what it asks for is said
 * @param {Props} [props]
 */
export const makeButton = (words, press, props = {}) =>
  h(
    'button',
    { type: 'button', on: { click: (event) => attempt(Promise.resolve(press(event))) }, ...props },
    words,
  );

/**
 * A button that turns something on or off, as this device keeps it.
 * @param {string} name under which it is kept, and the button's id
 * @param {string} words
 * @param {() => void} [turned]
 */
export function makeToggle(name, words, turned = () => {}) {
  const button = makeButton(words, () => turn(), { id: name });
  const apply = () => button.setAttribute('aria-pressed', String(isOn(name)));
  const turn = () => {
    keep(name, isOn(name) ? 'off' : 'on');
    apply();
    turned();
  };
  apply();
  return button;
}
