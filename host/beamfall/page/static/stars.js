// A rating from 1 to 5, as five buttons of one group; the same star again removes it.

import { attempt } from './bar.js';
import { h } from './dom.js';
import { act } from './net.js';

/** @param {number} shot @param {number | null} rating */
export function makeStars(shot, rating) {
  return h(
    'div',
    {
      class: 'stars',
      role: 'group',
      'aria-label': `Rating of shot ${shot}${rating ? `: ${rating} of 5` : ', none yet'}`,
    },
    [1, 2, 3, 4, 5].map((n) =>
      h(
        'button',
        {
          type: 'button',
          'aria-label': `${n} of 5`,
          'aria-pressed': String(n === rating),
          class: n <= (rating ?? 0) ? 'star on' : 'star',
          'data-rate': n,
          on: {
            click: (event) => {
              event.stopPropagation();
              attempt(act('rate', { shot, rating: n === rating ? 0 : n }));
            },
          },
        },
        n <= (rating ?? 0) ? '★' : '☆',
      ),
    ),
  );
}
