// The bench: live currents, a machine being learnt, a gate being jogged.
import { say, make, put, send, tell, held } from './live.js';
import { tr } from './phrase.js';

const $ = id => document.getElementById(id);
let token = '', drawn = '';
const amps = v => v == null ? '' : v.toFixed(2) + ' A';

async function order(action, value, target) {
  const o = { action };
  if (token && action !== 'learn' && action !== 'jog') o.session = token;
  if (value) o.value = value;
  if (target) o.target = target;
  const { code, body } = await send('POST', '/api/v1/bench', o);
  if (code !== 200) { tell(body.reason ?? ''); return; }
  if (action === 'learn' || action === 'jog') token = (body.learn ?? body.jog)?.session ?? '';
  show(body);
  if (action === 'learn' || action === 'jog') $('session').scrollIntoView({ block: 'start' });
}
for (const what of ['learn', 'jog']) $(what).addEventListener('submit', e => { e.preventDefault(); order(what, '', $(what + 'what').value); });

function button(label, act, hold, cls) {
  const b = make('button', { type: 'button', class: cls ?? 'small' }, label);
  if (hold) held(b, act); else b.addEventListener('click', act);
  return b;
}

// acts are what can be done in this step. What starts or moves something wants to be kept pressed.
function acts(v) {
  const l = v.learn, j = v.jog;
  if (!token || !(l ?? j) || (l ?? j).step === 'ended') return [];
  const out = [];
  if (l) {
    if (l.step === 'caution') out.push(button(say('bench.read'), () => order('accept'), true, ''));
    else if (l.waits) out.push(button(say('bench.next'), () => order('next'), false, ''));
    if (l.step !== 'caution') out.push(button(say('bench.again'), () => order('again')));
  }
  if (j) {
    if (j.step === 'caution') out.push(button(say('bench.read'), () => order('accept'), true, ''));
    else {
      for (const step of j.kind === 'servo' ? ['-50', '-10', '+10', '+50'] : ['-200ms', '+200ms']) out.push(button(step + (j.kind === 'servo' ? ' µs' : ''), () => order('step', step)));
      for (const end of ['open', 'closed']) out.push(button(say('bench.go.' + end), () => order('go', end), true), button(say('bench.mark.' + end), () => order('mark', end)));
      out.push(button(say('bench.release'), () => order('release'), false, 'small stop'), button(say('bench.propose'), () => order('propose')));
    }
  }
  if ((l ?? j).diff && !(l ?? j).written) out.push(button(say('bench.write'), () => order('write'), true));
  out.push(button(say('bench.end'), () => order('end'), false, 'small stop'));
  return out;
}

