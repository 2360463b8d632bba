// Facts on their way to the program. `record` keeps a fact in this browser until the program has
// acknowledged it, so that nothing typed is lost when the server or the plug goes. Each fact has a
// token: sent twice, it counts once.
import { signal } from "@preact/signals";
import { ApiError, request } from "./api";
import type { Fault, Recorded } from "./types";

export interface Waiting {
  token: string;
  job: number;
  kind: string;
  body: Record<string, unknown>;
  replaces: number | null;
  words: string; // what the status line calls it
  made: number;
  refused: Fault[] | null;
}

const PREFIX = "gridleak.fact.";
const RETRY_MS = 2_000;

/** Facts typed here that the program has not acknowledged, oldest first. */
export const waiting = signal<Waiting[]>(stored());
/** False where the browser keeps nothing: then facts live in this tab only. */
export const keeps = signal(true);
/** What keeps the program from taking facts though it answers: a full disk, say. */
export const trouble = signal<Fault[] | null>(null);

type Settle = (fact: number | null) => void;
const settles = new Map<string, Settle>();
let acknowledged: (fact: Waiting, answer: Recorded) => void = () => {};

const storageKey = (fact: Waiting): string => `${PREFIX}${fact.made}.${fact.token}`;

function stored(): Waiting[] {
  const found: Waiting[] = [];
  try {
    for (const key of Object.keys(localStorage))
      if (key.startsWith(PREFIX)) found.push(JSON.parse(localStorage.getItem(key)!) as Waiting);
  } catch {
    // No storage, or another program's junk under our prefix: nothing to bring back.
  }
  return found.sort((a, b) => a.made - b.made);
}

function keep(fact: Waiting): void {
  try {
    localStorage.setItem(storageKey(fact), JSON.stringify(fact));
  } catch {
    keeps.value = false;
  }
}

function forget(fact: Waiting): void {
  try {
    localStorage.removeItem(storageKey(fact));
  } catch {
    keeps.value = false;
  }
  waiting.value = waiting.value.filter((other) => other.token !== fact.token);
}

function change(fact: Waiting, refused: Fault[] | null): void {
  const changed = { ...fact, refused };
  keep(changed);
  waiting.value = waiting.value.map((other) => (other.token === fact.token ? changed : other));
}

export interface More {
  words: string; // as the status line will call it: "C8 0.60 V"
  replaces?: number | null;
}

let lastMade = 0;

/** Records a fact. It is in this browser's storage when this returns, and the status line tells what
 * becomes of it. Resolves with its number when the program has it on its disk, or with null when the
 * program refuses it; stays open when another tab has sent it. */
export function record(
  job: number,
  kind: string,
  body: Record<string, unknown>,
  { words, replaces = null }: More,
): Promise<number | null> {
  lastMade = Math.max(Date.now(), lastMade + 1); // two in one millisecond keep their order
  const token = crypto.randomUUID();
  const fact: Waiting = { token, job, kind, body, replaces, words, made: lastMade, refused: null };
  keep(fact);
  waiting.value = [...waiting.value, fact];
  const settled = new Promise<number | null>((settle) => settles.set(token, settle));
  void flush();
  return settled;
}

/** The program's word on it. Throws where it gave none, or could not take it now. */
async function send({ job, kind, body, token, replaces }: Waiting): Promise<Recorded | Fault[]> {
  const ask = replaces === null ? { kind, body, token } : { kind, body, token, replaces };
  try {
    return await request<Recorded>(`/api/jobs/${job}/facts`, { method: "POST", body: ask });
  } catch (error) {
    const { status, faults } = error as ApiError;
    if (status < 400 || status >= 500 || status === 429 || status === 401) throw error;
    return faults;
  }
}

async function deliver(fact: Waiting): Promise<void> {
  const answer = await send(fact);
  const settle = settles.get(fact.token);
  settles.delete(fact.token);
  if (Array.isArray(answer)) {
    change(fact, answer);
    settle?.(null);
  } else {
    forget(fact);
    acknowledged(fact, answer);
    settle?.(answer.fact);
  }
}

/** Another tab has sent it meanwhile: only the storage knows. */
function takenElsewhere(fact: Waiting): boolean {
  return keeps.value && localStorage.getItem(storageKey(fact)) === null;
}

async function deliverAll(): Promise<void> {
  for (;;) {
    const next = waiting.value.find((fact) => !fact.refused);
    if (!next) return;
    if (takenElsewhere(next)) forget(next);
    else await deliver(next);
  }
}

let busy = false;
let again = 0;

/** Sends what waits, in order, one tab at a time. Tries again by itself while something waits. */
export async function flush(): Promise<void> {
  if (busy) return;
  busy = true;
  clearTimeout(again);
  try {
    if (navigator.locks) await navigator.locks.request("gridleak.facts", deliverAll);
    else await deliverAll();
    trouble.value = null;
  } catch (error) {
    if (!(error instanceof ApiError)) throw error;
    trouble.value = error.unreachable ? null : error.faults;
    again = window.setTimeout(() => void flush(), RETRY_MS);
  } finally {
    busy = false;
  }
}

export function retry(fact: Waiting): void {
  change(fact, null);
  void flush();
}

export const discard = forget;

/** `take` is told of each fact that the program has acknowledged, with its answer. */
export function startFacts(take: (fact: Waiting, answer: Recorded) => void): void {
  acknowledged = take;
  window.addEventListener("online", () => void flush());
  window.addEventListener("storage", (event) => {
    if (event.key?.startsWith(PREFIX)) waiting.value = stored();
  });
  void flush();
}
