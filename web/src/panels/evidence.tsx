// Every other kind of evidence: what is heard and seen, signals, hum, cold ohms, parts alone, and
// readings after something was done to the amp.
import type { ComponentChildren } from "preact";
import { record } from "../facts";
import { HandsInside } from "../hands";
import { takeBack, useDraft, useResource } from "../store";
import type { NextReading, Phase, Suspects, SymptomKind, View } from "../types";
import { Button, Choice, Field } from "../ui/controls";
import { From, Section } from "../ui/frame";
import { Mark } from "../ui/marks";
import { percent, SuspectList, VerdictWords, type Asked } from "./find-suspects";
import { DEAD, DO, hands, isPlace, LIVE_AC } from "./evidence-words";
import { mainsOf, useMains, useMeter, useTest } from "./measure-readings";

export interface EvidenceProps {
  view: View;
  phase: Phase;
  asked: Asked;
}

export function Evidence(props: EvidenceProps) {
  return (
    <div class="evidence">
      <div>
        <Told {...props} />
        <Tests {...props} />
      </div>
      <aside aria-label="Suspects and what comes next">
        <h2>Suspects</h2>
        <div class="side-verdict" role="status">
          {props.asked.data && <VerdictWords of={props.asked.data} />}
        </div>
        <SuspectList asked={props.asked} />
        <h2 class="evidence-next">What would tell most</h2>
        <From of={props.asked} lines={4}>
          {({ next, tests }) => <Next view={props.view} next={[...tests, ...next.slice(0, 2)]} />}
        </From>
      </aside>
    </div>
  );
}

/* ---- told and found --------------------------------------------------------------------------------- */

const STANDS: Record<string, string> = {
  part: "a part",
  control: "a control",
  tube: "a tube",
  pin: "a pin",
  speed: "its speed",
};

function Told({ view, phase, asked }: EvidenceProps) {
  const kinds = useResource<SymptomKind[]>("/api/symptoms");
  const draft = useDraft(`told ${view.job}`, { text: "" });
  const { text } = draft.value;
  const key = text.replace(/^not /, "").split(":")[0]!.trim();
  const known = kinds.data?.find((one) => one.key === key || one.also.includes(key));
  const told = [...(view.symptoms ?? []), ...(view.findings ?? [])].filter(
    (one) => (one.phase ?? "before") === phase,
  );
  const tell = (said: string) => {
    const byHand = known?.names === "part" || known?.names === "pin";
    void record(view.job, byHand ? "finding" : "symptom", { said, phase }, { words: said });
    draft.clear();
  };
  const hint = !key
    ? "Begins with not, where it was looked for and is not there"
    : !known
      ? "From the list only"
      : known.names && !text.includes(":")
        ? `Then a colon and ${STANDS[known.names]}: ${known.key}: ${EXAMPLES[known.names]}`
        : (known.ground ?? "");
  return (
    <Section title="Heard, seen, found by hand">
      <div class="paper-typed">
        <Field
          label="Symptom or finding"
          value={text}
          list={kinds.data?.map(({ key: one, names }) => (names ? `${one}: ` : one))}
          onInput={(next) => draft.set({ text: next })}
          onEnter={() => known && tell(text.trim())}
          hint={hint}
        />
        <Button disabled={!known} onClick={() => tell(text.trim())}>
          Record
        </Button>
      </div>
      <Lines empty="Nothing was told yet.">
        {told.map(({ said, fact }) => (
          <Line key={fact} view={view} fact={fact} words={said}>
            {weight(asked.data, said)}
          </Line>
        ))}
      </Lines>
    </Section>
  );
}

const EXAMPLES: Record<string, string> = {
  part: "R7",
  control: "P2",
  tube: "V3",
  pin: "V2.3",
  speed: "3 Hz",
};

/** How it weighs: the chance of it with the leader beside that of a good amp. */
function weight(data: Suspects | null, said: string): string {
  const one = data?.symptoms?.find((other) => other.said === said);
  return one?.by_leader != null && one.good != null
    ? `${percent(one.by_leader)} with the leader, ${percent(one.good)} in a good amp`
    : "";
}

/* ---- other readings ---------------------------------------------------------------------------------- */

function Tests({ view, phase }: EvidenceProps) {
  const test = useTest(view);
  const { kind, at, value } = test.value;
  const bench = useMeter().value.meter;
  const mains = mainsOf(useMains(view).value.mains);
  const chosen = DO.find((one) => one.value === kind) ?? DO[0]!;
  const take = () => {
    if (!at.trim() || !value.trim()) return;
    const body = {
      phase,
      at: at.trim(),
      value: value.trim(),
      meter: bench,
      ...(mains && { mains }),
    };
    void record(view.job, "test", body, { words: `${at.trim()} ${value.trim()}` });
    test.set({ value: "" });
  };
  const form = (
    <>
      <p class="evidence-caution">
        <Mark shape={hands(at) === "live" ? "bolt" : "hazard"} />
        <span>{hands(at) === "live" ? LIVE_AC : DEAD}</span>
      </p>
      <div class="pair">
        <Field
          label="What was read"
          value={at}
          onInput={(text) => test.set({ at: text })}
          hint={chosen.like}
        />
        <Field
          label="It read"
          value={value}
          onInput={(text) => test.set({ value: text })}
          onEnter={take}
          hint={chosen.reads}
        />
      </div>
      <Button disabled={!at.trim() || !value.trim()} onClick={take}>
        Record it
      </Button>
    </>
  );
  return (
    <Section title="Other readings">
      <Choice
        label="Which"
        hideLabel
        options={DO}
        value={kind}
        onChoose={(next) =>
          test.set({ kind: next, at: DO.find((one) => one.value === next)!.like, value: "" })
        }
      />
      {hands(at) === "live" ? (
        form
      ) : (
        <HandsInside view={view} does="write down what was read">
          {form}
        </HandsInside>
      )}
      <Lines empty="None yet.">
        {(view.tests ?? [])
          .filter((one) => one.phase === phase)
          .map((one) => (
            <Line key={one.fact} view={view} fact={one.fact} words={one.at}>
              {one.value}
            </Line>
          ))}
      </Lines>
    </Section>
  );
}

const Lines = ({ children, empty }: { children: ComponentChildren[]; empty: string }) =>
  children.length ? <ul class="told">{children}</ul> : <p class="dim">{empty}</p>;

interface LineProps {
  view: View;
  fact: number;
  words: string;
  children: ComponentChildren;
}

const Line = ({ view, fact, words, children }: LineProps) => (
  <li>
    <strong>{words}</strong>
    <span class="dim">{children}</span>
    <Button kind="quiet" label={`Take back ${words}`} onClick={() => void takeBack(view.job, fact)}>
      Take back
    </Button>
  </li>
);

/* ---- what next ---------------------------------------------------------------------------------------- */

function Next({ view, next }: { view: View; next: NextReading[] }) {
  const test = useTest(view);
  if (!next.length) return <p class="dim">Nothing more would be told.</p>;
  return (
    <ol class="told">
      {next.map((one) => (
        <li key={one.at} class="evidence-step">
          <span>
            <strong>{one.at}</strong>, {one.quantity}
          </span>
          <span>{one.why}</span>
          <span class="dim">
            Effort {Number(one.cost.toPrecision(2))}. {one.caution ?? "One hand."}
          </span>
          {!isPlace(one.at) && (
            <Button
              kind="quiet"
              label={`Enter it: ${one.at}`}
              onClick={() => test.set({ at: one.at, value: "" })}
            >
              Enter it
            </Button>
          )}
        </li>
      ))}
    </ol>
  );
}