const line = (head, text) => text ? make('tr', {}, make('th', { scope: 'row' }, say(head)), make('td', {}, text)) : null;
function show(v) {
  $('channels').replaceChildren(...v.channels.map(c => make('tr', { class: c.suspects ? 'unserved' : null },
    make('td', {}, c.name), make('td', {}, c.watches.join(', ')), make('td', { class: 'number' }, amps(c.current_a)), make('td', {}, say('machine.' + c.state) + (c.health === 'good' ? '' : ' (' + tr(c.health) + ')')),
    make('td', {}, amps(c.idle_a) + ' / ' + amps(c.running_a)), make('td', {}, tr(c.words ?? '')))));
  const s = v.learn ?? v.jog;
  $('session').hidden = !s;
  if (!s) { token = ''; return; }
  if (s.step === 'ended') token = '';
  const mine = token && s.session === token;
  put($('h-b'), (v.learn ? say('bench.learn') + ': ' + s.machine : say('bench.jog') + ': ' + s.gate) + (mine || s.step === 'ended' ? '' : ' (' + say('bench.other') + ')'));
  put($('benchsay'), tr(s.say) + (s.left_ms ? ' ' + Math.ceil(s.left_ms / 1000) + ' s' : '') + (s.watch_ms ? ' ' + (s.watch_ms / 1000).toFixed(1) + ' s' : ''));
  const now = JSON.stringify([token, s.step, s.waits, s.diff, s.written]);
  if (now !== drawn) { // else a button would vanish under the finger
    drawn = now;
    $('benchcautions').replaceChildren(...(s.step === 'caution' ? s.cautions : []).map(c => make('li', {}, '▲ ' + tr(c))));
    $('benchacts').replaceChildren(...acts(v));
    $('benchdiff').hidden = !s.diff;
    put($('benchdiff'), s.diff);
  }
  $('benchfindings').replaceChildren(...s.findings.map(f => make('li', {}, tr(f.text))));
  if (v.learn) {
    const f = s.figures;
    $('benchfigures').replaceChildren(...[line('bench.now', amps(s.current_a)), line('bench.idle', amps(f.idle_top)), line('bench.start', amps(f.start_a)), line('bench.run', f.run_low == null ? '' : amps(f.run_low) + ' … ' + amps(f.run_a)),
      line('bench.rundown', f.run_down == null ? '' : f.run_down.toFixed(1) + ' s'), line('bench.proposal', tr(s.proposal?.text))].filter(Boolean));
  } else {
    $('benchfigures').replaceChildren(...[line('bench.pulse', s.pulse_us ? s.pulse_us + ' µs' + (s.on ? '' : ' (' + say('bench.rests') + ')') : ''), line('bench.bounds', s.most_us ? s.least_us + ' … ' + s.most_us + ' µs' : ''),
      line('bench.ends', [s.open_us && say('gate.open') + ' ' + s.open_us + ' µs', s.closed_us && say('gate.closed') + ' ' + s.closed_us + ' µs'].filter(Boolean).join(', ')), line('bench.travel', s.travel_ms ? (s.travel_ms / 1000).toFixed(1) + ' s' : ''),
      line('bench.marked', s.marked.map(m => say('gate.' + m)).join(', ')), line('bench.blade', s.blade == null ? '' : Math.round(s.blade * 100) + ' %')].filter(Boolean));
  }
  plot(v.learn ? s.plot : [], s.machine ?? '');
}

// plot draws the recording; the figures beside it say the same.
const svg = 'http://www.w3.org/2000/svg';
function plot(points, name) {
  if (points.length < 2) { $('benchplot').replaceChildren(); return; }
  const w = 900, h = 180, end = points.at(-1).t_s || 1, top = Math.max(...points.map(p => p.current_a)) || 1;
  const at = p => (p.t_s / end * (w - 70)).toFixed(1) + ' ' + (h - 20 - p.current_a / top * (h - 40)).toFixed(1);
  const root = document.createElementNS(svg, 'svg');
  for (const [k, v] of Object.entries({ class: 'strips', viewBox: `0 0 ${w} ${h}`, role: 'img', 'aria-label': say('bench.plot') + ' ' + name })) root.setAttribute(k, v);
  const path = (cls, d) => { const e = document.createElementNS(svg, 'path'); e.setAttribute('class', cls); e.setAttribute('d', d); root.append(e); };
  const label = (x, y, text) => { const e = document.createElementNS(svg, 'text'); e.setAttribute('x', x); e.setAttribute('y', y); e.textContent = text; root.append(e); };
  path('axis', `M0 ${h - 20}H${w - 70}`);
  path('line', 'M' + points.map(at).join('L'));
  label(w - 64, 26, amps(top)); label(w - 110, h - 4, end.toFixed(0) + ' s');
  $('benchplot').replaceChildren(root);
}

async function look() {
  try {
    const { code, body } = await send('GET', '/api/v1/bench?session=' + encodeURIComponent(token));
    if (code === 200) show(body);
  } catch (e) { /* the page's own stream says that there is no data */ }
  setTimeout(look, document.hidden ? 5000 : 400);
}
look();
