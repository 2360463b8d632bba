// The readings of one phase of a job: recorded, on their way, and half typed; and how one is taken.
import { record, waiting } from "../facts";
import { type ApiError, undo } from "../api";
import { drained } from "../drained";
import { applyView, say, useDraft, type Draft } from "../store";
import type { Chart, ChartLine, Phase, Reading, View } from "../types";
import { readNumber, volts } from "../units";

/** The meter in hand, as the program writes it ("10M", "20k per volt on 300"): of the bench. */
export const useMeter = (): Draft<{ meter: string }> => useDraft("bench", { meter: "10M" });

/** A reading other than plain volts that is being written. */
export const useTest = (view: View): Draft<{ kind: string; at: string; value: string }> =>
  useDraft(`test ${view.job}`, { kind: "hum", at: "B2 hum", value: "" });

/** Volts at the wall as typed, "" when not read: of this visit. */
export const useMains = (view: View): Draft<{ mains: string }> =>
  useDraft(`mains at ${view.job}`, { mains: "" });

const MAINS_V = [20, 300] as const; // what the program takes for a mains

/** The mains as typed; null where nothing was, or no mains is of that size. */
export function mainsOf(text: string): number | null {
  const typed = readNumber(text);
  const fits = typed.kind === "number" && typed.value >= MAINS_V[0] && typed.value <= MAINS_V[1];
  return fits ? typed.value : null;
}

const METER = /^\d+(?:[.,]\d+)?\s*[kM]?(?:\s*per volt(?:\s+on\s+\d+(?:[.,]\d+)?)?)?$/i;
export const meterReads = (text: string): boolean => METER.test(text.trim());

// A reading of this much, with the amp recorded as off, means that it is on: the ES1 limit of
// IEC 62368-1, above which a capacitor counts as charged.
const LIVE_V = 60;

export interface Readings {
  view: View;
  phase: Phase;
  recorded: ReadonlyMap<string, Reading>;
  pending: ReadonlyMap<string, number>; // typed, not acknowledged yet
  text: (at: string) => string; // what its field shows
  typed: (at: string) => boolean; // half typed
  type: (at: string, text: string | undefined) => void;
  take: (at: string, volts: number) => void;
  drop: (at: string) => void;
}

function pendingOf(view: View, phase: Phase): Map<string, number> {
  const found = new Map<string, number>();
  for (const { job, kind, body, refused } of waiting.value)
    if (job === view.job && kind === "reading" && body.phase === phase && !refused)
      found.set(body.at as string, body.volts as number);
  return found;
}

/** Whether the reading had to be preceded by a switch-on that nobody recorded. */
function noteSwitchedOn(view: View, read: number, mains: number | null): boolean {
  if (drained(view).on || Math.abs(read) < LIVE_V) return false;
  const body = mains === null ? { on: true } : { on: true, mains };
  void record(view.job, "power", body, { words: "switched on" });
  return true;
}

/** Takes back what was read at a place, with all that it corrected: a correction that is taken back
 * lets the reading before it stand again. */
async function dropReading(view: View, phase: Phase, at: string): Promise<void> {
  const standing = (now: View) => now.readings[phase].find((reading) => reading.at === at);
  try {
    let now = view;
    for (let old = standing(now); old; old = standing(now))
      now = (await undo(view.job, old.fact)).view;
    if (now === view) return;
    applyView(now);
    say(`${at}: taken back.`);
  } catch (error) {
    say(`${at}: not taken back.`, { faults: (error as ApiError).faults });
  }
}

