// Readings of the air as a sheet, and the model brought to them.
import { say, make, send } from './live.js';
import { tr } from './phrase.js';

const rows = document.getElementById('rows'), row = document.getElementById('row'), form = document.getElementById('fit'), out = document.getElementById('fits');
const more = () => { for (let i = 0; i < 3; i++) rows.append(row.content.cloneNode(true)); };
document.getElementById('morerows').addEventListener('click', more);
more();

const cell = s => '"' + s.replaceAll('"', '""') + '"';
function sheet() {
  const lines = ['open,place,quantity,value'];
  for (const tr of rows.children) {
    const of = n => tr.querySelector('[name=' + n + ']');
    if (!of('value').value.trim() || !of('place').value) continue;
    lines.push([[...of('open').selectedOptions].map(o => o.value).join('+'), of('place').value, of('quantity').value, of('value').value.trim()].map(cell).join(','));
  }
  return lines.join('\n');
}
const percent = v => (v >= 0 ? '+' : '') + Math.round(v * 100) + ' %';
const head = (...keys) => make('thead', {}, make('tr', {}, ...keys.map(k => make('th', { scope: 'col' }, say(k)))));
form.addEventListener('submit', async e => {
  e.preventDefault();
  const { code, body } = await send('POST', '/api/v1/fit?units=' + document.body.dataset.units, { sheet: sheet(), loaded: form.loaded.checked, write: e.submitter?.value === 'write' });
  if (code !== 200) { out.replaceChildren(make('p', { class: 'problem' }, tr(body.reason))); return; }
  out.replaceChildren(body.written ? make('p', {}, say('fit.written')) : '', ...body.fits.flatMap(f => [make('h3', {}, f.collector),
    make('table', {}, head('fit.open', 'fit.place', 'fit.measured', 'fit.before', 'fit.after', 'fit.off'), make('tbody', {}, ...f.readings.map(r => make('tr', {}, ...[r.open, r.place, r.measured, r.before, r.after, percent(r.off)].map(c => make('td', {}, c)))))),
    make('table', {}, head('fit.number', 'fit.of', 'fit.factor', 'fit.within', 'fit.known'), make('tbody', {}, ...f.factors.map(x => make('tr', {}, ...[tr(x.of), x.name, x.factor.toFixed(2), x.within.toFixed(2) + ' ×', say(x.determined ? 'fit.determined' : 'fit.open2')].map(c => make('td', {}, c)))))),
    ...f.notes.map(n => make('p', {}, tr(n)))]));
});
