// The amp on or off: recorded, and on the practice bench done.
import { record } from "./facts";
import { practice, practise } from "./meter";
import type { View } from "./types";

export function switchPower(view: View, on: boolean, mains: number | null = null): void {
  const body = on && mains ? { on, mains } : { on };
  const words = on ? "switched on" : "switched off, plug out";
  void record(view.job, "power", body, { words });
  if (practice.value?.here) void practise({ on });
}
