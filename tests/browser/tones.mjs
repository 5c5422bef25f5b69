// The tones of the page, rendered into memory by the browser itself and measured: how many notes, of which pitch, how
// long, how loud. Faults in words.

const RATE = 44100;
const SILENT = 0.02;
const GAP = 0.03; // s: a shorter silence is none

// In the page: the samples of a tone.
async function rendered(page, tone, volume) {
  return page.evaluate(async (tone, volume, rate) => {
    const { lengthOf, render } = await import("/sound.js");
    const context = new OfflineAudioContext(1, Math.ceil((lengthOf(tone) + 0.2) * rate), rate);
    render(context, tone, volume, 0.05);
    return [...(await context.startRendering()).getChannelData(0)];
  }, tone, volume, RATE);
}

// The notes in it: from, for (s), pitch (Hz, by where the wave passes zero upwards), peak.
function notes(samples) {
  const found = [];
  let note = null;
  for (const [index, sample] of samples.entries()) {
    if (Math.abs(sample) > SILENT) {
      if (!note || index - note.last > GAP * RATE) found.push((note = { first: index, last: index }));
      note.last = index;
    }
  }
  return found.map(({ first, last }) => {
    const passes = [];
    for (let at = first + 1; at <= last; at += 1) {
      if (samples[at - 1] < 0 && samples[at] >= 0) passes.push(at - samples[at] / (samples[at] - samples[at - 1]));
    }
    const pitch = ((passes.length - 1) * RATE) / (passes.at(-1) - passes[0]);
    return { from: first / RATE, length: (last - first) / RATE, pitch, peak: Math.max(...samples.slice(first, last).map(Math.abs)) };
  });
}

export async function hear(page) {
  const faults = [];
  const heard = {};
  for (const tone of ["pass", "fail_low", "fail_high", "unsure", "measured"]) {
    heard[tone] = notes(await rendered(page, tone, 0.5));
    console.log(`  ${tone}: ${heard[tone].map((one) => `${Math.round(one.pitch)} Hz ${Math.round(one.length * 1000)} ms`).join(", ")}`);
  }
  const expect = (what, is) => { if (!is) faults.push(`tones: ${what}`); };
  const counts = ["pass", "unsure", "fail_low", "fail_high"].map((tone) => heard[tone].length);
  expect(`want 1, 2, 3, 3 notes, got ${counts}`, String(counts) === "1,2,3,3");
  const near = (got, want) => Math.abs(got / want - 1) < 0.02;
  expect("pass is one high note", near(heard.pass[0].pitch, 1175));
  expect("unsure is the same middle note twice", heard.unsure.every((one) => near(one.pitch, 587)));
  expect("too low falls", heard.fail_low.every((one, index, all) => index === 0 || one.pitch < all[index - 1].pitch * 0.9));
  expect("too high rises", heard.fail_high.every((one, index, all) => index === 0 || one.pitch > all[index - 1].pitch * 1.1));
  expect("measured is one note, far below pass and longer", heard.measured.length === 1 && heard.measured[0].pitch < heard.pass[0].pitch / 2 && heard.measured[0].length > heard.pass[0].length * 1.8);
  const mean = (tone) => heard[tone].reduce((sum, one) => sum + one.pitch, 0) / heard[tone].length;
  for (const [a, b] of [["pass", "unsure"], ["unsure", "fail_low"], ["unsure", "fail_high"]]) expect(`${a} is an octave or nearly that above ${b}`, mean(a) > mean(b) * 1.8);
  const total = (tone) => heard[tone].at(-1).from + heard[tone].at(-1).length - heard[tone][0].from;
  expect("pass is short, unsure longer, fail longest", total("pass") < 0.2 && total("unsure") > 3 * total("pass") && total("fail_low") > 1.5 * total("unsure"));
  expect("the volume is what was set", Object.values(heard).flat().every((one) => Math.abs(one.peak - 0.5) < 0.03));
  const quiet = notes(await rendered(page, "pass", 0.1));
  expect("a lower volume is lower", Math.abs(quiet[0].peak - 0.1) < 0.02);
  return faults;
}
