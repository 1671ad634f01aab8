
// The card on a phone: ticks and typing survive a lock or a reload, an answer
// waits until the PC is back, and the card says where the PC is. It stands
// behind fields.js and drafts.js in one block, so that it loads nothing.

const step = document.getElementById('present');
const state = document.getElementById('state');
const session = document.body.dataset.session;
const prompt = document.body.dataset.prompt;
const pause = 5000; // ms between two looks: at most one request in 5 s
let busy = false;

function tell(text, away, next) {
  if (state.dataset.text === text) return;
  state.dataset.text = text;
  state.textContent = text;
  state.classList.toggle('away', away);
  if (!next) return;
  const go = document.createElement('a');
  go.className = 'button primary';
  go.href = session;
  go.textContent = next;
  state.append(document.createElement('br'), go);
}

// ask sends a request and fails when the PC does not answer within 8 s.
async function ask(url, options) {
  const stop = new AbortController();
  const timer = setTimeout(() => stop.abort(), 8000);
  try {
    return await fetch(url, { cache: 'no-store', ...options, signal: stop.signal });
  } finally {
    clearTimeout(timer);
  }
}

function away() {
  tell((pending(session) ? 'Your answer is not yet on the PC. It is kept here and sent as soon as the PC is back. ' : '')
    + 'The PC is off or restarting. This page keeps working.', true);
}

// send posts the answer that waits, with the key that it was given.
async function send() {
  const post = pending(session);
  const got = await ask(post.url, { method: 'POST', body: post.body, headers: { 'Content-Type': 'application/x-www-form-urlencoded' } });
  dropPending(session);
  if (got.ok) {
    forget(session, null);
    location.assign(session);
  } else if (got.status === 409) tell('The PC already has an answer to this step.', false, 'Show the present step');
  else tell('The PC did not take this answer. What you typed is kept.', false, 'See what is wrong');
}

// look sends what waits, or asks which step the PC is at.
async function look() {
  if (document.hidden || busy) return;
  busy = true;
  try {
    if (pending(session)) {
      await send();
      return;
    }
    const got = await ask(`/api/v1/sessions/${session.split('/').at(-1)}/prompt`);
    if (!got.ok) throw new Error('not there');
    if ((await got.json()).id === prompt) tell('The PC is reachable. This page keeps working when it goes down.', false);
    else tell('The PC is back, and this step is done.', false, 'Go on to the present step');
  } catch {
    away();
  } finally {
    busy = false;
  }
}

enhance(step);
restore(step, session);
document.addEventListener('submit', (event) => {
  event.preventDefault();
  if (busy) return;
  const body = new URLSearchParams(new FormData(event.target, event.submitter)).toString();
  keepPending(session, { url: event.target.getAttribute('action'), body, kind: 'answer' });
  look();
});
document.addEventListener('visibilitychange', look);
setInterval(look, pause);
look();
