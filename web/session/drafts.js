// What is typed and not yet sent stays on this device, by session and
// prompt, so that a restart of the PC or of the browser loses nothing.

const read = (key) => {
  try { return JSON.parse(localStorage.getItem(key)); } catch { return null; }
};
const write = (key, value) => {
  try { localStorage.setItem(key, JSON.stringify(value)); } catch { /* storage is full or denied: typing still works */ }
};
const drop = (key) => {
  try { localStorage.removeItem(key); } catch { /* nothing is kept then */ }
};

const pendingKey = (session) => `belay pending ${session}`;
const draftPrefix = (session) => `belay draft ${session} `;
const draftKey = (step, session) => draftPrefix(session) + step.dataset.prompt;
const kept = (step) => step.querySelectorAll('form.answer input:not([type=hidden]), form.answer select, .tick');
const nameOf = (input) => input.name || input.id;

// restore fills the step's form with its draft and keeps the draft from then
// on. Values that the server showed again after an error win.
export function restore(step, session) {
  const draft = read(draftKey(step, session));
  if (draft && !step.querySelector('.summary')) {
    for (const input of kept(step)) fill(input, draft[nameOf(input)]);
    for (const form of step.querySelectorAll('form.answer')) form.dispatchEvent(new Event('belay:restored'));
  }
  step.addEventListener('input', () => save(step, session));
}

function fill(input, value) {
  if (value === undefined) return;
  if (input.type === 'radio') input.checked = input.value === value;
  else if (input.type === 'checkbox') input.checked = value === true;
  else input.value = value;
}

function save(step, session) {
  const draft = {};
  for (const input of kept(step)) {
    if (input.type === 'radio') { if (input.checked) draft[input.name] = input.value; } else if (input.type === 'checkbox') draft[input.id] = input.checked;
    else if (input.value !== '') draft[nameOf(input)] = input.value;
  }
  step.classList.add('typed');
  write(draftKey(step, session), draft);
}

// forget drops the drafts of a session but that of the prompt shown now.
export function forget(session, step) {
  const present = step ? draftKey(step, session) : '';
  try {
    for (const key of Object.keys(localStorage)) {
      if (key.startsWith(draftPrefix(session)) && key !== present) drop(key);
    }
  } catch { /* nothing is kept then */ }
}

// An answer that could not be sent waits here with its idempotency key.
export const pending = (session) => read(pendingKey(session));
export const keepPending = (session, post) => write(pendingKey(session), post);
export const dropPending = (session) => drop(pendingKey(session));
