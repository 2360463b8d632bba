// On paper: what a change would do, how far each part is from its rating, the right fuse. Computed,
// never a reading; what was used can be kept for the report.
import type { ComponentChildren } from "preact";
import { record } from "../facts";
import { useDraft } from "../store";
import type { View } from "../types";
import { Button } from "../ui/controls";
import { later } from "../ui/later";
import { Bar } from "../ui/marks";
import { clock } from "../units";

export type As = "found" | "repaired";

export interface PaperProps {
  view: View;
  as: As;
}

export const Swap = later<PaperProps>(async () => (await import("../more")).Swap);
export const Margins = later<PaperProps>(async () => (await import("../more")).Margins);
export const InTime = later<PaperProps>(async () => (await import("../more")).InTime);
export const Output = later<PaperProps>(async () => (await import("../more")).Output);
export const Fuses = later<PaperProps>(async () => (await import("../more")).Fuses);

/** What is being tried: kept for the job, so that a part can be added from where it is decided. */
export const useTried = (job: number) =>
  useDraft<{ changes: string[]; typed: string }>(`paper ${job}`, { changes: [], typed: "" });

const FULL = 150; // percent of the limit: the end of the bar, with a mark at the limit

export const Share = ({ percents }: { percents: (number | null)[] }) => (
  <div class="paper-share">
    {percents.map((percent, at) => (
      <Bar key={at} share={(percent ?? 0) / FULL} tone={(percent ?? 0) > 100 ? "hazard" : "accent"}>
        {percent === null ? "\u2013" : `${Math.round(percent)} %`}
      </Bar>
    ))}
  </div>
);

interface KeepProps {
  view: View;
  what: string;
  lines: string[];
  children?: ComponentChildren;
}

/** Keeps a result for the report, in words. */
export function Keep({ view, what, lines, children }: KeepProps) {
  const kept = view.papers.find((one) => one.what === what && one.lines.join() === lines.join());
  return (
    <div class="foot">
      <Button
        disabled={!!kept || !lines.length}
        onClick={() => void record(view.job, "paper", { what, lines }, { words: what })}
      >
        Keep it for the report
      </Button>
      <span class="dim">{kept ? `Kept, ${clock(kept.when)}.` : children}</span>
    </div>
  );
}
