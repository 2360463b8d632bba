// The page's colours as they stand now, for a canvas, which knows no variables; axes in them.
import type uPlot from "uplot";

const NAMES = ["ink", "dim", "rule", "edge", "accent", "hazard", "face"] as const;
export type Ink = (typeof NAMES)[number];
export type Inks = Record<Ink, string>;

export function inksOf(box: HTMLElement): Inks {
  const probe = document.createElement("span");
  box.append(probe);
  const found = Object.fromEntries(
    NAMES.map((name) => {
      probe.style.color = `var(--${name})`;
      return [name, getComputedStyle(probe).color];
    }),
  );
  probe.remove();
  return found as Inks;
}

export const FONT = "14px B612, system-ui, sans-serif";

export const axis = (label: string, inks: Inks): uPlot.Axis => ({
  label,
  font: FONT,
  labelFont: FONT,
  stroke: inks.dim,
  grid: { stroke: inks.rule, width: 1 },
  ticks: { stroke: inks.rule, width: 1 },
});
