// The words of the report as the facts give them: a beginning for the technician to go over.
import type { Compare, Decision, HandBack, Part, View } from "../types";
import { sentence } from "../units";
import { stillOutside } from "./prove";

export type Words = { [Key in keyof HandBack]: string };

const withWhat = ({ part, what }: Decision): string => (what ? `${part} (${what})` : part);

/** "A, B and C". */
export function listed(words: string[]): string {
  return words.length < 2
    ? (words[0] ?? "")
    : `${words.slice(0, -1).join(", ")} and ${words.at(-1)}`;
}

const by = (view: View, action: Decision["action"]): Decision[] =>
  view.decisions.filter((decision) => decision.action === action);

function foundWords(view: View): string {
  const failing = view.decisions.filter(
    ({ reason, action }) => reason === "failing" && action !== "leave",
  );
  const weak = view.decisions.filter(
    ({ reason, action }) => reason === "reliability" && action !== "leave",
  );
  const hurt = view.decisions.filter(({ reason }) => reason === "safety");
  return [
    failing.length && `At fault: ${listed(failing.map(withWhat))}.`,
    weak.length && `Would have failed before long: ${listed(weak.map(withWhat))}.`,
    hurt.length && `A danger: ${listed(hurt.map(withWhat))}.`,
  ]
    .filter(Boolean)
    .join(" ");
}

// The list says what to do, the report what was done.
const PAST: Record<string, string> = {
  Replace: "Replaced",
  Clean: "Cleaned",
  Test: "Tested",
  Resolder: "Resoldered",
};

const past = (text: string): string => text.replace(/^\w+/, (verb) => PAST[verb] ?? verb);

const doneWords = (view: View): string =>
  view.work
    .filter(({ done }) => done)
    .map(({ text }) => sentence(past(text)))
    .join(" ");

const BECAUSE: Record<Decision["reason"], string> = {
  safety: "for safety",
  failing: "though it fails",
  reliability: "as reliable enough",
  originality: "to keep it original",
  "owner's wish": "as the owner wished",
};

const keptWords = (view: View): string =>
  by(view, "leave")
    .map((decision) => `${withWhat(decision)} left in, ${BECAUSE[decision.reason]}.`)
    .join(" ");

function cautionWords(view: View, parts: Part[], compare: Compare | null): string {
  const outside = stillOutside(view, parts, compare);
  return [
    view.amp.transformerless &&
      "No power transformer: the chassis may be live even when it is off. Use it with an isolation transformer.",
    view.cord?.wires === 2 &&
      "The mains cord has no earth: a fault can make the chassis live. An earthed cord is advised.",
    view.cord?.chassis_capacitor && "A capacitor goes from the mains to the chassis.",
    outside.length && `Still outside: ${outside.join("; ")}.`,
  ]
    .filter(Boolean)
    .join(" ");
}

const adviceWords = (view: View): string =>
  [
    ...view.checks
      .filter(({ result }) => result === "poor")
      .map(({ what, note }) => `${what}: ${note ?? "poor"}.`),
    ...by(view, "test").map(({ part }) => `Have ${part} tested again within the year.`),
  ].join(" ");

/** What the facts say so far. */
export function wordsOf(view: View, parts: Part[], compare: Compare | null): Words {
  const cause = view.decisions.find(
    ({ reason, action }) => reason === "failing" && action !== "leave",
  );
  return {
    found: foundWords(view),
    done: doneWords(view),
    kept: keptWords(view),
    cautions: cautionWords(view, parts, compare),
    advice: adviceWords(view),
    cause_part: cause?.part ?? "",
    cause_what: cause?.what ?? "",
  };
}
