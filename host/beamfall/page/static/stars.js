// A rating from 1 to 5, as five buttons of one group; the same star again removes it.

import { h } from './dom.js';
import { act } from './net.js';
import { attempt, makeButton } from './press.js';

/** @param {number} shot @param {number | null} rating */
export function makeStars(shot, rating) {
  return h(
    'div.stars',
    { role: 'group', 'aria-label': `Rating of shot ${shot}${rating ? `: ${rating} of 5` : ', none yet'}` },
    [1, 2, 3, 4, 5].map((n) =>
      makeButton(
        n <= (rating ?? 0) ? '★' : '☆',
        (event) => {
          event.stopPropagation();
          attempt(act('rate', { shot, rating: n === rating ? 0 : n }));
        },
        {
          'aria-label': `${n} of 5`,
          'aria-pressed': String(n === rating),
          class: n <= (rating ?? 0) ? 'star on' : 'star',
          'data-rate': n,
        },
      ),
    ),
  );
}
