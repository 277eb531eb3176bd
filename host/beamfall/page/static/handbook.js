// The handbook in the light that the bench page has chosen on this device.

import { applyLight } from './light.js';

applyLight();
// On a telephone the list of pages would fill the screen: it opens when it is wanted.
const narrow = matchMedia('(max-width: 640px)');
const fold = () => document.getElementById('topics')?.toggleAttribute('open', !narrow.matches);
narrow.addEventListener('change', fold);
fold();
