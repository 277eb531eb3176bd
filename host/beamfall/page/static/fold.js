// Sections of a long form that fold. On a narrow page they are folded, and one is open at a time.

import { h, narrow, show } from './dom.js';

/** Folds of one form; a form that is built again keeps which are open. @param {string} name */
export function makeFolds(name) {
  /** What a person has opened or closed, by key. @type {Map<string, boolean>} */
  const chosen = new Map();
  /** @type {Map<string, HTMLDetailsElement>} */
  let folds = new Map();
  const arrange = () => {
    for (const [key, fold] of folds) {
      // Of those that share a name, the browser keeps one open.
      if (narrow.matches) fold.setAttribute('name', name);
      else fold.removeAttribute('name');
      fold.open = chosen.get(key) ?? !narrow.matches;
    }
  };
  narrow.addEventListener('change', () => {
    chosen.clear();
    arrange();
  });
  return {
    /** Begin again, before the form is rebuilt. */
    clear() {
      folds = new Map();
    },
    /** @param {string} key @param {string} title @param {Child[]} content */
    make(key, title, ...content) {
      const digest = h('span.soft.small');
      const wrong = h('b.field-problem', { hidden: true });
      const summary = h('summary', h('b', title), ' ', digest, wrong);
      const fold = h('details.fold', summary, content);
      summary.addEventListener('click', () => {
        chosen.set(key, !fold.open);
        if (!narrow.matches || fold.open) return;
        for (const other of folds.keys()) if (other !== key) chosen.delete(other);
        // What was open above has closed: the section must not jump out of sight.
        requestAnimationFrame(() => summary.scrollIntoView({ block: 'nearest' }));
      });
      folds.set(key, fold);
      arrange();
      return {
        root: fold,
        /**
         * What it holds, in a few words, and how many entries are wrong.
         * @param {string} words @param {number} count
         */
        say(words, count) {
          show(digest, words);
          wrong.hidden = count === 0;
          show(wrong, `${count} to correct`);
        },
      };
    },
  };
}
