// Recipes: settings worth keeping, found by their pictures; fired again, renamed, printed, shared.

import { ready } from './bar.js';
import { form, h, joined, ms, select, show } from './dom.js';
import { act, get, hear, on, state } from './net.js';
import { attempt, makeButton } from './press.js';
import { makeProblem } from './problem.js';
import { makeShared } from './shared.js';

/**
 * @typedef {{name: string, note: string, rating: number | null, made: string, shot: number | null,
 *   caution: string, shows: string, has_picture: boolean, liquid: string, measured: string[], rig: string,
 *   spacing_ms: number | null, delay_ms: number | null}} RecipeCard
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
  const cards = h('div.recipes');
  const day = h('div.panel', { role: 'status', hidden: true });
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
        : h(
            'p.soft',
            'No recipe yet. Open a shot in the log and save it as a recipe, or open one that was shared.',
          ),
      shelf.problems.map((text) => h('p.field-problem', text)),
    );
  }
  function showDay() {
    const job = state.job_recipe,
      lines = job?.lines ?? [];
    day.hidden = !lines.length;
    show(
      day,
      h('h2', job?.title ?? ''),
      lines.map((line) => h('p', line.day)),
    );
    for (const button of cards.querySelectorAll('button.fire'))
      if (button instanceof HTMLButtonElement) button.disabled = !ready();
  }
  const slots = makeSlots(),
    shared = makeShared();
  find.addEventListener('input', showCards);
  hear('recipes', () => attempt(refresh()));
  hear('whole', () => attempt(refresh()));
  on(['job', 'link', 'job_recipe'], showDay);
  on('slots', showCards);
  attempt(refresh().then(showDay));
  return h(
    'div.view',
    h(
      'section.panel',
      { 'aria-label': 'Recipes' },
      h('div.row', h('label', { for: 'recipe-find' }, 'Find'), find, shared.open),
      shared.panel,
      h('p.soft.small', 'Fire and Seek release drops at once, without Arm.'),
      cards,
    ),
    slots,
    day,
  );
}

/** @param {string} name @returns {(text: string, what: () => Promise<unknown>, kind?: string) => HTMLButtonElement} */
const makeButtons =
  (name) =>
  (text, what, kind = '') =>
    makeButton(text, () => what(), { class: kind, 'aria-label': `${text}: ${name}` });

// The board's slots: what its button fires without a laptop.
function makeSlots() {
  const list = h('ul.slots', { 'aria-label': 'Slots' });
  const of = makeButtons('the board');
  const read = of('Read the slots', () => act('board_slots'), 'fire');
  const card = h('a.button', { href: '/slots/card', download: '' }, 'Card to print');
  const help = h('p.soft.small');
  function update() {
    const slots = state.slots?.slots;
    read.disabled = !ready();
    card.hidden = !slots;
    list.hidden = !slots;
    show(list, slots?.map(makeSlot));
    help.textContent = slots
      ? "Store a recipe in a slot above. The board's button fires the slot that is ready; hold it for a second to " +
        'choose the next slot. No laptop is needed.'
      : "The board's button fires the recipe in a slot, without a laptop. Read the slots to see what they hold.";
    for (const button of list.querySelectorAll('button')) button.disabled = !ready();
  }
  on(['job', 'link', 'slots'], update);
  return h(
    'section.panel',
    { 'aria-label': 'On the board' },
    h('h2', 'On the board'),
    help,
    list,
    h('div.row', read, card),
  );
}

/** @param {SlotState} one */
function makeSlot(one) {
  if (one.name === null) return h('li', h('span.soft', `Slot ${one.slot}: empty`));
  const button = makeButtons(`slot ${one.slot}`);
  const change = (/** @type {string} */ what) => act('board_slots', { do: what, slot: one.slot });
  const sure = h(
    'span.row',
    { hidden: true },
    button('Empty it', () => change('erase')),
    button('Keep it', async () => {
      sure.hidden = true;
    }),
  );
  const said = [one.ready ? 'ready' : '', one.first ? 'loaded at every start' : ''].filter(Boolean);
  return h(
    'li.row',
    h('span', `Slot ${one.slot}: `, h('b', one.name || 'not known on this computer')),
    h('span.soft', said.join(', ')),
    one.ready ? null : button('Make ready', () => change('load')),
    one.first ? null : button('Load at every start', () => change('choose')),
    button('Empty', async () => {
      sure.hidden = false;
    }),
    sure,
  );
}

/** Where a recipe is stored on the board, once its slots are known. @param {string} name */
function makeStore(name) {
  const slots = state.slots?.slots;
  if (!slots) return null;
  const free = slots.find((one) => one.name === null) ?? slots[0];
  const slot = select(
    slots.map((one) => [String(one.slot), `slot ${one.slot}: ${one.name ?? 'empty'}`.slice(0, 40)]),
    { 'aria-label': `Slot for ${name}` },
  );
  slot.value = String(free.slot);
  const store = makeButtons(name)(
    'Store on the board',
    () => act('store_recipe', { name, slot: Number(slot.value) }),
    'fire',
  );
  store.disabled = !ready();
  return h('div.row', slot, store);
}

/** @param {RecipeCard} one */
function makeCard(one) {
  const name = one.name;
  const button = makeButtons(name);
  const field = h('input', { type: 'text', value: name, maxlength: 80, 'aria-label': `Name of ${name}` });
  const sure = h(
    'div.row',
    { hidden: true },
    h('span', 'The shot stays in the log.'),
    button('Remove it', () => act('remove_recipe', { name })),
    button('Keep it', async () => {
      sure.hidden = true;
    }),
  );
  const fire = button('Fire', () => act('shoot_recipe', { name }), 'fire');
  fire.disabled = !ready();
  const picture = one.has_picture
    ? h('img', { src: address('picture', name), alt: `Picture of ${name}`, loading: 'lazy' })
    : h('div.blank', 'no picture');
  return h(
    'article.recipe',
    h('div.pic', picture),
    h('h2', name),
    h('p.soft.small', joined(one.shows, one.liquid, one.made, '★'.repeat(one.rating ?? 0))),
    h(
      'p.small',
      `${one.spacing_ms === null ? '' : `spacing ${ms(one.spacing_ms, 2)}, `}flash ${ms(one.delay_ms, 2)}`,
    ),
    one.measured.length ? h('p.small', one.measured.join(', ')) : null,
    one.note ? h('p.small', one.note) : null,
    one.caution ? h('p.caution.small', one.caution) : null,
    h(
      'div.row',
      fire,
      button('Seek it on this rig', () => act('seek', { recipe: name }), 'fire'),
      button('Fire unchanged', () => act('shoot_recipe', { name, as_then: true }), 'fire'),
      h('a.button', { href: address('sheet', name), download: '' }, 'Page to print'),
      h('a.button', { href: address('file', name), download: '' }, 'File for others'),
      button('Edit as a table', async () => {
        await act('table_from_recipe', { name });
        location.hash = '#table';
      }),
    ),
    makeStore(name),
    h(
      'div.row',
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
  const said = h('span.soft.small', { role: 'status' });
  const problem = makeProblem(field);
  const keep = async () => {
    said.textContent = 'saving …';
    problem.say('');
    try {
      await act('keep_recipe', { shot, name: field.value });
      said.textContent = 'saved';
    } catch (error) {
      said.textContent = '';
      problem.tell(error);
    }
  };
  return form(
    keep,
    { class: 'row' },
    h('label', { for: 'recipe-name' }, '☆ Recipe'),
    field,
    h('button', { type: 'submit' }, 'Save this shot'),
    said,
    problem.root,
  );
}
