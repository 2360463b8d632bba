// Look over: part by part, what is there and in what state; how it differs from the drawing.
import { useEffect, useRef, useState } from "preact/hooks";
import { record } from "../facts";
import { HandsInside } from "../hands";
import { useKeys } from "../keys";
import { leadWords } from "../parts";
import { useDraft, useResource, type Draft } from "../store";
import type { JobAmp, Look, Part, View } from "../types";
import { Button, Chips, Choice, Field } from "../ui/controls";
import { From, Panel as Frame } from "../ui/frame";
import { Mark } from "../ui/marks";
import { Cord, DateCodes, Differences } from "./look-over-side";
import { GoOn } from "./go-on";
import { EditForm } from "./edit-form";
import { Photos } from "./photos";
import type { Panel } from ".";

const STATES = ["original", "replaced", "changed"] as const;
const CONDITIONS = [
  "fine",
  "bulged",
  "leaking",
  "cracked",
  "burnt",
  "cold joint",
  "scratchy",
  "loose",
  "noisy",
];

interface Seen {
  state: Look["state"];
  condition: string[];
  code: string;
  note: string;
}

const seenOf = (look: Look | undefined): Seen => ({
  state: look?.state ?? null,
  condition: look?.condition ?? [],
  code: look?.code ?? "",
  note: look?.note ?? "",
});

function lookBody(part: string, seen: Seen): Record<string, unknown> {
  const body: Record<string, unknown> = { part };
  if (seen.state) body.state = seen.state;
  if (seen.condition.length) body.condition = seen.condition;
  if (seen.code.trim()) body.code = seen.code.trim();
  if (seen.note.trim()) body.note = seen.note.trim();
  return body;
}

function LookOver({ view }: { view: View }) {
  const amp = useResource<JobAmp>(`/api/jobs/${view.job}/amp?as=found`);
  return (
    <Frame title="Look over" tools={<GoOn view={view} from="look over" />}>
      <Cord view={view} />
      <HandsInside view={view} does="note what I saw">
        <From of={amp} lines={10}>
          {(found) => <Parts view={view} parts={found.parts} />}
        </From>
      </HandsInside>
    </Frame>
  );
}

type Looks = Map<string, Look>;

/** The parts that the list shows, and the one in hand. */
function useList(view: View, parts: Part[], looks: Looks) {
  const at = useDraft(`look at ${view.job}`, { part: "" });
  const [unseen, setUnseen] = useState(false);
  const [words, setWords] = useState("");
  const wanted = (part: Part) =>
    part.name === at.value.part || (matches(part, words) && !(unseen && looks.has(part.name)));
  const shown = parts.filter(wanted);
  const part = shown.find(({ name }) => name === at.value.part) ?? shown[0];
  const pick = (next: Part | undefined) => next && at.set({ part: next.name });
  const move = (by: number) => pick(shown[shown.indexOf(part!) + by]);
  return { shown, part, pick, move, words, setWords, unseen, setUnseen };
}

function Parts({ view, parts }: { view: View; parts: Part[] }) {
  const looks: Looks = new Map(view.looks.map((look) => [look.part, look]));
  const list = useList(view, parts, looks);
  const { part, move } = list;
  useKeys("Look over", [
    { key: "ArrowDown", does: "next part", run: () => move(1) },
    { key: "ArrowUp", does: "part before", run: () => move(-1) },
  ]);
  return (
    <div class="look-over">
      <PartList list={list} looks={looks} all={parts.length} />
      <div class="look-part">
        {part && (
          <PartLook
            key={part.name}
            view={view}
            part={part}
            look={looks.get(part.name)}
            onNext={() => move(1)}
          />
        )}
      </div>
      <div class="look-side">
        <DateCodes view={view} />
        <Differences view={view} />
      </div>
    </div>
  );
}

interface ListProps {
  list: ReturnType<typeof useList>;
  looks: Looks;
  all: number;
}

function PartList({ list, looks, all }: ListProps) {
  return (
    <div class="look-list">
      <Field type="search" label="Find a part" value={list.words} onInput={list.setWords} />
      <div class="look-count">
        <span class="dim">
          {looks.size} of {all} seen
        </span>
        <Button kind="quiet" pressed={list.unseen} onClick={() => list.setUnseen(!list.unseen)}>
          {list.unseen ? "Show all" : "Only unseen"}
        </Button>
      </div>
      <ul class="parts">
        {list.shown.map((one) => (
          <PartLine
            key={one.name}
            part={one}
            look={looks.get(one.name)}
            here={one === list.part}
            onPick={() => list.pick(one)}
          />
        ))}
      </ul>
      {!list.shown.length && <p class="empty">No such part. Fewer letters find more.</p>}
    </div>
  );
}

