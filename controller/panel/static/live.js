// One event stream a tab: first the whole state, then each later one. The server drops a slow tab; the browser
// comes back by itself. What the page shows is set here and nowhere else.
import { tr, trTree } from './phrase.js';
const text = JSON.parse(document.getElementById('texts').textContent);
export const say = k => text[k] ?? '[' + k + ']';
const root = document.documentElement;
const by = (a, k) => Object.fromEntries((a ?? []).map(x => [x[k], x]));
let last = 0, state = null, source = null, version = document.body.dataset.version;

const remembered = { theme: localStorage.getItem('theme') ?? '', units: localStorage.getItem('units') ?? document.body.dataset.units };
function dress() {
  if (remembered.theme) root.dataset.theme = remembered.theme; else delete root.dataset.theme;
  document.cookie = 'units=' + remembered.units + ';path=/;samesite=strict';
}
for (const name of ['theme', 'units']) {
  const sel = document.getElementById('set-' + name);
  if (!sel) continue;
  sel.value = remembered[name];
  sel.addEventListener('change', () => { remembered[name] = sel.value; localStorage.setItem(name, sel.value); dress(); if (state) show(state); });
}
dress();

const us = () => remembered.units === 'us';
const speed = v => us() ? Math.round(v * 196.850394) + ' fpm' : v.toFixed(1) + ' m/s';
const flow = v => us() ? Math.round(v * 2118.88) + ' cfm' : Math.round(v * 3600) + ' m³/h';
const pressure = v => us() ? (v / 249.089).toFixed(2) + ' inH₂O' : Math.round(v) + ' Pa';
const percent = v => Math.round(v * 100) + ' %';
const left = ms => ms > 0 ? (ms >= 90000 ? Math.round(ms / 60000) + ' min' : Math.ceil(ms / 1000) + ' s') : '';
const ago = (now, at) => { const s = Math.max(0, Math.round((now - at) / 1000)); return s < 90 ? s + ' s' : s < 5400 ? Math.round(s / 60) + ' min' : (s / 3600).toFixed(1) + ' h'; };

export function put(el, s) { if (el && el.textContent !== s) el.textContent = s; }
function field(name, s) { document.querySelectorAll('[data-field="' + name + '"]').forEach(el => put(el, s)); }
function classes(el, base, ...more) { if (el) { const c = [base, ...more.filter(Boolean)].join(' '); if (el.getAttribute('class') !== c) el.setAttribute('class', c); } }
const find = (kind, id) => document.getElementById(kind + '-' + id);

