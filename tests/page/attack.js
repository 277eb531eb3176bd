// What a hostile page tries against the bench page; each answers with what it could see or do.
async (/** @type {string} */ target) => {
  /** @type {Record<string, unknown>} */
  const tried = {};
  const attempt = async (/** @type {string} */ name, /** @type {() => unknown} */ f) => {
    try {
      tried[name] = await f();
    } catch {
      tried[name] = 'refused';
    }
  };
  const body = JSON.stringify({});
  await attempt(
    'read the log',
    async () => (await fetch(`${target}/shots`, { credentials: 'include' })).status,
  );
  await attempt(
    'read it blindly',
    async () => (await fetch(`${target}/shots`, { credentials: 'include', mode: 'no-cors' })).type,
  );
  await attempt(
    'read the rig',
    async () => (await fetch(`${target}/rig.toml`, { credentials: 'include' })).status,
  );
  await attempt(
    'release',
    async () =>
      (await fetch(`${target}/do/release`, { method: 'POST', credentials: 'include', body })).status,
  );
  await attempt(
    'arm as JSON',
    async () =>
      (
        await fetch(`${target}/do/arm`, {
          method: 'POST',
          credentials: 'include',
          headers: { 'content-type': 'application/json' },
          body,
        })
      ).status,
  );
  await attempt(
    'arm blindly',
    async () =>
      (
        await fetch(`${target}/do/arm`, {
          method: 'POST',
          credentials: 'include',
          mode: 'no-cors',
          headers: { 'content-type': 'text/plain' },
          body,
        })
      ).type,
  );
  await attempt(
    'picture',
    () =>
      new Promise((good, bad) => {
        const image = new Image();
        image.onload = () => good(image.naturalWidth);
        image.onerror = () => bad();
        image.src = `${target}/shots/1/picture`;
      }),
  );
  await attempt(
    'script',
    () =>
      new Promise((good, bad) => {
        const script = document.createElement('script');
        script.onload = () => good('ran');
        script.onerror = () => bad();
        script.src = `${target}/static/net.js`;
        document.head.append(script);
      }),
  );
  await attempt(
    'frame',
    () =>
      new Promise((good) => {
        const frame = document.createElement('iframe');
        frame.onload = () => {
          let seen;
          try {
            seen = frame.contentDocument ? 'own document' : 'foreign';
          } catch {
            seen = 'foreign';
          }
          good(seen);
        };
        frame.src = `${target}/`;
        document.body.append(frame);
        setTimeout(() => good('no answer'), 3000);
      }),
  );
  await attempt(
    'socket',
    () =>
      new Promise((good, bad) => {
        const socket = new WebSocket(`${target.replace('http', 'ws')}/live`);
        socket.onmessage = () => good('heard');
        socket.onopen = () => socket.send('abort');
        socket.onerror = () => bad();
        socket.onclose = () => bad();
      }),
  );
  await attempt(
    'form',
    () =>
      new Promise((good) => {
        const frame = document.createElement('iframe');
        frame.name = `f${Math.random()}`;
        document.body.append(frame);
        const form = document.createElement('form');
        form.method = 'post';
        form.action = `${target}/do/arm`;
        form.target = frame.name;
        form.enctype = 'text/plain';
        document.body.append(form);
        form.submit();
        setTimeout(() => good('sent'), 600);
      }),
  );
  return tried;
};
