// What this device keeps for itself: its light, its sounds, its keys, its name.

/** @param {string} name @param {string} fallback */
export const kept = (name, fallback) => {
  try {
    return localStorage.getItem(`beamfall.${name}`) ?? fallback;
  } catch {
    return fallback;
  }
};
/** @param {string} name @param {string} value */
export const keep = (name, value) => {
  try {
    localStorage.setItem(`beamfall.${name}`, value);
  } catch {
    /* a browser that keeps nothing */
  }
};

/** Whether something is on, as `makeToggle` turns it. @param {string} name */
export const isOn = (name) => kept(name, 'off') === 'on';