function show(s) {
  state = s;
  field('mode', say('mode.' + s.mode));
  document.querySelectorAll('.mode').forEach(el => classes(el, 'mode', s.mode));
  field('why', tr(s.why));
  const turning = new Set(['starting', 'running', 'clearing', 'lingering', 'coasting', 'will_not_stop', 'by_hand']);
  const cs = by(s.collectors, 'id');
  for (const c of s.collectors ?? []) {
    classes(find('collector', c.id), 'collector', turning.has(c.phase) && 'turning', ['start_failed', 'will_not_stop'].includes(c.phase) && 'bad');
    const g = find('collector', c.id);
    if (g) put(g.querySelector('.phase'), [say('phase.' + c.phase), left(c.left_ms)].filter(Boolean).join(' '));
    field('collector.' + c.id + '.phase', say('phase.' + c.phase) + (c.selector !== 'automatic' ? ' (' + say('selector.' + c.selector) + ')' : ''));
    field('collector.' + c.id + '.why', tr(c.why));
    field('collector.' + c.id + '.left', left(c.left_ms));
    field('collector.' + c.id + '.starts', c.starts_left + ' / ' + c.starts_per_hour + (c.rest_ms > 0 ? ', ' + left(c.rest_ms) : ''));
    field('collector.' + c.id + '.air', [say('verdict.' + c.transport), c.margin != null && c.transport !== 'not_judged' ? (c.margin >= 0 ? '+' : '') + percent(c.margin) : '', c.flow_m3_s ? flow(c.flow_m3_s) : '', c.suction_pa != null ? pressure(c.suction_pa) : ''].filter(Boolean).join(', '));
  }
  for (const d of s.ducts ?? []) {
    const g = find('duct', d.id), moving = d.velocity_m_s > 0.05;
    classes(g, 'duct', moving ? 'moving' : 'idle', d.carrying && 'carrying', d.carrying && moving && d.verdict);
    if (g) {
      const share = d.transport_m_s > 0 ? d.velocity_m_s / d.transport_m_s * 2 / 3 : 0;
      g.querySelector('.fill').setAttribute('width', Math.round(92 * Math.min(1, share)));
      put(g.querySelector('.speed'), moving ? speed(d.velocity_m_s) : '');
    }
    field('duct.' + d.id + '.speed', moving ? speed(d.velocity_m_s) : '');
    field('duct.' + d.id + '.asked', d.transport_m_s > 0 ? speed(d.transport_m_s) : '');
    field('duct.' + d.id + '.verdict', d.carrying && moving ? say('verdict.' + d.verdict) : '');
  }
  for (const g of s.gates ?? []) {
    classes(find('gate', g.id), 'gate', g.state, !g.proved && !g.hand && 'unproved');
    classes(find('gaterow', g.id), g.state);
    field('gate.' + g.id + '.state', [say('gate.' + g.state), left(g.left_ms)].filter(Boolean).join(' '));
    field('gate.' + g.id + '.proof', g.hand ? say('gate.hand') : say(g.proved ? 'gate.proved' : 'gate.assumed'));
    field('gate.' + g.id + '.who', say('selector.' + g.selector));
    field('gate.' + g.id + '.role', g.state === 'open' || g.state === 'opening' ? say('role.' + (g.role ?? '')) : '');
  }
  const ms = by(s.machines, 'id');
  for (const m of s.machines ?? []) {
    classes(find('machinerow', m.id), m.state, m.unserved && 'unserved');
    field('machine.' + m.id + '.state', [say('machine.' + m.state), left(m.left_ms)].filter(Boolean).join(' ') + (m.health && m.health !== 'good' && m.health !== 'untried' ? ' (' + (text['health.' + m.health] ?? tr(m.health)) + ')' : ''));
    field('machine.' + m.id + '.current', m.current_a != null ? m.current_a.toFixed(1) + ' A' : '');
    field('machine.' + m.id + '.air', m.unserved ? say('air.none') : m.air_ready ? say('air.ready') + (m.share != null ? ', ' + percent(m.share) : '') : '');
  }
  document.querySelectorAll('.machine[data-machines]').forEach(el => {
    const all = el.dataset.machines.split(' ').filter(Boolean).map(id => ms[id]).filter(Boolean);
    const best = ['running', 'running_down', 'unknown', 'idle'].find(w => all.some(m => m.state === w)) ?? 'idle';
    classes(el, 'machine', best);
  });
  const waiting = (s.alarms ?? []).filter(waits);
  field('alarms.count', waiting.length ? waiting.length + ' ' + say('wall.alarms') : say('wall.quiet'));
  document.querySelectorAll('.alarmline').forEach(el => classes(el, 'alarmline', waiting.length && 'on'));
  field('alarms.first', waiting.length ? tr(waiting[0].text) : '');
  const list = document.getElementById('alarmlist');
  if (list) alarms(list, s);
  const metal = document.getElementById('chips');
  if (metal) chips(metal, s);
  const inlets = document.getElementById('taps');
  if (inlets) taps(inlets, s);
  const inputs = document.getElementById('inputs');
  if (inputs) channels(inputs, s);
  wall(s, cs);
}

const shapes = { urgent: '▲', high: '◆', low: '●' };
const waits = a => a.state === 'unacknowledged' || a.state === 'returned';
function alarms(list, s) {
  const all = s.alarms ?? [];
  const states = { unacknowledged: 'alarms.active', acknowledged: 'alarms.acked', returned: 'alarms.gone', shelved: 'alarms.shelved' };
  const rows = all.map(a => {
    const what = make('td', {}, a.first && all.length > 1 ? make('span', { class: 'tag' }, say('alarms.first')) : null, make('b', {}, ' ' + tr(a.text)), a.cause && make('small', {}, say('alarms.cause') + ' ' + tr(a.cause)), a.consequence && make('small', {}, say('alarms.consequence') + ' ' + tr(a.consequence)));
    const acts = make('div', { class: 'acts' });
    if (waits(a)) acts.append(button(say('act.ack'), 'ask small', { action: 'acknowledge', target: a.key }, false));
    if (document.getElementById('shelf') && a.state !== 'shelved') { const b = make('button', { class: 'small', type: 'button' }, say('act.shelve')); b.addEventListener('click', () => shelve(a)); acts.append(b); }
    return make('tr', {}, make('td', {}, (shapes[a.priority] ?? '') + ' ' + say('priority.' + a.priority)), what, make('td', {}, tr(a.to_do)),
      make('td', {}, say(states[a.state] ?? 'alarms.active'), a.state === 'shelved' ? make('small', {}, a.reason) : null), make('td', {}, a.state === 'shelved' ? say('alarms.back') + ' ' + left(a.left_ms) : ago(s.at_ms, a.since_ms)), make('td', {}, acts));
  });
  const key = JSON.stringify(all.map(a => [a.key, a.state, a.first, a.text, a.to_do]));
  if (list.dataset.key === key && list.children.length === rows.length) { rows.forEach((r, i) => put(list.children[i].children[4], r.children[4].textContent)); return; }
  list.dataset.key = key;
  list.replaceChildren(...rows);
  document.getElementById('alarmsnone').hidden = rows.length > 0;
}

