// Talking to the program. Two ways: `request` asks and answers now; `record` keeps a fact in this
// browser until the program has acknowledged it, so that nothing typed is lost when the server or
// the plug goes.
import { signal } from "@preact/signals";
import type { Fault, Recorded, View } from "./types";

export class ApiError extends Error {
  constructor(
    readonly status: number, // 0: no answer
    readonly faults: Fault[],
  ) {
    super(faults[0]?.cause ?? "no answer");
  }
  get unreachable(): boolean {
    return this.status === 0;
  }
}

export const ANSWER_MS = 8_000;
const SLOW_MS = 60_000; // work that may take long: photos, PDFs

/** Whether the program answered the last time it was asked, and when it last did. */
export const link = signal<{ up: boolean; heard: number | null }>({ up: true, heard: null });

function hear(up: boolean): void {
  link.value = { up, heard: up ? Date.now() : link.value.heard };
}

const silence = (cause: string): ApiError =>
  new ApiError(0, [
    { code: "file", cause, remedy: "What you typed is kept here. Start gridleak bench again." },
  ]);

async function refusal(answer: Response): Promise<ApiError> {
  let faults: Fault[] = [];
  try {
    faults = ((await answer.json()) as { errors?: Fault[] }).errors ?? [];
  } catch {
    // Not JSON: the status alone must do.
  }
  if (!faults.length)
    faults = [
      { code: "unknown", cause: `The program refused (${answer.status} ${answer.statusText}).` },
    ];
  return new ApiError(answer.status, faults);
}

export interface Ask {
  method?: "GET" | "POST" | "PUT";
  body?: unknown;
  timeout?: number;
}

/** Asks the program and returns its JSON. Throws an ApiError. */
export async function request<T>(path: string, ask: Ask = {}): Promise<T> {
  const init: RequestInit = {
    method: ask.method ?? "GET",
    signal: AbortSignal.timeout(ask.timeout ?? ANSWER_MS),
    credentials: "same-origin",
  };
  if (ask.body !== undefined) {
    init.body = JSON.stringify(ask.body);
    init.headers = { "Content-Type": "application/json" };
  }
  let answer: Response;
  try {
    answer = await fetch(path, init);
    hear(true);
    if (!answer.ok) throw await refusal(answer);
    return (await answer.json()) as T;
  } catch (error) {
    if (error instanceof ApiError) throw error;
    hear(false);
    throw silence("The program does not answer.");
  }
}

/* ---- photos: progress is shown and the work can be stopped ------------------------------------ */

export const PHOTO_BYTES = 40_000_000;

export function sendPhoto(
  job: number,
  file: Blob,
  on: (part: number) => void,
  stop: AbortSignal,
): Promise<{ hash: string }> {
  return new Promise((resolve, reject) => {
    const ask = new XMLHttpRequest();
    ask.open("POST", `/api/jobs/${job}/photos`);
    ask.timeout = SLOW_MS;
    ask.setRequestHeader("Content-Type", file.type || "image/jpeg");
    ask.upload.onprogress = (event) => on(event.total ? event.loaded / event.total : 0);
    const fail = () => reject(silence("The photo did not arrive."));
    ask.onerror = fail;
    ask.ontimeout = fail;
    ask.onabort = () =>
      reject(new ApiError(0, [{ code: "usage", cause: "Stopped. The photo was not kept." }]));
    ask.onload = () => {
      const answer = new Response(ask.responseText, {
        status: ask.status,
        statusText: ask.statusText,
      });
      if (answer.ok) resolve(answer.json() as Promise<{ hash: string }>);
      else void refusal(answer).then(reject);
    };
    stop.addEventListener("abort", () => ask.abort());
    ask.send(file);
  });
}

/* ---- facts: kept until acknowledged ------------------------------------------------------------ */

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

/** Facts typed here that the program has not acknowledged, oldest first. */
export const waiting = signal<Waiting[]>(stored());
/** False where the browser keeps nothing: then facts live in this tab only. */
export const keeps = signal(true);

