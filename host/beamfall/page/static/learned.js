// What seek and calibrate have learned, step by step; to undo, redo or reset.

import { clock, h, ms, number, show, table } from './dom.js';
import { act, get, on, state } from './net.js';
import { attempt, makeButton } from './press.js';

/**
 * @typedef {{spacing: number | null, flash_delay: number, flash_interval: Interval}} Timing
 * @typedef {{step: number, when: string | null, what: string, used: boolean, plan: Timing | null}} LearnedStep
 * @typedef {{file: string, steps: LearnedStep[], can_undo: boolean, can_redo: boolean, can_reset: boolean}} Learned
 */

export function makeLearned() {
  const box = h('div');
  const [undo, redo] = [
    makeButton('Undo', () => act('undo_learned'), { title: 'Plan without the last step' }),
    makeButton('Redo', () => act('redo_learned'), {
      title: 'Plan with the step that was undone or set aside',
    }),
  ];
  const reset = makeButton('Reset', () => ask(true), { title: 'Plan with the rig file alone' });
  const sure = makeButton('Reset to the rig file', () => {
    ask(false);
    return act('reset_learned');
  });
  const cancel = makeButton('Cancel', () => ask(false));
  const question = h(
    'div.row',
    { role: 'group', 'aria-label': 'Reset?', hidden: true },
    h('span', 'Plans will use the rig file alone. Undo brings the steps back.'),
    sure,
    cancel,
  );
  /** @param {boolean} open */
  function ask(open) {
    question.hidden = !open;
    (open ? cancel : reset).focus();
  }

  let asked = 0;
  async function refresh() {
    const mine = ++asked;
    /** @type {Learned} */
    const learned = await get('/learned');
    if (mine !== asked) return;
    const busy = state.job?.state === 'running';
    undo.disabled = busy || !learned.can_undo;
    redo.disabled = busy || !learned.can_redo;
    reset.disabled = busy || !learned.can_reset;
    if (reset.disabled) question.hidden = true;
    show(box, learned.steps.length > 1 ? makeTable(learned) : makeNothing());
  }
  let last = '';
  on(['learned', 'rig', 'job'], () => {
    const now = JSON.stringify([state.learned, state.rig?.form, state.job?.state === 'running']);
    if (now === last) return;
    last = now;
    attempt(refresh());
  });
  return h(
    'section.panel.learned',
    { 'aria-label': 'Learned' },
    h('h2', 'What seek and calibrate have learned'),
    box,
    h('div.row', undo, redo, reset),
    question,
  );
}

const makeNothing = () =>
  h('p.soft', 'Nothing yet: plans use the rig file alone. Seek or calibrate to improve them.');

/** @param {Learned} learned */
function makeTable(learned) {
  return [
    table(['step', 'used', 'plan'], learned.steps.map(makeRow), 'Each step, and the plan with it'),
    h('p.soft.small', `Saved in ${learned.file}`),
  ];
}

/** @param {LearnedStep} step */
function makeRow(step) {
  const count = step.step ? `${step.step}: ` : '';
  return h(
    'tr',
    { class: step.used ? 'chosen' : '' },
    h(
      'th.words',
      { scope: 'row' },
      `${count}${step.what}`,
      step.when ? h('span.soft.small', ` ${clock(step.when).slice(0, 16)}`) : null,
    ),
    h('td', step.used ? 'yes' : 'no'),
    h('td.words', step.plan ? sayPlan(step.plan) : 'no plan is possible'),
  );
}

/** @param {Timing} plan */
function sayPlan(plan) {
  const { p5, p95 } = plan.flash_interval;
  const parts = [
    plan.spacing === null ? '' : `spacing ${ms(plan.spacing)}`,
    `flash ${ms(plan.flash_delay)}`,
    `90 %: ${number(p5, 1)} to ${ms(p95, 1)}`,
  ];
  // Lines break only between the parts.
  return parts
    .filter(Boolean)
    .map((part) => part.replaceAll(' ', '\u00a0'))
    .join(', ');
}
