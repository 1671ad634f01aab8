// Hears of new versions of the session, and notices when the PC is away.

const pause = 5000; // ms between two tries: at most one request in 5 s
const streamRest = 60000; // ms without a new stream after one that did not open

// follow calls changed(version) for each version that is pushed, and
// check() while no stream is open. check resolves to whether the PC answered.
// It returns lost().
export function follow(session, { changed, check }) {
  let stream = null;
  let timer = 0;
  let restUntil = 0;

  const later = () => {
    clearTimeout(timer);
    timer = setTimeout(tick, pause);
  };

  async function tick() {
    if (document.hidden) return; // the page looks again when it is shown
    if (await check() && Date.now() >= restUntil) {
      clearTimeout(timer);
      timer = setTimeout(listen, pause);
    } else later();
  }

  function listen() {
    let opened = false;
    stream?.close();
    stream = new EventSource(`/api/v1/sessions/${session.split('/').at(-1)}/stream`);
    stream.onopen = () => { opened = true; };
    stream.onmessage = hear;
    stream.addEventListener('version', hear);
    stream.onerror = () => {
      stream.close();
      stream = null;
      if (!opened) restUntil = Date.now() + streamRest;
      later();
    };
  }

  function hear(event) {
    try {
      const { version } = JSON.parse(event.data);
      if (Number.isFinite(version)) changed(version);
    } catch { /* not a message of ours */ }
  }

  document.addEventListener('visibilitychange', () => { if (!document.hidden && !stream) later(); });
  // A page that was left keeps no stream: a browser has few connections to a
  // host, and pages kept for the way back would use them up.
  addEventListener('pagehide', () => {
    clearTimeout(timer);
    stream?.close();
    stream = null;
  });
  addEventListener('pageshow', (event) => { if (event.persisted) later(); });
  listen();

  // lost says that a request failed, whatever the stream believes.
  return {
    lost() {
      stream?.close();
      stream = null;
      later();
    },
  };
}