const promises = new Map<
  string,
  { done: (answer: Recorded) => void; failed: (error: ApiError) => void }
>();
let onView: (view: View) => void = () => {};

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

let lastMade = 0;

/** Records a fact. It is in this browser's storage when this returns; the promise resolves when the
 * program has it on its disk, and fails only when the program refuses it. */
export function record(
  job: number,
  kind: string,
  body: Record<string, unknown>,
  more: { replaces?: number | null; words: string },
): Promise<Recorded> {
  lastMade = Math.max(Date.now(), lastMade + 1); // two in one millisecond keep their order
  const fact: Waiting = {
    token: crypto.randomUUID(),
    job,
    kind,
    body,
    made: lastMade,
    replaces: more.replaces ?? null,
    words: more.words,
    refused: null,
  };
  keep(fact);
  waiting.value = [...waiting.value, fact];
  const answer = new Promise<Recorded>((done, failed) =>
    promises.set(fact.token, { done, failed }),
  );
  answer.catch(() => {}); // the status line shows refusals, whoever listens or not
  void flush();
  return answer;
}

async function send(fact: Waiting): Promise<void> {
  const { token, kind, body } = fact;
  const ask = fact.replaces
    ? { kind, body, token, replaces: fact.replaces }
    : { kind, body, token };
  try {
    const answer = await request<Recorded>(`/api/jobs/${fact.job}/facts`, {
      method: "POST",
      body: ask,
    });
    forget(fact);
    onView(answer.view);
    promises.get(token)?.done(answer);
  } catch (error) {
    const refused = error as ApiError;
    if (refused.status < 400 || refused.status >= 500 || refused.status === 429) throw error;
    const kept = { ...fact, refused: refused.faults };
    keep(kept);
    waiting.value = waiting.value.map((other) => (other.token === token ? kept : other));
    promises.get(token)?.failed(refused);
  }
  promises.delete(token);
}

/** What keeps the program from taking facts though it answers: a full disk, say. */
export const trouble = signal<Fault[] | null>(null);

let busy = false;
let again = 0;

/** Sends what waits, in order, one tab at a time. Tries again by itself while something waits. */
export async function flush(): Promise<void> {
  if (busy) return;
  busy = true;
  clearTimeout(again);
  try {
    await alone(async () => {
      let next: Waiting | undefined;
      while ((next = waiting.value.find((fact) => !fact.refused && !takenElsewhere(fact))))
        await send(next);
    });
    trouble.value = null;
  } catch (error) {
    trouble.value = (error as ApiError).unreachable ? null : (error as ApiError).faults;
    again = window.setTimeout(() => void flush(), 2_000);
  } finally {
    busy = false;
  }
}

async function alone(work: () => Promise<void>): Promise<void> {
  if (navigator.locks) await navigator.locks.request("gridleak.facts", work);
  else await work();
}

/** Another tab has sent it meanwhile: only the storage knows. */
function takenElsewhere(fact: Waiting): boolean {
  if (!keeps.value || localStorage.getItem(storageKey(fact)) !== null) return false;
  waiting.value = waiting.value.filter((other) => other.token !== fact.token);
  return true;
}

export function retry(fact: Waiting): void {
  const fresh = { ...fact, refused: null };
  keep(fresh);
  waiting.value = waiting.value.map((other) => (other.token === fact.token ? fresh : other));
  void flush();
}

export const discard = forget;

export function startFacts(apply: (view: View) => void): void {
  onView = apply;
  window.addEventListener("online", () => void flush());
  window.addEventListener("storage", (event) => {
    if (event.key?.startsWith(PREFIX)) waiting.value = stored();
  });
  void flush();
}

export const undo = (job: number, fact?: number): Promise<{ undone: number; view: View }> =>
  request(`/api/jobs/${job}/undo`, { method: "POST", body: fact ? { fact } : {} });
