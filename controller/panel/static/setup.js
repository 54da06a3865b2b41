// The checklist, the PIN and tokens.
import { say, make, put, send, tell } from './live.js';
import { tr } from './phrase.js';

const list = document.getElementById('checklist');
list.addEventListener('change', async e => {
  const box = e.target;
  if (!box.checked) { box.checked = false; return; }
  const { code, body } = await send('POST', '/api/v1/checklist', { keys: [box.value] });
  if (code !== 200) { box.checked = false; tell(body.reason ?? ''); return; }
  box.disabled = true;
  put(document.getElementById('unread'), body.unread ? body.unread + ' ' + say('check.left') : say('check.all'));
});

const pin = document.getElementById('pin');
pin.addEventListener('submit', async e => {
  e.preventDefault();
  const { code, body } = await send('PUT', '/api/v1/access/pin', { pin: pin.pin.value });
  pin.reset();
  tell(code === 200 ? say(body.pin ? 'access.pinset' : 'access.pingone') : body.reason);
});

const token = document.getElementById('token');
token.addEventListener('submit', async e => {
  e.preventDefault();
  const { code, body } = await send('POST', '/api/v1/access/tokens', { name: token.elements.name.value, role: token.role.value });
  put(document.getElementById('newtoken'), code === 200 ? say('access.once') + ' ' + body.token : tr(body.reason));
  if (code === 200) { token.reset(); tokens(); }
});
async function tokens() {
  const { code, body } = await send('GET', '/api/v1/access');
  if (code !== 200) return;
  document.getElementById('tokens').replaceChildren(...body.tokens.map(t => {
    const b = make('button', { class: 'small', type: 'button', 'aria-label': say('access.drop') + ': ' + t.name }, say('access.drop'));
    b.addEventListener('click', async () => { await send('DELETE', '/api/v1/access/tokens/' + encodeURIComponent(t.name)); tokens(); });
    return make('tr', {}, make('td', {}, t.name), make('td', {}, say('role.' + t.role)), make('td', {}, b));
  }));
}
tokens();
