// The meter on a wire, the guide that leads the probe by it, and the practice bench: one of each for
// all windows, as the program tells them live.
import { signal } from "@preact/signals";
import { request, type ApiError } from "./api";
import { say } from "./store";
import type { Guide, GuideDrain, LiveMeter, Practice } from "./types";

export const meter = signal<LiveMeter | null>(null);
export const guide = signal<Guide | null>(null);
export const practice = signal<Practice | null>(null);

export type Press = "take" | "skip" | "back" | "stop";
export const PRESSES: Press[] = ["take", "skip", "back", "stop"];

export const wired = (): boolean => (meter.value?.status ?? "none") !== "none";

/** The drain watch that is on in this job, or null. */
export const watching = ({ job }: { job: number }): GuideDrain | null =>
  guide.value?.lead === "drain" && guide.value.job === job ? guide.value.drain : null;

/* ---- what it showed lately ------------------------------------------------------------------------ */

const KEPT_S = 240;

/** Seconds of the meter's own clock, and volts; null for an overload. */
export const trace: [number, number | null][] = [];

function keep(s: number | null, volts: number | null): void {
  const last = trace.at(-1)?.[0] ?? -Infinity;
  if (s === null || s === last) return;
  if (s < last) trace.length = 0; // another meter, another clock
  trace.push([s, volts]);
  while (trace[0]![0] < s - KEPT_S) trace.shift();
}

/* ---- what is told --------------------------------------------------------------------------------- */

export function hearMeter(now: LiveMeter): void {
  meter.value = now;
  if (now.status === "reading") keep(now.s, now.volts);
}

/** An answer that was overtaken on its way is old news. */
export function hearGuide(now: Guide): void {
  if (guide.value && now.seq < guide.value.seq) return;
  guide.value = now;
}

export const hearPractice = (now: Practice): void => void (practice.value = now);

/** Asks for all of it: the stream was away. A program that has none of it stays silent. */
export async function askMeter(): Promise<void> {
  try {
    guide.value = await request<Guide>("/api/guide"); // a restarted program counts anew
    hearPractice(await request<Practice>("/api/practice"));
    for (const [s, volts] of await request<[number, number | null][]>("/api/meter/recent"))
      keep(s, volts);
    hearMeter(await request<LiveMeter>("/api/meter"));
  } catch {
    // the stream tells, or nobody does
  }
}

/* ---- what is done --------------------------------------------------------------------------------- */

async function ask<T>(path: string, body: object, hear: (answer: T) => void): Promise<boolean> {
  try {
    hear(await request<T>(path, { method: "POST", body }));
    return true;
  } catch (error) {
    say("Not done.", { faults: (error as ApiError).faults });
    return false;
  }
}

export type Lead =
  { lead: "probe"; phase: "before" | "after" } | { lead: "drain"; at: string; through?: number };

export const lead = (job: number, body: Lead): Promise<boolean> =>
  ask(`/api/jobs/${job}/guide`, body, hearGuide);

export function press(what: Press, written?: string): Promise<boolean> {
  // At once, whether the program answers or not.
  if (what === "stop" && guide.value?.lead === "probe")
    guide.value = { ...guide.value, step: "stopped", point: null, caution: null, say: [] };
  return ask(
    "/api/guide",
    written === undefined ? { press: what } : { press: what, written },
    hearGuide,
  );
}

export type PracticeStep =
  { probe: string | null } | { on: boolean } | { drain: boolean } | { replace: string };

export const practise = (step: PracticeStep): Promise<boolean> =>
  ask("/api/practice", step, hearPractice);

export const judge = (): Promise<boolean> => ask("/api/practice/end", {}, hearPractice);
