// What scripts add to the form of a step: fields that do not apply are
// hidden, rows of readings come and go, typed values are said back.

const valuesOf = (form, name) => new FormData(form).getAll(name).map(String);

// enhance prepares the form of a step that has just been shown.
export function enhance(step) {
  for (const form of step.querySelectorAll('form.answer')) {
    const fit = () => { applyNeeds(form); sayBack(form); };
    form.classList.add('scripted');
    form.querySelectorAll('fieldset.readings').forEach(fitRows);
    form.addEventListener('input', fit);
    form.addEventListener('belay:restored', () => {
      form.querySelectorAll('fieldset.readings').forEach(showFilled);
      fit();
    });
    fit();
  }
}

// applyNeeds hides the fields whose condition does not hold. What was typed
// there stays, but is not sent. Two rounds settle a field that hangs on one
// that is hidden itself.
function applyNeeds(form) {
  for (let round = 0; round < 2; round++) {
    for (const field of form.querySelectorAll('[data-needed-if]')) {
      const needs = JSON.parse(field.dataset.neededIf);
      const applies = Object.entries(needs).some(([name, wanted]) => valuesOf(form, name).some((v) => wanted.includes(v)));
      field.hidden = !applies;
      for (const input of field.querySelectorAll('input, select')) input.disabled = !applies;
    }
  }
}

const inputsOf = (row) => [...row.querySelectorAll('input')];
const filled = (row) => inputsOf(row).some((input) => input.value.trim() !== '');

// fitRows shows as many rows as are needed and lets more be added.
function fitRows(fieldset) {
  const body = fieldset.querySelector('tbody');
  const least = Number(fieldset.dataset.least);
  const most = Number(fieldset.dataset.most);
  const tools = document.createElement('div');
  const add = button('Add a reading');
  const remove = button('Remove the last');
  tools.className = 'grid-tools';
  tools.append(add, remove);
  fieldset.querySelector('table').after(tools);

  const shown = () => [...body.rows].filter((row) => !row.hidden);
  const refresh = () => {
    add.hidden = shown().length >= most;
    remove.hidden = shown().length <= least;
  };
  add.addEventListener('click', () => {
    const next = [...body.rows].find((row) => row.hidden) ?? clone(body);
    next.hidden = false;
    refresh();
    inputsOf(next)[0].focus();
  });
  remove.addEventListener('click', () => {
    const last = shown().at(-1);
    for (const input of inputsOf(last)) input.value = '';
    last.hidden = true;
    refresh();
    (remove.hidden ? add : remove).focus();
    fieldset.dispatchEvent(new Event('input', { bubbles: true }));
  });
  [...body.rows].forEach((row, i) => { row.hidden = i >= least && !filled(row); });
  fieldset.showFilled = () => {
    for (const row of body.rows) if (filled(row)) row.hidden = false;
    refresh();
  };
  refresh();
}

function showFilled(fieldset) { fieldset.showFilled(); }

function button(text) {
  const b = document.createElement('button');
  b.type = 'button';
  b.className = 'button small';
  b.textContent = text;
  return b;
}

// clone appends a blank row with the next number in every name.
function clone(body) {
  const n = body.rows.length;
  const row = body.rows[n - 1].cloneNode(true);
  row.cells[0].textContent = String(n + 1);
  for (const input of inputsOf(row)) {
    input.name = input.name.replace(`.${n - 1}.`, `.${n}.`);
    input.id = 'f-' + input.name;
    input.setAttribute('aria-label', input.getAttribute('aria-label').replace(`reading ${n}`, `reading ${n + 1}`));
    input.removeAttribute('aria-invalid');
    input.value = '';
  }
  body.append(row);
  return row;
}

// sayBack reads a typed setting back with its change. It judges nothing: the
// answer is checked when it is sent.
function sayBack(form) {
  for (const input of form.querySelectorAll('[data-readback]')) {
    const said = input.parentElement.querySelector('output');
    const text = input.value.trim().replace(',', '.');
    const match = /^([+-]?\d+(?:\.\d+)?)\s*(\S*)$/.exec(text);
    const unit = input.dataset.unit;
    if (!match || (match[2] && match[2].toLowerCase() !== unit.toLowerCase())) {
      said.textContent = '';
      continue;
    }
    said.textContent = change(Number(match[1]), Number(input.dataset.now), unit) + compared(Number(match[1]), input.dataset.proposed);
  }
}

const digits = (unit) => (unit === 'V' ? 3 : 0);
const withUnit = (v, unit) => v.toFixed(digits(unit)) + (unit ? '\u00a0' + unit : '');

function change(value, now, unit) {
  const said = withUnit(value, unit);
  if (!now) return said;
  const d = value - now;
  if (Math.abs(d) < 1e-9) return `${said}, the same as before`;
  return `${said}, ${withUnit(Math.abs(d), unit)} ${d > 0 ? 'higher' : 'lower'} than before`;
}

function compared(value, proposed) {
  if (!proposed) return '';
  return Math.abs(value - Number(proposed)) < 1e-9 ? ', as proposed.' : '. The proposal is another value.';
}
