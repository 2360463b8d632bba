// Decide: part by part what is to be done and why; then the estimate and the owner's word on it.
import "../css/decide.css";
import "../css/paper.css";
import { useState } from "preact/hooks";
import { useKeys } from "../keys";
import { useDraft, useResource } from "../store";
import type { JobAmp, Part, Shop, View } from "../types";
import { Choice, Field } from "../ui/controls";
import { From, Panel as Frame } from "../ui/frame";
import { Mark, type Shape } from "../ui/marks";
import { Estimate, OwnersWord } from "./decide-estimate";
import { DecideForm } from "./decide-form";
import { candidateOf, candidates, type Candidate } from "./decide-parts";
import { useSuspects } from "./find-suspects";
import { GoOn } from "./go-on";
import { Fuses, InTime, Margins, Output, Swap } from "./paper";
import type { Panel } from ".";

function Work({ view }: { view: View }) {
  const amp = useResource<JobAmp>(`/api/jobs/${view.job}/amp?as=found`);
  const shop = useResource<Shop>("/api/shop");
  return (
    <From of={amp} lines={8}>
      {({ parts }) => (
        <From of={shop} lines={8}>
          {(rates) => (
            <>
              <Parts view={view} shop={rates} parts={parts} />
              <div class="decide-money">
                <Estimate view={view} shop={rates} />
                <OwnersWord view={view} shop={rates} />
              </div>
            </>
          )}
        </From>
      )}
    </From>
  );
}

const TABS = [
  { value: "parts", words: "Parts" },
  { value: "swap", words: "Try on paper" },
  { value: "margins", words: "Ratings" },
  { value: "time", words: "In time" },
  { value: "output", words: "Output" },
  { value: "fuse", words: "Fuses, mains" },
] as const;
type Tab = (typeof TABS)[number]["value"];

function Decide({ view }: { view: View }) {
  const at = useDraft<{ tab: Tab }>(`decide tab ${view.job}`, { tab: "parts" });
  const { tab } = at.value;
  return (
    <Frame
      title="Decide"
      lead={view.keep ? `The owner wants it ${view.keep}.` : undefined}
      tools={<GoOn view={view} from="decide" ready={view.acceptance?.accepted} />}
    >
      <div class="decide-tabs">
        <Choice
          label="Decide by"
          hideLabel
          options={TABS}
          value={tab}
          onChoose={(next) => at.set({ tab: next })}
        />
      </div>
      {tab === "parts" && <Work view={view} />}
      {tab === "swap" && <Swap view={view} as="found" />}
      {tab === "margins" && <Margins view={view} as="found" />}
      {tab === "time" && <InTime view={view} as="found" />}
      {tab === "output" && <Output view={view} as="found" />}
      {tab === "fuse" && <Fuses view={view} as="found" />}
    </Frame>
  );
}

interface PartsProps {
  view: View;
  shop: Shop;
  parts: Part[];
}

function useList({ view, parts }: PartsProps) {
  const suspects = useSuspects(view, "before").data;
  const at = useDraft(`decide at ${view.job}`, { part: "" });
  const listed = candidates(view, parts, suspects);
  const named = parts.find(({ name }) => name === at.value.part);
  const extra =
    named && !listed.some(({ name }) => name === named.name) ? [candidateOf(named)] : [];
  const shown = [...listed, ...extra];
  const here =
    shown.find(({ name }) => name === at.value.part) ??
    shown.find(({ decision }) => !decision) ??
    shown[0];
  return { shown, here, pick: (name: string) => at.set({ part: name }) };
}

function Parts(props: PartsProps) {
  const { shown, here, pick } = useList(props);
  const step = (by: number) => {
    const next = here && shown[shown.indexOf(here) + by];
    if (next) pick(next.name);
  };
  const next = () => {
    const open = shown.find((one) => one !== here && !one.decision);
    if (open) pick(open.name);
  };
  useKeys("Decide", [
    { key: "ArrowDown", does: "next part", run: () => step(1) },
    { key: "ArrowUp", does: "part before", run: () => step(-1) },
  ]);
  return (
    <div class="decide">
      <div>
        <AnyPart parts={props.parts} onPick={pick} />
        <ul class="parts">
          {shown.map((one) => (
            <Line
              key={one.name}
              candidate={one}
              here={one === here}
              onPick={() => pick(one.name)}
            />
          ))}
        </ul>
        {!shown.length && (
          <p class="empty">
            No suspect yet, and nothing poor was seen. Any part can be named above.
          </p>
        )}
      </div>
      {here && (
        <DecideForm
          key={here.name}
          view={props.view}
          shop={props.shop}
          candidate={here}
          onNext={next}
        />
      )}
    </div>
  );
}

function AnyPart({ parts, onPick }: { parts: Part[]; onPick: (name: string) => void }) {
  const [text, setText] = useState("");
  const wanted = text.trim().toLowerCase();
  const found = parts.find(({ name }) => name.toLowerCase() === wanted);
  const take = (typed: string) => {
    setText(typed);
    const part = parts.find(({ name }) => name.toLowerCase() === typed.trim().toLowerCase());
    if (part) onPick(part.name);
  };
  return (
    <Field
      label="Any other part"
      value={text}
      list={parts.map(({ name }) => name)}
      onInput={take}
      hint={wanted && !found ? "no such part" : "C7, R12, V3"}
    />
  );
}

const SHAPES: Record<string, Shape> = {
  replace: "square",
  leave: "dash",
  clean: "ring",
  test: "question",
};

interface LineProps {
  candidate: Candidate;
  here: boolean;
  onPick: () => void;
}

function Line({ candidate: { name, part, why, decision }, here, onPick }: LineProps) {
  return (
    <li>
      <button
        type="button"
        class="part-line"
        aria-current={here ? "true" : undefined}
        onClick={onPick}
      >
        <span class="part-name">{name}</span>
        <span class="part-does">{part?.what ?? part?.kind ?? ""}</span>
        <span class={`part-seen${decision ? " decided" : ""}`}>
          {decision && <Mark shape={SHAPES[decision.action]!} />}
          <span>{decision ? `${decision.action}, ${decision.reason}` : why[0]}</span>
        </span>
      </button>
    </li>
  );
}

export const decide: Panel = {
  id: "decide",
  stage: "decide",
  title: "Decide",
  key: "6",
  view: Decide,
};
