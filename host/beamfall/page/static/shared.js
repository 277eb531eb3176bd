// A recipe that somebody shared: what it becomes on this rig, and what it cannot bring; then it is kept.

import { definitions, form, h, items, joined, show } from './dom.js';
import { sendZip } from './net.js';
import { attempt, makeButton } from './press.js';
import { makeProblem } from './problem.js';

const LARGEST = 4e6; // bytes; the server takes no more

/**
 * @typedef {import('./recipes.js').RecipeCard & {
 *   here: [string, string][], lost: string[], warnings: string[]}} Shared
 */

/** The button that opens a file, and the panel that shows what is in it. */
export function makeShared() {
  const file = h('input', { type: 'file', accept: '.zip', hidden: true, 'aria-label': 'Recipe file' });
  const panel = h('section.detail.shared', {
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
  const open = makeButton('Open a shared recipe', () => file.click());
  return { open: h('span', open, file), panel };
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
    lines.length ? [h('h3', title), h('ul', items(lines))] : [];
  return [
    h('h2', one.name),
    h('p.soft.small', joined(one.shows, one.liquid, one.rig, one.made)),
    one.note ? h('p', one.note) : null,
    one.here.length ? [h('h3', 'On this rig'), definitions(one.here)] : null,
    list('Not carried over to your rig', one.lost),
    list('Cautions', one.warnings),
    h('p.soft.small', 'Keep it, then press “Seek it on this rig”: that starts at these timings.'),
    form(
      keep,
      { class: 'row' },
      h('label', { for: 'shared-name' }, 'Name'),
      name,
      h('button.fire', { type: 'submit' }, 'Keep it'),
      makeButton('Close', close),
      problem.root,
    ),
  ];
}
