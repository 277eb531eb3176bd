// Recipes: settings worth keeping, found by their pictures; fired again, renamed, printed, shared.

import { attempt, ready } from './bar.js';
import { h, ms, show } from './dom.js';
import { act, get, hear, on, state } from './net.js';

/**
 * @typedef {{name: string, note: string, rating: number | null, made: string, shot: number | null, shows: string,
 *   has_picture: boolean, liquid: string, measured: string[], rig: string, spacing_ms: number | null,
 *   delay_ms: number | null}} RecipeCard
 * @typedef {{recipes: RecipeCard[], problems: string[]}} Shelf
 */

/** @param {string} what @param {string} name */
const address = (what, name) => `/recipes/${what}?name=${encodeURIComponent(name)}`;

export function makeRecipes() {
  const find = h('input', {
    type: 'search',
    id: 'recipe-find',
    placeholder: 'name, note, liquid',
    maxlength: 80,
  });
  const cards = h('div', { class: 'recipes' });
  const day = h('div', { class: 'panel', role: 'status', hidden: true });
  /** @type {Shelf} */
  let shelf = { recipes: [], problems: [] };

  async function refresh() {
    shelf = await get('/recipes');
    showCards();
  }
  function showCards() {
    const words = find.value.trim().toLowerCase();
    const chosen = shelf.recipes.filter((one) =>
      `${one.name} ${one.note} ${one.liquid} ${one.rig} ${one.shows}`.toLowerCase().includes(words),
    );
    show(
      cards,
      shelf.recipes.length
        ? chosen.map(makeCard)
        : h('p', { class: 'soft' }, 'No recipe yet. Open a shot in the log and save it as a recipe.'),
      shelf.problems.map((text) => h('p', { class: 'field-problem' }, text)),
    );
  }
  function showDay() {
    const job = state.job_recipe,
      lines = job?.lines ?? [];
    day.hidden = !lines.length;
    show(
      day,
      h('h2', {}, job?.title ?? ''),
      lines.map((/** @type {{day?: string}} */ line) => h('p', {}, line.day)),
    );
    for (const button of cards.querySelectorAll('button.fire'))
      if (button instanceof HTMLButtonElement) button.disabled = !ready();
  }
  find.addEventListener('input', showCards);
  hear('recipes', () => attempt(refresh()));
  hear('whole', () => attempt(refresh()));
  on(['job', 'link', 'job_recipe'], showDay);
  attempt(refresh().then(showDay));
  return h(
    'div',
    { class: 'view' },
    h(
      'section',
      { class: 'panel', 'aria-label': 'Recipes' },
      h('div', { class: 'row' }, h('label', { for: 'recipe-find' }, 'Find'), find),
      h('p', { class: 'soft small' }, 'Fire and Seek let drops fall at once, without Arm.'),
      cards,
    ),
    day,
  );
}

/** @param {RecipeCard} one */
function makeCard(one) {
  const name = one.name;
  /** @param {string} text @param {() => Promise<unknown>} what @param {string} [kind] */
  const button = (text, what, kind = '') =>
    h(
      'button',
      { type: 'button', class: kind, 'aria-label': `${text}: ${name}`, on: { click: () => attempt(what()) } },
      text,
    );
  const field = h('input', { type: 'text', value: name, maxlength: 80, 'aria-label': `Name of ${name}` });
  const sure = h(
    'div',
    { class: 'row', hidden: true },
    h('span', {}, 'The shot stays in the log.'),
    button('Remove it', () => act('remove_recipe', { name })),
    button('Keep it', async () => {
      sure.hidden = true;
    }),
  );
  const fire = button('Fire', () => act('shoot_recipe', { name }), 'fire');
  fire.disabled = !ready();
  const picture = one.has_picture
    ? h('img', { src: address('picture', name), alt: `Picture of ${name}`, loading: 'lazy' })
    : h('div', { class: 'blank' }, 'no picture');
  return h(
    'article',
    { class: 'recipe' },
    h('div', { class: 'pic' }, picture),
    h('h2', {}, name),
    h(
      'p',
      { class: 'soft small' },
      [one.shows, one.liquid, one.made, '★'.repeat(one.rating ?? 0)].filter(Boolean).join(' · '),
    ),
    h(
      'p',
      { class: 'small' },
      `${one.spacing_ms === null ? '' : `spacing ${ms(one.spacing_ms, 2)}, `}flash ${ms(one.delay_ms, 2)}`,
    ),
    one.measured.length ? h('p', { class: 'small' }, one.measured.join(', ')) : null,
    one.note ? h('p', { class: 'small' }, one.note) : null,
    h(
      'div',
      { class: 'row' },
      fire,
      button('Seek it on this rig', () => act('seek', { recipe: name }), 'fire'),
      button('Fire unchanged', () => act('shoot_recipe', { name, as_then: true }), 'fire'),
      h('a', { class: 'button', href: address('sheet', name), download: '' }, 'Page for the wall'),
      h('a', { class: 'button', href: address('file', name), download: '' }, 'File for others'),
      button('Edit as a table', async () => {
        await act('table_from_recipe', { name });
        location.hash = '#table';
      }),
    ),
    h(
      'div',
      { class: 'row' },
      field,
      button('Rename', () => act('rename_recipe', { name, new: field.value })),
      button('Remove', async () => {
        sure.hidden = false;
      }),
    ),
    sure,
  );
}

/** The row under a shot that keeps it. @param {number} shot */
export function makeKeep(shot) {
  const field = h('input', { type: 'text', id: 'recipe-name', maxlength: 80, placeholder: 'name' });
  const said = h('span', { class: 'soft small', role: 'status' });
  const keep = async () => {
    said.textContent = 'saving …';
    try {
      await act('keep_recipe', { shot, name: field.value });
      said.textContent = 'saved';
    } catch (error) {
      said.textContent = '';
      throw error;
    }
  };
  return h(
    'form',
    {
      class: 'row',
      on: {
        submit: (/** @type {Event} */ event) => {
          event.preventDefault();
          attempt(keep());
        },
      },
    },
    h('label', { for: 'recipe-name' }, '☆ Recipe'),
    field,
    h('button', { type: 'submit' }, 'Save this shot'),
    said,
  );
}
