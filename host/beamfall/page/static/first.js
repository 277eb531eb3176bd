// What fits before anything has been done on this page: a search, a rig of one's own, the last evening, the handbook.

import { h, show } from './dom.js';
import { lines, load } from './loglines.js';
import { on, state } from './net.js';

/** @param {string} href @param {string} text @param {string} more */
const offer = (href, text, more) => h('li', h('a.button', { href }, text), h('span.soft.small', more));

export function makeFirst() {
  const offers = h('ul.offers');
  const root = h('section.panel', h('h2', 'Where to begin'), offers);
  const draw = () => {
    root.hidden = Boolean(state.job || state.shot);
    const made = state.board?.simulated ? 'This rig is simulated: try anything.' : '';
    show(
      offers,
      offer('#seek', 'Find the umbrella', `A search fires a few shots and gets closer with each. ${made}`),
      state.rig && !state.rig.file
        ? offer('#rig/guide', 'Describe your own rig', 'One question at a time, in your own units.')
        : null,
      lines.length ? offer('#log', 'Look at the last series', `${lines.length} shots are in the log.`) : null,
      offer('/handbook/first-evening', 'Read: your first evening', 'From the rig to the first picture.'),
    );
  };
  on(['job', 'shot', 'rig', 'board'], draw);
  load()
    .then(draw)
    .catch(() => {}); // the log says in its own view what is wrong with it
  return root;
}
