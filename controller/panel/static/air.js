// What would be opened for machines that run at once, and the wait for the survey.
import { say, make, send } from './live.js';
import { tr } from './phrase.js';

const waiting = document.querySelector('[data-wait]');
async function wait() {
  const { code } = await send('GET', waiting.dataset.wait);
  if (code === 503) { setTimeout(wait, 1500); return; }
  sessionStorage.setItem('ticked', JSON.stringify(ticked())); // a reload forgets what was ticked meanwhile
  location.reload();
}
if (waiting) setTimeout(wait, 1000);

const form = document.getElementById('whatif'), out = document.getElementById('plan');
let latest = 0;
function ticked() { return [...form.querySelectorAll('input:checked')].map(i => i.value); }
const before = JSON.parse(sessionStorage.getItem('ticked') ?? '[]');
sessionStorage.removeItem('ticked');
form.querySelectorAll('input').forEach(i => { i.checked ||= before.includes(i.value); });
async function plan() {
  const mine = ++latest;
  const ids = ticked();
  if (!ids.length) { out.replaceChildren(); return; }
  const { code, body } = await send('GET', '/api/v1/plan?machines=' + encodeURIComponent(ids.join(',')) + '&units=' + document.body.dataset.units);
  if (mine !== latest) return;
  if (code === 503) { out.replaceChildren(make('p', {}, tr(body.reason))); setTimeout(plan, 1500); return; }
  if (code !== 200) { out.replaceChildren(make('p', { class: 'problem' }, tr(body.reason))); return; }
  if (!body.demands.length) { out.replaceChildren(make('p', {}, say('air.notjudged'))); return; }
  out.replaceChildren(...body.demands.map(show));
}
const row = (head, text) => text ? make('tr', {}, make('th', { scope: 'row' }, say(head)), make('td', {}, text)) : null;
function show(d) {
  return make('div', { class: 'planned ' + d.grade },
    make('p', { class: 'why' }, make('b', {}, d.machines.join(' + ') + ': ' + (say('verdict.' + d.grade))), ' ', tr(d.why ?? '')),
    make('table', {}, make('tbody', {}, row('air.open', d.open.join(', ') || say('air.nogate')), row('air.margin', d.margin), row('air.weakest', [d.weakest_duct, d.speed && d.speed + ' / ' + d.asked].filter(Boolean).join(': ')),
      row('air.got', tr(d.share)), row('air.sure', tr(d.sure)), row('air.clean', tr(d.clean_filter)), row('air.theft', tr(d.hand_gate_open)))),
    d.remedies.length ? make('ul', {}, ...d.remedies.map(r => make('li', {}, tr(r.text) + (r.elsewhere ? '; ' + tr(r.elsewhere) : '')))) : null);
}
form.addEventListener('change', plan);
form.addEventListener('submit', e => e.preventDefault());
plan();
