// Where a reading lies against its band: the band is the thick middle third, the reading a mark.
import type { ChartLine } from "../types";

const WIDTH = 120;
const HALF = WIDTH / 6; // half of the band
export const METER_STEP = 0.02; // V: a band narrower than a bench meter shows is drawn this wide

/** Half-widths of the band from its middle: inside from -1 to 1. */
export function bandUnits(value: number, low: number, high: number, least = 0): number {
  const half = Math.max((high - low) / 2, least);
  return half > 0 ? (value - (low + high) / 2) / half : 0;
}

const MARKS: Record<string, string> = {
  low: "M0 7 7-5H-7z",
  high: "M0-7 7 5H-7z",
};

export function BandScale({ line }: { line: ChartLine }) {
  const { low, high, read, verdict } = line;
  if (low === null || high === null) return null;
  const away = read === null || read === undefined ? null : bandUnits(read, low, high, METER_STEP);
  const x = away === null ? 0 : WIDTH / 2 + Math.max(-2.75, Math.min(2.75, away)) * HALF;
  return (
    <svg class="scale" viewBox={`0 0 ${WIDTH} 20`} aria-hidden="true" focusable="false">
      <path class="scale-line" d={`M0 10H${WIDTH}`} />
      <path class="scale-band" d={`M${WIDTH / 2 - HALF} 10H${WIDTH / 2 + HALF}`} />
      <path class="scale-line" d={`M${WIDTH / 2} 4V16`} />
      {away !== null && (
        <g transform={`translate(${Math.round(x)} 10)`} class={`scale-read ${verdict || "inside"}`}>
          {MARKS[verdict ?? ""] ? <path d={MARKS[verdict!]} /> : <circle r="5.500" />}
        </g>
      )}
    </svg>
  );
}
