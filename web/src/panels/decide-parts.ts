// The parts that wait for a decision, and why: suspects, what was seen, what is not as drawn.
import type { Decision, Part, Suspects, View } from "../types";
import { percent } from "./find-suspects";

export interface Candidate {
  name: string;
  part: Part | undefined; // not in the amp file: something that the page cannot propose for
  why: string[];
  decision: Decision | undefined;
  start: Start;
}

/** What the form begins with. */
export interface Start {
  action: Decision["action"] | null;
  reason: Decision["reason"] | null;
  what: string;
}

const SUSPECT = 0.02; // suspects below it are not proposed

const NO_FAULT = "which is no fault"; // halves of a twin tube used the other way round
const NO_PART = ["nothing", "unmodelled", "mains"];

const NOTHING: Start = { action: null, reason: null, what: "" };

function startOf(condition: string[]): Start {
  const what = condition.join(", ");
  if (condition.includes("cold joint")) return { action: "clean", reason: "failing", what };
  if (condition.every((word) => ["scratchy", "loose", "noisy"].includes(word)))
    return { action: "clean", reason: "reliability", what };
  return { action: "replace", reason: "reliability", what };
}

type Found = Map<string, { why: string[]; start: Start }>;

function add(found: Found, name: string, why: string, start: Start): void {
  const one = found.get(name);
  if (one) one.why.push(why);
  else found.set(name, { why: [why], start });
}

function addSuspects(found: Found, suspects: Suspects | null): void {
  for (const { part, what, involved } of suspects?.suspects ?? [])
    if (involved >= SUSPECT && !NO_PART.includes(part) && !what.endsWith(NO_FAULT))
      add(found, part, `suspect, ${percent(involved)}: ${what}`, {
        action: "replace",
        reason: "failing",
        what,
      });
}

function addSeen(found: Found, view: View): void {
  for (const { part, condition, state, note } of view.looks) {
    const poor = (condition ?? []).filter((word) => word !== "fine");
    if (poor.length) add(found, part, `seen: ${poor.join(", ")}`, startOf(poor));
    else if (state === "changed") add(found, part, `changed${note ? `: ${note}` : ""}`, NOTHING);
  }
  for (const { phase, part, key, to, does } of view.edits)
    if (phase === "found")
      add(found, part, `not as drawn: ${does === "change" ? `${key} ${to}` : does}`, NOTHING);
}

export function candidates(view: View, parts: Part[], suspects: Suspects | null): Candidate[] {
  const found: Found = new Map();
  addSuspects(found, suspects);
  addSeen(found, view);
  const decisions = new Map(view.decisions.map((decision) => [decision.part, decision]));
  for (const name of decisions.keys())
    if (!found.has(name)) found.set(name, { why: [], start: NOTHING });
  return [...found].map(([name, { why, start }]) => ({
    name,
    part: parts.find((part) => part.name === name),
    why,
    decision: decisions.get(name),
    start,
  }));
}

export const candidateOf = (part: Part): Candidate => ({
  name: part.name,
  part,
  why: [],
  decision: undefined,
  start: NOTHING,
});
