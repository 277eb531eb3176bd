// What is wrong with a field, beside it, and what was likely meant: one press takes that. What was typed stays.

import { h, sayError, show } from './dom.js';
import { Refused } from './net.js';
import { makeButton } from './press.js';

/**
 * @param {HTMLInputElement | HTMLSelectElement} input
 * @param {{ take?: () => void, id?: string }} [how] `take` enters a value that was put into the field
 */
export function makeProblem(input, { take = () => input.dispatchEvent(new Event('change')), id } = {}) {
  const root = h('p.field-problem', { role: 'status', hidden: true });
  root.id = id ?? `p-${input.id || Math.random().toString(36).slice(2, 8)}`;
  input.setAttribute('aria-describedby', root.id);
  /** @param {string} text @param {string[]} likely */
  const say = (text, likely = []) => {
    root.hidden = !text;
    if (text) input.setAttribute('aria-invalid', 'true');
    else input.removeAttribute('aria-invalid');
    const use = (/** @type {string} */ value) => {
      input.value = value;
      say('');
      take();
    };
    show(
      root,
      text,
      likely.map((value) => makeButton(`Use ${value}`, () => use(value))),
    );
  };
  return {
    root,
    say,
    clear: () => say(''),
    /** @param {unknown} error */
    tell: (error) => say(sayError(error), error instanceof Refused ? error.likely : []),
    /** Whether it is asked for, and says so beside the field where not. @param {Promise<unknown>} asked */
    async watch(asked) {
      try {
        await asked;
        say('');
      } catch (error) {
        this.tell(error);
      }
    },
  };
}
