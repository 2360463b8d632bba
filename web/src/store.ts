// What the page knows: where it is, what the program last answered, what is half typed.
import { signal, type Signal } from "@preact/signals";
import { useEffect, useRef, useState } from "preact/hooks";
import { ApiError, link, request, undo } from "./api";
import { flush, startFacts, type Waiting } from "./facts";
import { startLive, type Change } from "./live";
import { askMeter, hearGuide, hearMeter, hearPractice } from "./meter";
import type { Fault, Recorded, View } from "./types";

/* ---- where: #/jobs/12/make-safe ---------------------------------------------------------------- */

const parts = (): string[] =>
  location.hash.replace(/^#\/?/, "").split("/").filter(Boolean).map(decodeURIComponent);
export const route = signal<string[]>(parts());
window.addEventListener("hashchange", () => (route.value = parts()));

export const go = (...to: (string | number)[]): void => {
  location.hash = `/${to.map((part) => encodeURIComponent(part)).join("/")}`;
};

/** Set where the search is asked for from elsewhere; the front page takes the focus there. */
export const searchWanted = signal(false);

/* ---- what the program answered: kept by path, shown while a newer answer is on its way ----------- */

export interface Resource<T> {
  data: T | null;
  faults: Fault[] | null;
  busy: boolean;
}

interface Kept {
  state: Signal<Resource<unknown>>;
  users: number;
  stale: boolean;
  asked: number; // counts requests: an older answer never replaces a newer one
  again: boolean; // changed since it was asked: to be asked once more, however often it changed
}

const kept = new Map<string, Kept>();

function entry(path: string): Kept {
  let found = kept.get(path);
  if (!found) {
    found = {
      state: signal({ data: null, faults: null, busy: false }),
      users: 0,
      stale: true,
      asked: 0,
      again: false,
    };
    kept.set(path, found);
  }
  return found;
}

async function load(path: string, one: Kept): Promise<void> {
  const asked = ++one.asked;
  one.stale = false;
  one.state.value = { ...one.state.value, busy: true };
  try {
    const data = await request<unknown>(path);
    if (asked === one.asked) one.state.value = { data, faults: null, busy: one.again };
  } catch (error) {
    if (asked !== one.asked) return;
    one.stale = true;
    one.state.value = { ...one.state.value, faults: (error as ApiError).faults, busy: one.again };
  }
  if (asked === one.asked && one.again) {
    one.again = false;
    void load(path, one);
  }
}

/** The answer to GET `path`, asked again whenever something that it shows has changed. */
export function useResource<T>(path: string | null): Resource<T> {
  const one = path === null ? null : entry(path);
  useEffect(() => {
    if (!one) return;
    one.users++;
    if (one.stale && !one.state.value.busy) void load(path!, one);
    return () => {
      one.users--;
    };
  }, [path]);
  return (one?.state.value ?? { data: null, faults: null, busy: false }) as Resource<T>;
}

/** As useResource, of a path that changes as one turns and chooses: the answer before stays in sight
 * until the next is there. */
export function useSteady<T>(path: string): Resource<T> {
  const now = useResource<T>(path);
  const last = useRef<T | null>(null);
  if (now.data !== null) last.current = now.data;
  return now.faults ? now : { ...now, data: now.data ?? last.current };
}

const NOTHING_ASKED = { data: null, faults: null, busy: false };

/** What the program works out from `body`, kept nowhere; asked again when `after` is another. */
export function useComputed<T>(path: string, body: object | null, after: unknown): Resource<T> {
  const [state, set] = useState<Resource<T>>(NOTHING_ASKED);
  const text = body && JSON.stringify(body);
  useEffect(() => {
    if (!text) return set(NOTHING_ASKED);
    let gone = false;
    set((old) => ({ ...old, faults: null, busy: true }));
    request<T>(path, { method: "POST", body: JSON.parse(text) }).then(
      (data) => !gone && set({ data, faults: null, busy: false }),
      (error: ApiError) => !gone && set({ data: null, faults: error.faults, busy: false }),
    );
    return () => {
      gone = true;
    };
  }, [path, text, after]);
  return state;
}

/** Asks again for every path that `touched` names, at once where it is on screen. */
export function refresh(touched: (path: string) => boolean): void {
  for (const [path, one] of kept) {
    if (!touched(path)) continue;
    one.stale = true;
    if (one.users === 0) continue;
    if (one.state.value.busy) one.again = true;
    else void load(path, one);
  }
}

const ofJob =
  (job: number) =>
  (path: string): boolean =>
    path.startsWith(`/api/jobs/${job}/`) || path.startsWith("/api/jobs?");

const seen = new Map<number, number>(); // the newest fact of each job that is on screen

/** Takes a job's new view (every writing call answers with one). */
export function applyView(view: View): void {
  const path = `/api/jobs/${view.job}`;
  // The stream has told of a newer fact meanwhile: this answer was overtaken on its way.
  if ((seen.get(view.job) ?? 0) > view.last)
    return refresh((other) => other === path || ofJob(view.job)(other));
  const one = entry(path);
  one.asked++; // a view still on its way is older
  one.stale = false;
  one.again = false;
  one.state.value = { data: view, faults: null, busy: false };
  seen.set(view.job, view.last);
  refresh(ofJob(view.job));
}

export const useView = (job: number): Resource<View> => useResource<View>(`/api/jobs/${job}`);

function changed(change: Change): void {
  switch (change.what) {
    case "fact":
      if ((seen.get(change.job) ?? 0) >= change.fact) return;
      seen.set(change.job, change.fact);
      return refresh((path) => path === `/api/jobs/${change.job}` || ofJob(change.job)(path));
    case "suspects":
      return refresh((path) => path.startsWith(`/api/jobs/${change.job}/suspects`));
    case "amp":
      return refresh((path) => path.startsWith("/api/amps") || path.startsWith("/api/curves"));
    case "meter":
      return hearMeter(change);
    case "guide":
      return hearGuide(change);
    case "practice":
      return hearPractice(change);
    case "again":
      void askMeter();
      link.value = { up: true, heard: Date.now() };
      void flush();
      return refresh(() => true);
    case "gone":
      link.value = { ...link.value, up: false };
  }
}

/* ---- what is half typed: it outlives a reload and a pulled plug ---------------------------------- */

const DRAFT = "gridleak.draft.";
const drafts = new Map<string, Signal<unknown>>();

export interface Draft<T> {
  value: T;
  set: (change: Partial<T>) => void;
  clear: () => void;
  touched: boolean;
}

function draftSignal(key: string): Signal<unknown> {
  let found = drafts.get(key);
  if (!found) {
    let start: unknown = null;
    try {
      start = JSON.parse(localStorage.getItem(DRAFT + key) ?? "null");
    } catch {
      // unreadable: as if nothing had been typed
    }
    found = signal(start);
    drafts.set(key, found);
  }
  return found;
}

function writeDraft(key: string, value: unknown): void {
  draftSignal(key).value = value;
  try {
    if (value === null) localStorage.removeItem(DRAFT + key);
    else localStorage.setItem(DRAFT + key, JSON.stringify(value));
  } catch {
    // no storage: it still lives in this tab
  }
}

/** A form's content under a name of its own: `start` until something is typed. */
export function useDraft<T extends object>(key: string, start: T): Draft<T> {
  const typed = draftSignal(key).value as Partial<T> | null;
  return {
    value: { ...start, ...typed },
    touched: typed !== null,
    set: (change) =>
      writeDraft(key, { ...((draftSignal(key).peek() as object | null) ?? {}), ...change }),
    clear: () => writeDraft(key, null),
  };
}

/* ---- the status line ------------------------------------------------------------------------------ */

export interface Notice {
  words: string;
  faults?: Fault[]; // why not; or what is odd since
  undo?: { job: number; fact: number };
  at: number;
}
export const notice = signal<Notice | null>(null);

// What was recorded from this tab, the last at the end: only that is taken back by a key.
const recorded: NonNullable<Notice["undo"]>[] = [];

export function say(words: string, more: Omit<Notice, "words" | "at"> = {}): void {
  notice.value = { words, ...more, at: Date.now() };
  if (more.undo) recorded.push(more.undo);
}

function acknowledged({ job, words }: Waiting, { fact, view }: Recorded): void {
  applyView(view);
  say(`Recorded: ${words}.`, { undo: { job, fact } });
}

/** Takes back a fact: the one given, or the last that this tab recorded in the job. */
export async function takeBack(job: number, given?: number): Promise<void> {
  const last = recorded.filter((one) => one.job === job && (!given || one.fact === given)).at(-1);
  const fact = given ?? last?.fact;
  if (!fact) return say("Nothing was recorded from here yet.");
  try {
    applyView((await undo(job, fact)).view);
    if (last) recorded.splice(recorded.indexOf(last), 1);
    say("Taken back.");
  } catch (error) {
    say("Not taken back.", { faults: (error as ApiError).faults });
  }
}

/* ---- light and dark -------------------------------------------------------------------------------- */

export type Theme = "auto" | "light" | "dark";
const THEME = "gridleak.theme";

function storedTheme(): Theme {
  const found = (() => {
    try {
      return localStorage.getItem(THEME);
    } catch {
      return null;
    }
  })();
  return found === "light" || found === "dark" ? found : "auto";
}

export const theme = signal<Theme>(storedTheme());

export function setTheme(next: Theme): void {
  theme.value = next;
  document.documentElement.dataset.theme = next;
  try {
    localStorage.setItem(THEME, next);
  } catch {
    // no storage: until the tab closes
  }
}

export function start(): void {
  document.documentElement.dataset.theme = theme.value;
  startFacts(acknowledged);
  startLive(changed);
}
