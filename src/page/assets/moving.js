// Values of streams that do not stand still: shown while the jaws move, never as a reading.

const READ_FIRST_MS = 2000; // what was measured stays on the screen this long, though the jaws move on
const READING_COMES_MS = 300; // a value that has stood still is a reading as soon as it is durable

// The faces that a moving value takes the place of; those of true are looked at first.
const GIVES_WAY = { limits: false, zero: false, moving: false, verdict: true, doubted: true, not_counted: true, retracted: true, unread: true };

let values = [];
let seen = { key: null, since: 0 };
let forgetting;

// What moves now; where nothing moves any more, `again` draws what is so then.
export function takeMoving(now, again) {
  clearTimeout(forgetting);
  if (now.length > 0) values = now;
  else forgetting = setTimeout(() => { stopMoving(); again(); }, READING_COMES_MS);
}

// Nothing moves: what comes next says so.
export function stopMoving() {
  clearTimeout(forgetting);
  forgetting = undefined;
  values = [];
}

// A state that comes after the last value of a stream shows what has become of it.
export function stateCame() {
  if (forgetting !== undefined) stopMoving();
}

export const movingAt = (station) => values.find((one) => one.station === station);

// The face to show at a station: that of the daemon, or that the value moves. `key` names what was there before.
export function withMoving(face, station, key) {
  if (seen.key !== key) seen = { key, since: performance.now() };
  const moving = movingAt(station);
  if (!moving || !(face.kind in GIVES_WAY)) return face;
  if (GIVES_WAY[face.kind] && performance.now() - seen.since < READ_FIRST_MS) return face;
  return { kind: "moving", instrument: moving.instrument, value: moving.value };
}
