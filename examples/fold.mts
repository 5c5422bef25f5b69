// Counts readings by terminal, axis and verdict, after doubts and retractions, each once, whatever is stopped or killed.
//
// Run it:   tallyjaw schema feed | python3 examples/make_types.py typescript > examples/tallyjaw_feed.ts
//           npx tsc --strict --target es2022 --module nodenext --outDir build examples/fold.mts
//           node build/fold.mjs run/feed.sock counts.json
// Needs:    Node 18, and typescript and @types/node to compile; leave to read the socket.
// Prints:   one line for each series that is closed, on standard output, until it is stopped:
//
//     17 bench-1 rejected fail_low=1 pass=4
//
// Ends:     with 1 where a person must look: the journal is shorter than it was, or a count is not what the daemon has.
//
// counts.json has the counts and the last entry that is in them, and is replaced as a whole: so no entry counts twice.

import fs from 'node:fs';
import net from 'node:net';
import { setTimeout as wait } from 'node:timers/promises';
import type { Feed } from './tallyjaw_feed.js';

const PAUSES_MS = [100, 10_000] as const; // before connecting again: the first, and the longest
const SERIES_KEPT = 3; // of a station: the open one, one that it has stopped and that can be resumed, and one between

type Entry = Extract<Feed, { prev: string }>;
type Reading = { key: string; counts: boolean };
type Kept = {
  journal: string;
  seq: number; // the last entry that is counted
  counts: Record<string, number>; // by terminal, axis and verdict
  series: Record<string, Record<string, Record<string, Reading>>>; // by station and number: its readings, counted or not
};

const say = (text: unknown) => console.error(`fold: ${text}`);

function end(why: string): never {
  say(why);
  process.exit(1);
}

function save(file: string, kept: Kept): void {
  const to = fs.openSync(`${file}.new`, 'w');
  fs.writeSync(to, JSON.stringify(kept));
  fs.fsyncSync(to);
  fs.closeSync(to);
  fs.renameSync(`${file}.new`, file);
}

// A reading counts again, or no longer.
function change(kept: Kept, station: string, reading: number, counts: boolean): void {
  for (const series of Object.values(kept.series[station] ?? {})) {
    const known = series[reading];
    if (known && known.counts !== counts) {
      known.counts = counts;
      kept.counts[known.key] = (kept.counts[known.key] ?? 0) + (counts ? 1 : -1);
    }
  }
}

function take(kept: Kept, entry: Entry): void {
  if (entry.kind === 'armed') {
    const series = (kept.series[entry.station] ??= {});
    series[entry.seq] = {};
    const numbers = Object.keys(series).map(Number).sort((one, other) => one - other);
    for (const number of numbers.slice(0, -SERIES_KEPT)) delete series[number];
  } else if (entry.kind === 'reading' && entry.standing === 'counted' && entry.verdict) {
    const ofIt = kept.series[entry.station]?.[entry.series ?? 0];
    if (!ofIt) return;
    ofIt[entry.seq] = { key: `${entry.terminal ?? '-'} ${entry.axis ?? '-'} ${entry.verdict}`, counts: false };
    change(kept, entry.station, entry.seq, true);
  } else if (entry.kind === 'doubted') {
    for (const reading of entry.readings) change(kept, entry.station, reading, false);
  } else if (entry.kind === 'retracted' || entry.kind === 'restored') {
    change(kept, entry.station, entry.reading, entry.kind === 'restored');
  } else if (entry.kind === 'completed') {
    const mine: Record<string, number> = {};
    const readings = kept.series[entry.station]?.[entry.series];
    for (const { key, counts } of Object.values(readings ?? {})) {
      const verdict = key.split(' ').pop() ?? '';
      if (counts) mine[verdict] = (mine[verdict] ?? 0) + 1;
    }
    const words = (of: Record<string, number>) =>
      Object.entries(of).filter(([, count]) => count).sort().map(([verdict, count]) => `${verdict}=${count}`).join(' ');
    // Not compared: older releases have no counts, and a series may have begun in a segment that was removed.
    const theirs = words((readings && entry.counts?.verdicts) ?? mine);
    if (words(mine) !== theirs) end(`series ${entry.series}: counted ${words(mine)}, the daemon has ${theirs}`);
    fs.writeSync(1, `${[entry.series, entry.station, entry.outcome, words(mine)].join(' ').trim()}\n`);
  }
}

// One connection, until it ends. Returns whether an entry came.
async function follow(path: string, file: string, kept: Kept): Promise<boolean> {
  const feed = net.connect(path);
  feed.on('error', say);
  let [missing, came, whole] = [false, false, ''];
  feed.setEncoding('utf8');
  for await (const chunk of feed as AsyncIterable<string>) {
    const lines = (whole + chunk).split('\n');
    whole = lines.pop() ?? ''; // A line that is torn comes again.
    for (const said of lines.map((line) => JSON.parse(line) as Feed)) {
      if (said.kind === 'hello') {
        if (kept.journal && kept.journal !== said.journal) end(`${file} is of journal ${kept.journal}, this is ${said.journal}`);
        kept.journal = said.journal;
        if (kept.seq > said.last) end(`entry ${kept.seq} was counted, but the journal ends at ${said.last}: is it a copy?`);
        feed.write(`${JSON.stringify({ after: kept.seq })}\n`);
      } else if ('prev' in said) { // An entry. What came while the request was on its way comes again in its place.
        if (said.seq !== kept.seq + 1 && !(missing && said.seq > kept.seq)) continue;
        missing = false;
        take(kept, said);
        kept.seq = said.seq;
        save(file, kept);
        came = true;
      } else if (said.kind !== 'state') {
        missing ||= said.kind === 'entries_missing';
        say(`${said.kind}: ${said.message}`);
      }
    }
  }
  return came;
}

const [path, file] = process.argv.slice(2);
if (!path || !file) end('usage: fold.mjs FEED.SOCK COUNTS.JSON');
const empty: Kept = { journal: '', seq: 0, counts: {}, series: {} };
const kept = fs.existsSync(file) ? (JSON.parse(fs.readFileSync(file, 'utf8')) as Kept) : empty;
for (let pause: number = PAUSES_MS[0]; ; pause = Math.min(2 * pause, PAUSES_MS[1])) {
  try {
    if (await follow(path, file, kept)) pause = PAUSES_MS[0];
  } catch (error) {
    say(error);
  }
  say(`no daemon; asking again in ${pause / 1000} s for what follows entry ${kept.seq}`);
  await wait(pause);
}
