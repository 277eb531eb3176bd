// The picture that the next shot will most likely show. The server draws it, within about a second.

import { h } from './dom.js';
import { on, state } from './net.js';

const SETTLE_MS = 300; // a timing that is still being changed is not drawn

/**
 * `wanted`: whether it would be shown now; `changed` is called when there is another one.
 * @param {() => boolean} wanted @param {() => void} changed
 */
export function makePredicted(wanted, changed) {
  /** @type {HTMLImageElement | null} */
  let image = null;
  let asked = 0,
    due = false, // it is of an earlier plan
    timer = 0;
  const ask = () => {
    if (!due || !wanted() || !state.plan || (state.plan.problem && !state.asked?.by_hand)) return;
    due = false;
    const mine = ++asked;
    const coming = h('img', { alt: 'The picture that the next shot will most likely show' });
    coming.addEventListener('load', () => take(mine, coming));
    coming.addEventListener('error', () => take(mine, null));
    coming.src = `/predicted?${mine}`;
  };
  const take = (/** @type {number} */ number, /** @type {HTMLImageElement | null} */ coming) => {
    if (number !== asked) return;
    image = coming;
    changed();
  };
  on(['asked', 'rig', 'plan'], () => {
    due = true;
    clearTimeout(timer);
    timer = setTimeout(ask, SETTLE_MS);
  });
  return {
    ask,
    /** The newest one, perhaps of the plan before; null until there is one. */
    get image() {
      return image;
    },
  };
}
