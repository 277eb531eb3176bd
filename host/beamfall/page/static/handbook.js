// The handbook in the light that the bench page has chosen on this device.

import { applyLight } from './light.js';

applyLight();
