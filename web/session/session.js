// The session page with scripts: answers are sent without a reload, other
// devices' answers appear by themselves, typing survives a restart. Without
// this file the same forms work by plain posts.

import { enhance } from './fields.js';
import * as drafts from './drafts.js';
import * as swap from './swap.js';
import { follow } from './link.js';
import { watch } from './live.js';
import './said.js';

const byId = (id) => document.getElementById(id);
const session = byId('main').dataset.session;
let version = Number(byId('main').dataset.version);
let busy = false; // a post is on its way
let away = false; // the PC did not answer the last time

function say(id, text) {
  const box = byId(id);
  if (box.textContent !== text) box.textContent = text;
  if (id === 'away') box.hidden = text === '';
}

function prepare() {
  const step = byId('present');
  enhance(step);
  drafts.restore(step, session);
}

// show brings in a freshly loaded page. own: it answers this device's post.
function show(page, own) {
  const before = byId('present').dataset.prompt;
  const after = page.getElementById('present').dataset.prompt;
  const trialMoved = byId('present').dataset.live !== page.getElementById('present').dataset.live;
  version = Math.max(version, swap.versionOf(page));
  byId('main').dataset.version = String(version);
  document.title = page.title;
  swap.inside(page, 'head');
  for (const id of ['ladder', 'evidence', 'saved']) swap.inside(page, id);
  swap.entries(page);
  if (own) {
    swap.inside(page, 'news');
    swap.inside(page, 'reply');
  }
  if (own || before !== after || (trialMoved && !stepHasTyping())) {
    swap.whole(page, 'present');
    prepare();
  } else if (trialMoved && page.getElementById('live')) {
    swap.inside(page, 'live');
    byId('present').dataset.live = page.getElementById('present').dataset.live;
  }
}

// settle puts the focus where the reader needs it after their own post.
function settle(url, asked) {
  const target = byId('errors') ?? (asked && byId('reply').childElementCount ? byId('reply') : byId('step'));
  target.focus({ preventScroll: true });
  target.scrollIntoView({ block: 'start' });
  if (url.includes('?')) return;
  history.replaceState(null, '', session);
}

const stepHasTyping = () => byId('present').classList.contains('typed');

// retire keeps what was typed for a prompt that has passed, but lets nothing
// be sent from it.
function retire(page) {
  const old = byId('present');
  if (old.dataset.retired) return;
  old.dataset.retired = 'yes';
  for (const b of old.querySelectorAll('form button:not([type=button])')) b.disabled = true;
  say('news', 'This step was answered on another device. What you typed is kept here, and not sent. ');
  const go = document.createElement('button');
  go.type = 'button';
  go.className = 'button small';
  go.textContent = 'Show the present step';
  go.addEventListener('click', () => refresh().then(() => {
    say('news', '');
    settle(session, false);
  }));
  byId('news').append(go);
  swap.entries(page);
  swap.inside(page, 'ladder');
  swap.inside(page, 'evidence');
}

// load fetches the page as it is now. It resolves to null when the PC does
// not answer.
async function load() {
  try {
    const got = await swap.request('GET', session);
    if (away) {
      away = false;
      say('away', '');
    }
    return got;
  } catch {
    away = true;
    say('away', drafts.pending(session)
      ? 'Your answer is not yet on the PC. It is kept here and sent as soon as the PC answers.'
      : 'The PC is not reachable: it is off or restarting. This page keeps working.');
    return null;
  }
}

// refresh shows the session as it is now, as after an own post.
async function refresh() {
  const got = await load();
  if (got && swap.isSession(got.page, session)) show(got.page, true);
}

// refreshQuietly brings in what the PC itself found, without moving the focus.
async function refreshQuietly() {
  const got = await load();
  if (!busy && got && swap.isSession(got.page, session)) take(got.page);
}

// check looks for news while no stream is open.
async function check() {
  if (busy) return true;
  if (drafts.pending(session)) return sendPending();
  const got = await load();
  if (got && swap.isSession(got.page, session)) take(got.page);
  return got !== null;
}

// take brings in what another device did, without moving the focus.
function take(page) {
  const passed = page.getElementById('present').dataset.prompt !== byId('present').dataset.prompt;
  if (passed && stepHasTyping()) {
    retire(page);
    return;
  }
  const focused = document.activeElement?.id;
  show(page, false);
  if (passed) {
    say('news', 'The step moved on: it was answered on another device.');
    if (focused && byId(focused) && document.activeElement === document.body) byId(focused).focus({ preventScroll: true });
  }
}

async function changed(to) {
  if (busy || to <= version) return;
  const got = await load();
  if (!busy && got && swap.isSession(got.page, session)) take(got.page);
}

// send posts a form and shows what came back.
async function send(post) {
  busy = true;
  try {
    const got = await swap.request('POST', post.url, post.body);
    drafts.dropPending(session);
    away = false;
    say('away', '');
    if (!got.page || !swap.isSession(got.page, session)) {
      location.assign(got.status < 400 ? got.url : session);
      return true;
    }
    byId('say').value = '';
    show(got.page, true);
    if (got.status < 400 && post.kind !== 'say') drafts.forget(session, byId('present'));
    settle(got.url, post.kind === 'say');
    return true;
  } catch {
    away = true;
    link.lost();
    if (post.kind === 'answer') drafts.keepPending(session, post);
    say('away', post.kind === 'answer'
      ? 'Your answer is not yet on the PC. It is kept here and sent as soon as the PC answers.'
      : 'The PC is not reachable: it is off or restarting. This page keeps working.');
    return false;
  } finally {
    busy = false;
  }
}

const sendPending = () => send(drafts.pending(session));

document.addEventListener('submit', (event) => {
  const form = event.target;
  const path = form.getAttribute('action'); // form.action may be a button of that name
  if (form.method !== 'post' || !path.startsWith(session + '/') || path.endsWith('/delete')) return;
  event.preventDefault();
  if (busy) return;
  const body = new URLSearchParams(new FormData(form, event.submitter)).toString();
  send({ url: path, body, kind: path.split('/').at(-1) });
});

prepare();
watch(session, () => refreshQuietly());
drafts.forget(session, byId('present'));
const link = follow(session, { changed, check });
if (drafts.pending(session)) sendPending();
byId('errors')?.focus();
