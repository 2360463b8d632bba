// The suspects beside the work: who, how likely, and whether the list is being made anew.
import { link } from "../api";
import { waiting } from "../facts";
import { useDraft, useResource, type Resource } from "../store";
import type { Phase, Suspect, Suspects, View } from "../types";
import { Badge, Bar, type Shape, type Tone } from "../ui/marks";

/** Whether this shop's own counts move the list: kept for the bench, not for one job. */
export const useShopCounts = () => useDraft("shop counts", { used: false });

export interface Asked extends Resource<Suspects> {
  thinking: boolean; // a reading is on its way, or the list that follows from it is
}

export function useSuspects(view: View, phase: Phase): Asked {
  const { used } = useShopCounts().value;
  const path = `/api/jobs/${view.job}/suspects?phase=${phase}${used ? "&shop=1" : ""}`;
  const found = useResource<Suspects>(path);
  const sent = waiting.value.some(
    ({ job, kind, refused }) => job === view.job && kind === "reading" && !refused,
  );
  return { ...found, thinking: link.value.up && (found.busy || sent) };
}

const NAMES: Record<string, string> = {
  nothing: "Nothing wrong",
  unmodelled: "Something else",
  mains: "The mains",
};

// What the names above say already is not said twice.
const WORDS: Record<string, string> = {
  nothing: "that a DC reading shows",
  unmodelled: "not in the catalogue",
};

export const suspectWords = ({ part, what }: { part: string; what: string }): string =>
  WORDS[part] ?? what;

export const partName = ({ part }: { part: string }): string => NAMES[part] ?? part;

/** One thing wrong or two at once, the likeliest first. A pair is named "C13 + R7". */
export function ranked({ suspects, pairs }: Suspects): Suspect[] {
  const both = pairs.map(({ both: [a, b], words, probability, group }) => ({
    part: `${a!.part} + ${b!.part}`,
    what: words,
    probability,
    involved: probability,
    group,
  }));
  return [...suspects, ...both].sort((a, b) => b.probability - a.probability);
}

/** "76 %", "under 1 %", "over 99 %". */
export function percent(share: number): string {
  const whole = Math.round(share * 100);
  return whole < 1 ? "under 1 %" : whole > 99 ? "over 99 %" : `${whole} %`;
}

const VERDICTS: Record<Suspects["verdict"], { shape: Shape; tone: Tone; words: string }> = {
  "not enough": { shape: "ring", tone: "plain", words: "Not enough readings yet" },
  leaning: { shape: "question", tone: "plain", words: "Leaning, not settled" },
  settled: { shape: "dot", tone: "accent", words: "Settled" },
  healthy: { shape: "dot", tone: "accent", words: "Nothing found by these readings" },
  strange: { shape: "hazard", tone: "hazard", words: "Strange: no part explains it" },
};

export function VerdictWords({ of }: { of: Suspects }) {
  const { shape, tone, words } = VERDICTS[of.verdict];
  return (
    <Badge shape={shape} tone={tone}>
      {words}
    </Badge>
  );
}

const suspectKey = ({ part, what }: Suspect): string => `${part} ${what}`;

export function SuspectLine({ suspect }: { suspect: Suspect }) {
  return (
    <>
      <span class="suspect-part">{partName(suspect)}</span>
      <span class="suspect-what" title={suspectWords(suspect)}>
        {suspectWords(suspect)}
      </span>
      <Bar share={suspect.probability}>{percent(suspect.probability)}</Bar>
    </>
  );
}

const SLOTS = 4;

/** The first few, in places that never move. */
export function SuspectList({ asked, slots = SLOTS }: { asked: Asked; slots?: number }) {
  const { data, thinking } = asked;
  const first = data ? ranked(data).slice(0, slots) : [];
  return (
    <ol class={`suspects${thinking ? " thinking" : ""}`} aria-busy={thinking}>
      {Array.from({ length: slots }, (_, at) => (
        <li key={at}>
          {first[at] && <SuspectLine key={suspectKey(first[at])} suspect={first[at]} />}
        </li>
      ))}
    </ol>
  );
}
