// The program says its sentences in English. In another language they are looked up as they are shown: first as a whole,
// then by their pattern, whose holes are looked up in turn (a name stays as it is), then part by part.
const book = JSON.parse(document.getElementById('sentences')?.textContent || 'null');
const exact = new Map(), patterns = [], told = new Map();
for (const [english, other] of Object.entries(book ?? {})) {
  const parts = english.split(/\{\d+\}/);
  if (parts.length === 1) { exact.set(english, other); continue; }
  const fixed = parts.map(p => p.replace(/[.*+?^${}()|[\]\\]/g, '\\$&').replace(/^(?=\w)/, '\\b').replace(/(?<=\w)$/, '\\b')); // a hole ends where a word ends
  patterns.push({ plain: parts.join('').length, holes: english.match(/\{\d+\}/g), tail: parts.length === 2 && parts[1] === '', other, whole: new RegExp('^' + fixed.join('(.+?)') + '$', 's') });
}
patterns.sort((a, b) => b.plain - a.plain);

const marks = /; |\. |: | (?=\()|(?<=\)) |, | and | \+ | → /g;
const balanced = s => { let deep = 0; for (const c of s) { deep += { '(': 1, ')': -1 }[c] ?? 0; if (deep < 0) return false; } return deep === 0; };
// known is the sentence as a whole, or by a pattern: its first hole holds one clause, unless it is all that follows. A
// pattern of few letters, as "{1} for {2}", stays within one clause, unless nothing else is left (loose).
function known(s, loose) {
  if (exact.has(s)) return exact.get(s);
  for (const p of patterns) {
    const m = p.plain < s.length && p.whole.exec(s), holes = m ? m.slice(1) : [];
    if (m && holes.every(balanced) && (p.tail || !/[;:.] /.test(holes[0])) && (loose || p.plain >= 10 || holes.every(h => h.search(marks) < 0)))
      return p.other.replace(/\{\d+\}/g, h => tr(holes[p.holes.indexOf(h)]));
  }
}

const between = s => s === ' and ' ? ' ' + (exact.get('and') ?? 'and') + ' ' : s;
// byBeginning takes the longest beginning that is known, up to a mark between two clauses, and goes on behind it. A full
// stop may belong to what is known.
function byBeginning(s) {
  for (const cut of [...s.matchAll(marks)].reverse()) {
    const end = cut.index, rest = s.slice(end + cut[0].length), head = known(s.slice(0, end));
    if (head !== undefined) return head + between(cut[0]) + tr(rest);
    const stopped = cut[0] === '. ' ? known(s.slice(0, end + 1)) : undefined;
    if (stopped !== undefined) return stopped + ' ' + tr(rest);
  }
}
// byParts takes each clause for itself.
function byParts(s) {
  const cut = [...s.matchAll(marks)][0];
  if (!cut) return;
  const head = s.slice(0, cut.index);
  return tr(head) + between(cut[0]) + tr(s.slice(cut.index + cut[0].length));
}
// beside finds a known phrase behind a name, or before a name or a figure.
function beside(s) {
  for (let i = s.indexOf(' '); i > 0; i = s.indexOf(' ', i + 1)) {
    const before = s.slice(0, i), after = s.slice(i + 1);
    if (exact.has(after)) return tr(before) + ' ' + exact.get(after);
    if (exact.has(before)) return exact.get(before) + ' ' + tr(after);
  }
}
// bracketed takes what stands in brackets for itself, and looks past a full stop or a colon at the end.
function bracketed(s) {
  if (s[0] !== '(') {
    const m = /^(.*?)([.:]+)$/s.exec(s), inside = m && known(m[1]);
    return inside ? inside + m[2] : undefined;
  }
  let deep = 0, end = 0;
  do { deep += { '(': 1, ')': -1 }[s[end]] ?? 0; end++; } while (deep > 0 && end < s.length);
  if (deep > 0) return '(' + tr(s.slice(1));
  const [, gap, rest] = /^([;:.,]?\s*)(.*)$/s.exec(s.slice(end));
  return '(' + tr(s.slice(1, end - 1)) + ')' + gap + tr(rest);
}
// tr gives a sentence in the page's language; what is not known stays as it is.
export function tr(s) {
  if (!book || typeof s !== 'string' || !/[a-z]{2}/.test(s)) return s;
  let out = told.get(s);
  if (out === undefined) {
    const bare = s.trim();
    out = known(bare) ?? bracketed(bare) ?? byBeginning(bare) ?? byParts(bare) ?? known(bare, true) ?? beside(bare) ?? bare;
    out = s.replace(bare, () => out);
    if (told.size > 5000) told.clear();
    told.set(s, out);
  }
  return out;
}
// trTree translates what the server wrote in English: the survey's sheet.
export function trTree(root) {
  if (!book || !root) return;
  const all = document.createTreeWalker(root, NodeFilter.SHOW_TEXT);
  for (let n = all.nextNode(); n; n = all.nextNode()) { const now = tr(n.data); if (now !== n.data) n.data = now; }
}
