// Shows how far the trial is that runs on this PC, once a second. Nothing of
// it is announced: it only informs.

const clock = (s) => `${Math.floor(s / 60)}:${String(Math.floor(s % 60)).padStart(2, '0')}`;

// watch looks after the panel while there is one, and calls ended when the
// trial is over or another one was started.
export function watch(session, ended) {
  const url = `/api/v1/sessions/${session.split('/').at(-1)}/trials/running`;
  setInterval(async () => {
    const panel = document.getElementById('running');
    if (!panel || document.hidden) return;
    let got;
    try {
      got = await fetch(url);
    } catch {
      return; // the PC is busy or gone; the page says so elsewhere
    }
    if (got.status === 404) {
      ended();
      return;
    }
    if (!got.ok) return;
    const t = await got.json();
    if (String(t.n) !== panel.dataset.trial) return;
    if (t.status !== panel.dataset.status) {
      ended();
      return;
    }
    const bar = panel.querySelector('progress');
    bar.value = t.elapsed_s;
    panel.querySelector('.gone').textContent = clock(t.elapsed_s);
    panel.querySelector('.left').textContent = clock(Math.max(0, t.minutes * 60 - t.elapsed_s));
    const hot = panel.querySelector('.hot');
    if (hot && t.core_temp_c) hot.textContent = `${Math.round(t.core_temp_c)} °C`;
  }, 1000);
}
