// Beeps, where somebody wants them: three short ones before a bell, a long one at it.

let audio = null;

/** Browsers let sound begin only when somebody has pressed something. */
export function allowSound() {
  audio ??= new AudioContext();
  audio.resume();
}

/** @param {boolean} long */
export function beep(long) {
  if (!audio) return;
  const tone = audio.createOscillator();
  const loudness = audio.createGain();
  const end = audio.currentTime + (long ? 0.7 : 0.15);
  tone.frequency.value = long ? 880 : 587;
  loudness.gain.setValueAtTime(0.4, audio.currentTime);
  loudness.gain.exponentialRampToValueAtTime(0.001, end);
  tone.connect(loudness).connect(audio.destination);
  tone.start();
  tone.stop(end);
}