// shelve asks for how long and why.
function shelve(a) {
  const d = document.getElementById('shelf'), form = d.querySelector('form');
  put(document.getElementById('shelfwhat'), tr(a.text));
  form.reset();
  document.getElementById('shelfnot').onclick = () => d.close('');
  form.onsubmit = () => ask({ action: 'shelve', target: a.key, value: form.time.value + ' ' + form.why.value.trim() });
  d.showModal();
}

function chips(list, s) {
  list.replaceChildren(...(s.chips ?? []).map(c => make('tr', { class: c.why ? 'unserved' : null }, make('td', {}, c.name), make('td', {}, tr(c.bus)), make('td', {}, c.why ? tr(c.why) : say('chip.good')), make('td', { class: 'number' }, String(c.resets)))));
}

// taps are the pressures, each beside what the model allows for the gates now open.
function taps(list, s) {
  document.getElementById('tapsection').hidden = !s.taps?.length;
  list.replaceChildren(...(s.taps ?? []).map(t => make('tr', { class: t.health === 'good' ? null : 'unserved' }, make('td', {}, t.name), make('td', { class: 'number' }, t.pa != null ? pressure(t.pa) : ''),
    make('td', { class: 'number' }, t.low_pa != null && t.high_pa != null ? pressure(t.low_pa) + ' … ' + pressure(t.high_pa) : ''), make('td', {}, text['tap.' + t.health] ?? tr(t.health)))));
}

// channels are what each clamp's input shows of itself.
function channels(list, s) {
  list.replaceChildren(...(s.machines ?? []).filter(m => m.channel).map(m => {
    const c = m.channel, state = c.why ? tr(c.why) : (text['health.' + m.health] ?? tr(m.health));
    return make('tr', { class: c.why ? 'unserved' : null }, make('td', {}, c.name), make('td', {}, m.name), make('td', { class: 'number' }, c.bias_v != null ? c.bias_v.toFixed(3) + ' V' : ''),
      make('td', { class: 'number' }, c.noise_a != null ? c.noise_a.toFixed(3) + ' A' : ''), make('td', { class: 'number' }, String(c.gaps)), make('td', { class: 'number' }, String(c.rails)), make('td', {}, state));
  }));
}

function wall(s) {
  if (!document.body.classList.contains('wall')) return;
  const c = (s.collectors ?? [])[0];
  const none = (s.machines ?? []).some(m => m.unserved);
  field('wall.state', none ? say('air.none') : s.mode !== 'on_duty' ? say('mode.' + s.mode) : c ? text['wall.' + c.phase] ?? say('phase.' + c.phase) : say('mode.on_duty'));
  const waiting = (s.alarms ?? []).filter(waits).length;
  field('wall.count', waiting ? '▲ ' + waiting : '');
  if (!waiting) field('alarms.first', say('wall.quiet'));
  const open = (s.gates ?? []).filter(g => g.state === 'open' || g.state === 'opening');
  field('wall.open', open.length ? open.map(g => g.name).join(' + ') : '–');
  const carrying = (s.ducts ?? []).filter(d => d.carrying && d.transport_m_s > 0);
  carrying.sort((a, b) => a.velocity_m_s / a.transport_m_s - b.velocity_m_s / b.transport_m_s);
  const bar = document.getElementById('wallbar'), w = carrying[0];
  bar.value = w ? Math.min(1.5, w.velocity_m_s / w.transport_m_s) : 0;
  bar.className = w ? w.verdict : '';
  field('wall.speed', w ? speed(w.velocity_m_s) + ' / ' + speed(w.transport_m_s) : '');
  field('wall.duct', w ? w.name : '');
  document.querySelectorAll('.state, .fit').forEach(fit);
}
// fit makes a line smaller where a long name would run out of the screen.
function fit(el) {
  el.style.fontSize = '';
  if (el.scrollWidth > el.clientWidth) el.style.fontSize = Math.floor(parseFloat(getComputedStyle(el).fontSize) * el.clientWidth / el.scrollWidth) + 'px';
}

