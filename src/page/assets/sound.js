// Sounds. Tones differ in pitch, length and number, so that they are not confused; a voice says the rest.

import { language } from "./texts.js";

// Each tone: [pitch in Hz, start, length], in seconds.
export const TONES = {
  pass: [[1175, 0, 0.14]],
  fail_low: [[349, 0, 0.34], [294, 0.44, 0.34], [233, 0.88, 0.34]],
  fail_high: [[233, 0, 0.34], [294, 0.44, 0.34], [349, 0.88, 0.34]],
  unsure: [[587, 0, 0.24], [587, 0.4, 0.24]],
  measured: [[440, 0, 0.3]],
  not_counted: [[196, 0, 0.1], [196, 0.35, 0.1]],
  zero_ok: [[660, 0, 0.06]],
  zero_off: [[660, 0, 0.06], [220, 0.12, 0.4], [660, 0.65, 0.06], [220, 0.77, 0.4]],
  alert: [[740, 0, 0.07], [740, 0.13, 0.07], [740, 0.26, 0.07], [740, 0.39, 0.07], [740, 0.52, 0.2]],
  accepted: [[523, 0, 0.1], [659, 0.13, 0.1], [784, 0.26, 0.1], [1047, 0.39, 0.3]],
  rejected: [[523, 0, 0.2], [415, 0.25, 0.2], [349, 0.5, 0.2], [262, 0.75, 0.5]],
  series_measured: [[523, 0, 0.14], [784, 0.2, 0.36]],
  undecided: [[587, 0, 0.3], [494, 0.38, 0.08], [587, 0.6, 0.3], [494, 0.98, 0.08]],
};

// Of several events at once the most important is heard; this list begins with it.
export const URGENCY = ["rejected", "undecided", "accepted", "series_measured", "zero_off", "alert", "fail_low", "fail_high", "unsure", "not_counted", "pass", "measured", "zero_ok"];

// Length of the longest sound, in seconds.
export const lengthOf = (tone) => Math.max(...TONES[tone].map(([, from, length]) => from + length));

const FADE = 0.012; // no click at either end

// Adds a tone to an audio context, a real one or one that renders into memory.
export function render(context, tone, volume, start) {
  for (const [pitch, from, length] of TONES[tone]) {
    const [wave, gain] = [context.createOscillator(), context.createGain()];
    wave.type = "triangle"; // overtones, which small loudspeakers give of low tones
    wave.frequency.value = pitch;
    gain.gain.setValueAtTime(0, start + from);
    gain.gain.linearRampToValueAtTime(volume, start + from + FADE);
    gain.gain.setValueAtTime(volume, start + from + length - FADE);
    gain.gain.linearRampToValueAtTime(0, start + from + length);
    wave.connect(gain).connect(context.destination);
    wave.start(start + from);
    wave.stop(start + from + length + FADE);
  }
}

let context = null;
export let volume = Number(localStorage.getItem("volume") ?? 0.5);

export function setVolume(chosen) {
  volume = chosen;
  localStorage.setItem("volume", chosen);
}

// Browsers allow sound only after a person has pressed something.
export function allow() {
  context ??= new AudioContext();
  context.resume();
}

export function play(tone) {
  if (context && tone in TONES) render(context, tone, volume, context.currentTime + 0.02);
}

export function speak(text) {
  speechSynthesis.cancel(); // what is old is not said late
  const said = new SpeechSynthesisUtterance(text);
  said.lang = language;
  said.volume = Math.min(1, volume * 2);
  speechSynthesis.speak(said);
}

export const hush = () => "speechSynthesis" in window && speechSynthesis.cancel();
