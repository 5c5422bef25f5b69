#!/usr/bin/env node
// Follows the feed and misses no entry, whichever of the two is stopped and started again.
//
// Run it:   node examples/follow.mjs run/feed.sock feed.position
// Needs:    Node 18 and nothing else; leave to read the socket (`socket_mode` and `socket_group` in [daemon]).
// Prints:   one line for each entry, in order, on standard output, until it is stopped:
//
//     4a082554e4585da0eba148f1d92a5cf0/7 bench-1 reading QF-250-F core_crimp_height 1.61 mm pass
//
//           and on standard error when it waits for the daemon and what the daemon says of itself.
// Ends:     with 1 where a person must look: the journal is shorter than it was.
//
// feed.position names the last entry that was handled. It is written after that, so an entry may come twice after a
// kill or a power cut, and none is left out; journal and seq tell the double.

import fs from 'node:fs';
import net from 'node:net';
import { setTimeout as wait } from 'node:timers/promises';

const PAUSES_MS = [100, 10_000]; // before connecting again: the first, and the longest

// Here stands what you do with an entry. When it returns, the entry is done with for good: commit before.
// A number loses its last zeros in JavaScript, 1.60 is 1.6; compare `value_nm`, which is whole.
async function handle(journal, entry) {
  const words = [`${journal}/${entry.seq}`, entry.station ?? '-', entry.kind];
  if (entry.kind === 'reading') {
    words.push(entry.terminal ?? '-', entry.axis ?? '-', entry.value, entry.unit, entry.verdict ?? entry.reason);
  }
  fs.writeSync(1, `${words.join(' ')}\n`);
}

// The last entry that was handled, in a file that is whole at any moment.
class Position {
  constructor(path) {
    this.path = path;
    const kept = fs.existsSync(path) ? JSON.parse(fs.readFileSync(path, 'utf8')) : { journal: null, seq: 0 };
    Object.assign(this, kept);
  }

  // Begins a journal that was not seen before; goes on with the one that was.
  takeUp(hello) {
    if (this.journal !== hello.journal) {
      if (this.journal) {
        say(`another journal: ${this.journal} up to ${this.seq} before, now ${hello.journal} from the beginning`);
      }
      this.journal = hello.journal;
      this.seq = 0;
    }
    if (this.seq + 1 < hello.first) { // somebody has moved old segments of the journal away
      say(`entries ${this.seq + 1} to ${hello.first - 1} are no longer at the bench: going on behind them`);
      this.seq = hello.first - 1;
    }
    if (this.seq > (hello.last ?? 0)) {
      stop(`entry ${this.seq} was handled, but the journal ends at ${hello.last ?? 0}: is it a copy?`);
    }
  }

  reached(seq) {
    this.seq = seq;
    const file = fs.openSync(`${this.path}.new`, 'w');
    fs.writeSync(file, JSON.stringify({ journal: this.journal, seq }));
    fs.fsyncSync(file);
    fs.closeSync(file);
    fs.renameSync(`${this.path}.new`, this.path);
  }
}

const say = (text) => console.error(`follow: ${text}`);

function stop(text) {
  say(text);
  process.exit(1);
}

// One connection: the entries behind `position`, in order and without a gap, until the daemon hangs up.
async function* entries(path, position) {
  const connection = net.connect(path);
  connection.setEncoding('utf8');
  let torn = '';
  try {
    for await (const piece of connection) {
      const lines = (torn + piece).split('\n');
      torn = lines.pop(); // the rest of it comes, or the whole line again
      for (const line of lines) {
        const message = JSON.parse(line);
        if (message.kind === 'hello') {
          if (message.v !== 1) stop(`got version ${message.v} of the feed, want 1: a newer follow.mjs is needed`);
          position.takeUp(message);
          connection.write(`${JSON.stringify({ after: position.seq })}\n`);
        } else if (message.kind === 'state') {
          // What is armed, and what to do next; a display would begin with it.
        } else if (message.seq === undefined) {
          say(`${message.kind}: ${message.message}`);
        } else if (message.seq === position.seq + 1) {
          yield message;
        } // Any other came while our request was on its way; it comes again in its place.
      }
    }
  } catch (error) {
    if (!error.syscall) throw error; // a fault of ours, not of the line
    say(error.message);
  }
}

if (process.argv.length !== 4) stop('usage: follow.mjs FEED.SOCK POSITION');
const position = new Position(process.argv[3]);
for (let pause = PAUSES_MS[0]; ; pause = Math.min(2 * pause, PAUSES_MS[1])) {
  for await (const entry of entries(process.argv[2], position)) {
    await handle(position.journal, entry);
    position.reached(entry.seq);
    [pause] = PAUSES_MS;
  }
  say(`no daemon; asking again in ${pause / 1000} s for what follows entry ${position.seq}`);
  await wait(pause);
}
