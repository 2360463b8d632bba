// Whether the amp is drained, as far as this page knows. Only a reading says so; whatever casts
// doubt on it (a switch-on that is not saved yet, a program that does not answer) weighs more.
import { link } from "./api";
import { waiting } from "./facts";
import type { Shape, Tone } from "./ui/marks";
import { clock, volts, when } from "./units";
import type { DrainState, View } from "./types";

export interface Drained {
  measured: boolean; // every filter capacitor read under 60 V since the last power-up
  on: boolean;
  figure: string; // the highest reading in volts, as long as it holds
  word: string;
  note: string;
  shape: Shape;
  tone: Tone;
}

const FACES: Record<DrainState, { word: string; shape: Shape; tone: Tone }> = {
  "not measured": { word: "Not measured", shape: "hazard", tone: "hazard" },
  "powered since": { word: "On since the last reading", shape: "hazard", tone: "hazard" },
  "above 60 V": { word: "Above 60 V", shape: "up", tone: "hazard" },
  "below 60 V": { word: "Read below 60 V", shape: "dot", tone: "accent" },
  on: { word: "Switched on", shape: "bolt", tone: "hazard" },
};

function pendingPower(job: number): boolean | null {
  const last = waiting.value.filter((fact) => fact.job === job && fact.kind === "power").at(-1);
  return last ? last.body.on === true : null;
}

const highest = (view: View): number | null =>
  view.drained.capacitors.reduce<number | null>(
    (most, { volts: read }) =>
      read !== null && Math.abs(read) >= Math.abs(most ?? 0) ? read : most,
    null,
  );

/** The last measured value and when. */
function lastRead(view: View): string {
  const { capacitors, words } = view.drained;
  const read = capacitors.filter((one) => one.at !== null);
  if (!read.length) return words || "no capacitor has been read";
  const last = read.reduce((newest, one) => (one.at! > newest.at! ? one : newest));
  const unread = capacitors.length - read.length;
  const tail = unread ? `; ${unread} not read` : "";
  return `last ${last.part} ${volts(last.volts)} V, ${when(last.at!)}${tail}`;
}

function unheard(): string {
  const { heard } = link.value;
  return heard ? `no answer since ${clock(heard)}` : "no answer yet";
}

export function drained(view: View): Drained {
  const pending = pendingPower(view.job);
  const on = pending ?? view.powered.on;
  const state: DrainState = on ? "on" : pending === false ? "powered since" : view.drained.state;
  const heard = link.value.up;
  // An old reading in large figures would be taken for a new one.
  const holds = heard && (state === "above 60 V" || state === "below 60 V");
  return {
    ...FACES[state],
    on,
    measured: holds && state === "below 60 V" && view.drained.measured_below_60,
    figure: volts(holds ? highest(view) : null),
    note: heard ? lastRead(view) : unheard(),
  };
}
