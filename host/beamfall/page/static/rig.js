// The rig as a form, with problems beside their fields, and the plan made from it.

import { makeChart } from './chart.js';
import {
  caution,
  definitions,
  h,
  items,
  ms,
  number,
  percent,
  select,
  show,
  table,
  watchTyping,
  write,
} from './dom.js';
import { makeFolds } from './fold.js';
import { makeGuide } from './guide.js';
import { makeLearned } from './learned.js';
import { act, on, state } from './net.js';
import { attempt, makeButton } from './press.js';
import { makeProblem } from './problem.js';

/** @type {Record<string, string>} */
const INTERVALS = {
  nozzle_to_beam: 'nozzle to beam',
  beam_to_surface: 'beam to surface',
  jet_onset: 'impact to jet onset',
  jet_rise: 'jet rise',
  spacing: 'required spacing',
  flash_delay: 'required flash delay',
  flash_delay_at_planned_spacing: 'required flash delay at the planned spacing',
  flash_after_first_edge: 'flash after the first edge',
};
/** @type {Record<string, [string, string]>} */
const QUANTITIES = {
  jet_height_mm: ['jet height', 'mm'],
  drop_diameter_mm: ['drop diameter', 'mm'],
  impact_speed_m_s: ['impact speed', 'm/s'],
};

