// Values understood from free text go into the report of the present step,
// beside what is already typed there. Nothing is sent: the person saves the
// report. Without this file the server shows the step with the values filled in.

const reply = () => document.getElementById('reply');

function put(form, name, value) {
  for (const input of form.querySelectorAll(`[name="${CSS.escape(name)}"]`)) {
    if (input.type === 'radio') input.checked = input.value === value;
    else input.value = value;
  }
}

function fill(said, form) {
  for (const given of said.querySelectorAll('[data-said]')) put(form, given.name, given.value);
  form.closest('details')?.setAttribute('open', '');
  form.dispatchEvent(new Event('belay:restored'));
  form.dispatchEvent(new Event('input', { bubbles: true }));
  reply().replaceChildren();
  const names = [...said.querySelectorAll('[data-said]')].map((given) => given.name);
  const first = [...form.elements].find((input) => names.includes(input.name) && input.offsetParent);
  first?.focus({ preventScroll: true });
  first?.scrollIntoView({ block: 'center' });
}

document.addEventListener('submit', (event) => {
  const said = event.target;
  const form = document.querySelector('#present form.answer');
  if (!said.matches('form.said') || !form || form.elements.prompt.value !== said.elements.prompt.value) return;
  event.preventDefault();
  event.stopPropagation();
  fill(said, form);
}, true);

document.addEventListener('click', (event) => {
  if (!event.target.closest('[data-dismiss]')) return;
  event.preventDefault();
  reply().replaceChildren();
  document.getElementById('say').focus();
});
