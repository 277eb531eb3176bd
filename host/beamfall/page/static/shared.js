// A recipe that somebody shared: what it becomes on this rig, and what it cannot bring; then it is kept.

import { attempt } from './bar.js';
import { h, show } from './dom.js';
import { sendZip } from './net.js';
import { makeProblem } from './problem.js';

const LARGEST = 4e6; // bytes; the server takes no more

/**
 * @typedef {import('./recipes.js').RecipeCard & {
 *   here: [string, string][], lost: string[], warnings: string[]}} Shared
 */

/** The button that opens a file, and the panel that shows what is in it. */
export function makeShared() {
  const file = h('input', { type: 'file', accept: '.zip', hidden: true, 'aria-label': 'Recipe file' });
  const panel = h('section', {
    class: 'detail shared',
    'aria-label': 'Recipe from a file',
    role: 'status',
    hidden: true,
  });
  const close = () => {
    panel.hidden = true;
    show(panel);
  };
  const look = async (/** @type {File} */ chosen) => {
    close();
    if (chosen.size > LARGEST) throw new Error(`${chosen.name}: too large for a recipe (4 MB at most)`);
    show(panel, makeLook(chosen, await sendZip('/recipes/look', chosen), close));
    panel.hidden = false;
    panel.scrollIntoView({ block: 'nearest' });
  };
  file.addEventListener('change', () => {
    const [chosen] = file.files ?? [];
    if (chosen) attempt(look(chosen));
    file.value = '';
  });
  const open = h('button', { type: 'button', on: { click: () => file.click() } }, 'Open a shared recipe');
  return { open: h('span', {}, open, file), panel };
}

/** @param {File} file @param {Shared} one @param {() => void} close */
function makeLook(file, one, close) {
  const name = h('input', { type: 'text', id: 'shared-name', value: one.name, maxlength: 80 });
  const problem = makeProblem(name);
  const keep = async () => {
    problem.clear();
    try {
      await sendZip(`/recipes/add?name=${encodeURIComponent(name.value)}`, file);
      close();
    } catch (error) {
      problem.tell(error);
    }
  };
  const list = (/** @type {string} */ title, /** @type {string[]} */ lines) =>
    lines.length
      ? [
          h('h3', {}, title),
          h(
            'ul',
            {},
            lines.map((line) => h('li', {}, line)),
          ),
        ]
      : [];
  return [
    h('h2', {}, one.name),
    h('p', { class: 'soft small' }, [one.shows, one.liquid, one.rig, one.made].filter(Boolean).join(' · ')),
    one.note ? h('p', {}, one.note) : null,
    one.here.length
      ? [
          h('h3', {}, 'On this rig'),
          h(
            'dl',
            {},
            one.here.map(([what, value]) => [h('dt', {}, what), h('dd', {}, value)]),
          ),
        ]
      : null,
    list('Not carried over', one.lost),
    list('Warnings', one.warnings),
    h(
      'p',
      { class: 'soft small' },
      'Keep it, then press “Seek it on this rig”: that starts at these timings.',
    ),
    h(
      'form',
      {
        class: 'row',
        on: {
          submit: (/** @type {Event} */ event) => {
            event.preventDefault();
            keep();
          },
        },
      },
      h('label', { for: 'shared-name' }, 'Name'),
      name,
      h('button', { type: 'submit', class: 'fire' }, 'Keep it'),
      h('button', { type: 'button', on: { click: close } }, 'Close'),
      problem.root,
    ),
  ];
}