const matches = (part: Part, words: string): boolean =>
  words
    .toLowerCase()
    .split(/\s+/)
    .every((word) =>
      `${part.name} ${part.kind} ${part.value ?? ""} ${part.what ?? ""} ${part.material ?? ""}`
        .toLowerCase()
        .includes(word),
    );

const poor = (look: Look): boolean => (look.condition ?? []).some((word) => word !== "fine");

interface LineProps {
  part: Part;
  look: Look | undefined;
  here: boolean;
  onPick: () => void;
}

function PartLine({ part, look, here, onPick }: LineProps) {
  const line = useRef<HTMLLIElement>(null);
  useEffect(() => {
    if (here) line.current?.scrollIntoView({ block: "nearest" });
  }, [here]);
  const words = look
    ? [look.state, ...(look.condition ?? [])].filter(Boolean).join(", ") || "seen"
    : "";
  return (
    <li ref={line}>
      <button
        type="button"
        class="part-line"
        aria-current={here ? "true" : undefined}
        onClick={onPick}
      >
        <span class="part-name">{part.name}</span>
        <span class="part-does">{part.what}</span>
        <span class={`part-seen${look && poor(look) ? " hazard-word" : ""}`}>
          {look && <Mark shape={poor(look) ? "hazard" : "tick"} />}
          <span>{words || part.value || part.material || part.kind}</span>
        </span>
      </button>
    </li>
  );
}

/* ---- one part ---------------------------------------------------------------------------------------------- */

interface PartProps {
  view: View;
  part: Part;
  look: Look | undefined;
  onNext: () => void;
}

function keepLook(view: View, part: Part, look: Look | undefined, draft: Draft<Seen>): void {
  if (!draft.touched) return;
  const body = lookBody(part.name, draft.value);
  draft.clear();
  if (Object.keys(body).length === 1) return; // nothing seen, nothing to keep
  const words = [part.name, body.state, ...draft.value.condition].filter(Boolean).join(", ");
  void record(view.job, "look", body, { replaces: look?.fact ?? null, words });
}

function PartLook({ view, part, look, onNext }: PartProps) {
  const draft = useDraft<Seen>(`look ${view.job} ${part.name}`, seenOf(look));
  const keep = useRef(() => {});
  keep.current = () => keepLook(view, part, look, draft);
  useEffect(() => () => keep.current(), []); // going to another part records this one
  const finish = () => {
    keep.current();
    keep.current = () => {}; // until the next render: not recorded twice
    onNext();
  };
  const { value: seen, set } = draft;
  const condition = (words: string[]) => set({ condition: soundOnly(words, seen.condition) });
  useKeys(`Part ${part.name}`, [
    { key: "o", does: "original", run: () => set({ state: "original" }) },
    { key: "r", does: "replaced", run: () => set({ state: "replaced" }) },
    { key: "c", does: "changed", run: () => set({ state: "changed" }) },
    { key: "f", does: "fine", run: () => condition(["fine"]) },
    { key: "Enter", does: "record it and go to the next", run: finish },
  ]);
  return (
    <>
      <div class="part-head">
        <h2>{part.name}</h2>
        <span class="part-value">{part.value}</span>
        <span class="dim">
          {[part.what, part.material, part.rating, leadWords(part)].filter(Boolean).join(", ")}
        </span>
      </div>
      <Choice
        label="It is"
        options={STATES}
        value={seen.state}
        onChoose={(state) => set({ state })}
      />
      <Chips label="Condition" options={CONDITIONS} value={seen.condition} onChange={condition} />
      <div class="pair">
        <Field
          label="Date code"
          hint="As stamped, all figures"
          value={seen.code}
          onInput={(code) => set({ code })}
          onEnter={finish}
        />
        <Field label="Note" value={seen.note} onInput={(note) => set({ note })} onEnter={finish} />
      </div>
      <div class="foot">
        <Button kind={draft.touched ? "main" : "plain"} onClick={finish}>
          {draft.touched ? "Record, next part" : "Next part"}
        </Button>
        <span class="dim">{draft.touched ? "Recorded when you go on." : ""}</span>
      </div>
      <EditForm view={view} part={part} />
      <Photos view={view} part={part.name} />
    </>
  );
}

/** "fine" and a complaint exclude each other: the one chosen last stays. */
function soundOnly(words: string[], before: string[]): string[] {
  if (!words.includes("fine") || words.length === 1) return words;
  return before.includes("fine") ? words.filter((word) => word !== "fine") : ["fine"];
}

export const lookOver: Panel = {
  id: "look-over",
  stage: "look over",
  title: "Look over",
  key: "3",
  view: LookOver,
};
