// The shop file in an editor: checked as it is written, shown as a difference, saved at once or not at all.
import { say, make, put, send, held } from './live.js';
import { tr } from './phrase.js';

const text = document.getElementById('text'), numbers = document.getElementById('numbers'), said = document.getElementById('filesaid'), problems = document.getElementById('problems'), diff = document.getElementById('diff');
let from = '', asked = 0, timer = null, saved = '';
const bad = new Set();

function count() {
  const n = text.value.split('\n').length;
  numbers.replaceChildren(...Array.from({ length: n }, (_, i) => make('span', { class: bad.has(i + 1) ? 'bad' : null }, (bad.has(i + 1) ? '▶' : '') + (i + 1) + '\n')));
  numbers.scrollTop = text.scrollTop;
}
text.addEventListener('scroll', () => { numbers.scrollTop = text.scrollTop; });
text.addEventListener('input', () => { count(); clearTimeout(timer); timer = setTimeout(check, 700); });
addEventListener('beforeunload', e => { if (text.value !== saved) e.preventDefault(); });

function go(p) {
  const lines = text.value.split('\n');
  const at = lines.slice(0, Math.max(0, p.line - 1)).reduce((n, l) => n + l.length + 1, 0) + Math.max(0, p.column - 1);
  text.focus();
  text.setSelectionRange(at, Math.max(at + 1, at + (lines[p.line - 1] ?? '').length - Math.max(0, p.column - 1)));
  text.scrollTop = Math.max(0, (p.line - 4) * parseFloat(getComputedStyle(text).lineHeight));
}
function show(c) {
  bad.clear();
  c.problems.forEach(p => bad.add(p.line));
  problems.replaceChildren(...c.problems.map(p => {
    const b = make('button', { type: 'button', class: 'small' }, p.line ? say('file.line') + ' ' + p.line + (p.column ? ':' + p.column : '') : say('file.whole'));
    b.addEventListener('click', () => go(p));
    return make('li', {}, b, ' ' + [p.path && p.path + ':', tr(p.problem), p.found && say('file.found') + ' ' + tr(p.found) + '.', p.accepted && say('file.accepted') + ' ' + tr(p.accepted)].filter(Boolean).join(' '));
  }));
  put(diff, c.diff || say('file.same'));
  put(said, tr(c.reason) || (c.ok ? say('file.good') : c.problems.length + ' ' + say('file.bad')));
  count();
}
async function check() {
  const mine = ++asked;
  const { code, body } = await send('POST', '/api/v1/shop/check', { text: text.value });
  if (mine !== asked) return;
  if (code === 200) show(body); else put(said, tr(body.reason));
}
async function save() {
  clearTimeout(timer); asked++;
  const { code, body } = await send('PUT', '/api/v1/shop', { text: text.value, from });
  if (body.problems) { show(body); if (body.saved) { from = body.sum; saved = text.value; } } else put(said, tr(body.reason) ?? String(code));
}
async function load() {
  const { code, body } = await send('GET', '/api/v1/shop');
  if (code !== 200) { put(said, tr(body.reason)); return; }
  text.value = saved = body.text; from = body.sum;
  saved = text.value; // a textarea has its own line ends
  check();
}
document.getElementById('check').addEventListener('click', check);
document.getElementById('reload').addEventListener('click', load);
held(document.getElementById('save'), save);
load();
