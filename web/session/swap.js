// Brings parts of a freshly loaded page into the one that is open.

const part = (page, id) => page.getElementById(id);

// request loads a page as a document; its scripts do not run. It fails when
// the PC cannot be reached.
export function request(method, url, body) {
  return new Promise((resolve, reject) => {
    const xhr = new XMLHttpRequest();
    xhr.open(method, url);
    xhr.responseType = 'document';
    xhr.timeout = 15000;
    if (body) xhr.setRequestHeader('Content-Type', 'application/x-www-form-urlencoded');
    xhr.onload = () => resolve({ status: xhr.status, url: xhr.responseURL, page: xhr.response });
    xhr.onerror = xhr.ontimeout = () => reject(new Error('not reachable'));
    xhr.send(body ?? null);
  });
}

// isSession reports whether the page is that of this session.
export const isSession = (page, session) => part(page, 'main')?.dataset.session === session;

export const versionOf = (page) => Number(part(page, 'main').dataset.version);

// whole takes over one part of the page, attributes and all.
export function whole(page, id) {
  const [mine, theirs] = [part(document, id), part(page, id)];
  if (mine && theirs) mine.replaceWith(document.importNode(theirs, true));
}

// inside takes over what is in a part that itself must stay, so that what
// listens to it goes on.
export function inside(page, id) {
  const [mine, theirs] = [part(document, id), part(page, id)];
  if (!mine || !theirs || mine.innerHTML === theirs.innerHTML) return;
  const open = [...mine.querySelectorAll('details')].map((d) => d.open);
  mine.replaceChildren(...[...theirs.childNodes].map((n) => document.importNode(n, true)));
  mine.querySelectorAll('details').forEach((d, i) => { if (open[i]) d.open = true; });
}

// entries adds what is new to the notebook, so that only that is announced.
export function entries(page) {
  const theirs = part(page, 'log').querySelector('.notes');
  const mine = part(document, 'log').querySelector('.notes');
  if (!theirs || !mine) {
    inside(page, 'log');
    return;
  }
  const have = new Map([...mine.children].map((li) => [li.dataset.key, li]));
  for (const li of theirs.children) {
    const old = have.get(li.dataset.key);
    have.delete(li.dataset.key);
    if (!old) mine.append(document.importNode(li, true));
    else if (old.className !== li.className) old.replaceWith(document.importNode(li, true));
  }
  for (const gone of have.values()) gone.remove();
  inside(page, 'earlier');
}
