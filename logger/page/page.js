// What the program tells, shown; what is pressed, told to it. Texts are only ever texts here.
const $ = (id) => document.getElementById(id);
const SILENT_MS = 3000;  // without a moment for longer the connection is gone
const TONE_EVERY_MS = 3000;
let moment = null, came = 0, sky = { tracks: [] }, source = null, sound = null, toned = 0;
let listened = 0, answered = 0, own = null, asked = 0;  // own: what this page asks itself

function listen() {
  if (source) source.close();
  listened = performance.now();
  source = new EventSource('moments');
  source.onmessage = (event) => {
    moment = JSON.parse(event.data);
    came = performance.now();
    window.requestAnimationFrame(show);
  };
}

function text(id, words) { if ($(id).textContent !== words) $(id).textContent = words; }

function show() {
  const over = moment?.phase === 'over', now = performance.now();
  const gone = !over && (!moment || now - came > SILENT_MS);
  if (over) source.close();
  // A connection that fell silent may never say that it is dead: make a new one.
  else if (gone && !document.hidden && now - listened > SILENT_MS) listen();
  document.body.classList.toggle('gone', gone);
  document.body.classList.toggle('warning', gone || !!moment.warning);
  for (const button of document.querySelectorAll('button[data-key]')) {
    button.disabled = gone || moment.phase === 'ended';
    if (!button.disabled) button.hidden = !moment.allowed.includes(button.dataset.key);
  }
  $('photo').disabled = gone || !moment.photos;
  $('photo').hidden = !gone && !moment.photos;
  for (const button of $('choices').children) button.disabled = gone || (!own && answered === moment?.question?.number);
  if (gone) {
    text('phase', 'no connection');
    if (moment) text('first', 'No connection to the computer; a recording goes on without this page');
    return;
  }
  const m = moment, minutes = Math.floor(m.elapsed / 60);
  document.body.dataset.seq = m.seq;
  text('title', m.title);
  const clock = `${minutes}:${String(m.elapsed % 60).padStart(2, '0')}`;
  text('phase', m.recorder ? `${m.phase} ${clock}` : '');
  text('board', m.board);
  $('board').hidden = !m.board;
  text('first', m.first);
  if (!m.question) text('message', m.message);
  text('pause', { paused: 'Go on', waiting: 'Open' }[m.phase] || 'Pause');
  question(m);
  list('figures', m.figures, ([name, value, unit]) => {
    const group = document.createElement('div');
    group.append(element('dt', name), element('dd', value === '-' ? '–' : value + (unit[0] === '°' ? unit : ` ${unit}`)));
    return group;
  });
  list('told', m.told, (words) => element('li', words));
  list('facts', m.recorder ? [...m.facts, m.link] : [], (words) => element('li', words));
  $('sky').hidden = $('legend').hidden = !m.heights.length;
  if (m.heights.length) draw(m);
  if (m.warning) warn();
}

function element(tag, words) {
  const made = document.createElement(tag);
  made.textContent = words;
  return made;
}

function list(id, items, make) {
  const key = JSON.stringify(items);
  if ($(id).dataset.key === key) return;
  $(id).dataset.key = key;
  $(id).replaceChildren(...items.map(make));
}

function question(m) {
  if (!m.recorder) own = null;
  const q = own || m.question;
  $('commands').hidden = !m.recorder || !!own;
  $('question').hidden = !q;
  if (!q) return;
  const { choices, entry, kinds } = q, key = String(q.number);
  if ($('choices').dataset.key === key) return;
  $('choices').dataset.key = key;
  text('message', '');
  text('asked', q.words || '');  // the program's own question stands above
  $('entered').hidden = !entry;
  $('entered').firstChild.textContent = entry;
  $('text').value = '';
  $('sorted').hidden = !kinds;
  $('kind').value = 'other';
  $('choices').replaceChildren(...choices.map((choice, i) => {
    const button = element('button', choice);
    button.type = i ? 'button' : 'submit';
    if (i) button.addEventListener('click', () => (own ? back() : answer(choice, '')));
    return button;
  }));
  if (own) (entry ? $('text') : $('choices').firstChild).focus();
}

function back() {
  own = null;
  show();
}

async function answer(words, kind) {
  answered = moment.question.number;  // a second tap is for nothing
  text('message', `answered: ${words}`);
  show();
  if (!await tell('answer', words, kind)) answered = 0;
}

$('question').addEventListener('submit', (event) => {
  event.preventDefault();
  const { what, choices, entry, kinds } = own || moment.question, entered = $('text').value.trim();
  const kind = kinds ? $('kind').value : '';
  if (own) {
    back();
    if (entered || what !== 'note') tell(what, entered, entered ? kind : '');
  } else if (entry && !entered) $('text').focus();
  else answer(entry ? entered : choices[0], kind);
});

function warn() {
  const now = performance.now();
  if (!sound || now - toned < TONE_EVERY_MS) return;
  toned = now;
  const tone = sound.createOscillator();
  tone.frequency.value = 880;
  tone.connect(sound.destination);
  tone.start();
  tone.stop(sound.currentTime + 0.25);
  if (navigator.vibrate) navigator.vibrate([200, 100, 200]);
}

