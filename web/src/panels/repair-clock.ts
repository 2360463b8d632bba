// A clock that is started and stopped by hand. It outlives a reload and a closed browser.
import { useEffect, useState } from "preact/hooks";
import { useDraft } from "../store";

interface Kept {
  since: number | null; // running since; null: stopped
  before: number; // ms counted up to then
}

export interface Clock {
  running: boolean;
  ms: number;
  minutes: number; // whole ones, rounded
  start: () => void;
  stop: () => void;
  /** Begins anew at nought, still running if it ran. */
  mark: () => void;
  clear: () => void;
}

export function useClock(name: string): Clock {
  const draft = useDraft<Kept>(`clock ${name}`, { since: null, before: 0 });
  const { since, before } = draft.value;
  const [, tick] = useState(0);
  useEffect(() => {
    if (since === null) return;
    const each = setInterval(() => tick(Date.now()), 1000);
    return () => clearInterval(each);
  }, [since]);
  const ms = before + (since === null ? 0 : Math.max(0, Date.now() - since));
  return {
    running: since !== null,
    ms,
    minutes: Math.round(ms / 60_000),
    start: () => {
      if (since === null) draft.set({ since: Date.now(), before });
    },
    stop: () => draft.set({ since: null, before: ms }),
    mark: () => draft.set({ since: since === null ? null : Date.now(), before: 0 }),
    clear: draft.clear,
  };
}

/** "0:07", "12:40", "1:02:40". */
export function stopwatch(ms: number): string {
  const all = Math.floor(ms / 1000);
  const [h, m, s] = [Math.floor(all / 3600), Math.floor(all / 60) % 60, all % 60];
  const tail = String(s).padStart(2, "0");
  return h ? `${h}:${String(m).padStart(2, "0")}:${tail}` : `${m}:${tail}`;
}