export function useReadings(view: View, phase: Phase): Readings {
  const draft = useDraft<Record<string, string | undefined>>(`readings ${view.job} ${phase}`, {});
  const { meter } = useMeter().value;
  const mains = mainsOf(useMains(view).value.mains);
  const recorded = new Map(view.readings[phase].map((reading) => [reading.at, reading]));
  const pending = pendingOf(view, phase);

  const take = (at: string, read: number) => {
    const old = recorded.get(at);
    draft.set({ [at]: undefined });
    if (!pending.has(at) && old?.volts === read) return;
    const live = noteSwitchedOn(view, read, mains);
    const body = { phase, at, volts: read, meter, ...(mains && { mains }) };
    const words = `${at} ${volts(read)} V${live ? "; so it is switched on" : ""}`;
    void record(view.job, "reading", body, { words, replaces: old?.fact ?? null });
  };
  const drop = (at: string) => {
    draft.set({ [at]: undefined });
    void dropReading(view, phase, at);
  };
  const shown = (at: string): string => {
    const read = pending.get(at) ?? recorded.get(at)?.volts;
    return read === undefined ? "" : String(read);
  };
  return {
    view,
    phase,
    recorded,
    pending,
    text: (at) => draft.value[at] ?? shown(at),
    typed: (at) => draft.value[at] !== undefined,
    type: (at, text) => draft.set({ [at]: text }),
    take,
    drop,
  };
}

/* ---- places that the chart does not have ----------------------------------------------------------- */

const unknown = (at: string, read: number | null = null): ChartLine => ({
  at,
  what: "tie point",
  quantity: "DC volts",
  volts: null,
  shown: null,
  low: null,
  high: null,
  source_ohms: null,
  printed: null,
  printed_shown: null,
  read,
  verdict: "",
  probe: null,
});

/** The chart's line of a place; the suspects may ask for a place that has none. */
export const lineAt = (chart: Chart, at: string): ChartLine =>
  chart.lines.find((line) => line.at === at) ?? unknown(at);

/** The chart with every place that was read, also those that it does not have. */
export function withRead(chart: Chart, readings: Readings): Chart {
  const known = new Set(chart.lines.map(({ at }) => at));
  const read = new Map([...readings.recorded].map(([at, { volts }]) => [at, volts]));
  for (const [at, volts] of readings.pending) read.set(at, volts);
  const more = [...read].filter(([at]) => !known.has(at)).map(([at, volts]) => unknown(at, volts));
  return more.length ? { ...chart, lines: [...chart.lines, ...more] } : chart;
}

/* ---- places in words ------------------------------------------------------------------------------ */

const NEAR_ZERO = 0.05; // V: written "about 0", as a bench meter shows it

/** "197 to 236", "about 0", or a dash where no band is known. */
export function band({ low, high }: { low: number | null; high: number | null }): string {
  if (low === null || high === null) return "\u2013";
  if (Math.abs(low) < NEAR_ZERO && Math.abs(high) < NEAR_ZERO) return "about 0";
  return `${volts(low)} to ${volts(high)}`;
}

/** "plate", "heater, AC", "across": what is read there. */
export const whatWords = (line: ChartLine): string =>
  line.quantity.startsWith("heater") ? `${line.what}, AC` : line.what;

export interface Group {
  name: string; // "V1", "Supply"
  lines: ChartLine[];
}

const groupOf = (line: ChartLine): string => {
  if (line.what === "across") return "Across parts";
  const tube = /^(V\d+)\./.exec(line.at)?.[1];
  return line.what === "supply" || !tube ? "Supply and tie points" : tube;
};

/** The chart by tube, then the supply, then the differences across parts. */
export function grouped(lines: ChartLine[]): Group[] {
  const groups = new Map<string, ChartLine[]>();
  for (const line of lines) {
    const name = groupOf(line);
    groups.set(name, [...(groups.get(name) ?? []), line]);
  }
  return [...groups].map(([name, own]) => ({ name, lines: own }));
}

const plain = (at: string): string => at.toLowerCase().replace(/[^a-z0-9]/g, "");

/** The place that letters and figures without the dot mean: "v25" is V2.5. */
export function placeNamed(lines: ChartLine[], typed: string): ChartLine | undefined {
  const wanted = plain(typed);
  if (!wanted) return undefined;
  return (
    lines.find(({ at }) => plain(at) === wanted) ??
    lines.find(({ at }) => plain(at).startsWith(wanted))
  );
}