function draw(m) {
  const canvas = $('sky'), scale = window.devicePixelRatio || 1;
  const width = canvas.clientWidth, height = canvas.clientHeight;
  if (canvas.width !== Math.round(width * scale)) canvas.width = Math.round(width * scale);
  if (canvas.height !== Math.round(height * scale)) canvas.height = Math.round(height * scale);
  const g = canvas.getContext('2d'), colour = getComputedStyle(document.body).color;
  g.setTransform(scale, 0, 0, scale, 0, 0);
  g.clearRect(0, 0, width, height);
  g.fillStyle = g.strokeStyle = colour;
  g.font = 'bold 13px system-ui, sans-serif';
  const floor = height - 32, top = 75;
  const across = (azimuth) => ((azimuth - m.middle + 540) % 360) / 360 * width;
  const up = (elevation) => floor - Math.max(0, Math.min(elevation, top)) / top * (floor - 4);
  g.lineWidth = 1;
  for (const [azimuths, elevations] of sky.tracks) {
    g.beginPath();
    azimuths.forEach((azimuth, i) => {
      const x = across(azimuth), far = i && Math.abs(x - across(azimuths[i - 1])) > width / 2;
      if (i && !far) g.lineTo(x, up(elevations[i])); else g.moveTo(x, up(elevations[i]));
    });
    g.stroke();
  }
  const cells = m.heights.length, wide = width / cells;
  for (let i = 0; i < cells; i++) {
    const x = across((i + 0.5) * 360 / cells) - wide / 2, seen = m.seen[i];
    if (m.heights[i] !== null) g.fillRect(x, up(m.heights[i]), wide + 0.8, floor - up(m.heights[i]));
    // 0 without sun, 1 twice, 2 once, 3 missing, 4 passes disagree, 5 the sun is there now
    if (seen === '1') g.fillRect(x, floor + 3, wide + 0.5, 9);
    else if (seen === '2') g.fillRect(x, floor + 6, wide + 0.5, 3);
    else if (seen === '3' && i % 4 === 0) g.fillRect(x, floor + 6, 2, 2);
    else if (seen === '4' && i % 6 === 0) g.fillText('!', x, floor + 13);
    else if (seen === '5' && i % 6 === 0) g.fillText('*', x, floor + 14);
  }
  ['N', 'NE', 'E', 'SE', 'S', 'SW', 'W', 'NW'].forEach((name, i) => g.fillText(name, Math.min(across(45 * i), width - 24), height - 4));
  if (m.azimuth !== null) {
    const x = across(m.azimuth), y = up(m.elevation);
    g.lineWidth = 7;
    g.strokeStyle = getComputedStyle(document.documentElement).backgroundColor;
    for (const pass of [0, 1]) {
      g.beginPath();
      g.moveTo(x - 13, y); g.lineTo(x + 13, y); g.moveTo(x, y - 13); g.lineTo(x, y + 13);
      g.stroke();
      g.lineWidth = 3;
      g.strokeStyle = colour;
    }
  }
}

async function tell(what, words = '', kind = '') {
  const body = { run: moment.run, number: moment.number, what, text: words, kind, sure: what === 'end' };
  const options = { method: 'POST', headers: { 'Content-Type': 'application/json' }, body: JSON.stringify(body) };
  return sent('do', options);
}

async function sent(where, options) {
  try {
    const answer = await fetch(where, options);
    if (!answer.ok) text('message', `refused: ${(await answer.text()).trim()}`);
    return answer.ok;
  } catch {
    text('message', 'not sent: no connection');
    return false;
  }
}

const OWN = {
  name: { words: 'Name from here to the next press (empty ends the last name)', choices: ['OK', 'Back'], entry: 'Text', kinds: true },
  note: { words: 'Note', choices: ['OK', 'Back'], entry: 'Text' },
  end: { words: 'End this recording?', choices: ['End', 'Back'], entry: '' },
};

function ask(what) {
  if (what === 'photo') { $('file').click(); return; }
  if (what === 'name') tell('press');  // the name holds from where the sight is now
  own = { ...OWN[what], what, number: `own ${asked++}` };
  show();
}

$('file').addEventListener('change', async () => {
  const [file] = $('file').files;
  if (!file) return;
  text('message', 'sending the photo');
  await sent(`photo?run=${moment.run}&number=${moment.number}`, { method: 'POST', body: file });
  $('file').value = '';
});

$('sound').addEventListener('click', () => {
  if (sound) { sound.close(); sound = null; } else sound = new AudioContext();
  text('sound', sound ? 'Sound on' : 'Sound off');
  $('sound').setAttribute('aria-pressed', String(!!sound));
});

for (const button of document.querySelectorAll('[data-what]')) {
  button.addEventListener('click', () => tell(button.dataset.what));
}
for (const button of document.querySelectorAll('[data-ask]')) {
  button.addEventListener('click', () => ask(button.dataset.ask));
}

async function stayAwake() {
  try { await navigator.wakeLock?.request('screen'); } catch { /* the browser's choice */ }
}

document.addEventListener('visibilitychange', () => {
  if (document.hidden) { source.close(); return; }  // nothing is sent to a page nobody sees
  listen();
  stayAwake();
});
setInterval(show, 1000);
fetch('sky.json').then((answer) => answer.json()).then((told) => { sky = told; });
stayAwake();
listen();
show();