// Starting and opening want the finger kept on the button for 0.8 s; stopping acts at the first touch.
function button(label, cls, request, hold) {
  const b = document.createElement('button');
  b.className = cls; b.type = 'button'; b.textContent = label;
  b.dataset.request = JSON.stringify(request);
  if (hold) b.dataset.hold = '1';
  wire(b);
  return b;
}
function wire(b) {
  const request = JSON.parse(b.dataset.request);
  if (!b.dataset.hold) { b.addEventListener('click', () => ask(request)); return; }
  held(b, () => ask(request));
}
// make builds an element: text is never read as HTML.
export function make(tag, attributes, ...children) {
  const e = document.createElement(tag);
  for (const [k, v] of Object.entries(attributes ?? {})) if (v === true) e.setAttribute(k, ''); else if (v != null && v !== false) e.setAttribute(k, v);
  e.append(...children.filter(c => c != null));
  return e;
}
export const newKey = () => crypto.randomUUID?.() ?? String(Math.random()); // randomUUID is there only on secure origins
// send asks the API and gives the answer's body with its code; who may not is sent to the login.
export async function send(method, path, body) {
  const head = body === undefined ? {} : { 'Content-Type': 'application/json' };
  if (method !== 'GET') head['Idempotency-Key'] = newKey();
  const r = await fetch(path, { method, headers: head, body: body === undefined ? undefined : JSON.stringify(body) });
  if (r.status === 401 || r.status === 403) { location.href = '/login?to=' + encodeURIComponent(location.pathname); return { code: r.status, body: {} }; }
  return { code: r.status, body: await r.json() };
}
export function tell(words) { const text = tr(words), out = document.getElementById('answer'); put(out, text); setTimeout(() => { if (out.textContent === text) put(out, ''); }, 8000); }
// held wires a button that wants to be kept pressed.
export function held(b, act) {
  const bar = document.createElement('span'); bar.className = 'fillup'; b.append(bar);
  let timer = null, from = null;
  const end = () => { clearTimeout(timer); timer = null; b.classList.remove('holding'); };
  const begin = () => { if (timer) return; b.classList.add('holding'); timer = setTimeout(() => { end(); act(); }, 800); };
  // Held by the pointer, not by what lies under it: the page may shift while a finger rests. Sliding off gives up.
  b.addEventListener('pointerdown', e => { if (e.isPrimary) { b.setPointerCapture(e.pointerId); from = e; begin(); } });
  b.addEventListener('pointermove', e => { if (timer && from && Math.hypot(e.clientX - from.clientX, e.clientY - from.clientY) > 60) end(); });
  for (const e of ['pointerup', 'pointercancel', 'blur']) b.addEventListener(e, end);
  b.addEventListener('keydown', e => { if ((e.key === 'Enter' || e.key === ' ') && !e.repeat) { e.preventDefault(); begin(); } });
  b.addEventListener('keyup', end);
  b.addEventListener('contextmenu', e => e.preventDefault());
}
async function ask(request) {
  try {
    const { body } = await send('POST', '/api/v1/requests', { ...request, key: newKey() });
    tell(body.accepted ? say('answer.done') : body.reason ?? '');
  } catch (e) { tell(say('wall.nodata')); }
}
document.querySelectorAll('button[data-request]').forEach(wire);

function connect() {
  source?.close();
  source = new EventSource('/live');
  source.addEventListener('state', e => { last = performance.now(); const m = JSON.parse(e.data); if (m.version && version && m.version !== version) { location.reload(); return; } show(m.state); field('around', (m.around ?? []).map(tr).join(' ')); if (m.events) events(m.events, m.state.at_ms); });
  source.addEventListener('beat', () => { last = performance.now(); });
  source.addEventListener('login', () => { source.close(); location.href = '/login?to=' + encodeURIComponent(location.pathname); });
}
function events(list, now) {
  const ol = document.getElementById('events');
  if (!ol) return;
  ol.replaceChildren(...list.map(e => {
    const li = document.createElement('li'), t = document.createElement('span');
    t.textContent = ago(now, e.at_ms) + '  ';
    li.append(t, tr(e.what) + (e.then?.length ? ' → ' + e.then.map(tr).join(', ') : ''));
    return li;
  }));
}
// On a phone a row of a table is shown as a card: each cell then carries the head of its column.
for (const table of document.querySelectorAll('main table:has(thead)')) {
  if (table.closest('.airsheet, .scroll')) continue;
  table.classList.add('cards');
  const heads = [...table.tHead.rows[0].cells].map(c => c.textContent);
  const label = () => { for (const row of table.tBodies[0]?.rows ?? []) [...row.cells].forEach((c, i) => { c.dataset.head = heads[i] ?? ''; }); };
  label();
  if (table.tBodies[0]) new MutationObserver(label).observe(table.tBodies[0], { childList: true });
}
document.querySelectorAll('.airsheet, .problem, .told').forEach(trTree);
if (document.body.dataset.live) {
  connect();
  setInterval(() => {
    const silent = performance.now() - last;
    document.getElementById('nodata').classList.toggle('on', silent > 9000);
    document.querySelectorAll('.link').forEach(el => el.classList.toggle('lost', silent > 5000));
    if (silent > 5000 && source.readyState === EventSource.CLOSED) connect();
    field('clock', new Date().toLocaleTimeString([], { hour: '2-digit', minute: '2-digit' }));
  }, 500);
}