export function makeRig() {
  const form = h('div.rigform');
  const name = h('input', { type: 'text', id: 'rig-name', maxlength: 120, autocomplete: 'off' });
  name.addEventListener('change', () => attempt(act('edit', { path: 'name', text: name.value })));
  const file = h('p.small.soft');
  const save = makeButton('Save', () => act('save_rig'));
  const wrong = h('div');
  /** @param {string} part @param {string} text */
  const add = (part, text) => makeButton(text, () => act('add_part', { part }));
  const plan = h('div.planbox');
  const folds = makeFolds('rig-part');
  /** @type {Map<string, { say: (words: string, wrong: number) => void }>} */
  let sections = new Map();
  let shape = '',
    /** @type {Map<string, (fresh: RigField) => void>} */
    inputs = new Map(),
    /** @type {Map<string, () => boolean>} */
    typings = new Map();

  on('rig', () => {
    const rig = state.rig;
    if (!rig) return;
    if (document.activeElement !== name) name.value = rig.typed_name;
    show(
      file,
      rig.is_example
        ? 'This is an invented example. Enter your own measurements.'
        : [
            rig.file ? `The rig file is ${rig.file}. ` : '',
            rig.saved
              ? `Next time: beamfall page ${rig.file}. `
              : 'These entries are in use, but not saved yet. ',
            'Next: ',
            h('a', { href: '#seek' }, 'find the umbrella'),
            '.',
          ],
    );
    save.disabled = rig.saved;
    show(
      wrong,
      rig.problems.map((text) => h('p.field-problem', text)),
      rig.wrong
        ? h(
            'p.soft.small',
            `Correct ${rig.wrong === 1 ? 'one entry' : `${rig.wrong} entries`}. ` +
              'Until then the plan does not change and you cannot arm.',
          )
        : null,
    );
    const now = rig.form.map((section) => `${section.path}:${section.fields.length}`).join();
    if (now !== shape) {
      shape = now;
      build(rig.form);
    }
    for (const section of rig.form) {
      for (const field of section.fields) inputs.get(field.path)?.(field);
      sections.get(section.path)?.say(...digest(section));
    }
  });

  /** @param {RigSection[]} parts */
  function build(parts) {
    const held = takeHeld(form, typings.get(document.activeElement?.id ?? '')?.() ?? false);
    inputs = new Map();
    typings = new Map();
    folds.clear();
    sections = new Map();
    show(
      form,
      parts.map((section) => {
        const removable = /^(valve|beam|flash|drop|firing|bottle)\[|^camera$/.test(section.path);
        const fold = folds.make(
          section.path,
          section.title,
          section.fields.map((field) => makeField(field)),
          makeHelp(section),
          removable
            ? makeButton(`Remove this ${section.title}`, () => act('remove_part', { path: section.path }), {
                class: 'small',
              })
            : null,
        );
        sections.set(section.path, fold);
        return fold.root;
      }),
    );
    held();
  }

  /** @param {RigSection} section */
  function makeHelp(section) {
    return h(
      'details.small.soft',
      h('summary', 'What these mean'),
      h('p', section.help),
      definitions(section.fields.map((field) => [field.label, `${field.help}: ${field.expected}`])),
    );
  }

  /** @param {RigField} field */
  function makeField(field) {
    const id = `f-${field.path.replace(/[^a-z0-9]/gi, '-')}`;
    const input = field.options ? makeChoice(field, id) : makeInput(field, id);
    const problem = makeProblem(input, { id: `${id}-p` });
    input.addEventListener('change', () => attempt(act('edit', { path: field.path, text: input.value })));
    let newest = field;
    const typing = watchTyping(input, () => write(input, newest.value));
    typings.set(id, typing);
    inputs.set(field.path, (fresh) => {
      newest = fresh;
      if (!typing() && (document.activeElement !== input || fresh.problems.length === 0))
        write(input, fresh.value);
      problem.say(fresh.problems.join('; '), fresh.likely);
    });
    return h(
      'div.field',
      h('label', { for: id }, field.label),
      input,
      field.limits ? h('p.limits.soft.small', field.limits) : null,
      problem.root,
    );
  }

  const chart = makeChart({ label: 'Heights against time', height: 320 });
  const figures = h('div');
  const folded = makeFolds('rig-plan').make('figures', 'Figures and assumptions', figures);
  on('plan', () => {
    showPlan(plan, figures);
    folded.root.hidden = !state.plan || Boolean(state.plan.problem);
    chart.update(state.plan?.chart);
  });
  return h(
    'div.view.rigview',
    h(
      'section.panel',
      h('h2', 'The rig'),
      makeGuide(),
      h(
        'div.row',
        h('label', { for: 'rig-name' }, 'Name'),
        name,
        save,
        h('a.button', { href: '/rig.toml', download: 'rig.toml' }, 'Download as a rig file'),
        makeButton('Discard changes', () => act('reset_rig')),
      ),
      file,
      wrong,
      form,
      h(
        'div.row',
        add('valve', 'Add a valve'),
        add('beam', 'Add a beam'),
        add('flash', 'Add a flash'),
        add('drop', 'Add a drop'),
        add('firing', 'Add a firing'),
        add('bottle', 'Add a bottle'),
        add('camera', 'Add the camera'),
      ),
    ),
    h(
      'section.panel',
      h('h2', 'The plan'),
      h('div.planchart', chart.buttons, chart.box, chart.legend),
      plan,
      folded.root,
    ),
    makeLearned(),
  );
}

const DIGEST_MOST = 3; // values that a folded section shows

/** What a section holds, in a few values, and how many of them are wrong. @param {RigSection} section */
function digest(section) {
  const values = section.fields.filter((field) => field.value && !field.options).map((field) => field.said);
  const wrong = section.fields.filter((field) => field.problems.length).length;
  return /** @type {[string, number]} */ ([values.slice(0, DIGEST_MOST).join(', '), wrong]);
}

// Another page may add or remove a part while somebody types here. The field is then a new one, but its text and the
// cursor must stay, or the next letter would be a key of the page. Returns the function that restores both.
/** @param {Element} form @param {boolean} typing */
function takeHeld(form, typing) {
  const old = document.activeElement;
  if (!old || !form.contains(old) || !old.id) return () => {};
  const id = old.id;
  const typed = old instanceof HTMLInputElement ? old : null;
  const value = typed?.value ?? '',
    start = typed?.selectionStart ?? 0,
    end = typed?.selectionEnd ?? 0;
  return () => {
    const field = document.getElementById(id);
    if (!field) return;
    field.focus();
    if (!typing || !(field instanceof HTMLInputElement)) return;
    field.select();
    // As if typed: Enter or Tab would not enter a value that is only set.
    document.execCommand('insertText', false, value);
    field.setSelectionRange(start, end);
  };
}

/** @param {RigField} field @param {string} id */
function makeChoice(field, id) {
  const nothing = field.default ? `${field.default} (default)` : 'not set';
  return select([['', nothing], ...(field.options ?? [])], { id });
}

/** @param {RigField} field @param {string} id */
function makeInput(field, id) {
  const example = field.example ? `such as ${field.example}` : '';
  return h('input', {
    type: 'text',
    id,
    autocomplete: 'off',
    maxlength: 200,
    spellcheck: 'false',
    placeholder: field.default || (field.needed ? example : ['optional', example].filter(Boolean).join(', ')),
  });
}

/** @param {Element} box @param {Element} figures */
function showPlan(box, figures) {
  const plan = state.plan;
  if (!plan) {
    show(box, h('p.soft', 'Planning …'));
    return;
  }
  if (plan.problem) {
    show(box, h('p.field-problem', plan.problem));
    return;
  }
  /** @param {string} label @param {Interval} value @param {string} unit */
  const interval = (label, value, unit) =>
    h(
      'tr',
      h('th', { scope: 'row' }, label),
      [value.p5, value.p50, value.p95].map((p) => h('td', number(p, 2))),
      h('td', unit),
    );
  show(
    box,
    h(
      'p.planline',
      `${plan.kind}: `,
      plan.spacing_ms === null ? '' : [h('b', ms(plan.spacing_ms)), ' spacing, '],
      'flash ',
      h('b', ms(plan.delay_ms)),
      ` after ${plan.anchor}`,
      plan.chance === null
        ? ''
        : `; drop 2 meets a jet in ${percent(plan.chance)} of rigs that fit this file`,
    ),
    plan.warnings.map((text) => caution(text)),
  );
  show(
    figures,
    table(
      ['', '5 %', '50 %', '95 %', 'unit'],
      [
        Object.entries(plan.intervals).map(([key, value]) =>
          interval(INTERVALS[key] ?? key.replaceAll('_', ' '), value, 'ms'),
        ),
        Object.entries(plan.quantities).map(([key, value]) =>
          interval((QUANTITIES[key] ?? [key])[0], value, (QUANTITIES[key] ?? ['', ''])[1]),
        ),
      ],
      '9 of 10 rigs that fit this file lie between 5 % and 95 %',
    ),
    table(
      ['anchor', 'scatter, ms', 'why'],
      plan.anchors.map((one) =>
        h(
          'tr',
          { class: one.chosen ? 'chosen' : '' },
          h('th', { scope: 'row' }, one.said + (one.chosen ? ' ✓ chosen' : '')),
          h('td', number(one.scatter, 3)),
          h('td.words', one.why),
        ),
      ),
      'What the flash can be timed from (its anchor), and how much the picture would scatter',
    ),
    h('h3', 'Assumptions'),
    h('ul.soft', items(plan.assumptions)),
  );
}
