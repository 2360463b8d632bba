// Spoken words and tones: clips that the program serves, or the browser's own voice.
import { signal } from "@preact/signals";
import { request } from "./api";

export type Voice = "auto" | "clips" | "browser" | "off";

interface Word {
  word: string;
  said: string;
  clip: string | null;
}

let known: Promise<Map<string, Word>> | null = null;
let context: AudioContext | null = null;
let sounding: AudioScheduledSourceNode[] = [];
let turn = 0; // what was begun before the last hush says nothing any more
const clips = new Map<string, Promise<AudioBuffer | null>>();

/** What was said last, for those who do not hear it. */
export const said = signal("");

const words = (): Promise<Map<string, Word>> =>
  (known ??= request<Word[]>("/api/words")
    .then((list) => new Map(list.map((one) => [one.word, one])))
    .catch(() => ((known = null), new Map())));

function sound(): AudioContext {
  context ??= new AudioContext();
  if (context.state === "suspended") void context.resume().catch(() => {});
  return context;
}

export function hush(): void {
  turn++;
  for (const one of sounding) one.stop();
  sounding = [];
  window.speechSynthesis?.cancel();
}

/* ---- tones ---------------------------------------------------------------------------------------- */

const TONES = {
  taken: [[880, 0.12]],
  far: [
    [330, 0.16],
    [220, 0.24],
  ],
} as const;
export type Tone = keyof typeof TONES;

function beep(tone: Tone): number {
  const ctx = sound();
  let at = ctx.currentTime + 0.01;
  for (const [hertz, seconds] of TONES[tone]) {
    const gain = new GainNode(ctx, { gain: 0.25 });
    const source = new OscillatorNode(ctx, { frequency: hertz });
    source.connect(gain).connect(ctx.destination);
    source.start(at);
    source.stop((at += seconds));
    sounding.push(source);
  }
  return at;
}

/* ---- words ---------------------------------------------------------------------------------------- */

const hasVoice = (): boolean =>
  window.speechSynthesis?.getVoices().some((voice) => voice.localService) ?? false;

function clip(name: string): Promise<AudioBuffer | null> {
  let found = clips.get(name);
  if (!found) {
    found = fetch(`/${name}`)
      .then(async (answer) =>
        answer.ok ? sound().decodeAudioData(await answer.arrayBuffer()) : null,
      )
      .catch(() => (clips.delete(name), null));
    clips.set(name, found);
  }
  return found;
}

function utter(text: string): void {
  const one = new SpeechSynthesisUtterance(text);
  one.lang = "en";
  window.speechSynthesis.speak(one);
}

async function playClips(names: string[], mine: number, from: number): Promise<void> {
  const buffers = await Promise.all(names.map(clip));
  if (mine !== turn) return;
  let at = Math.max(sound().currentTime + 0.02, from);
  for (const buffer of buffers) {
    if (!buffer) continue;
    const source = new AudioBufferSourceNode(sound(), { buffer });
    source.connect(sound().destination);
    source.start(at);
    at += buffer.duration;
    sounding.push(source);
  }
}

/** Brings in what will be said, so that nothing is waited for then. */
export async function ready(voice: Voice): Promise<void> {
  if (voice === "off" || voice === "browser" || (voice === "auto" && hasVoice())) return;
  for (const one of (await words()).values()) if (one.clip) void clip(one.clip);
}

/** Says `list`, after `tone`; what was being said ends. */
export async function speak(list: string[], voice: Voice, tone: Tone | null): Promise<void> {
  hush();
  if (document.visibilityState !== "visible") return; // of two windows the one in sight speaks
  const mine = turn;
  const from = tone && voice !== "off" ? beep(tone) : 0;
  const book = await words();
  if (mine !== turn) return;
  const spoken = list.map((word) => book.get(word)?.said ?? word).join(" ");
  if (spoken) said.value = spoken;
  if (voice === "off" || !list.length) return;
  const names = list.map((word) => book.get(word)?.clip).filter((name) => !!name) as string[];
  const own = voice === "browser" || (voice === "auto" && hasVoice()) || !names.length;
  if (own) utter(spoken);
  else await playClips(names, mine, from);
}
