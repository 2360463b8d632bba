// Asking the program: now, with an answer or a reason. Facts are recorded by `facts.ts`, which keeps
// them until they are acknowledged.
import { signal } from "@preact/signals";
import type { Fault, View } from "./types";

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
    if (answer.status === 401) location.assign("/pair"); // a tablet that the bench no longer knows
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

export const undo = (job: number, fact: number): Promise<{ undone: number; view: View }> =>
  request(`/api/jobs/${job}/undo`, { method: "POST", body: { fact } });
